"""What an import took, what it refused and why, in words for the person who made the file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar

from matchlib.domain import Panel, Reading
from matchlib.errors import ImportRefused
from matchlib.plural import counted
from matchlib.readings._cells import guard
from matchlib.readings.questions import Question

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "ALONE",
    "OURS",
    "REFUSED",
    "REMARK",
    "TAKEN",
    "WAITS",
    "ImportReport",
    "RowReport",
    "TileReading",
    "listed_rows",
]

_SHOWN = 5
_SHOWN_ROWS = 8
_NUMBER = re.compile(r"[-+]*[\d.,]*(?:e[-+]?\d+)?", re.IGNORECASE)  # or a mere sign: no formula
TAKEN, REFUSED, WAITS, ALONE, REMARK = "taken", "refused", "waits", "alone", "remark"
OURS = ("import row", "import outcome", "import reasons", "import sheet")
"""Columns of a report as a table, which are no notes when it comes back corrected."""


@dataclass(frozen=True, slots=True)
class RowReport:
    """What became of one row."""

    SHOWN: ClassVar = ("row", "panel", "outcome", "reasons", "sheet")

    row: int  # number of the row as its user sees it; a table's header is row 1
    # ``taken``, ``refused``, ``waits`` (for an answer), ``alone`` (a reading without a back, or a
    # back without a reading), or ``remark`` (no row of the table)
    outcome: str
    panel: str = ""  # code of the panel, where it could be read
    reasons: tuple[str, ...] = ()  # all that was the matter, and what to do
    sheet: str = ""  # sheet or file, where there are several
    cells: tuple[tuple[str, str], ...] = field(default=(), repr=False)

    @property
    def reason(self) -> str:
        """All reasons as one text."""
        return " Also: ".join(self.reasons)


@dataclass(frozen=True, slots=True)
class TileReading:
    """A reading of a reference tile, by which an instrument's drift is noticed."""

    tile: str  # ``white``, ``check``, or the tile's own name
    reading: Reading  # the reading, with its day where the file gives one
    where: str  # in the file: ``row 7``


