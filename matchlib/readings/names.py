"""Names, ratios, schedules and viewings as files spell them; each text is read once and kept."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TypeVar

from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Viewing
from matchlib.domain.reading import ILLUMINANTS
from matchlib.errors import FileError

__all__ = ["read_blend", "read_ratio", "read_schedule", "read_viewing"]

_BlendT = TypeVar("_BlendT", Ground, Colour)
_PLACEHOLDERS = {"nan", "none", "null", "n/a", "na", "-", "--", "?", "#n/a", "tbd"}


@lru_cache(maxsize=4096)
def read_blend(kind: type[_BlendT], text: str, what: str) -> _BlendT | None:
    """Read a ground or colour.

    Parameters
    ----------
    kind : type
        `Ground` or `Colour`.
    text : str
        As written.
    what : str
        Name of the column, for the error.

    Returns
    -------
    Ground or Colour or None
        None where blank.

    Raises
    ------
    MatchlibError
        If it is no name, or stands for a missing one.
    """
    if not text:
        return None
    if text.casefold() in _PLACEHOLDERS:
        raise FileError(
            f"The {what} is {text!r}, which is no name.",
            expected=f"the name of the {what}"
            + (", or a blank cell for a bare ground" if what == "colour" else ""),
            remedy="write the name, or empty the cell.",
        )
    return kind.parse(text)


@lru_cache(maxsize=4096)
def read_schedule(text: str) -> CoatSchedule:
    """Read a schedule, as `CoatSchedule.parse`.

    Parameters
    ----------
    text : str
        As written.

    Returns
    -------
    CoatSchedule
        The coats.
    """
    return CoatSchedule.parse(text)


@lru_cache(maxsize=4096)
def read_ratio(text: str) -> MixRatio:
    """Read a mix ratio, as `MixRatio.parse`.

    Parameters
    ----------
    text : str
        As written.

    Returns
    -------
    MixRatio
        Carrier first.
    """
    return MixRatio.parse(text)


@lru_cache(maxsize=1024)
def read_viewing(illuminant: str, observer: str, geometry: str) -> Viewing:
    """Read a viewing in the spellings that instruments use.

    Parameters
    ----------
    illuminant, observer, geometry : str
        As written; ``d65``, ``10 deg`` and ``45/0`` are understood.

    Returns
    -------
    Viewing
        The viewing.

    Raises
    ------
    DomainError
        If one of them is not known.
    """
    by_name = {name.casefold(): name for name in ILLUMINANTS}
    field = re.sub(r"\s*(?:°|deg(?:rees?)?)$", "", observer.strip(), flags=re.IGNORECASE)
    return Viewing(
        by_name.get(illuminant.strip().casefold(), illuminant.strip()),
        field.removesuffix(".0"),
        "".join(geometry.split()).replace("/", ":").casefold(),
    )
