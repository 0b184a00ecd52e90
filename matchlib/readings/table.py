"""Grids → panels, with a report of every row: all or nothing, unless the good rows are wanted."""

from __future__ import annotations

import datetime as dt
import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from matchlib.domain import GunSetup, LoggedCoat, Panel, Reading, Recipe, Stage, Viewing, read_lots
from matchlib.errors import FileError, MatchlibError
from matchlib.plain import from_plain
from matchlib.readings.cells import read_coats, read_date, read_number, read_text
from matchlib.readings.columns import UNKNOWN
from matchlib.readings.grid import Grid, is_blank
from matchlib.readings.report import ImportReport, RefusedRow, TakenRow, TileReading
from matchlib.readings.rows import Row, RowReader

__all__ = ["Declarations", "panels_from_grids"]

_SHOWN_ROWS = 8
_TEXTS = ("sprayer", "lot", "batch", "note", "customer", "gun", "lots", "drawer")
_SETUP = ("tip", "pressure", "fan", "distance", "overlap")


@dataclass(frozen=True, slots=True)
class Declarations:
    """What the caller declares about a file.

    Parameters
    ----------
    scale : str, optional
        Reflectance scale, ``unit`` or ``percent``.
    decimal : str
        Decimal sign, ``.`` or ``,``.
    viewing : Viewing
        What holds where the file names no illuminant, observer or geometry.
    """

    scale: str | None = None
    decimal: str = "."
    viewing: Viewing = field(default_factory=Viewing)

    def __post_init__(self) -> None:
        if self.decimal not in (".", ","):
            raise FileError(
                "This decimal sign is not known.",
                expected=". or ,",
                got=repr(self.decimal),
                remedy="declare what the file has.",
            )

    def reader(self, grid: Grid) -> RowReader:
        """Return the reader of a grid under these declarations.

        Parameters
        ----------
        grid : Grid
            The table.

        Returns
        -------
        RowReader
            For its rows.
        """
        return RowReader(grid, scale=self.scale, decimal=self.decimal, viewing=self.viewing)


@dataclass(slots=True)
class _Entry:
    """A good row on its way into a panel."""

    row: int
    code: str
    stage: int
    recipe: Recipe
    reading: Reading | None
    sprayed: dt.date | None
    log: tuple[LoggedCoat, ...]
    texts: dict[str, str]
    numbers: dict[str, float | None]
    clear_coats: int | None
    extra: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class _Intake:
    """Everything gathered over the tables of one file."""

    entries: list[_Entry] = field(default_factory=list)
    refused: list[RefusedRow] = field(default_factory=list)
    tiles: list[TileReading] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def panels_from_grids(
    grids: Sequence[Grid],
    *,
    file: str,
    sha256: str,
    declared: Declarations,
    keep_good: bool = False,
) -> ImportReport:
    """Read the panels of a file's tables.

    Parameters
    ----------
    grids : sequence of Grid
        The tables of one file, at least one.
    file, sha256 : str
        For the report.
    declared : Declarations
        What the caller says about the file.
    keep_good : bool
        Take the good rows though others are refused.

    Returns
    -------
    ImportReport
        With at least one panel or tile reading.

    Raises
    ------
    ImportRefused
        If a row is refused and the good ones alone are not wanted, or none is good.
    FileError
        If the file as a whole cannot be trusted.
    """
    intake = _Intake()
    for grid in grids:
        _read_grid(grid, declared, intake)
    panels = _gather(intake)
    if len(intake.tiles) > 1:
        from matchlib.readings.drift import find_drift  # numpy: only files with tiles pay

        intake.warnings += [drift.words for drift in find_drift(intake.tiles)]
    report = ImportReport(
        file=file,
        sha256=sha256,
        panels=tuple(panels),
        taken=tuple(TakenRow(e.code, e.row) for e in intake.entries),
        refused=tuple(sorted(intake.refused, key=lambda r: r.row)),
        warnings=tuple(dict.fromkeys(intake.warnings)),
        notes=tuple(dict.fromkeys(intake.notes)),
        assumed=tuple(dict.fromkeys(intake.assumed)),
        tiles=tuple(intake.tiles),
        row_word=grids[0].row_word,
    )
    nothing = not report.panels and not report.tiles
    if report.refused and (nothing or not keep_good):
        raise report.refusal()
    if nothing:
        raise FileError(
            "This file has a header but no rows.",
            expected="one row a reading",
            remedy="export the table again.",
            where=file,
        )
    return report


