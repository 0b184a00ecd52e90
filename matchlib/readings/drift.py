"""Instrument drift, noticed by reading the same tile again and again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from matchlib.colorimetry import delta_e00
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.readings.repeats import mean_reading
from matchlib.readings.report import TileReading

__all__ = ["drift_words"]

_LIMIT = 0.5  # ΔE00 of a tile from its first reading, that is told; common practice, no source


def drift_words(tiles: Iterable[TileReading]) -> list[str]:
    """Return a sentence on each day on which a tile was too far from its first reading."""
    groups: dict[tuple[str, str], dict[tuple[str, str], list[TileReading]]] = {}
    for tile in tiles:
        reading = tile.reading
        setting = f"{reading.viewing}, {reading.source}, {reading.wavelengths}"
        when = (reading.date.isoformat(), "") if reading.date else ("", tile.where)
        groups.setdefault((tile.tile, setting), defaultdict(list))[when].append(tile)
    found = []
    for (name, _), days in sorted(groups.items()):
        dated = all(date for date, _ in days)
        ordered = sorted(days.items()) if dated else list(days.items())  # as the file has them
        labs = [lab_of_reading(mean_reading([t.reading for t in day])) for _, day in ordered]
        for ((date, where), _), apart in zip(ordered, delta_e00(labs, labs[0]), strict=True):
            if apart > _LIMIT:
                found.append(
                    f"The {name} tile read ΔE00 {apart:.2f} from its first reading "
                    f"{f'on {date}' if date else f'in {where}'}: calibrate the instrument, and "
                    "read again what was read that day."
                )
    return found
