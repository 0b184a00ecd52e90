"""What is believed of the law, of today and of one card, and what may be sprayed by it."""

from __future__ import annotations

from matchlib.correction.belief import Belief
from matchlib.correction.card import Card
from matchlib.correction.moves import fresh_recipes
from matchlib.correction.sprayed import Sprayed
from matchlib.correction.today import Today, film_words
from matchlib.correction.weighing import aside_words, learn

__all__ = [
    "Belief",
    "Card",
    "Sprayed",
    "Today",
    "aside_words",
    "film_words",
    "fresh_recipes",
    "learn",
]
