"""Why the model says so: what each change would do, what is near, where the doubt comes from.

All by the difference that an order names and at each of its angles; in ΔE00 where there is none.
"""

from matchlib.explain.explain import explain
from matchlib.explain.explanation import Change, Explanation, NearPanel, Shift

__all__ = ["Change", "Explanation", "NearPanel", "Shift", "explain"]