def _read_grid(grid: Grid, declared: Declarations, intake: _Intake) -> None:
    reader = declared.reader(grid)
    columns = reader.columns
    missing = [
        n for n in ("panel", "ground") if n not in columns.known and n not in reader.defaults
    ]
    if missing and "tile" not in columns.known:
        raise FileError(
            f"This table has no column {' and no column '.join(missing)}.",
            expected="at least panel, ground, colour, schedule (or ratio and coats), and L, a, b "
            "or spectral columns",
            got=", ".join(n for n in grid.header if n)[:200],
            remedy="name the columns as in the table of readings.",
        )
    good: list[tuple[Row, Reading]] = []
    for number, cells in grid.rows:
        row = Row(number, cells)
        try:
            reading = _take(row, reader, intake)
        except MatchlibError as error:
            intake.refused.append(RefusedRow(number, str(error)))
        else:
            if reading is not None:
                good.append((row, reading))
    reader.check_scale(good)
    _remark(grid, reader, intake)


def _take(row: Row, reader: RowReader, intake: _Intake) -> Reading | None:
    reader.check_width(row)
    code = reader.text(row, "panel")
    tile = reader.text(row, "tile").casefold()
    if not tile and code.casefold().startswith("tile:"):
        tile = code[5:].strip().casefold()
    reading = reader.reading(row)
    if tile and tile not in ("no", "none"):
        if reading is None:
            raise FileError("This row of a tile holds no reading.", remedy="fill in L, a, b.")
        intake.tiles.append(
            TileReading(tile, reading, read_date(reader.cell(row, "date")), row.number)
        )
        return reading
    if reading is None and reader.text(row, "source").casefold() != "none":
        raise FileError(
            "This row holds no reading.",
            expected="L, a and b, or reflectances by wavelength",
            remedy="fill in the reading; or write none as its source, if the panel was never read.",
        )
    stage = reader.cell(row, "stage")
    day = read_date(reader.cell(row, "date"))
    if reading is not None:
        reading = replace(
            reading,
            date=day,
            instrument=reader.text(row, "instrument"),
            state=reader.text(row, "state"),
            picture=reader.text(row, "picture"),
        )
    entry = _Entry(
        row=row.number,
        code=code,
        stage=1 if is_blank(stage) else read_coats(stage, "stage", decimal=reader.decimal),
        recipe=reader.recipe(row),
        reading=reading,
        sprayed=_sprayed(row, reader, day),
        log=_log(reader.text(row, "log")),
        texts={n: reader.text(row, n) for n in _TEXTS},
        numbers={n: _optional(row, reader, n) for n in ("temperature", "humidity", *_SETUP)},
        clear_coats=_clear_coats(row, reader),
        extra=tuple(
            (name, read_text(row.cells[i], name))
            for name, i in reader.columns.extra
            if i < len(row.cells) and not is_blank(row.cells[i])
        ),
    )
    readings = () if reading is None else (reading,)
    # Refuses an unusable code or note here, by its row.
    entry.code = _panel(entry, (_stage(replace(entry, log=()), readings),)).code
    intake.entries.append(entry)
    return reading


def _optional(row: Row, reader: RowReader, name: str) -> float | None:
    cell = reader.cell(row, name)
    return None if is_blank(cell) else read_number(cell, name, decimal=reader.decimal)


def _clear_coats(row: Row, reader: RowReader) -> int | None:
    cell = reader.cell(row, "clear_coats")
    return None if is_blank(cell) else read_coats(cell, "clear_coats", decimal=reader.decimal)


def _sprayed(row: Row, reader: RowReader, day: dt.date | None) -> dt.date | None:
    cell = reader.cell(row, "sprayed")
    if is_blank(cell):
        return day
    return None if reader.text(row, "sprayed") == UNKNOWN else read_date(cell)


def _log(text: str) -> tuple[LoggedCoat, ...]:
    if not text:
        return ()
    try:
        return from_plain(tuple[LoggedCoat, ...], json.loads(text))
    except (MatchlibError, ValueError) as error:
        raise FileError(
            "This log of coats cannot be read.",
            expected="a log as the export writes it",
            got=f"{text[:60]} ({error})",
            remedy="empty the cell; a log is noted as the panel is sprayed.",
        ) from None


def _stage(entry: _Entry, readings: tuple[Reading, ...]) -> Stage:
    return Stage(
        entry.recipe,
        readings,
        date=entry.sprayed,
        sprayer=entry.texts["sprayer"],
        lot=entry.texts["lot"],
        temperature=entry.numbers["temperature"],
        humidity=entry.numbers["humidity"],
        log=entry.log,
        setup=GunSetup(entry.texts["gun"], **{n: entry.numbers[n] for n in _SETUP}),
        lots=read_lots(entry.texts["lots"]),
        clear_coats=entry.clear_coats,
    )


def _panel(entry: _Entry, stages: tuple[Stage, ...]) -> Panel:
    texts = {n: entry.texts[n] for n in ("batch", "note", "customer", "drawer")}
    return Panel(entry.code, stages, extra=entry.extra, **texts)


