"""XLSX (through openpyxl) and ODS → sheets, behind `Parts`, which makes a hostile file harmless.

A value of merged cells stands in each of them. Hidden sheets are left out. An ODS file says of a
cell how often it is repeated, which no library known to us bounds, so it is read here row by row.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest
from typing import Any
from xml.etree import ElementTree

from matchlib.errors import FileError, MatchlibError
from matchlib.readings._grid import (
    MAX_COLUMNS,
    MAX_ROWS,
    Cell,
    CellFault,
    Collector,
    Sheet,
    is_blank,
)
from matchlib.readings._unzip import Parts

__all__ = ["read_spreadsheet"]

_NO_VALUE = CellFault(
    "a formula without a stored value",
    "open the file in a spreadsheet program, save it, and import it again; or paste the values.",
)
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\b[^>]*?\bref="([A-Z]{1,3}\d{1,7}:[A-Z]{1,3}\d{1,7})"')
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"


def read_spreadsheet(data: bytes, *, sheet: str | None = None) -> list[Sheet]:
    """Return the visible sheets of an XLSX or ODS file that hold anything, or the one named."""
    ods = b"opendocument.spreadsheet" in data[:200]
    parts = Parts(data, "ODS" if ods else "XLSX")
    try:
        found = list(_read_ods(parts) if ods else _read_xlsx(data, parts))
    except MatchlibError:
        raise
    except Exception as error:
        # The libraries raise whatever the broken part happens to trip over.
        raise FileError(
            f"This spreadsheet is damaged ({type(error).__name__}).",
            expected=f"an {parts.what} file",
            remedy="open it in a spreadsheet program and save it again.",
        ) from error
    names = [s.name for s in found]
    if sheet is not None and sheet not in names:
        raise FileError(
            "This spreadsheet has no such sheet.",
            expected=", ".join(names)[:200] or None,
            got=repr(sheet),
            remedy="name one of its sheets.",
        )
    kept = [s for s in found if s.rows and sheet in (None, s.name)]
    if not kept:
        raise FileError(
            "This sheet is empty." if found else "No sheet was found.",
            expected="a header and at least one row",
            remedy="name the sheet that holds the table, or export it again.",
        )
    return kept


def _read_xlsx(data: bytes, parts: Parts) -> Iterator[Sheet]:
    from openpyxl import load_workbook  # heavy; CSV users do not pay for it

    collector = Collector()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and extensions that openpyxl does not keep
        book: Any = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        written: Any = None
        if parts.formulas:
            written = load_workbook(io.BytesIO(data), read_only=True, data_only=False)
        try:
            for i, sheet in enumerate(book.worksheets):
                if sheet.sheet_state != "visible":
                    continue
                merged = _merges(parts, sheet._worksheet_path)
                rows = _rows(sheet)
                if written is not None:
                    rows = _with_formulas(rows, _rows(written.worksheets[i]))
                for number, cells in enumerate(_filled(rows, merged), 1):
                    collector.add(number, cells)
                yield Sheet(collector.next_sheet(), sheet.title)
        finally:
            book.close()


def _rows(sheet: Any) -> Iterator[tuple[Cell, ...]]:
    sheet.reset_dimensions()  # what a file says of its own size may be wrong
    for number, cells in enumerate(sheet.iter_rows(max_row=MAX_ROWS + 2, values_only=True), 1):
        if len(cells) > MAX_COLUMNS and any(not is_blank(c) for c in cells[MAX_COLUMNS:]):
            raise FileError(
                "This sheet is too wide.",
                expected=f"at most {MAX_COLUMNS:,} columns",
                got=f"{len(cells):,} in row {number}",
                remedy="save only the table of readings in a new file.",
            )
        yield cells[:MAX_COLUMNS]


def _with_formulas(
    values: Iterator[tuple[Cell, ...]], formulas: Iterator[tuple[Cell, ...]]
) -> Iterator[tuple[Cell, ...]]:
    for own, others in zip_longest(values, formulas, fillvalue=()):
        yield tuple(
            _NO_VALUE if c is None and not is_blank(o) else c for c, o in zip_longest(own, others)
        )


Merge = tuple[int, int, int, int]


def _merges(parts: Parts, name: str) -> list[Merge]:
    from openpyxl.utils import range_boundaries

    found: list[Merge] = []
    last = b""
    for piece in parts.pieces(name):
        near = last + piece
        for match in _MERGED.finditer(near):
            if match.end() > len(last) and len(found) < 10_000:
                left, top, right, bottom = range_boundaries(match[1].decode())
                found.append((left - 1, top, right - 1, bottom))
        last = near[-80:]
    return found


def _filled(rows: Iterator[tuple[Cell, ...]], merged: list[Merge]) -> Iterator[tuple[Cell, ...]]:
    starting: dict[int, list[Merge]] = {}
    for area in merged:
        starting.setdefault(area[1], []).append(area)
    going: list[tuple[Merge, Cell]] = []
    for number, cells in enumerate(rows, 1):
        going = [(a, v) for a, v in going if a[3] >= number]
        going += [(a, cells[a[0]]) for a in starting.get(number, []) if a[0] < len(cells)]
        yield _spread(cells, going) if going else cells


def _spread(cells: Sequence[Cell], spans: Iterable[tuple[Merge, Cell]]) -> tuple[Cell, ...]:
    own = list(cells)
    for (left, _, right, _), value in spans:
        for i in range(left, min(right + 1, len(own))):
            if is_blank(own[i]):
                own[i] = value
    return tuple(own)


def _read_ods(parts: Parts) -> Iterator[Sheet]:
    if "content.xml" not in parts.names:
        raise FileError("This ODS file is damaged: it has no content.", remedy="save it again.")
    parser: Any = ElementTree.XMLPullParser(("start", "end"))
    reader = _OdsReader()
    for piece in parts.pieces("content.xml"):
        parser.feed(piece)
        yield from reader.sheets(parser)
    parser.close()
    yield from reader.sheets(parser)


class _OdsReader:
    """What is known while the content of an ODS file goes by; nothing of it is kept longer."""

    def __init__(self) -> None:
        self._open: list[ElementTree.Element] = []
        self._kept = Collector()
        self._hidden: set[str] = set()
        self._out = False
        self._number = 0
        self._spans: list[tuple[Merge, Cell]] = []

    def sheets(self, parser: Any) -> Iterator[Sheet]:
        """Yield the sheets that end in what the parser was fed."""
        event: str
        node: ElementTree.Element
        for event, node in parser.read_events():
            if event == "start":
                self._open.append(node)
                if node.tag == f"{_TABLE}table":
                    self._number, self._spans = 0, []
                    self._out = str(node.get(f"{_TABLE}style-name")) in self._hidden
                continue
            self._open.pop()
            if node.tag == f"{_STYLE}style":
                if any(c.get(f"{_TABLE}display") == "false" for c in node):
                    self._hidden.add(str(node.get(f"{_STYLE}name")))
            elif node.tag == f"{_TABLE}table-row":
                self._row(node)
            elif node.tag == f"{_TABLE}table":
                rows = self._kept.next_sheet()
                if not self._out:
                    yield Sheet(rows, str(node.get(f"{_TABLE}name", "")))
            whole = (f"{_TABLE}table-row", f"{_STYLE}style")
            if self._open and not any(n.tag in whole for n in self._open):
                self._open[-1].remove(node)

    def _row(self, node: ElementTree.Element) -> None:
        times = _times(node, "rows")
        cells = _ods_cells(node, self._number + 1, self._spans)
        if not self._out and any(not is_blank(c) for c in cells):
            for k in range(min(times, MAX_ROWS + 2)):
                self._kept.add(self._number + 1 + k, cells)
        self._number += times
        self._spans = [(a, v) for a, v in self._spans if a[3] > self._number]


def _times(node: ElementTree.Element, what: str, kind: str = "repeated") -> int:
    text = node.get(f"{_TABLE}number-{what}-{kind}", "1")
    return max(1, int(text)) if text.isdecimal() and len(text) < 9 else 1


def _ods_cells(
    row: ElementTree.Element, number: int, spans: list[tuple[Merge, Cell]]
) -> tuple[Cell, ...]:
    cells: list[Cell] = []
    for node in row:
        if node.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            continue
        value = _ods_value(node)
        times = _times(node, "columns")
        wide, high = _times(node, "columns", "spanned"), _times(node, "rows", "spanned")
        if value is not None and (wide > 1 or high > 1) and len(spans) < 10_000:
            left = len(cells)
            spans.append(((left, number, left + wide - 1, number + high - 1), value))
        # what fills up a row to the end of the sheet is blank, and is not kept
        room = max(0, MAX_COLUMNS + 1 - len(cells))
        cells += [value] * min(times, room)
    return _spread(cells, spans)


def _ods_value(node: ElementTree.Element) -> Cell:
    kind = node.get(f"{_OFFICE}value-type")
    text = "\n".join("".join(p.itertext()) for p in node.findall(f"{_TEXT}p"))
    if kind in ("float", "percentage", "currency"):
        try:
            return float(node.get(f"{_OFFICE}value", ""))
        except ValueError:
            return text
    if kind == "date":
        try:
            return dt.datetime.fromisoformat(node.get(f"{_OFFICE}date-value", ""))
        except ValueError:
            return text
    if kind == "time":
        clock = re.fullmatch(
            r"PT(\d{1,4})H(\d{1,2})M([\d.]{1,12})S", node.get(f"{_OFFICE}time-value", "")
        )
        return dt.timedelta(hours=int(clock[1]), minutes=int(clock[2])) if clock else text
    if kind == "boolean":
        return node.get(f"{_OFFICE}boolean-value") == "true"
    formula = node.get(f"{_TABLE}formula")
    return _NO_VALUE if formula and not text else text or None
