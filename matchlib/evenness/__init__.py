"""How much unevenness of film shows: the film tolerance of a recipe, and a simulated panel.

The film law says what more or less film does to the colour, at every angle at which an order is
judged. How uneven a gun lays film is simulated. What comes out is the difference to expect from one
side of a panel to the other, by the difference that the order names. That brighter grounds show
unevenness more (common practice, no source), and the flop otherwise than the face, is nowhere put
in: the law gives it.
"""

from matchlib.evenness.alternatives import alternative_words, alternatives
from matchlib.evenness.film import CHANGES, film_tolerance
from matchlib.evenness.panel import spray_panel

__all__ = [
    "CHANGES",
    "alternative_words",
    "alternatives",
    "film_tolerance",
    "spray_panel",
]
