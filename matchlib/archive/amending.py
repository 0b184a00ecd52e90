"""A panel as it is after something on its back, a stage or a reading was changed or taken out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from matchlib.domain import GunSetup, Panel, Reading, Recipe, Stage, Viewing
from matchlib.errors import ArchiveError
from matchlib.plain import from_plain, to_plain

__all__ = ["amended", "without"]


def _names(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind) if field.init)


_PANEL, _STAGE, _READING = _names(Panel), _names(Stage), _names(Reading)
_RECIPE, _VIEWING, _SETUP = _names(Recipe), _names(Viewing), _names(GunSetup)
_NUMBERS = ("temperature", "humidity", "sd", *(name for name in _SETUP if name != "gun"))
_LISTS = ("lab", "wavelengths", "reflectance")
_NEEDED = ("code", "stages", "recipe", "ground")
_OF_PARTS = ("stages", "recipe", "setup", "readings", "log", "lots", "extra", "viewing")


def amended(
    panel: Panel,
    changes: Mapping[str, Any],
    *,
    stage: int | None = None,
    reading: int | None = None,
) -> Panel:
    """Return a panel with fields changed."""
    plain = to_plain(panel)
    at = _place(panel, "stage", panel.stages, stage)
    own = plain["stages"][at]
    homes: dict[str, dict[str, Any]] = {}
    if reading is None:
        if stage is None:
            homes |= dict.fromkeys(_PANEL, plain)
        homes |= dict.fromkeys(_STAGE, own) | dict.fromkeys(_RECIPE, own["recipe"])
        homes |= dict.fromkeys(_SETUP, own.setdefault("setup", {}))
    else:
        read = own["readings"][_place(panel, "reading", panel.stages[at].readings, reading)]
        homes |= dict.fromkeys(_READING, read)
        homes |= dict.fromkeys(_VIEWING, read.setdefault("viewing", {}))
    unknown = sorted(set(changes) - set(homes))
    if unknown:
        raise ArchiveError(
            f"A {'panel' if reading is None else 'reading'} has no such field.",
            expected=", ".join(sorted(homes)),
            got=", ".join(unknown)[:200],
            remedy="name one of its fields.",
        )
    for name in sorted(changes, key=("stages", "recipe").__contains__, reverse=True):
        value = _value(name, changes[name])
        if value in (None, "", []) or (name == "clear" and value == "no"):
            if name in _NEEDED:
                raise ArchiveError(
                    f"A panel cannot be without its {name}.",
                    got="nothing",
                    where=f"panel {panel.code}",
                    remedy="write what is right, or remove the panel.",
                )
            homes[name].pop(name, None)
        else:
            homes[name][name] = value
        if name == "recipe":
            homes |= dict.fromkeys(_RECIPE, own["recipe"])
    try:
        return from_plain(Panel, plain)
    except ArchiveError as error:
        raise error.at(f"panel {panel.code}") from None


def without(panel: Panel, *, stage: int | None, reading: int | None) -> Panel:
    """Return a panel without one of its stages or readings."""
    at = _place(panel, "stage", panel.stages, stage)
    if reading is not None:
        left = list(panel.stages[at].readings)
        del left[_place(panel, "reading", left, reading)]
        stages = [*panel.stages]
        stages[at] = replace(stages[at], readings=tuple(left))
        return replace(panel, stages=tuple(stages))
    if len(panel.stages) == 1:
        raise ArchiveError(
            f"Panel {panel.code} has one stage only.",
            got=f"stage {at + 1} to be removed",
            remedy="remove the panel.",
        )
    return replace(panel, stages=panel.stages[:at] + panel.stages[at + 1 :])


def _place(panel: Panel, what: str, held: Sequence[object], number: int | None) -> int:
    """Where a stage or reading stands among those of the panel; the last without a number."""
    count = len(held)
    if number is None:
        number = count
    if not 1 <= number <= count:
        raise ArchiveError(
            f"Panel {panel.code} has no {what} of this number.",
            expected=f"1 to {count}" if count else f"none, for it has no {what}",
            got=str(number)[:40],
            remedy="see the panel for its stages and readings.",
        )
    return number - 1


def _value(name: str, value: Any) -> Any:
    if not isinstance(value, str):
        return to_plain(value)
    text = value.strip()
    if text and name in _OF_PARTS:
        raise ArchiveError(
            f"The {name} of a panel are not written as one text.",
            got=repr(text[:80]),
            remedy="amend what they are made of by its own names; readings and coats are added "
            "with a table or with 'workbook add --on-top'.",
        )
    if not text or name not in (*_NUMBERS, *_LISTS):
        return text
    try:
        numbers = [float(part) for part in text.replace(",", " ").split()]
        if name in _NUMBERS:
            (number,) = numbers
            return number
    except ValueError:
        raise ArchiveError(
            f"This {name} is not as it should be.",
            expected="one number" if name in _NUMBERS else "numbers with blanks between them",
            got=repr(text[:80]),
            remedy="write digits, with a point for the decimals.",
        ) from None
    return numbers
