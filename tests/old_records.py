"""Panels and readings as archives of versions 1 to 3 stored them."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from matchlib.domain import Panel, Reading
from matchlib.domain.blend import Blend

__all__ = ["panel_record", "reading_record"]


def panel_record(panel: Panel) -> dict[str, Any]:
    """Return the columns of a panel of one stage, its readings apart."""
    recipe = panel.recipe
    schedule = recipe.schedule
    steps = () if schedule is None else schedule.steps
    ratios = [[s.coats, str(s.ratio.carrier), str(s.ratio.colour)] for s in steps]
    return {
        "code": panel.code,
        "ground": _blend(recipe.ground),
        "colour": None if recipe.colour is None else _blend(recipe.colour),
        "schedule": None if schedule is None else _dump(ratios),
        "clear": recipe.clear,
        "date": None if panel.date is None else panel.date.isoformat(),
        "sprayer": panel.sprayer,
        "lot": panel.lot,
        "note": panel.note,
        "customer": panel.customer,
        "temperature": panel.temperature,
        "humidity": panel.humidity,
        "extra": _dump([list(pair) for pair in panel.extra]),
    }


def reading_record(reading: Reading) -> dict[str, Any]:
    """Return the columns of a reading."""
    spectral = reading.spectral
    record: dict[str, Any] = {
        "source": reading.source,
        "illuminant": reading.viewing.illuminant,
        "observer": reading.viewing.observer,
        "geometry": reading.viewing.geometry,
        "lab": None if spectral else _dump(list(reading.lab or ())),
        "wavelengths": _dump(list(reading.wavelengths)) if spectral else None,
        "reflectance": _dump(list(reading.reflectance)) if spectral else None,
        "sd": reading.sd,
    }
    return {**record, "digest": hashlib.sha256(_dump(record).encode()).hexdigest()}


def _blend(blend: Blend) -> str:
    return _dump([[name, str(parts)] for name, parts in blend.parts])


def _dump(value: object) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
