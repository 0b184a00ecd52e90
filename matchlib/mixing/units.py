"""Volumes, areas and lengths in the units a shop measures in, exactly.

Everything inside is in millilitres, square metres, millimetres, micrometres and grams; these
functions read and write them. The US gallon is 231 cubic inches and the inch 25.4 mm, exactly (NIST
Handbook 44, appendix C; NIST SP 811, appendix B), so every factor below is exact.
"""

from __future__ import annotations

import math
import re

from matchlib.errors import DomainError

__all__ = [
    "AREA_UNITS",
    "LENGTH_UNITS",
    "MICROMETRES_PER_MIL",
    "VOLUME_UNITS",
    "format_volume",
    "parse_area",
    "parse_length",
    "parse_volume",
    "positive",
]

#: Millilitres in a unit.
VOLUME_UNITS = {
    "ml": 1.0,
    "cl": 10.0,
    "l": 1000.0,
    "us fl oz": 29.5735295625,
    "us pint": 473.176473,
    "us quart": 946.352946,
    "us gal": 3785.411784,
}
#: Square metres in a unit.
AREA_UNITS = {"m2": 1.0, "cm2": 1e-4, "ft2": 0.09290304, "in2": 0.00064516}
#: Millimetres in a unit.
LENGTH_UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
#: A mil is a thousandth of an inch.
MICROMETRES_PER_MIL = 25.4

_NAMES = {
    "ml": "millilitre, milliliter, cc",
    "l": "litre, liter",
    "us fl oz": "floz, fl oz, us fluid ounce, fluid ounce, oz",
    "us pint": "us pt, pint, pt",
    "us quart": "quart, qt",
    "us gal": "gallon, gal, us gallon",
    "m2": "sq m, sqm, m²",
    "cm2": "cm²",
    "ft2": "sq ft, sqft, ft²",
    "in2": "in², sq in",
    "in": "inch, inche",
    "ft": "foot, feet",
    "mm": "millimetre",
    "cm": "centimetre",
    "m": "metre, meter",
}
_ALIASES = {name: unit for unit, names in _NAMES.items() for name in names.split(", ")}
# A decimal comma, but where it could part thousands.
_QUANTITY = re.compile(
    r"^\s*(?![1-9]\d{0,2},\d{3}(?!\d))(\d+(?:[.,]\d+)?|[.,]\d+)\s*([^\d\s.,].*?)\s*$"
)


def positive(
    value: float,
    what: str,
    *,
    top: float = math.inf,
    zero: bool = False,
    remedy: str = "check the number and its unit.",
) -> float:
    """Return a number that may be poured, measured or sprayed, or refuse it."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = math.nan
    if not math.isfinite(number) or number > top or number < 0 or (number == 0 and not zero):
        above = "0 or more" if zero else "more than 0"
        raise DomainError(
            f"This is not a possible {what}.",
            expected=above + ("" if math.isinf(top) else f", at most {top:g}"),
            got=str(value)[:40],
            remedy=remedy,
        )
    return number


def _unit(name: str, units: dict[str, float], what: str) -> str:
    words = re.sub(r"[\s.]+", " ", name.lower()).strip()
    for word in (words, words.removesuffix("s")):
        key = _ALIASES.get(word, word)
        if key in units:
            return key
    imperial = "imp" in words or words.startswith("uk")
    raise DomainError(
        f"This unit of {what} is not known.",
        expected=", ".join(units),
        got=repr(name[:40]),
        remedy="imperial measures are other than US ones: convert to millilitres first."
        if imperial
        else "write the number and one of these units.",
    )


def _parse(
    text: object, units: dict[str, float], what: str, example: str, *, zero: bool = False
) -> float:
    match = _QUANTITY.match(str(text)[:80])
    if match is None:
        raise DomainError(
            f"This {what} has no unit, or is no number.",
            expected=f"a number and its unit, such as {example}",
            got=repr(str(text)[:40]),
            remedy="write both; a unit is never guessed.",
        )
    number = positive(float(match[1].replace(",", ".")), what, zero=zero)
    return number * units[_unit(match[2], units, what)]


def parse_volume(text: object, *, zero: bool = False) -> float:
    """Read ``250 ml``, ``8 fl oz`` or ``0.5 us gal``.

    Parameters
    ----------
    text : object
        Number and unit; ounces, pints and gallons are US liquid measure.
    zero : bool
        Whether it may be nothing.

    Returns
    -------
    float
        Volume [mL].

    Raises
    ------
    DomainError
        If the unit is missing or unknown, or the number is not above 0.

    Examples
    --------
    >>> parse_volume("0.5 l")
    500.0
    """
    return _parse(text, VOLUME_UNITS, "volume", "250 ml or 8 fl oz", zero=zero)


def parse_area(text: object) -> float:
    """Read ``2 m2`` or ``20 sq ft``.

    Parameters
    ----------
    text : object
        Number and unit.

    Returns
    -------
    float
        Area [m²].

    Raises
    ------
    DomainError
        If the unit is missing or unknown, or the number is not above 0.

    Examples
    --------
    >>> parse_area("2 m2")
    2.0
    """
    return _parse(text, AREA_UNITS, "area", "2 m2 or 20 ft2")


def parse_length(text: object) -> float:
    """Read ``30 mm`` or ``4 ft``.

    Parameters
    ----------
    text : object
        Number and unit.

    Returns
    -------
    float
        Length [mm].

    Raises
    ------
    DomainError
        If the unit is missing or unknown, or the number is not above 0.

    Examples
    --------
    >>> parse_length("30 cm")
    300.0
    """
    return _parse(text, LENGTH_UNITS, "length", "300 mm or 4 ft")


def format_volume(ml: float, unit: str = "ml") -> str:
    """Write a volume with as many digits as a measuring cup can show.

    Parameters
    ----------
    ml : float
        Volume [mL], 0 or more.
    unit : str
        Unit to show it in.

    Returns
    -------
    str
        Number and unit, for example ``42 ml`` or ``1.4 us fl oz``.

    Examples
    --------
    >>> format_volume(250.0)
    '250 ml'
    """
    key = _unit(unit, VOLUME_UNITS, "volume")
    value = ml / VOLUME_UNITS[key]
    digits = 0 if value >= 99.95 else 1 if value >= 9.995 else 2 if value >= 0.9995 else 3
    if key == "ml":  # what a syringe shows
        digits = min(digits, 1 if value >= 0.995 else 2)
    elif 0 < value < 0.1:  # of a litre or gallon even a small pot keeps its ratio
        digits = min(2 - math.floor(math.log10(value)), 6)
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text} {key}"
