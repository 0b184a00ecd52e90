"""From a target to ranked recipes, within the shop's limits.

`suggest` is the one thing to call (`matchlib.suggest.fleet` for many targets at once); `Target`
and `Limits` are what it takes, `Suggestions` what it gives.
"""

from __future__ import annotations

from matchlib.suggest.limits import Limits
from matchlib.suggest.result import Suggestion, Suggestions
from matchlib.suggest.search import PREFERENCE, suggest
from matchlib.suggest.target import Aim, Target, surface_excess
from matchlib.suggest.tolerance import Tolerance

__all__ = [
    "PREFERENCE",
    "Aim",
    "Limits",
    "Suggestion",
    "Suggestions",
    "Target",
    "Tolerance",
    "suggest",
    "surface_excess",
]
