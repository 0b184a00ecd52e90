"""Panels and readings to plain records and back, exactly, and the digests of what they say.

Numbers are kept as the shortest digits that give the same 64-bit float back; parts and ratios as
exact fractions. A digest covers what a fit can depend on: the code, the recipe, date, sprayer, lot
and the readings; not notes, customers or booth climate.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import lru_cache
from typing import Any, TypeVar

from matchlib.domain import (
    Blend,
    CoatSchedule,
    CoatStep,
    Colour,
    Ground,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Viewing,
)
from matchlib.domain.parts import MAX_PARTS
from matchlib.errors import ArchiveError

__all__ = [
    "PANEL_FIELDS",
    "dump",
    "panel_digest",
    "panel_of",
    "panel_record",
    "reading_digest",
    "reading_of",
    "reading_record",
    "recipe_of",
    "words_of",
]

_B = TypeVar("_B", bound=Blend)

PANEL_FIELDS = (
    "ground",
    "colour",
    "schedule",
    "clear",
    "date",
    "sprayer",
    "lot",
    "note",
    "customer",
    "temperature",
    "humidity",
    "extra",
)
"""Columns of a panel that can be amended, readings and code apart."""


def dump(value: object) -> str:
    """Return the one compact JSON text of a value.

    Parameters
    ----------
    value : object
        Anything JSON can hold; no NaN.

    Returns
    -------
    str
        Keys sorted, no blanks, letters as they are.
    """
    return json.dumps(
        value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    )


def panel_record(panel: Panel) -> dict[str, Any]:
    """Return the stored columns of a panel, its readings apart.

    Parameters
    ----------
    panel : Panel
        The panel.

    Returns
    -------
    dict
        Column to value, as in the table ``panels``.

    Raises
    ------
    ArchiveError
        If its ratio is too fine to be written down and read back exactly.
    """
    recipe = panel.recipe
    return {
        "code": panel.code,
        "ground": _blend_text(recipe.ground),
        "colour": None if recipe.colour is None else _blend_text(recipe.colour),
        "schedule": None if recipe.schedule is None else _schedule_text(recipe.schedule),
        "clear": recipe.clear,
        "date": None if panel.date is None else panel.date.isoformat(),
        "sprayer": panel.sprayer,
        "lot": panel.lot,
        "note": panel.note,
        "customer": panel.customer,
        "temperature": None if panel.temperature is None else float(panel.temperature),
        "humidity": None if panel.humidity is None else float(panel.humidity),
        "extra": dump([list(pair) for pair in panel.extra]),
    }


def panel_of(row: Mapping[str, Any], readings: Iterable[Reading]) -> Panel:
    """Return the panel of a stored row.

    Parameters
    ----------
    row : mapping
        As made by `panel_record`.
    readings : iterable of Reading
        Its readings in order.

    Returns
    -------
    Panel
        Equal to the one that was stored.
    """
    return Panel(
        code=row["code"],
        recipe=recipe_of(row["ground"], row["colour"], row["schedule"], row["clear"]),
        readings=tuple(readings),
        date=None if row["date"] is None else dt.date.fromisoformat(row["date"]),
        sprayer=row["sprayer"],
        lot=row["lot"],
        note=row["note"],
        customer=row["customer"],
        temperature=row["temperature"],
        humidity=row["humidity"],
        extra=() if row["extra"] == "[]" else tuple((k, v) for k, v in json.loads(row["extra"])),
    )


# A shop sprays few recipes many times, and exact fractions are slow to build.
@lru_cache(maxsize=16384)
def recipe_of(ground: str, colour: str | None, schedule: str | None, clear: str | None) -> Recipe:
    """Return the recipe of stored columns.

    Parameters
    ----------
    ground, colour, schedule, clear : str, optional
        As stored.

    Returns
    -------
    Recipe
        Equal to the one that was stored.
    """
    return Recipe(
        ground=_blend(Ground, ground),
        colour=None if colour is None else _blend(Colour, colour),
        schedule=None if schedule is None else _schedule(schedule),
        clear=clear,
    )


def reading_record(reading: Reading) -> dict[str, Any]:
    """Return the stored columns of a reading, with its digest.

    Parameters
    ----------
    reading : Reading
        Lab or a spectrum.

    Returns
    -------
    dict
        Column to value, as in the table ``readings``.
    """
    record: dict[str, Any] = {
        "source": reading.source,
        "illuminant": reading.viewing.illuminant,
        "observer": reading.viewing.observer,
        "geometry": reading.viewing.geometry,
        "lab": None if reading.lab is None else _floats_text(reading.lab),
        "wavelengths": _floats_text(reading.wavelengths) if reading.spectral else None,
        "reflectance": _floats_text(reading.reflectance) if reading.spectral else None,
        "sd": None if reading.sd is None else float(reading.sd),
    }
    record["digest"] = reading_digest(record)
    return record


def reading_of(row: Mapping[str, Any]) -> Reading:
    """Return the reading of a stored row.

    Parameters
    ----------
    row : mapping
        As made by `reading_record`.

    Returns
    -------
    Reading
        Equal to the one that was stored.
    """
    viewing = _viewing(row["illuminant"], row["observer"], row["geometry"])
    if row["lab"] is not None:
        light, a, b = json.loads(row["lab"])
        return Reading(viewing, row["source"], lab=(light, a, b), sd=row["sd"])
    return Reading(
        viewing,
        row["source"],
        wavelengths=_wavelengths(row["wavelengths"]),
        reflectance=tuple(json.loads(row["reflectance"])),
        sd=row["sd"],
    )


def reading_digest(record: Mapping[str, Any]) -> str:
    """Return the SHA-256 of what a reading says.

    Parameters
    ----------
    record : mapping
        As made by `reading_record`; illuminant and observer count for Lab alone.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    spectral = record["lab"] is None
    said = [
        record["source"],
        None if spectral else [record["illuminant"], record["observer"]],
        record["geometry"],
        record["lab"],
        record["wavelengths"],
        record["reflectance"],
        record["sd"],
    ]
    return hashlib.sha256(dump(said).encode()).hexdigest()


