"""From a target to ranked recipes, within the shop's limits.

`suggest` is the one thing to call (`matchlib.suggest.many` for many targets at once). It takes a
`matchlib.target.Target` and `matchlib.mixing.Limits`, and gives `Suggestions`.
"""

from __future__ import annotations

from matchlib.suggest.result import Suggestion, Suggestions
from matchlib.suggest.search import PREFERENCE, suggest

__all__ = ["PREFERENCE", "Suggestion", "Suggestions", "suggest"]