@dataclass(frozen=True)
class ImportReport:
    """The outcome of reading one import, which may be of several files.

    Parameters
    ----------
    file : str
        Name of the file, or of the files.
    sha256 : str
        Digest of its bytes, by which the same file is known again.
    panels : tuple of Panel
        The panels, repeat readings gathered.
    rows : tuple of RowReport
        Every row, in file order.
    questions : tuple of Question
        What the file leaves open or what was assumed; the open ones first.
    columns : tuple of (str, str, str)
        Name of each column, what it was taken for, and why that is not sure.
    preview : tuple of dict
        The first ten rows as understood, ``unsure`` naming the questions that touch them.
    warnings : tuple of str
        What was taken but should be looked at.
    notes : tuple of str
        Columns without meaning here, kept with the panels as notes.
    assumed : tuple of str
        What the file left open and how it was filled in.
    tiles : tuple of TileReading
        Readings of reference tiles, which belong to no panel.
    met : frozenset of str
        Codes of panels whose back the file does not give: it was known already.
    row_word : str
        What the numbers count: ``row``, ``line``, ``column`` or ``object``.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> from matchlib.readings import understand
    >>> with demo_table() as table:
    ...     report = understand(table)
    >>> len(report.taken), len(report.refused)
    (148, 0)
    """

    SHOWN: ClassVar = (
        *("file", "sha256", "rows"),
        ("taken", lambda r: [{"panel": row.panel, "row": row.row} for row in r.taken]),
        (
            "refused",
            lambda r: [{n: getattr(w, n) for n in ("row", "panel", "reasons")} for w in r.refused],
        ),
        ("unsure", lambda r: [q for q in r.questions if q.answer is None]),
        ("answered", lambda r: {q.key: q.answer for q in r.questions if q.answer is not None}),
        ("columns", lambda r: [{"name": n, "meaning": m, "unsure": w} for n, m, w in r.columns]),
        "preview",
        ("panels", lambda r: [panel.code for panel in r.panels]),
        ("readings", lambda r: sum(panel.times_read for panel in r.panels)),
        ("tile_readings", lambda r: len(r.tiles)),
        *("warnings", ("kept_as_notes", "notes"), "assumed"),
    )

    file: str
    sha256: str
    panels: tuple[Panel, ...] = field(repr=False)
    rows: tuple[RowReport, ...] = field(default=(), repr=False)
    questions: tuple[Question, ...] = ()
    columns: tuple[tuple[str, str, str], ...] = ()
    preview: tuple[dict[str, Any], ...] = field(default=(), repr=False)
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    tiles: tuple[TileReading, ...] = field(default=(), repr=False)
    met: frozenset[str] = field(default=frozenset(), repr=False)
    row_word: str = "row"

    @property
    def taken(self) -> tuple[RowReport, ...]:
        """Rows taken, in file order."""
        return tuple(r for r in self.rows if r.outcome == TAKEN)

    @property
    def refused(self) -> tuple[RowReport, ...]:
        """Rows refused or alone, in file order."""
        return tuple(r for r in self.rows if r.outcome in (REFUSED, ALONE))

    @property
    def open(self) -> tuple[Question, ...]:
        """Questions without whose answer nothing can be taken."""
        return tuple(q for q in self.questions if q.open)

    def frame(self) -> pd.DataFrame:
        """Return the readings of the panels as a table, one row a reading.

        Returns
        -------
        DataFrame
            As of `matchlib.readings.frame_of`.
        """
        from matchlib.readings.frame import frame_of  # pandas is slow to load

        return frame_of(self.panels)

    def text(self) -> str:
        """Return the report in plain words, rows refused for one reason folded into one line.

        Returns
        -------
        str
            Without a line end at the last line.
        """
        readings = sum(p.times_read for p in self.panels)
        lines = [
            f"{self.file}: {counted(len(self.taken), self.row_word)} taken, "
            f"{counted(len(self.refused), self.row_word)} refused.",
            f"{counted(len(self.panels), 'panel')} with {counted(readings, 'reading')}"
            + (f", and {counted(len(self.tiles), 'tile reading')}." if self.tiles else "."),
        ]
        lines += self.folded()
        lines += [q.words() for q in self.questions if q.answer is None]
        lines += [f"Assumed: {a}" for a in self.assumed]
        lines += [f"Look at: {w}" for w in self.warnings]
        if self.notes:
            lines.append("Kept as notes: " + ", ".join(self.notes) + ".")
        return "\n".join(lines)

    def folded(self) -> list[str]:
        """Return the rows that were not taken, those of one reason in one line.

        Returns
        -------
        list of str
            A line a reason.
        """
        by_reason: dict[tuple[str, str, str], list[int]] = {}
        for row in self.rows:
            for reason in row.reasons if row.outcome != WAITS else ():
                by_reason.setdefault((row.outcome, row.sheet, reason), []).append(row.row)
        words = {REFUSED: "Refused", ALONE: "Alone", REMARK: "No row of the table"}
        lines = []
        for (outcome, sheet, reason), rows in by_reason.items():
            where = listed_rows(self.row_word, rows)
            place = f"{sheet}, " if sheet else ""
            lines.append(f"{words[outcome]}: {place}{where[:1].lower()}{where[1:]}: {reason}")
        return lines

    def table(self) -> str:
        """Return every row with every reason as CSV text, its own cells behind them.

        Returns
        -------
        str
            Rows refused can be corrected in it; it imports again, rows taken left out.
        """
        names = list(dict.fromkeys(name for row in self.rows for name, _ in row.cells))
        stream = io.StringIO(newline="")
        writer = csv.writer(stream, lineterminator="\n")
        sheets = any(r.sheet for r in self.rows)
        writer.writerow([*OURS[: 3 + sheets], *map(guard, names)])
        for row in self.rows:
            own = dict(row.cells)
            first = [str(row.row), row.outcome, guard(row.reason)]
            first += [guard(row.sheet)] * sheets
            cells = (own.get(n, "") for n in names)
            writer.writerow([*first, *(c if _NUMBER.fullmatch(c) else guard(c) for c in cells)])
        return stream.getvalue()

    def refusal(self, *, option: bool = True) -> ImportRefused:
        """Return the error that says this import was refused."""
        if self.open:
            questions = counted(len(self.open), "question")
            problem = f"This file leaves {questions} open, so nothing was taken."
            got = "\n".join(q.words() for q in self.open)
            remedy = (
                "answer with --answer KEY=ANSWER, an option, or --answers FILE; "
                "--profile NAME keeps the answers for the next file of the kind."
            )
        else:
            total = counted(len(self.taken) + len(self.refused), self.row_word)
            problem = f"{len(self.refused)} of {total} refused, so nothing was taken."
            lines = self.folded()
            more = [f"And {len(lines) - _SHOWN} more."] * (len(lines) > _SHOWN)
            got = "\n".join([*lines[:_SHOWN], *more, ""])
            good = ", or take the good rows alone with --keep-good" * bool(self.taken and option)
            remedy = f"correct them in the file{good}."
        error = ImportRefused(problem, got=got, remedy=remedy, where=self.file)
        error.report = self
        return error


def listed_rows(word: str, rows: Iterable[int]) -> str:
    """Return numbers of rows in words, runs of them folded."""
    runs: list[list[int]] = []
    for n in dict.fromkeys(rows):
        if runs and n == runs[-1][1] + 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    shown = [str(a) if a == b else f"{a}-{b}" for a, b in runs[:_SHOWN_ROWS]]
    rest = sum(b - a + 1 for a, b in runs[_SHOWN_ROWS:])
    several = len(runs) > 1 or runs[0][0] != runs[0][1]
    more = f" and {rest} more" * bool(rest)
    return f"{word.capitalize()}{'s' * several} {', '.join(shown)}{more}"
