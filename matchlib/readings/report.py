"""What an import took, what it refused and why, in words for the person who made the file."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

from matchlib.domain import Panel, Reading
from matchlib.errors import ImportRefused

__all__ = ["ImportReport", "RefusedRow", "TakenRow", "TileReading"]

_SHOWN = 5


@dataclass(frozen=True, slots=True)
class TakenRow:
    """A row that was taken.

    Parameters
    ----------
    panel : str
        Code of the panel it belongs to.
    row : int
        Number of the row as its user sees it; a table's header is row 1.
    """

    panel: str
    row: int


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A row that was refused.

    Parameters
    ----------
    row : int
        Number of the row as its user sees it; a table's header is row 1.
    reason : str
        What was the matter, and what to do.
    """

    row: int
    reason: str


@dataclass(frozen=True, slots=True)
class TileReading:
    """A reading of a reference tile, by which an instrument's drift is noticed.

    Parameters
    ----------
    tile : str
        ``white``, ``check``, or the tile's own name.
    reading : Reading
        The reading.
    date : datetime.date, optional
        When it was read.
    row : int
        Where it stands in the file.
    """

    tile: str
    reading: Reading
    date: dt.date | None
    row: int


@dataclass(frozen=True)
class ImportReport:
    """The outcome of reading one file.

    Parameters
    ----------
    file : str
        Name of the file.
    sha256 : str
        Digest of its bytes, by which the same file is known again.
    panels : tuple of Panel
        The panels, repeat readings gathered.
    taken : tuple of TakenRow
        Rows taken, in file order.
    refused : tuple of RefusedRow
        Rows refused, in file order.
    warnings : tuple of str
        What was taken but should be looked at.
    notes : tuple of str
        Columns without meaning here, kept with the panels as notes.
    assumed : tuple of str
        What the file left open and how it was filled in.
    tiles : tuple of TileReading
        Readings of reference tiles, which belong to no panel.
    row_word : str
        What the numbers count: ``row``, ``line``, ``column`` or ``object``.
    """

    file: str
    sha256: str
    panels: tuple[Panel, ...] = field(repr=False)
    taken: tuple[TakenRow, ...] = field(repr=False)
    refused: tuple[RefusedRow, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    tiles: tuple[TileReading, ...] = field(default=(), repr=False)
    row_word: str = "row"

    def text(self) -> str:
        """Return the report in plain words, a line each.

        Returns
        -------
        str
            Without a line end at the last line.
        """
        readings = sum(len(p.readings) for p in self.panels)
        lines = [
            f"{self.file}: {_count(len(self.taken), self.row_word)} taken, "
            f"{_count(len(self.refused), self.row_word)} refused.",
            f"{_count(len(self.panels), 'panel')} with {_count(readings, 'reading')}"
            + (f", and {_count(len(self.tiles), 'tile reading')}." if self.tiles else "."),
        ]
        lines += [f"Refused {self.row_word} {r.row}: {r.reason}" for r in self.refused]
        lines += [f"Assumed: {a}" for a in self.assumed]
        lines += [f"Look at: {w}" for w in self.warnings]
        if self.notes:
            lines.append("Kept as notes: " + ", ".join(self.notes) + ".")
        return "\n".join(lines)

    def as_dict(self) -> dict[str, Any]:
        """Return the report as plain data, for JSON.

        Returns
        -------
        dict
            Everything but the readings themselves.
        """
        return {
            "file": self.file,
            "sha256": self.sha256,
            "rows_taken": [{"panel": t.panel, "row": t.row} for t in self.taken],
            "rows_refused": [{"row": r.row, "reason": r.reason} for r in self.refused],
            "panels": [p.code for p in self.panels],
            "readings": sum(len(p.readings) for p in self.panels),
            "tile_readings": len(self.tiles),
            "warnings": list(self.warnings),
            "kept_as_notes": list(self.notes),
            "assumed": list(self.assumed),
        }

    def refusal(self, *, option: bool = True) -> ImportRefused:
        """Return the error that says this import was refused.

        Parameters
        ----------
        option : bool
            Whether the caller could take the good rows alone.

        Returns
        -------
        ImportRefused
            With this report in its `report`.
        """
        total = len(self.taken) + len(self.refused)
        some = bool(self.taken) and option
        error = ImportRefused(
            f"{len(self.refused)} of {_count(total, self.row_word)} refused, so nothing was taken.",
            got="; ".join(
                f"{self.row_word} {r.row}: {r.reason.rstrip('.')}" for r in self.refused[:_SHOWN]
            )
            + (f"; and {len(self.refused) - _SHOWN} more" * (len(self.refused) > _SHOWN)),
            remedy="correct them in the file"
            + (", or take the good rows alone with --keep-good." if some else "."),
            where=self.file,
        )
        error.report = self
        return error


def _count(n: int, word: str) -> str:
    return f"{n:,} {word}{'s' * (n != 1)}"