def _remark(grid: Grid, reader: RowReader, intake: _Intake) -> None:
    word = grid.row_word
    intake.warnings += grid.warnings
    if reader.reversed:
        intake.warnings.append(
            f"{_list(word, reader.reversed)}: the ratio has more colour than carrier and looks "
            "reversed; carrier comes first, 6:1 is six parts of carrier to one of colour."
        )
    if reader.both:
        intake.warnings.append(
            f"{_list(word, reader.both)}: both a spectrum and L, a, b (or X, Y, Z); the spectrum "
            "was taken."
        )
    if reader.disagreeing:
        intake.warnings.append(
            f"{_list(word, reader.disagreeing)}: the Lab in the file is more than ΔE00 1 from the "
            f"Lab of its own spectrum under {reader.viewing}; it may be for another light."
        )
    intake.warnings += [f"{_list(word, rows)}: {text}." for text, rows in reader.gaps.items()]
    intake.notes += [name for name, _ in reader.columns.extra]
    open_ones = [
        f"{name} {getattr(reader.viewing, name)}{'°' if name == 'observer' else ''}"
        for name in ("illuminant", "observer", "geometry")
        if name not in reader.columns.known and name not in reader.defaults
    ]
    if open_ones:
        intake.assumed.append(f"{', '.join(open_ones)}, since the file does not say.")
    if "source" not in reader.columns.known and "source" not in reader.defaults:
        intake.assumed.append("read by a spectrophotometer, since the file does not say.")


def _gather(intake: _Intake) -> list[Panel]:
    by_code: dict[str, list[_Entry]] = defaultdict(list)
    for entry in intake.entries:
        by_code[entry.code].append(entry)
    panels: list[Panel] = []
    folded: dict[str, str] = {}
    dropped: set[str] = set()
    for code, entries in by_code.items():
        try:
            panels.append(_merge(entries, intake))
        except MatchlibError as error:
            dropped.add(code)
            intake.refused += [RefusedRow(e.row, str(error)) for e in entries]
            continue
        other = folded.setdefault(code.casefold(), code)
        if other != code:
            intake.warnings.append(
                f"The codes {other} and {code} differ only by capitals; they were taken as two "
                "panels."
            )
    intake.entries = [e for e in intake.entries if e.code not in dropped]
    return panels


def _merge(entries: list[_Entry], intake: _Intake) -> Panel:
    by_stage: dict[int, list[_Entry]] = defaultdict(list)
    for entry in entries:
        by_stage[entry.stage].append(entry)
    code = entries[0].code
    if sorted(by_stage) != list(range(1, len(by_stage) + 1)):
        raise FileError(
            f"Panel {code} has a stage without the one before it.",
            expected="stages 1, 2 and so on",
            got="stage " + " and ".join(map(str, sorted(by_stage))),
            remedy="add a row for every stage; one that was never read has the source none.",
        )
    stages = tuple(_merge_stage(by_stage[n], n, intake) for n in sorted(by_stage))
    extra: dict[str, dict[str, None]] = defaultdict(dict)
    for entry in entries:
        for name, value in entry.extra:
            extra[name][value] = None
    texts = {n: _agreed(entries, n, intake) or "" for n in ("batch", "note", "customer")}
    own = tuple((name, "; ".join(values)) for name, values in extra.items())
    return _panel(replace(entries[0], extra=own, texts=entries[0].texts | texts), stages)


def _merge_stage(entries: list[_Entry], number: int, intake: _Intake) -> Stage:
    first = entries[0]
    if len({e.recipe for e in entries}) > 1:
        rows = ", ".join(str(e.row) for e in entries[:_SHOWN_ROWS])
        here = f" in stage {number}" if number > 1 else ""
        raise FileError(
            f"The panel code {first.code} stands with more than one recipe{here} (rows {rows}).",
            got=" and ".join(map(str, dict.fromkeys(e.recipe for e in entries))),
            remedy="correct the recipe, or give each panel its own code; coats that were laid on "
            "a finished panel are its stage 2.",
        )
    logs = [e.log for e in entries if e.log]
    days = [e.sprayed for e in entries if e.sprayed]
    whole = replace(
        first,
        texts={n: _agreed(entries, n, intake) or "" for n in first.texts},
        numbers={n: _agreed(entries, n, intake) for n in first.numbers},
        sprayed=min(days, default=None),
        log=max(logs, key=len, default=()),
    )
    return _stage(whole, tuple(e.reading for e in entries if e.reading is not None))


def _agreed(entries: list[_Entry], name: str, intake: _Intake) -> Any:
    said = [v for e in entries if (v := {**e.texts, **e.numbers}[name]) not in ("", None)]
    if len(set(said)) > 1:
        intake.warnings.append(
            f"Panel {entries[0].code}: its rows do not agree on {name}; {said[0]} was kept."
        )
    return said[0] if said else None


def _list(word: str, rows: list[int]) -> str:
    shown = ", ".join(map(str, rows[:_SHOWN_ROWS]))
    more = f" and {len(rows) - _SHOWN_ROWS} more" if len(rows) > _SHOWN_ROWS else ""
    return f"{word.capitalize()}{'s' * (len(rows) > 1)} {shown}{more}"
