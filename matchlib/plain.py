"""The one way to plain data, and back: what JSON can hold, for all that is kept or shown.

Types of the trade go out as they are written: a ground as ``silver 3 + black 1``, a schedule as
``2@6:1 2@3:1``, a ratio as ``6:1``; what is as it usually is goes out not at all. Numbers keep
every digit.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from cattrs import Converter
from cattrs.errors import ForbiddenExtraKeysError

from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Recipe, Viewing, format_parts
from matchlib.errors import ArchiveError, MatchlibError

__all__ = [
    "dump",
    "from_plain",
    "load",
    "recipe_cells",
    "rounded_lab",
    "shown",
    "stored_as",
    "to_plain",
]

_T = TypeVar("_T")

_WRITTEN = (Ground, Colour, CoatSchedule, Recipe, Viewing)
"""What is shown as it is written."""

_converter = Converter(omit_if_default=True, forbid_extra_keys=True, detailed_validation=False)


def _register() -> None:
    # A shop sprays few recipes many times, and exact fractions are slow to build.
    for kind in (Ground, Colour, CoatSchedule, MixRatio):
        read = lru_cache(maxsize=4096)(kind.parse)
        _converter.register_unstructure_hook(kind, str)
        _converter.register_structure_hook(kind, lambda text, _, read=read: read(text))
    for day in (dt.datetime, dt.date):
        _converter.register_unstructure_hook(day, lambda value: value.isoformat())
        _converter.register_structure_hook(day, lambda text, kind: kind.fromisoformat(text))
    _converter.register_structure_hook_func(
        lambda kind: kind == tuple[float, ...], lambda values, _: tuple(map(float, values))
    )
    _converter.register_unstructure_hook_func(
        lambda kind: kind == tuple[float, ...],
        lambda values: tuple([float(v) + 0.0 for v in values]),
    )
    # An end of the mix ratio, which `Limits` turns into a number of parts.
    _converter.register_structure_hook_func(
        lambda kind: kind == MixRatio | str | float | int, lambda value, _: value
    )
    # Adding 0.0 makes -0.0 and 0.0, which are equal, also say the same.
    _converter.register_unstructure_hook(float, lambda value: float(value) + 0.0)


_register()


def to_plain(value: Any) -> Any:
    """Return what JSON can hold of a value."""
    return _converter.unstructure(value)


def from_plain(kind: type[_T], plain: Any) -> _T:
    """Return the value of plain data."""
    try:
        return _converter.structure(plain, kind)
    except MatchlibError:
        raise
    except (ForbiddenExtraKeysError, KeyError, ValueError, TypeError, AttributeError) as error:
        raise ArchiveError(
            f"This is no {kind.__name__.lower()}.",
            got=f"{type(error).__name__}: {str(error)[:150]}",
            remedy="it was written by another program, or is damaged.",
        ) from None


def dump(value: object) -> str:
    """Return the one compact JSON text of plain data."""
    return json.dumps(
        value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    )


def shown(value: Any) -> Any:
    """Return what JSON can hold of a result, for people and programs to read, not to be kept."""
    # `SHOWN` of a class names what is shown of it, or pairs of the name shown and where it is or
    # how it is made; what has no name brings its own.
    names = getattr(type(value), "SHOWN", None)
    if names is None and is_dataclass(value) and not isinstance(value, _WRITTEN):
        names = [field.name for field in fields(value)]
    if names is not None:
        pairs = [(name, name) if isinstance(name, str) else name for name in names]
        found: dict[str, Any] = {}
        for name, place in pairs:
            each = shown(_at(value, place))
            found |= {name: each} if name else each or {}
        return found
    if hasattr(value, "tolist"):  # NumPy's
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(key): shown(each) for key, each in value.items()}
    if isinstance(value, Iterable) and not isinstance(value, str | bytes):
        return [shown(each) for each in value]
    if isinstance(value, Fraction):
        return format_parts(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value) if isinstance(value, (Path, *_WRITTEN)) else value


def _at(value: Any, place: str | Callable[[Any], Any]) -> Any:
    """What stands at a place such as ``kept.ratio``; None where a part of the way is None."""
    if callable(place):
        return place(value)
    for name in place.split("."):
        value = None if value is None else getattr(value, name)
    return value


def recipe_cells(recipe: Recipe) -> dict[str, str | None]:
    """Return a recipe as it is shown: its four cells, null where a bare ground has nothing."""
    return {name: text or None for name, text in recipe.cells.items()}


def rounded_lab(lab: Iterable[float]) -> dict[str, float]:
    """Return CIELAB as it is shown where more digits would say nothing."""
    return dict(zip("Lab", (round(v, 3) for v in lab), strict=True))


def stored_as(value: Any) -> Any:
    """Return plain data as it comes back from JSON, where tuples are lists."""
    return load(dump(value))


def load(text: str | bytes) -> Any:
    """Return the plain data of a JSON text, however it was spoiled."""
    try:
        return json.loads(text)
    except (ValueError, TypeError, RecursionError) as error:
        raise ArchiveError(
            "This is not what was stored.",
            expected="JSON",
            got=f"{type(error).__name__}: {str(error)[:100]}",
            remedy="it was written by another program, or is damaged.",
        ) from None