def panel_digest(record: Mapping[str, Any], reading_digests: Iterable[str]) -> str:
    """Return the SHA-256 of what a fit can depend on in a panel.

    Parameters
    ----------
    record : mapping
        As made by `panel_record`. Names count without regard to capitals, blends by proportion.
    reading_digests : iterable of str
        In any order; repeats count.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    recipe = recipe_of(record["ground"], record["colour"], record["schedule"], record["clear"])
    said = [
        record["code"],
        _key(recipe.ground),
        None if recipe.colour is None else _key(recipe.colour),
        None if recipe.schedule is None else _schedule_text(recipe.schedule),
        None if recipe.clear is None else recipe.clear.casefold(),
        record["date"],
        record["sprayer"],
        record["lot"],
        sorted(reading_digests),
    ]
    return hashlib.sha256(dump(said).encode()).hexdigest()


def words_of(column: str, text: str) -> str:
    """Return a stored column of a panel as a reader would write it.

    Parameters
    ----------
    column : str
        One of `PANEL_FIELDS`.
    text : str
        As stored.

    Returns
    -------
    str
        For example ``silver 3 + black 1`` or ``4@6:1``.
    """
    if column == "ground":
        return str(_blend(Ground, text))
    if column == "colour":
        return str(_blend(Colour, text))
    if column == "schedule":
        return str(_schedule(text))
    if column == "extra":
        return ", ".join(f"{name} {value}" for name, value in json.loads(text))
    return text


def _floats_text(values: Iterable[float]) -> str:
    # Adding 0.0 makes -0.0 and 0.0, which are equal, also say the same.
    return dump([float(v) + 0.0 for v in values])


def _blend_text(blend: Blend) -> str:
    return dump([[name, str(parts)] for name, parts in blend.parts])


def _key(blend: Blend) -> list[list[str]]:
    return [[name, str(share)] for name, share in blend.key]


@lru_cache(maxsize=4096)
def _schedule_text(schedule: CoatSchedule) -> str:
    steps = []
    for step in schedule.steps:
        ratio = step.ratio
        share = ratio.carrier / ratio.colour
        if share > MAX_PARTS or share.denominator > MAX_PARTS:
            raise ArchiveError(
                "This mix ratio is too fine to be kept exactly.",
                expected=f"whole parts up to {MAX_PARTS}",
                got=str(ratio),
                remedy="round the parts to what was measured.",
            )
        steps.append([step.coats, str(ratio.carrier), str(ratio.colour)])
    return dump(steps)


@lru_cache(maxsize=4096)
def _viewing(illuminant: str, observer: str, geometry: str) -> Viewing:
    return Viewing(illuminant, observer, geometry)


@lru_cache(maxsize=256)
def _wavelengths(text: str) -> tuple[float, ...]:
    return tuple(json.loads(text))


def _blend(kind: type[_B], text: str) -> _B:
    return kind(tuple((name, Fraction(parts)) for name, parts in json.loads(text)))


@lru_cache(maxsize=4096)
def _schedule(text: str) -> CoatSchedule:
    return CoatSchedule(
        # By the carrier to one of colour, for a side alone may exceed what a ratio takes.
        tuple(
            CoatStep(n, MixRatio(Fraction(c) / Fraction(k), Fraction(1)))
            for n, c, k in json.loads(text)
        )
    )
