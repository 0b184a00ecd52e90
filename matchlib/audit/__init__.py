"""What looks wrong in the archive, why, and what would put it right.

Backs with a slip of the pen, readings that no recipe explains, panels entered twice, and film that
drifts. Each finding carries its evidence: how likely the reading is as written and as proposed,
with the panel itself left out of the fit, so that a wrong back cannot defend itself.
"""

from __future__ import annotations

from matchlib.audit.excluded import excluded, excluded_words
from matchlib.audit.finding import Finding
from matchlib.audit.gaps import gaps
from matchlib.audit.whole import audit

__all__ = [
    "Finding",
    "audit",
    "excluded",
    "excluded_words",
    "gaps",
]
