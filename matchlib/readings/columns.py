"""What the columns of a table mean, from their names alone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TypeVar

from matchlib.errors import FileError
from matchlib.readings.cells import read_text
from matchlib.readings.grid import MAX_COLUMNS

__all__ = ["KNOWN", "UNKNOWN", "Columns", "is_wavelength_column", "known_name", "read_scale"]

Name = TypeVar("Name", str, float)

KNOWN = (
    *("panel", "ground", "colour", "schedule", "ratio", "coats", "clear", "source"),
    *("illuminant", "observer", "geometry", "L", "a", "b", "X", "Y", "Z", "scale", "sd"),
    *("date", "sprayed", "sprayer", "lot", "batch", "note", "customer", "temperature"),
    *("humidity", "tile", "stage", "state", "instrument", "picture", "log"),
    *("gun", "tip", "pressure", "fan", "distance", "overlap", "lots", "clear_coats", "drawer"),
)
UNKNOWN = "unknown"
"""Written as the day of spraying where a reading has a day and the spraying has none."""
_ALIASES = {
    **{name.casefold(): name for name in KNOWN if name not in "XYZ"},
    **{"l*": "L", "a*": "a", "b*": "b", "lab_l": "L", "lab_a": "a", "lab_b": "b"},
    **{"cielab_l": "L", "cielab_a": "a", "cielab_b": "b"},
    **{"xyz_x": "X", "xyz_y": "Y", "xyz_z": "Z"},
    **{"color": "colour", "uncertainty": "sd"},
}
_SPECTRAL = re.compile(
    r"(?P<word>(?:spectral|spec|refl(?:ectance)?|rfl|nm|r)?[\s_]*(?:nm|dec|pct|r)?)[\s_]*"
    r"(?P<nm>[0-9]{1,5}(?:\.[0-9]{1,15})?)[\s_]*(?P<unit>nm|µm|μm|um|å)?\s*"
    r"(?P<scale>\(?\s*(?:%|percent|0\s?[-–]\s?1)\s*\)?)?",
    re.IGNORECASE,
)
_SCALES = {
    **dict.fromkeys(("unit", "0-1", "0–1", "0..1", "0 to 1", "decimal", "dec"), "unit"),
    **dict.fromkeys(("percent", "%", "pct", "0-100", "0–100", "per cent"), "percent"),
}


def read_scale(text: str, where: str) -> str:
    """Read a declared reflectance scale.

    Parameters
    ----------
    text : str
        ``0-1``, ``unit``, ``percent`` or ``%``.
    where : str
        Where it was declared, for the error.

    Returns
    -------
    str
        ``unit`` or ``percent``.

    Raises
    ------
    FileError
        If it is neither.
    """
    scale = _SCALES.get(" ".join(text.casefold().split()).strip("() "))
    if scale is None:
        raise FileError(
            f"The reflectance scale declared by {where} is not known.",
            expected="0-1 or percent",
            got=repr(text[:40]),
            remedy="declare 0-1 or percent.",
        )
    return scale


def known_name(header: str) -> str | None:
    """Return the column's name in the table of readings, or None for one without meaning.

    Parameters
    ----------
    header : str
        As written.

    Returns
    -------
    str or None
        One of `KNOWN`.
    """
    return _ALIASES.get("_".join(header.casefold().split()))


def is_wavelength_column(header: str) -> bool:
    """Whether a column lists wavelengths, so that each other column is a spectrum.

    Parameters
    ----------
    header : str
        Name of the leftmost column.

    Returns
    -------
    bool
        True for ``nm``, ``wavelength`` and the like.
    """
    name = re.sub(r"[\s_]*[\[(]?\s*nm\s*[\])]?$", "", header.casefold().strip())
    return name in ("", "wavelength", "wavelengths", "lambda", "wl") and bool(header.strip())


@dataclass(frozen=True, slots=True)
class Columns:
    """Which cell of a row holds what.

    Parameters
    ----------
    known : dict of str to int
        Position by known name.
    spectral : tuple of (float, int)
        Wavelength [nm] and position, rising.
    extra : tuple of (str, int)
        Columns kept as notes.
    scale : str, optional
        Reflectance scale declared in the names of the spectral columns.
    """

    known: dict[str, int]
    spectral: tuple[tuple[float, int], ...]
    extra: tuple[tuple[str, int], ...]
    scale: str | None

    @classmethod
    def of(cls, header: tuple[str, ...]) -> Columns:
        """Read a header.

        Parameters
        ----------
        header : tuple of str
            Names as written.

        Returns
        -------
        Columns
            What each means.

        Raises
        ------
        FileError
            If a name stands twice, or wavelengths are not in nm.
        """
        if len(header) > MAX_COLUMNS:
            raise FileError(
                "This table has too many columns.",
                expected=f"at most {MAX_COLUMNS:,}",
                got=f"{len(header):,}",
                remedy="export only the columns of the table of readings.",
            )
        known: dict[str, int] = {}
        spectral: dict[float, int] = {}
        outside: list[str] = []
        extra: dict[str, int] = {}
        scales: set[str] = set()
        for i, raw in enumerate(header):
            name = " ".join(read_text(raw, "header").split())
            if not name:
                continue
            if meaning := known_name(name):
                _once(known, meaning, i, header)
            elif match := _SPECTRAL.fullmatch(name) if len(name) <= 40 else None:
                nm = float(match["nm"])
                unit = (match["unit"] or "nm").casefold()
                good = unit == "nm" and 300 <= nm <= 900
                if good:
                    _once(spectral, nm, i, header)
                    scales |= _declared(match)
                elif match["unit"] or match["word"].casefold() != "r":
                    outside.append(name)
                else:  # R1, R2 … are some other numbering of the shop's
                    _once(extra, name, i, header)
            else:
                _once(extra, name, i, header)
        if outside:
            raise FileError(
                "These columns look like wavelengths, but not in nm.",
                expected="wavelengths from 300 to 900 nm, such as 400 … 700",
                got=", ".join(outside[:4]) + (" …" if len(outside) > 4 else ""),
                remedy="name spectral columns by their wavelength in nanometres, and give any "
                "other column a name in words.",
            )
        if len(scales) > 1:
            raise FileError(
                "Some spectral columns say percent and others 0-1.",
                remedy="declare one scale for the whole table.",
            )
        return cls(
            known, tuple(sorted(spectral.items())), tuple(extra.items()), next(iter(scales), None)
        )


def _declared(match: re.Match[str]) -> set[str]:
    word = match["word"].casefold()
    found = {"unit"} if "dec" in word else {"percent"} if "pct" in word else set()
    if match["scale"]:
        found.add("percent" if match["scale"].strip("() ").casefold() in "%percent" else "unit")
    return found


def _once(places: dict[Name, int], name: Name, i: int, header: tuple[str, ...]) -> None:
    if name in places:
        raise FileError(
            "Two columns have one name.",
            expected="each column once",
            got=f"{header[places[name]]!r} (column {places[name] + 1}) and {header[i]!r} "
            f"(column {i + 1})",
            remedy="delete or rename one of them.",
        )
    places[name] = i
