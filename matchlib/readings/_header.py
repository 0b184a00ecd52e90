"""A sheet → its tables: where the names of the columns stand, and what stands above them.

Above a header may stand titles, an instrument's block of settings, or the names of groups of
columns; below it a row of units. A table may also lie on its side, one panel a column.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, zip_longest

from matchlib.errors import FileError
from matchlib.readings._cells import heading, read_text
from matchlib.readings._grid import Cell, CellFault, Row, Sheet, is_blank
from matchlib.readings._rows import VIEWING
from matchlib.readings._words import (
    FACTS,
    known_name,
    meaning_of,
    scale_of,
    settings_in,
    viewing_words,
    wavelength,
)
from matchlib.readings.questions import Asking, Choice, Question

__all__ = ["Table", "coordinate_name", "no_table", "tables_of"]

_SEARCHED = 80  # rows from the top among which a header is looked for
_UNIT = re.compile(
    r"[(\[]?\s*(?:%|% ?r|r ?%|nm|°? ?[cf]|ml|oz|fl\.? ?oz|g|cc|parts?|ratio|0\s?[-–]\s?1(?:00)?"
    r"|percent|-+|text|number|coats?|count|name|code|date|no|yes/no|y/n|% ?rh|rh"
    r"|[dmy]{1,4}([./-][dmy]{1,4}){2}"
    r"|carrier\s*:\s*colou?r|colou?r\s*:\s*carrier|x ?: ?1|d\d\d ?/ ?\d+ ?°?)\s*[)\]]?",
    re.IGNORECASE,
)
_OURS = {"panel", "ground", "colour", "schedule", "source", "illuminant", "observer", "geometry"}
_LAB = re.compile(r"(?:cie[ -]?)?l\W{0,3}a\W{0,3}b\W{0,2}(?: values?)?", re.IGNORECASE)
_LAMBDA = ("wavelength", "wavelengths", "lambda", "wl", "nm", "")
_MEAN = re.compile(
    r"(?:averages?|avg|means?|(?:average|mean) values?|mittelwert"
    r"|st(?:andar)?d\W*(?:dev|abw)\w*)\W*",
    re.IGNORECASE,
)
_BESIDE_MEAN = re.compile(r"(?:min(?:imum)?|max(?:imum)?|median|range|s\W?d)\W*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Table:
    """The rows of one table and what was said of its columns.

    `over` holds the name of the group above each column, `units` the text of a units row below
    (both empty where there is none); `facts` are known columns stated once for all rows. In a
    `strict` table, one of our own or of a format with named fields, only our own names count.
    """

    header: tuple[str, ...]
    rows: tuple[Row, ...]
    over: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    sheet: str = ""
    row_word: str = "row"
    facts: dict[str, str] = field(default_factory=dict)
    scale: str | None = None
    warnings: tuple[str, ...] = ()
    remarks: tuple[Row, ...] = ()
    strict: bool = False


def tables_of(sheet: Sheet, asking: Asking) -> list[Table]:
    """Return the tables of a sheet; none where it has no header that can be known."""
    if not sheet.rows:
        return []
    sheet = sheet._replace(rows=_lab_apart(sheet.rows))
    across = [_score(cells) for _, cells in sheet.rows[:_SEARCHED]]
    best = max(across)
    column = _sideways(sheet.rows[:2000])
    if column is not None and _score(column) > best:
        found = [_turned(sheet.rows, column)]
    elif best:
        least = max(2, 0.6 * best) if best > 1 else 1
        found = _upright(sheet, [i for i, s in enumerate(across) if s >= least], asking)
    else:
        return []
    return [
        replace(
            table,
            header=_ending(table.header),
            sheet=sheet.name,
            warnings=sheet.warnings,
            strict={known_name(n) for n in table.header} >= _OURS,
        )
        for table in found
    ]


def _ending(names: tuple[str, ...]) -> tuple[str, ...]:
    """Names of columns up to the last that is not blank."""
    while names and not names[-1]:
        names = names[:-1]
    return names


def _lab_apart(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Rows in which L, a and b that stand in one cell, such as ``40/30/20``, have one each."""
    for k, (_, cells) in enumerate(rows[:_SEARCHED]):
        for i, cell in enumerate(cells):
            if not isinstance(cell, str) or not _LAB.fullmatch(cell.strip()):
                continue
            under = [_three(c[i]) if i < len(c) else None for _, c in rows[k + 1 :]]
            if any(under):
                split = [("L", "a", "b"), *(u or (None, None, None) for u in under)]
                return (
                    *(Row(n, (*c[: i + 1], None, None, *c[i + 1 :])) for n, c in rows[:k]),
                    *(
                        Row(n, (*c[:i], *apart, *c[i + 1 :]))
                        for (n, c), apart in zip(rows[k:], split, strict=True)
                    ),
                )
    return tuple(rows)


