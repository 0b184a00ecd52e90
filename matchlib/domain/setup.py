"""What repeats a panel: how the gun was set and led, and which lots were in the pot."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from matchlib.domain.parts import clean_name, clean_text
from matchlib.errors import DomainError

__all__ = ["NO_SETUP", "USUAL_OVERLAP", "GunSetup", "lot_words", "lots_text", "read_lots"]

USUAL_OVERLAP = 75.0
"""How much of the stroke before each stroke covers on a transparent colour [%]: common practice, no
source."""

_LIMITS = {
    "tip": ("mm", 0.1, 5.0),
    "pressure": ("bar", 0.1, 10.0),
    "fan": ("mm", 5.0, 800.0),
    "distance": ("mm", 20.0, 800.0),
    "overlap": ("%", 0.0, 95.0),
}


@dataclass(frozen=True, slots=True)
class GunSetup:
    """How the gun was set and led; what was not noted is None.

    Parameters
    ----------
    gun : str
        Its name; empty where not noted.
    tip : float, optional
        Fluid tip [mm].
    pressure : float, optional
        Air at the gun, trigger drawn [bar].
    fan : float, optional
        Width of the fan on the work [mm].
    distance : float, optional
        Of the gun from the work [mm].
    overlap : float, optional
        Of each stroke with the one before [%].

    Examples
    --------
    >>> print(GunSetup(tip=1.2, pressure=2.0, overlap=75.0).words)
    tip 1.2 mm, pressure 2 bar, overlap 75%
    """

    gun: str = ""
    tip: float | None = None
    pressure: float | None = None
    fan: float | None = None
    distance: float | None = None
    overlap: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "gun", " ".join(clean_text(self.gun, "gun").split()))
        for name, (unit, low, high) in _LIMITS.items():
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise DomainError(
                    f"This {name} of the gun is not possible.",
                    expected=f"{low:g} to {high:g} {unit}",
                    got=f"{value:g}",
                    remedy="check the unit: 2 bar is 29 psi, 150 mm is 6 in; or leave it empty.",
                )

    @property
    def words(self) -> str:
        """What was noted, with units; empty where nothing was."""
        words = [self.gun] if self.gun else []
        for field in fields(self)[1:]:
            value = getattr(self, field.name)
            if value is not None:
                unit = _LIMITS[field.name][0]
                words.append(f"{field.name} {value:g}{'' if unit == '%' else ' '}{unit}")
        return ", ".join(words)


NO_SETUP = GunSetup()
"""Nothing was noted."""


def read_lots(text: str) -> tuple[tuple[str, str], ...]:
    """Read the lots of a pot's bottles.

    Parameters
    ----------
    text : str
        ``carrier: 12; honey: 4``; empty for none.

    Returns
    -------
    tuple of (str, str)
        Bottle and lot, in the order written.

    Raises
    ------
    DomainError
        If a piece has no bottle or no lot, or a bottle stands twice.

    Examples
    --------
    >>> read_lots("carrier: 12; honey: 4")
    (('carrier', '12'), ('honey', '4'))
    """
    found: dict[str, str] = {}
    for piece in filter(None, (p.strip() for p in text.split(";"))):
        name, _, lot = (p.strip() for p in piece.partition(":"))
        bottle = clean_name(name, "bottle") if name else ""
        if not bottle or not lot or bottle in found:
            raise DomainError(
                "These are not the lots of a pot.",
                expected="each bottle once with its lot, such as carrier: 12; honey: 4",
                got=repr(text[:80]),
                remedy="write bottle, colon, lot; part them by semicolons.",
            )
        found[bottle] = " ".join(clean_text(lot, "lot").split())
    return tuple(found.items())


def lot_words(lot: str) -> str:
    """Return a lot with the word before it, once: many write the word into its name.

    Parameters
    ----------
    lot : str
        As it is written on the bottle; empty where nobody knows.

    Returns
    -------
    str
        ``lot 12`` for ``12`` and for ``Lot 12``; empty for none.

    Examples
    --------
    >>> lot_words("12")
    'lot 12'
    """
    named = lot.casefold().startswith("lot")
    return f"lot {lot}" if lot and not named else lot[:1].lower() + lot[1:]


def lots_text(lots: tuple[tuple[str, str], ...]) -> str:
    """Return lots as `read_lots` reads them.

    Parameters
    ----------
    lots : tuple of (str, str)
        Bottle and lot.

    Returns
    -------
    str
        Empty for none.

    Examples
    --------
    >>> lots_text((("carrier", "12"), ("honey", "4")))
    'carrier: 12; honey: 4'
    """
    return "; ".join(f"{name}: {lot}" for name, lot in lots)
