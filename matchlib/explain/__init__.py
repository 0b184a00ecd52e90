"""Why the model says so: each coat, what each change would do, what is near, where doubt is from.

All by the difference that an order names and at each of its angles; in ΔE00 where there is none.
"""

from matchlib.explain.coats import CoatReadings, clear_change, coat_readings
from matchlib.explain.explain import explain

__all__ = [
    "CoatReadings",
    "clear_change",
    "coat_readings",
    "explain",
]
