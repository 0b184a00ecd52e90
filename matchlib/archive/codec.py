"""Panels and readings to stored rows and back, exactly, and the digests of what they say.

A panel is stored as the plain data of `matchlib.plain`, its readings apart. The history holds its
fields by name, each stage's with the stage's number before it. A digest covers what a fit can
depend on: not notes, customers, booth climate or pictures.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from matchlib.domain import CoatSchedule, Panel, name_key
from matchlib.domain.blend import Blend
from matchlib.plain import dump, from_plain, load, to_plain

__all__ = [
    "StoredReading",
    "panel_digest",
    "panel_fields",
    "panel_of",
    "panel_of_fields",
    "panel_text",
    "parts_of",
    "reading_digest",
    "row_of",
    "stages_of_fields",
]

StoredReading = tuple[int, dict[str, Any]]
"""Number of the stage, and the reading as plain data."""

_RECIPE = ("ground", "colour", "schedule", "clear")
_STAGE_FIELD = re.compile(r"stage (\d+) (\w+)")


def panel_text(panel: Panel) -> str:
    """Return a panel as it is stored, without its readings."""
    return dump(parts_of(panel)[0])


def parts_of(panel: Panel) -> tuple[dict[str, Any], list[StoredReading]]:
    """Return a panel and its readings as they are stored."""
    plain: dict[str, Any] = to_plain(panel)
    readings: list[StoredReading] = []
    for number, stage in enumerate(plain["stages"], 1):
        readings += [(number, reading) for reading in stage.pop("readings", ())]
    return plain, readings


def row_of(panel: Panel) -> tuple[dict[str, Any], list[tuple[int, dict[str, Any], str]]]:
    """Return what the row of a panel holds, and its readings: stage, plain data, digest."""
    plain, readings = parts_of(panel)
    own = [(stage, reading, reading_digest(reading)) for stage, reading in readings]
    digest = panel_digest(panel, [(stage, digest) for stage, _, digest in own])
    return {"code": panel.code, "data": dump(plain), "digest": digest}, own


def panel_of(text: str, readings: Iterable[StoredReading] = ()) -> Panel:
    """Return the panel of a stored row."""
    return from_plain(Panel, _with_readings(load(text), readings))


def panel_fields(panel: Panel) -> dict[str, Any]:
    """Return what the history keeps of a panel, by the names of its fields."""
    plain, readings = parts_of(panel)
    fields = {k: v for k, v in plain.items() if k != "stages"}
    for number, stage in enumerate(plain["stages"], 1):
        recipe = stage.pop("recipe")
        fields |= {f"stage {number} {k}": v for k, v in {**recipe, **stage}.items()}
    return {**fields, "readings": [list(r) for r in readings]}


def panel_of_fields(fields: Mapping[str, Any]) -> Panel:
    """Return the panel of a history's fields."""
    return from_plain(Panel, _plain_of(fields))


def stages_of_fields(fields: Mapping[str, Any]) -> list[Panel]:
    """Return the stages of a history's fields, each as a panel of its own."""
    plain = _plain_of(fields)
    return [from_plain(Panel, {**plain, "stages": [stage]}) for stage in plain["stages"]]


def _plain_of(fields: Mapping[str, Any]) -> dict[str, Any]:
    plain: dict[str, Any] = {}
    stages: dict[int, dict[str, Any]] = {}
    for name, value in fields.items():
        match = _STAGE_FIELD.fullmatch(name)
        if value is None or name in ("readings", "deleted"):
            continue
        if match is None:
            plain[name] = value
            continue
        stage = stages.setdefault(int(match[1]), {"recipe": {}})
        (stage["recipe"] if match[2] in _RECIPE else stage)[match[2]] = value
    plain["stages"] = [stages[n] for n in sorted(stages)]
    return _with_readings(plain, fields["readings"])


def reading_digest(plain: Mapping[str, Any]) -> str:
    """Return the SHA-256 of what a reading says."""
    content = {k: v for k, v in plain.items() if k != "picture"}
    if "reflectance" in content and "viewing" in content:
        content["viewing"] = content["viewing"].get("geometry")
    return hashlib.sha256(dump(content).encode()).hexdigest()


def panel_digest(panel: Panel, readings: Iterable[tuple[int, str]]) -> str:
    """Return the SHA-256 of what a fit can depend on in a panel."""
    stages = []
    for stage in panel.stages:
        recipe = stage.recipe
        stages.append(
            [
                _key(recipe.ground),
                None if recipe.colour is None else _key(recipe.colour),
                None if recipe.schedule is None else _schedule_key(recipe.schedule),
                None if recipe.clear is None else name_key(recipe.clear),
                None if stage.date is None else stage.date.isoformat(),
                stage.sprayer,
                stage.lot,
                to_plain(stage.log),
            ]
        )
    content = [panel.code, panel.batch, stages, sorted(readings)]
    return hashlib.sha256(dump(content).encode()).hexdigest()


def _with_readings(plain: dict[str, Any], readings: Iterable[StoredReading]) -> dict[str, Any]:
    stages: Sequence[dict[str, Any]] = plain["stages"]
    for number, reading in readings:
        if number < 1:
            raise ValueError(f"a reading of stage {number}")
        stages[number - 1].setdefault("readings", []).append(reading)
    return plain


def _key(blend: Blend) -> list[list[str]]:
    return [[name, str(share)] for name, share in blend.key]


def _schedule_key(schedule: CoatSchedule) -> list[Any]:
    return [
        [
            step.coats,
            str(step.ratio),
            None if step.colour is None else _key(step.colour),
            None if step.over is None else name_key(step.over),
        ]
        for step in schedule.steps
    ]
