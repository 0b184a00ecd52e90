"""How a panel was sprayed, as numbers: with the units that people write beside them."""

from __future__ import annotations

import re

from matchlib.errors import FileError
from matchlib.readings._cells import read_text
from matchlib.readings._grid import Cell, Row
from matchlib.readings._lookup import Lookup
from matchlib.readings.questions import Choice, Question

__all__ = ["ConditionReader"]

_SHARE = {"": 1.0, "%": 1.0}
_LENGTH = {"": 1.0, "mm": 1.0, "cm": 10.0, "in": 25.4, "inch": 25.4, '"': 25.4}
_UNITS: dict[str, dict[str, float]] = {
    "humidity": {**_SHARE, "rh": 1.0, "%rh": 1.0, "%r.h.": 1.0},
    "overlap": _SHARE,
    # 1 psi is 6.894757 kPa: NIST SP 811 (2008), appendix B.8
    "pressure": {"": 1.0, "bar": 1.0, "psi": 0.06894757, "kpa": 0.01, "mpa": 10.0},
    **dict.fromkeys(("tip", "fan", "distance"), _LENGTH),
}
_WRITTEN = re.compile(r"\s*([+\-−]?\d[\d.,]*)\s*([^\d\s.,][^\d]*)?", re.DOTALL)
_HOT = 45.0  # °C; no booth is sprayed in above


class ConditionReader:
    """Reads the conditions of the rows of one table; `assumed` says of which rows what was."""

    measured = frozenset(_UNITS)

    def __init__(self, lookup: Lookup) -> None:
        self.lookup = lookup
        self.assumed: dict[str, list[int]] = {}

    def quantity(self, row: Row, name: str) -> float | None:
        """Return a condition in our own unit [%, bar or mm]; None where blank."""
        cell = self.lookup.cell(row, name)
        if cell is None:
            return None
        number, unit = _apart(cell)
        value, factors = self.lookup.number(number, name), _UNITS[name]
        if unit not in factors:
            raise FileError(
                f"The unit of the {name} is not known.",
                expected=" or ".join(u for u in factors if u),
                got=repr(read_text(cell, name)[:40]),
                remedy="write it in one of these.",
            )
        if unit:
            return value * factors[unit]
        if "%" in factors and self.lookup.as_share(name):
            self.assumed.setdefault(f"the {name} was taken as a part of 1", []).append(row.number)
            return 100.0 * value
        return value * factors.get(_folded(self.lookup.columns.units.get(name, "")), 1.0)

    def temperature(self, row: Row) -> float | None:
        """Return the booth's temperature [°C]; whether it was in °F is asked where it may be."""
        lookup, cell = self.lookup, self.lookup.cell(row, "temperature")
        if cell is None:
            return None
        number, unit = _apart(cell)
        value = lookup.number(number, "temperature")
        if "temperature" not in lookup.columns.known or lookup.columns.ours:
            return value
        words = (
            lookup.table.header[lookup.columns.known["temperature"]],
            lookup.columns.units.get("temperature", ""),
        )
        units = re.findall(r"[a-z]+", (unit or " ".join(words)).casefold())
        if "f" in units or "fahrenheit" in units:
            return (value - 32) / 1.8
        if value < _HOT or unit:
            return value
        celsius = ", though the column says °C" if {"c", "celsius"} & set(units) else ""
        question = Question(
            "temperature",
            f"Some booth temperatures are above {_HOT:g}{celsius}. Are they in °F?",
            [
                Choice("F", "yes, °F", f"{lookup.where(row)}: {(value - 32) / 1.8:.1f} °C"),
                Choice("C", "no, °C", f"{lookup.where(row)}: {value:g} °C"),
            ],
        )
        return (value - 32) / 1.8 if lookup.asking.answer(question, row.number) == "F" else value


def _apart(cell: Cell) -> tuple[Cell, str]:
    if not isinstance(cell, str) or not (match := _WRITTEN.fullmatch(cell)):
        return cell, ""
    return match[1], _folded(match[2] or "")


def _folded(unit: str) -> str:
    return "".join(unit.casefold().replace("°", "").split()).removesuffix(".")
