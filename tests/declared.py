"""Files whose light and geometry the caller says: D65, 10°, 45:0 where the file does not."""

from __future__ import annotations

from matchlib.domain import Viewing
from matchlib.readings import read_file as read_any

__all__ = ["read_file"]


def read_file(path, **more):
    """Read as the caller declares it; an answer or a viewing given here counts."""
    return read_any(path, **{"viewing": Viewing(), **more})