def _three(cell: Cell) -> tuple[str, str, str] | None:
    if not isinstance(cell, str):
        return None
    for sign in (r"\s*[;/|]\s*", r"\s*,\s+|\s+", r"\s*,\s*"):
        parts = re.split(sign, cell.strip(" ()[]"))
        if len(parts) == 3 and all(re.fullmatch(r"[-−+]?\d+(?:[.,]\d+)?", p) for p in parts):
            return (parts[0], parts[1], parts[2])
    return None


def _upright(sheet: Sheet, found: list[int], asking: Asking) -> list[Table]:
    rows = sheet.rows
    first, *others = found
    starts = [first]
    for i in others:
        mine, top = _names(rows[i].cells), _names(rows[starts[-1]].cells)
        beside = i == starts[-1] + 1 and rows[i].number == rows[i - 1].number + 1
        again = _texts(rows[i].cells) == _texts(rows[starts[-1]].cells)
        if again or (beside and not mine & top):
            continue  # the header again on a new page, or its second row
        if not beside and rows[i].number > rows[i - 1].number + 1:
            starts.append(i)  # another table below
            continue
        key = "header" + (f":{sheet.name}" if sheet.name else "")
        starts[-1] = _which(key, sheet, (starts[-1], i), asking)
    tables = []
    above = rows[: starts[0]]
    for start, end in pairwise((*starts, len(rows))):
        tables.append(_one(rows, above, start, end))
        above = ()
    return tables


def _which(key: str, sheet: Sheet, both: tuple[int, int], asking: Asking) -> int:
    rows, choices = sheet.rows, []
    under = rows[both[1] + 1].cells if both[1] + 1 < len(rows) else ()
    for i in both:
        names = [heading(c) for c in rows[i].cells]
        pairs = zip(names, map(heading, under), strict=False)
        shown = f"row {rows[i].number}: " + ", ".join(n for n in names if n)[:80]
        means = ", ".join(f"{n} = {c}" for n, c in pairs if n and c)[:160]
        choices.append(Choice(str(rows[i].number), shown, means))
    text = "Two rows could hold the names of the columns. Which does?"
    chosen = asking.answer(Question(key, text, choices))
    return both[0] if chosen == choices[0].key else both[1]


def _one(rows: Sequence[Row], above: Sequence[Row], start: int, end: int) -> Table:
    names = [heading(c) for c in rows[start].cells]
    over: list[str] = []
    body = start + 1
    if above and rows[start - 1].number == rows[start].number - 1:
        over = _groups(rows[start - 1].cells, names)
        if over:
            names = _or_above(names, [heading(c) for c in rows[start - 1].cells])
    if not over and body < end and rows[body].number == rows[start].number + 1:
        lower = [heading(c) for c in rows[body].cells]
        filled = [c for c in rows[body].cells if not is_blank(c)]
        known = [c for c in filled if isinstance(c, str) and _names([c])]
        texts = len(known) >= 0.6 * len(filled)
        mine, top = _names(rows[body].cells), _names(rows[start].cells)
        waves = sum(map(_is_wave, lower)) >= 4
        if (texts and mine and not mine & top) or (waves and not mine):
            over = _groups(rows[start].cells, lower, rest=names)
            names = [low or up for low, up in zip_longest(lower, names, fillvalue="")]
            body += 1
    units: list[str] = []
    if body < end and rows[body].number == rows[body - 1].number + 1 and len(rows[body].cells) > 1:
        cells = rows[body].cells
        if all(is_blank(c) or (isinstance(c, str) and _UNIT.fullmatch(c.strip())) for c in cells):
            units = [heading(c) for c in cells]
            body += 1
    facts: dict[str, str] = {}
    for _, cells in above:
        facts = _facts_stated(cells) | facts
    again = _texts(rows[start].cells)
    columns = sum(map(bool, names))
    summing = _summing(rows[body:end])
    kept: list[Row] = []
    left: list[Row] = []
    for row in rows[body:end]:
        if _texts(row.cells[:1]) != again[:1] or _texts(row.cells) != again:
            aside = row.number in summing or _remark(row.cells, columns)
            (left if aside else kept).append(row)
    return Table(
        tuple(names),
        tuple(kept),
        over=tuple(over),
        units=tuple(units),
        facts=facts,
        remarks=tuple(left),
    )


