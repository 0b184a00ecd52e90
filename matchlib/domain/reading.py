"""A reading of a panel, and how it was viewed."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import SupportsFloat

from matchlib.domain.parts import clean_text
from matchlib.errors import DomainError

__all__ = [
    "BEFORE_CLEAR",
    "COARSEST",
    "ILLUMINANTS",
    "NEEDED",
    "OBSERVERS",
    "SOURCES",
    "STATES",
    "Lab",
    "NotWholeError",
    "Reading",
    "Viewing",
    "geometries_by_use",
    "three",
]

Lab = tuple[float, float, float]
"""CIELAB as plain numbers: L*, a*, b*."""

SOURCES = ("spectrophotometer", "photo")
ILLUMINANTS = ("D65", "D50", "A", "F2", "F11", "LED-B3")
OBSERVERS = ("2", "10")
BEFORE_CLEAR = "before clear"
"""State of a reading taken before the clear coat of its recipe was on."""

STATES = (BEFORE_CLEAR, "cleared", "polished", "aged")
COARSEST = 20.0
"""Widest interval of a spectrum from which colour may be computed (ASTM E308) [nm]."""

NEEDED = 400.0, 700.0
"""What a spectrum must cover, but for one interval at each end [nm]."""

_ONE_NAME = {"0:45": "45:0", "8:di": "di:8", "8:de": "de:8", "8:d": "d:8", "0:d": "d:0"}
_GEOMETRY = re.compile(r"^(45:0|0:45|(?:di|de|d):[08]|[08]:(?:di|de|d)|photo|45as(-?\d{1,3}))$")


def three(values: Iterable[SupportsFloat]) -> Lab:
    """Return three numbers, such as a row of an array, as plain ones.

    Parameters
    ----------
    values : iterable of float
        Three of them.

    Returns
    -------
    tuple of 3 float
        The same.

    Examples
    --------
    >>> import numpy as np
    >>> three(np.array([50.0, 1.0, 2.0]))
    (50.0, 1.0, 2.0)
    """
    first, second, third = (float(v) for v in values)
    return first, second, third


@dataclass(frozen=True, slots=True, order=True)
class Viewing:
    """Light, observer and geometry under which a reading holds.

    Parameters
    ----------
    illuminant : str
        CIE illuminant: one of `ILLUMINANTS`.
    observer : str
        Field of the CIE standard observer [degree]: ``2`` or ``10``.
    geometry : str
        ``45:0``, ``di:8`` (specular included), ``de:8`` (excluded), an aspecular angle such as
        ``45as15`` (illumination at 45 degrees, ASTM E2539), or ``photo``: as a camera saw it in
        whatever light there was, which is no instrument's geometry.

    Examples
    --------
    >>> print(Viewing(illuminant="A", geometry="45as15"))
    A/10° 45as15
    """

    illuminant: str = "D65"
    observer: str = "10"
    geometry: str = "45:0"

    def __post_init__(self) -> None:
        observer = str(self.observer).rstrip("°")
        match = _GEOMETRY.fullmatch(str(self.geometry))
        angle = int(match[2]) if match and match[2] else 0
        for what, value, expected, good in (
            ("illuminant", self.illuminant, ", ".join(ILLUMINANTS), self.illuminant in ILLUMINANTS),
            ("observer", self.observer, "2 or 10 (degrees)", observer in OBSERVERS),
            (
                "geometry",
                self.geometry,
                "45:0, di:8, de:8, photo, or an aspecular angle from 45as-20 to 45as110",
                match is not None and -20 <= angle <= 110,
            ),
        ):
            if not good:
                raise DomainError(
                    f"This {what} is not known.",
                    expected=expected,
                    got=repr(value),
                    remedy="write what the instrument was set to.",
                )
        object.__setattr__(self, "observer", observer)
        if match and match[2]:
            object.__setattr__(self, "geometry", f"45as{angle}")  # 45as015 is 45as15

    @property
    def aspecular(self) -> int | None:
        """Aspecular angle [degree], or None for a geometry that has none."""
        return int(self.geometry[4:]) if self.geometry.startswith("45as") else None

    @property
    def canonical(self) -> Viewing:
        """The same with its geometry's one name: light and eye may change places (Helmholtz)."""
        name = _ONE_NAME.get(self.geometry)
        return self if name is None else replace(self, geometry=name)

    @property
    def specular_included(self) -> bool:
        """Whether the gloss of the surface is in the reading."""
        return "di" in self.geometry

    def __str__(self) -> str:
        return f"{self.illuminant}/{self.observer}° {self.geometry}"


