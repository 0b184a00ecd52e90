"""From a target to ranked recipes, within the shop's limits.

`suggest` is the one thing to call (`matchlib.suggest.many` for many targets at once); `Target`
and `Limits` are what it takes, `Suggestions` what it gives.
"""

from __future__ import annotations

from matchlib.colorimetry import Tolerance
from matchlib.mixing import Limits
from matchlib.suggest.result import Suggestion, Suggestions
from matchlib.suggest.search import PREFERENCE, suggest
from matchlib.target import Aim, Target

__all__ = [
    "PREFERENCE",
    "Aim",
    "Limits",
    "Suggestion",
    "Suggestions",
    "Target",
    "Tolerance",
    "suggest",
]