def _score(cells: Sequence[Cell]) -> int:
    """How many cells name a column; bare numbers only where they are a row of wavelengths."""
    waves = bare = 0
    names = set()
    for cell in cells:
        text = heading(cell)
        if not text or len(text) > 80:
            continue
        if found := wavelength(text):
            number = not isinstance(cell, str) or text.replace(".", "").isdigit()
            bare += number and found[2]
            waves += not number
        elif isinstance(cell, str) and (meaning := meaning_of(text) or coordinate_name(text)):
            names.add(meaning)
    return len(names) + waves + (bare if bare >= 4 else 0)


def _texts(cells: Sequence[Cell]) -> list[str]:
    return [heading(c).casefold() for c in cells]


def _names(cells: Sequence[Cell]) -> set[str]:
    found = set()
    for cell in cells:
        if isinstance(cell, str) and (text := heading(cell)):
            meaning = meaning_of(text) or coordinate_name(text)
            if meaning or (not text.replace(".", "").isdigit() and _is_wave(text)):
                found.add(meaning or text.casefold())
    return found


def _is_wave(text: str) -> bool:
    found = wavelength(text)
    return found is not None and found[2]


def coordinate_name(text: str) -> str | None:
    """Return L, a, b, X, Y or Z for a name that has such a letter beside a light or an angle."""
    match = re.fullmatch(
        r"(?:(.{1,40}?)[\s_:(/-]+)?(?:CIE[\s_-]?)?([LabXYZ])(\*?)(?:[\s_:(/\[-]*(.{1,40}?)[)\]]?)?",
        text,
    )
    if match is None:
        return None
    rest = " ".join(x for x in (match[1], match[4]) if x)
    if not rest:
        return match[2]
    return match[2] if viewing_words(rest) or re.fullmatch(r"\d", rest) else None


def _groups(upper: Sequence[Cell], names: Sequence[str], rest: Sequence[str] = ()) -> list[str]:
    """Names of groups, each reaching to the next one; a lone setting or title is none."""
    texts = [heading(c) for c in upper]
    if sum(map(bool, texts)) < 2 and not any(map(viewing_words, texts)):
        return []
    if any(re.match(r"[\w /]{2,30}[:=]\s*\S", t) for t in texts):
        return []
    over, last = [], ""
    for own, name in zip_longest(texts, names, fillvalue=""):
        last = own or last
        over.append(last if name and not (rest and last == name) else "")
    return over


def _or_above(names: list[str], upper: list[str]) -> list[str]:
    """Names of columns; where one has none, what stands above it alone, as over no group."""
    beside = zip(["", *upper], [*upper[1:], ""], strict=False)
    alone = ["" if own in sides else own for own, sides in zip(upper, beside, strict=True)]
    return [name or own for name, own in zip_longest(names, alone, fillvalue="")]


def _sideways(rows: Sequence[Row]) -> list[Cell] | None:
    """The first cells of all rows, if they could be a header standing upright."""
    column = [cells[0] if cells else None for _, cells in rows]
    wide = max(len(cells) for _, cells in rows)
    waves = sum(_is_wave(heading(c)) for c in column)
    names = sum(bool(meaning_of(heading(c))) for c in column if isinstance(c, str))
    return column if wide > 1 and (waves >= 4 or names >= 3) else None


