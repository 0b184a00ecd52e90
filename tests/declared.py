"""Files whose light and geometry the caller says: D65, 10°, 45:0 where the file does not."""

from __future__ import annotations

import pytest

from matchlib.domain import Viewing
from matchlib.errors import MatchlibError
from matchlib.readings import read_file as read_any

__all__ = ["NM", "SEEN", "keys", "read_file", "refusal", "spectrum"]

NM = list(range(400, 701, 10))
SEEN = {"light": "D65/10", "geometry": "45:0"}


def read_file(path, **more):
    """Read as the caller declares it; an answer or a viewing given here counts."""
    return read_any(path, **{"viewing": Viewing(), **more})


def refusal(path, **more):
    """What a file is refused with."""
    with pytest.raises(MatchlibError) as caught:
        read_file(path, **more)
    return str(caught.value)


def keys(report):
    """The questions that a report leaves open."""
    return [q.key for q in report.open]


def spectrum(level, rise=0.3):
    """Reflectances of NM on a slope."""
    return [round(level + rise * i / len(NM), 4) for i in range(len(NM))]
