"""CGATS text (ISO 28178; CGATS.17) → tables: keywords, data formats, several tables in one file.

A file is a preamble and any number of tables, each with keywords, a data format and data; keywords
of the preamble hold for every table until one says other. Text after ``#`` is a comment, quotation
marks hold blanks together and are doubled inside. Recipes ride along in fields or keywords named
as the columns of the table of readings (GROUND, COLOUR, SCHEDULE …), which the standard allows as
keywords of one's own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from matchlib.errors import FileError
from matchlib.readings._cells import heading
from matchlib.readings._grid import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, Cell, Row, too_many_rows
from matchlib.readings._header import Table
from matchlib.readings._rows import VIEWING
from matchlib.readings._text import decode
from matchlib.readings._words import known_name, settings_in, viewing_words
from matchlib.readings.questions import Asking

__all__ = ["EXTRA_FIELD", "NEWLINE_KEYWORD", "looks_like_cgats", "read_cgats"]

EXTRA_FIELD = "NOTE_"
NEWLINE_KEYWORD = "NEWLINE"
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|#.*|([^\s"#]+(?:#[^\s"#]*)*)|(")')
_IDENTIFIER = re.compile(r"(?:CGATS|IT8|ISO)[\w./-]*", re.IGNORECASE)
_PAIRED = {"spectral_pct": "percent", "spectral_dec": "unit"}
_ILLUMINANT = re.compile(
    r"\b(?:illuminant|illumination)\s*[,=: ]\s*([a-z]?\w+(?:-\w+)?)", re.IGNORECASE
)
_OBSERVER = re.compile(r"\bobserver(?:\s*angle)?\s*[,=: ]\s*(\d+)", re.IGNORECASE)


@dataclass(slots=True)
class _Block:
    """One table while it is being read."""

    keywords: dict[str, str] = field(default_factory=dict)
    fields: list[str] = field(default_factory=list)
    lines: list[Row] = field(default_factory=list)


def looks_like_cgats(data: bytes) -> bool:
    """Whether a text file is CGATS rather than a plain table."""
    head = data[: 2**20].replace(b"\x00", b"")
    return bool(
        re.match(rb"(?:\xef\xbb\xbf|\xff\xfe|\xfe\xff)?\s*(?:CGATS|IT8\.|ISO28178)", head)
        or re.search(rb"^[ \t]*BEGIN_DATA(?:_FORMAT)?[ \t]*\r?$", head, re.MULTILINE)
    )


def read_cgats(data: bytes, asking: Asking) -> list[Table]:
    """Read the tables of a CGATS file."""
    text, warning = decode(data, asking)
    tables = [_table(block) for block in _blocks(text)]
    if not tables:
        raise FileError(
            "This CGATS file holds no data.",
            expected="a table between BEGIN_DATA and END_DATA",
            remedy="export it again.",
        )
    if warning:
        tables[0] = replace(tables[0], warnings=(warning,))
    return tables


def _tokens(line: str, number: int) -> list[str]:
    found = []
    for match in _TOKEN.finditer(line):
        if match[3]:
            raise FileError(
                "A quotation mark is never closed.",
                where=f"line {number}",
                remedy='close it; double it ("") inside a text.',
            )
        if match[1] is not None:
            found.append(match[1].replace('""', '"'))
        elif match[2] is not None:
            found.append(match[2])
        if len(found) > MAX_COLUMNS:
            raise FileError(
                "A line of this CGATS file holds too much.",
                expected=f"at most {MAX_COLUMNS:,} values",
                where=f"line {number}",
                remedy="export only the fields that are needed.",
            )
        # what is left is a comment
    return found


def _blocks(text: str) -> Iterator[_Block]:
    table, state, kept, number = _Block(), "", 0, 0
    previous: _Block | None = None
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        words = _tokens(line, number)
        if not words:
            continue
        word = words[0].upper()
        if state == "format":
            if word == "END_DATA_FORMAT":
                state = ""
            else:
                table.fields += words
                if len(table.fields) > MAX_COLUMNS:
                    raise FileError(
                        "This CGATS table has too many fields.",
                        expected=f"at most {MAX_COLUMNS:,}",
                        remedy="export only the fields that are needed.",
                    )
        elif state == "data":
            if word == "END_DATA":
                yield table
                previous, state = table, ""
                table = _Block(keywords=_inherited(table.keywords))
            else:
                table.lines.append(Row(number, tuple(words)))
                kept += len(words)
                if len(table.lines) > MAX_ROWS or kept > MAX_CELLS:
                    raise too_many_rows()
        elif word == "BEGIN_DATA_FORMAT":
            state, table.fields = "format", []
        elif word == "BEGIN_DATA":
            state = "data"
            if not table.fields and previous is not None:
                table.fields = list(previous.fields)  # a later table may leave it out
            if not table.fields:
                raise FileError(
                    "This CGATS table has data but no data format.",
                    expected="BEGIN_DATA_FORMAT before BEGIN_DATA",
                    where=f"line {number}",
                    remedy="export the file again.",
                )
        else:
            _keyword(table, word, words)
    if state:
        raise FileError(
            "This CGATS file breaks off.",
            expected="END_DATA" if state == "data" else "END_DATA_FORMAT",
            got=f"the end of the file at line {number}",
            remedy="copy or export it again.",
        )


def _inherited(keywords: dict[str, str]) -> dict[str, str]:
    return {k: v for k, v in keywords.items() if not k.startswith("NUMBER_OF_")}


def _keyword(table: _Block, word: str, words: list[str]) -> None:
    if word == "KEYWORD" or (_IDENTIFIER.fullmatch(word) and len(words) == 1):
        return
    value = " ".join(words[1:])
    if word in ("WEIGHTING_FUNCTION", "COMPUTATIONAL_PARAMETER", "MEASUREMENT_SOURCE"):
        if match := _ILLUMINANT.search(value):
            table.keywords["ILLUMINANT"] = match[1]
        if match := _OBSERVER.search(value):
            table.keywords["OBSERVER"] = match[1]
        return
    table.keywords[word] = value


def _table(table: _Block) -> Table:
    header, rows, scale = _unpaired(table, _sets(table))
    keywords = table.keywords
    facts: dict[str, str] = {}
    for keyword, value in keywords.items():
        name = "geometry" if keyword == "MEASUREMENT_GEOMETRY" else known_name(keyword)
        if name and keyword != "CREATED" and name not in ("L", "a", "b", "X", "Y", "Z"):
            facts[name] = value
    for name in VIEWING:
        # "D50, 2 degree" and the like: the word that matters
        if name in facts:
            facts[name] = viewing_words(facts[name]).get(name, facts[name])
    facts = settings_in(keywords.get("INSTRUMENTATION", "")) | facts
    named = _name_panel(header, rows, keywords)
    mark = keywords.get(NEWLINE_KEYWORD)
    if mark:
        rows = [
            Row(n, tuple(c.replace(mark, "\n") if isinstance(c, str) else c for c in cells))
            for n, cells in rows
        ]
    names = tuple(map(heading, named))
    return Table(names, tuple(rows), row_word="line", facts=facts, scale=scale, strict=True)


def _sets(table: _Block) -> list[Row]:
    width, lines, keywords = len(table.fields), table.lines, table.keywords
    stated = _count(keywords, "NUMBER_OF_FIELDS")
    if stated not in (None, width):
        raise FileError(
            "This CGATS table does not have the number of fields it says.",
            expected=f"{stated} fields",
            got=f"{width} in its data format",
            remedy="export the file again.",
        )
    wanted = _count(keywords, "NUMBER_OF_SETS")
    if wanted == len(lines) or all(len(words) == width for _, words in lines):
        rows = lines
    else:  # long sets may run over several lines
        rows, start = [], 0
        pending: tuple[Cell, ...] = ()
        for number, words in lines:
            start = start if pending else number
            pending += words
            if len(pending) > width:
                raise FileError(
                    "A row of this CGATS table does not have as many values as there are fields.",
                    expected=f"{width} values",
                    got=f"{len(pending)}",
                    where=f"line {start}",
                    remedy="look for a missing value, or blanks in a text without quotation marks.",
                )
            if len(pending) == width:
                rows.append(Row(start, pending))
                pending = ()
        if pending:
            raise FileError(
                "The last row of this CGATS table is not whole.",
                expected=f"{width} values",
                got=f"{len(pending)}",
                where=f"line {start}",
                remedy="copy or export the file again.",
            )
    if wanted not in (None, len(rows)):
        raise FileError(
            "This CGATS table does not have the number of rows it says.",
            expected=f"{wanted} sets",
            got=f"{len(rows)}",
            remedy="copy or export the file again; it may have been cut off.",
        )
    return rows


def _count(keywords: dict[str, str], name: str) -> int | None:
    text = keywords.get(name)
    if text is None:
        return None
    if not re.fullmatch(r"\d{1,9}", text, re.ASCII):
        raise FileError(f"{name} is not a number.", got=repr(text[:40]), remedy="export it again.")
    return int(text)


def _unpaired(table: _Block, rows: list[Row]) -> tuple[list[str], list[Row], str | None]:
    # The older way to write a spectrum: pairs of a wavelength and its value in each row.
    names = [f.casefold() for f in table.fields]
    pairs = [
        i
        for i, n in enumerate(names[:-1])
        if n in ("spectral_nm", "nm") and names[i + 1] in _PAIRED
    ]
    if not pairs:
        return list(table.fields), rows, None
    if not rows:
        return [f for i, f in enumerate(table.fields) if i not in pairs], rows, None
    header = list(table.fields)
    scales = {_PAIRED[names[i + 1]] for i in pairs}
    for i in pairs:
        wavelengths = {cells[i] if i < len(cells) else None for _, cells in rows}
        if len(wavelengths) != 1 or None in wavelengths:
            raise FileError(
                "The wavelengths of this CGATS table differ from row to row.",
                expected="one wavelength a field",
                remedy="export spectra with one field a wavelength, such as SPECTRAL_NM400.",
            )
        header[i + 1] = f"nm{wavelengths.pop()}"
    if len(scales) > 1:
        raise FileError(
            "This CGATS table mixes SPECTRAL_PCT and SPECTRAL_DEC.",
            remedy="export the file with one of them.",
        )
    drop = set(pairs)
    return (
        [h for i, h in enumerate(header) if i not in drop],
        [Row(n, tuple(c for i, c in enumerate(cells) if i not in drop)) for n, cells in rows],
        scales.pop(),
    )


def _name_panel(header: list[str], rows: list[Row], keywords: dict[str, str]) -> tuple[str, ...]:
    names = [h.upper() for h in header]
    named = [
        keywords.get(n, h) if re.fullmatch(rf"{EXTRA_FIELD}\d+", n) else h
        for n, h in zip(names, header, strict=True)
    ]
    if "PANEL" in names:
        return tuple(named)
    for candidate in ("SAMPLE_NAME", "SAMPLE_ID", "SAMPLE_LOC"):
        if names.count(candidate) == 1:
            named[names.index(candidate)] = "panel"
            break
    if "SAMPLE_NAME" in names and names.count("SAMPLE_ID") == 1:
        i = names.index("SAMPLE_ID")
        ids = [str(cells[i]) if i < len(cells) else "" for _, cells in rows]
        if ids == [str(k) for k in range(1, len(ids) + 1)]:
            # running numbers say nothing about a panel: leave the column out
            named[i] = ""
            rows[:] = [Row(n, (*c[:i], None, *c[i + 1 :])) for n, c in rows]
    return tuple(named)