def _is_lambda(text: str) -> bool:
    """Whether a cell says that wavelengths stand below it: ``nm``, ``wavelength (nm)``."""
    bare = re.sub(r"[\s_]*[\[(]?\s*nm\s*[\])]?$", "", text.casefold()).strip()
    return bool(text) and bare in _LAMBDA


def _turned(rows: Sequence[Row], column: list[Cell]) -> Table:
    facts: dict[str, str] = {}
    names: list[str] = []
    body: list[tuple[Cell, ...]] = []
    for (_, cells), cell in zip(rows, column, strict=False):
        name = "panel" if _is_lambda(heading(cell)) else heading(cell)
        if meaning_of(name) or wavelength(name) or body:
            names.append(name)
            body.append(cells)
        elif not name and len(cells) > 1:  # the panels' codes, with nothing in the corner
            names.append("panel")
            body.append(cells)
        else:
            facts = _facts_stated(cells) | facts
    width = max(len(cells) for cells in body)
    turned = []
    for i in range(1, width):
        cells = tuple(c[i] if i < len(c) else None for c in body)
        if not all(map(is_blank, cells)):
            turned.append(Row(i + 1, cells))
    summing = _summing(turned)
    kept = tuple(row for row in turned if row.number not in summing)
    left = tuple(row for row in turned if row.number in summing)
    return Table(tuple(names), kept, row_word="column", facts=facts, remarks=left)


def _facts_stated(cells: Sequence[Cell]) -> dict[str, str]:
    """What a row above a header states once for all: ``Illuminant: D50``, ``Mode`` | ``SCI``."""
    settings: dict[str, str] = {}
    texts = [heading(c) for c in cells]
    pairs = []
    for text in texts:
        if match := re.match(r"([^:=]{2,40})[:=]\s*(.+)$", text):
            pairs.append((match[1], match[2]))
    filled = [t for t in texts if t]
    if len(filled) == 2:
        pairs.append((filled[0].rstrip(":= "), filled[1]))
    for key, value in pairs:
        meaning = meaning_of(key.strip())
        if meaning in FACTS:
            seen = viewing_words(value) if meaning in VIEWING else {}
            if meaning == "scale":
                seen = {"scale": s} if (s := scale_of(value)) else {}
            elif not seen:
                seen = {**settings_in(value), meaning: value.strip()}
            settings = seen | settings
    if not settings:
        for text in filled:
            settings = settings_in(text) | settings
    return settings


def _remark(cells: Sequence[Cell], columns: int) -> bool:
    filled = [c for c in cells if not is_blank(c)]
    if len(filled) != 1 or columns < 4 or not isinstance(filled[0], str):
        return False
    text = filled[0].strip()
    return len(text) > 12 and " " in text


def _summing(rows: Sequence[Row]) -> set[int]:
    """Rows that are no readings but sum some up: an average, and what stands beside one."""
    found: set[int] = set()
    beside: set[int] = set()
    counted: dict[int, bool] = {}
    for row in rows:
        texts = [(i, c.strip()) for i, c in enumerate(row.cells) if isinstance(c, str)]
        first = next((i for i, c in enumerate(row.cells) if not is_blank(c)), 0)
        words = [
            i
            for i, text in texts
            if len(text) < 30
            and (_MEAN.fullmatch(text) or (i in beside and _BESIDE_MEAN.fullmatch(text)))
        ]
        for i in set(words) - counted.keys():
            counted[i] = any(heading(r.at(i)).isdigit() for r in rows)
        # a finish may be noted as average: the word tells where a code or a count would stand
        beside = {i for i in words if i == first or counted[i]}
        if beside:
            found.add(row.number)
    return found


def no_table(sheets: Sequence[Sheet]) -> FileError:
    """Return the error for a file in which no header was found."""
    seen = next((r.cells for s in sheets for r in s.rows), ())
    return FileError(
        "No row of this file names columns that can be known.",
        expected="names such as panel, ground, colour, ratio, coats, L, a, b",
        got=repr(
            " | ".join(read_text(c, "") for c in seen[:8] if not isinstance(c, CellFault))[:120]
        ),
        remedy="write the names of the columns above them, parted by commas, semicolons or tabs.",
    )
