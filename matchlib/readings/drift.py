"""Instrument drift, noticed by reading the same tile again and again."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from matchlib.readings.repeats import mean_reading
from matchlib.readings.report import TileReading

__all__ = ["DRIFT_LIMIT", "Drift", "find_drift"]

DRIFT_LIMIT = 0.5
"""ΔE00 of a tile from its first reading, above which it is shown (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Drift:
    """A day on which a tile read differently than before."""

    tile: str
    date: dt.date | None  # None where the file gives none
    delta_e00: float  # from the tile's first reading
    rows: tuple[int, ...]  # where the readings stand in the file

    @property
    def words(self) -> str:
        """The finding as a sentence."""
        when = f"on {self.date.isoformat()}" if self.date else f"in row {self.rows[0]}"
        return (
            f"The {self.tile} tile read ΔE00 {self.delta_e00:.2f} from its first reading {when}: "
            "calibrate the instrument, and read again what was read that day."
        )


def find_drift(tiles: Iterable[TileReading]) -> tuple[Drift, ...]:
    """Return the days on which a tile was further than the limit from its first reading."""
    from matchlib.colorimetry import delta_e00
    from matchlib.colorimetry.lab import lab_of_reading

    groups: dict[tuple[str, str], dict[tuple[str, int], list[TileReading]]] = {}
    for tile in tiles:
        reading = tile.reading
        setting = f"{reading.viewing}, {reading.source}, {reading.wavelengths}"
        when = (reading.date.isoformat(), 0) if reading.date else ("", tile.row)
        groups.setdefault((tile.tile, setting), defaultdict(list))[when].append(tile)
    found = []
    for (name, _), days in sorted(groups.items()):
        ordered = [days[key] for key in sorted(days)]
        means = [mean_reading([t.reading for t in day]) for day in ordered]
        for day, mean in zip(ordered, means, strict=True):
            difference = float(delta_e00(lab_of_reading(mean), lab_of_reading(means[0])))
            if difference > DRIFT_LIMIT:
                rows = tuple(t.row for t in day)
                found.append(Drift(name, day[0].reading.date, difference, rows))
    return tuple(found)