def geometries_by_use(viewings: Iterable[Viewing]) -> list[str]:
    """Return the geometries of viewings, the usual first."""
    read: Counter[tuple[float, str]] = Counter()
    for view, count in Counter(viewings).items():
        # Of angles read as often, the one nearest to how most instruments read: not the flop.
        off = 0.0 if view.aspecular is None else abs(view.aspecular - 45.0)
        read[off, view.geometry] += count
    return [geometry for _, geometry in sorted(read, key=lambda one: (-read[one], *one))]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: Lab, or a reflectance spectrum, never both.

    Parameters
    ----------
    viewing : Viewing
        How it was viewed. For a spectrum only the geometry matters.
    source : str
        ``spectrophotometer`` or ``photo``.
    lab : tuple of 3 float, optional
        CIELAB under the viewing; L* 0 to 100 (to 200 at an aspecular angle, where flake can
        outshine the white reference), a* and b* within 200.
    wavelengths : tuple of float, optional
        Wavelengths [nm], rising, 300 to 900.
    reflectance : tuple of float, optional
        Reflectance factor [-], -0.01 to 1.3 (to 10 at an aspecular angle).
    sd : float, optional
        The reading's own standard uncertainty per Lab axis [ΔE*ab], if the source states one;
        the root mean square over the axes where `covariance` is given.
    covariance : tuple of 3 tuples of 3 float, optional
        Covariance of L*, a* and b* [ΔE*ab²], where the source knows more than `sd`.
    date : datetime.date, optional
        Read on, where that is not the day of spraying.
    instrument : str
        The instrument's name; empty where not known.
    state : str
        What the surface was when it was read: one of `STATES`; empty for as the recipe says.
    picture : str
        Name of a picture kept with the panel; empty for none.

    Examples
    --------
    >>> reading = Reading(lab=(36.6, 36.7, 8.7), instrument="bench")
    >>> print(reading.viewing)
    D65/10° 45:0
    >>> Reading(lab=(140, 0, 0))
    Traceback (most recent call last):
        ...
    matchlib.errors.DomainError: This is not a possible Lab reading. Expected L from 0 to 100...
    """

    viewing: Viewing = field(default_factory=Viewing)
    source: str = "spectrophotometer"
    lab: tuple[float, float, float] | None = None
    wavelengths: tuple[float, ...] = ()
    reflectance: tuple[float, ...] = ()
    sd: float | None = None
    covariance: tuple[tuple[float, float, float], ...] | None = None
    date: dt.date | None = None
    instrument: str = ""
    state: str = ""
    picture: str = ""

    def __post_init__(self) -> None:
        if self.covariance is not None:
            _check_covariance(self.covariance)
            mean = sum(self.covariance[i][i] for i in range(3)) / 3.0
            object.__setattr__(self, "sd", math.sqrt(mean))
        if self.source not in SOURCES:
            raise DomainError(
                "This source of a reading is not known.",
                expected=" or ".join(SOURCES),
                got=repr(self.source),
                remedy="say how it was read; an estimate from a photograph never counts as an "
                "instrument's.",
            )
        if self.source == "photo" and self.viewing.geometry != "photo":
            # Whatever light and camera were at, it was no instrument's geometry.
            object.__setattr__(self, "viewing", replace(self.viewing, geometry="photo"))
        elif self.source != "photo" and self.viewing.geometry == "photo":
            raise DomainError(
                "Only a photograph has the geometry of one.",
                expected="source photo, or an instrument's geometry such as 45:0",
                got=f"{self.source}, geometry photo",
                remedy="write photo as the source, or what the instrument was set to.",
            )
        if (self.lab is None) == (not self.reflectance):
            raise DomainError(
                "A reading is either Lab or a spectrum.",
                expected="L, a and b, or reflectances by wavelength",
                got="both" if self.lab else "neither",
                remedy="fill in L, a, b or the spectral columns.",
            )
        for what in ("instrument", "picture"):
            object.__setattr__(self, what, clean_text(getattr(self, what), what))
        state = " ".join(str(self.state).casefold().split())
        if state not in ("", *STATES):
            raise DomainError(
                "This state of a panel's surface is not known.",
                expected=", ".join(STATES),
                got=repr(str(self.state)[:40]),
                remedy="leave it empty if the panel was read as its recipe says.",
            )
        object.__setattr__(self, "state", state)
        if self.sd is not None and not (math.isfinite(self.sd) and 0 < self.sd <= 50):
            raise DomainError(
                "This uncertainty of a reading is not possible.",
                expected="more than 0 and at most 50",
                got=f"{self.sd}",
                remedy="leave it out if it is not known.",
            )
        if self.lab is not None:
            _check_lab(self.lab, self.viewing)
        else:
            _check_spectrum(self.wavelengths, self.reflectance, self.viewing)

    @property
    def spectral(self) -> bool:
        """Whether it is a spectrum."""
        return self.lab is None


class NotWholeError(DomainError):
    """A spectrum from which no colour can be computed."""


def _check_covariance(rows: tuple[tuple[float, float, float], ...]) -> None:
    good = len(rows) == 3 and all(len(r) == 3 and all(map(math.isfinite, r)) for r in rows)
    if good:
        (a, b, c), (d, e, f), (g, h, i) = rows
        size = max(a, e, i)
        near = 1e-9 * size
        alike = max(abs(b - d), abs(c - g), abs(f - h)) <= near
        # A symmetric matrix has no negative direction if none of its principal minors is negative.
        minors = (a, e, i, a * e - b * d, a * i - c * g, e * i - f * h)
        whole = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
        good = alike and min(minors) >= -near * size and whole >= -near * size**2
    if not good:
        raise DomainError(
            "This covariance of a reading is not possible.",
            expected="three rows of three numbers, symmetric, no variance negative",
            got=repr(rows)[:120],
            remedy="leave it out if it is not known.",
        )


def _check_lab(lab: tuple[float, float, float], viewing: Viewing) -> None:
    top = 100.0 if viewing.aspecular is None else 200.0
    finite = len(lab) == 3 and all(math.isfinite(v) for v in lab)
    if not finite or not 0 <= lab[0] <= top or max(abs(lab[1]), abs(lab[2])) > 200:
        raise DomainError(
            "This is not a possible Lab reading.",
            expected=f"L from 0 to {top:g}, a and b from -200 to 200",
            got="L {}, a {}, b {}".format(*lab) if len(lab) == 3 else repr(lab),
            remedy="check the decimal point and the order of the columns, and read the panel again "
            "if the number is the instrument's.",
        )


def _check_spectrum(nm: tuple[float, ...], values: tuple[float, ...], viewing: Viewing) -> None:
    top = 1.3 if viewing.aspecular is None else 10.0
    if len(nm) != len(values) or len(nm) < 4:
        raise DomainError(
            "This spectrum is not whole.",
            expected="at least 4 wavelengths and as many reflectances",
            got=f"{len(nm)} wavelengths and {len(values)} reflectances",
            remedy="export the reading again with every wavelength.",
        )
    if not all(300 <= w <= 900 for w in nm) or any(b <= a for a, b in pairwise(nm)):
        raise DomainError(
            "These are not wavelengths in nm.",
            expected="rising numbers within 300 to 900",
            got=f"{nm[0]:g} … {nm[-1]:g}",
            remedy="give wavelengths in nanometres.",
        )
    steps = [(b - a, a, b) for a, b in pairwise(nm)]
    widest, start, end = max(steps)
    if widest > COARSEST + 1e-6:
        raise NotWholeError(
            "The spectrum has too wide a gap to be interpolated.",
            expected=f"a reflectance at least every {COARSEST:g} nm (ASTM E308)",
            got=f"nothing between {start:g} and {end:g} nm",
            remedy="export the whole spectrum, or give L, a, b instead.",
        )
    low, high = NEEDED
    if nm[0] - steps[0][0] > low or nm[-1] + steps[-1][0] < high:
        raise NotWholeError(
            "The spectrum does not reach far enough.",
            expected=f"{low:g} to {high:g} nm, at most one interval missing at an end",
            got=f"{nm[0]:g} to {nm[-1]:g} nm",
            remedy="export the whole spectrum; what was not measured is not guessed.",
        )
    if not all(math.isfinite(v) and -0.01 <= v <= top for v in values):
        worst = max(values, key=lambda v: abs(v) if math.isfinite(v) else math.inf)
        raise DomainError(
            "This spectrum holds an impossible reflectance.",
            expected=f"0 to 1 (at most {top:g})",
            got=f"{worst:g}",
            remedy="declare percent if the file is in percent.",
        )
