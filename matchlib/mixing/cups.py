"""Viscosity cups: one cup's seconds beside another's."""

from __future__ import annotations

import re
from dataclasses import dataclass

from matchlib.errors import DomainError
from matchlib.mixing.units import positive

__all__ = ["VISCOSITY_CUPS", "ViscosityCup", "drain_words", "viscosity"]


@dataclass(frozen=True, slots=True)
class ViscosityCup:
    """A flow cup: kinematic viscosity = slope (seconds - offset), within its range."""

    name: str  # the cup
    slope: float  # [mm²/s per s]
    offset: float  # [s]
    shortest: float  # least drain time for which it holds [s]
    longest: float  # and greatest [s]
    source: str  # where the law stands


#: At 25 °C, for liquids that flow like oils; thickened paint only compares with itself.
VISCOSITY_CUPS = (
    ViscosityCup("Zahn 1", 1.1, 29.0, 35.0, 80.0, "ASTM D4212"),
    ViscosityCup("Zahn 2", 3.5, 14.0, 20.0, 80.0, "ASTM D4212"),
    ViscosityCup("Zahn 3", 11.7, 7.5, 20.0, 80.0, "ASTM D4212"),
    ViscosityCup("Zahn 4", 14.8, 5.0, 20.0, 80.0, "ASTM D4212"),
    ViscosityCup("Zahn 5", 23.0, 0.0, 20.0, 80.0, "ASTM D4212"),
    # Law from memory, and confirmed by a printed calibration oil (230 mm2/s in 64 s); the range
    # of 20 to 100 s is that of ASTM D1200, 11.2.
    ViscosityCup("Ford 4", 3.85, 4.49, 20.0, 100.0, "ASTM D1200"),
)


def viscosity(seconds: float, *, cup: str) -> float:
    """Return the kinematic viscosity that a drain time shows.

    Parameters
    ----------
    seconds : float
        Drain time at 25 °C [s], within the cup's range.
    cup : str
        A name out of `VISCOSITY_CUPS`, such as ``Zahn 2``.

    Returns
    -------
    float
        Kinematic viscosity [mm²/s, which is cSt].

    Raises
    ------
    DomainError
        If the cup is unknown or the time outside its range.

    Examples
    --------
    >>> round(viscosity(20.0, cup="Ford 4"))
    60
    """
    law = _cup(cup)
    time = positive(seconds, "drain time [s]")
    if not law.shortest <= time <= law.longest:
        raise DomainError(
            f"The {law.name} cup says nothing at this drain time.",
            expected=f"{law.shortest:g} to {law.longest:g} s ({law.source})",
            got=f"{time:g} s",
            remedy="use the next cup whose time falls inside its range.",
        )
    return law.slope * (time - law.offset)


def _cup(name: str) -> ViscosityCup:
    known = {c.name.casefold(): c for c in VISCOSITY_CUPS}
    law = known.get(" ".join(str(name).replace("#", " ").split()).casefold())
    if law is None:
        raise DomainError(
            "This viscosity cup is not known.",
            expected=", ".join(c.name for c in VISCOSITY_CUPS),
            got=repr(str(name)[:40]),
            remedy="compare drain times of the same cup with the data sheet instead.",
        )
    return law


def drain_words(text: str) -> str:
    """Say what the data sheet's drain time is in the other cups.

    Parameters
    ----------
    text : str
        Seconds and cup, such as ``22 s Ford 4``.

    Returns
    -------
    str
        One sentence; cups out of whose range it falls are left out.

    Raises
    ------
    DomainError
        If it is not so written, or `viscosity` refuses it.

    Examples
    --------
    >>> drain_words("20 s Ford 4")
    '20 s in a Ford 4 cup is about 60 mm²/s: 31 s in a Zahn 2...'
    """
    match = re.match(r"^\s*(\d+(?:\.\d+)?)\s*s(?:ec(?:onds)?)?\.?,?\s+(.+?)\s*$", text)
    if match is None:
        raise DomainError(
            "This is not a drain time.",
            expected="seconds and the cup, such as 22 s Ford 4",
            got=repr(text[:40]),
            remedy="write it as the data sheet does.",
        )
    own, flow = _cup(match[2]), viscosity(float(match[1]), cup=match[2])
    others = [
        f"{flow / c.slope + c.offset:.0f} s in a {c.name}"
        for c in VISCOSITY_CUPS
        if c is not own and c.shortest <= flow / c.slope + c.offset <= c.longest
    ]
    elsewhere = ", ".join(others) or "out of the range of the other cups"
    return (
        f"{match[1]} s in a {own.name} cup is about {flow:.0f} mm²/s: {elsewhere}. At 25 °C, and "
        "for paint that flows as oil does; a thickened one only compares with itself."
    )
