"""What one file's own habit is: its decimal sign, and the order of day and month in its dates."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable

from matchlib.errors import FileError
from matchlib.readings._cells import read_text
from matchlib.readings._grid import Cell
from matchlib.readings.questions import Asking, Choice, Question, Undecided

__all__ = ["decimal_of", "read_date", "style_of_dates"]

_COMMA = re.compile(r"[+-]?\d{0,12},\d+")
_POINT = re.compile(r"[+-]?\d{0,12}\.\d+")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ][\d:.+Z-]{0,30})?", re.ASCII)
_COMPACT = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})", re.ASCII)
_THREE = re.compile(
    r"(\d{1,2})\s?[./-]\s?(\d{1,2})\s?[./-]\s?(\d{4}|\d{2})(?:[ T]\d{1,2}[:.]\d{2}.{0,9})?",
    re.ASCII,
)
_MONTH = re.compile(
    r"(?:[A-Za-z]{2,9},? )?(?P<d1>\d{1,2})?(?:st|nd|rd|th)?[\s./-]*"
    r"(?P<m>[A-Za-zäûéÄ]{3,9})\.?[\s./-]*"
    r"(?P<d2>\d{1,2}(?:st|nd|rd|th)?(?=[\s,]))?[\s,./-]*(?P<y>\d{4}|\d{2})"
)
_MONTHS = (
    *("jan", "feb fév fev", "mar mär", "apr avr", "may mai", "jun juin", "jul juil"),
    *("aug aoû aou", "sep", "oct okt", "nov", "dec déc dez"),
)
_WORDS = {"dmy": "day first: 3/4/2025 is 3 April", "mdy": "month first: 3/4/2025 is March 4"}


def decimal_of(texts: Iterable[tuple[int, str]], word: str, asking: Asking) -> str:
    """Return the decimal sign of a file's numbers as text: ``.``, ``,`` or ``both``."""
    commas: list[tuple[int, str]] = []
    points: list[tuple[int, str]] = []
    for row, text in texts:
        if _COMMA.fullmatch(text):
            commas.append((row, text))
        elif _POINT.fullmatch(text):
            points.append((row, text))
    if not commas or not points:
        return "," if commas else "."
    comma, point = commas[0], points[0]
    both = f"{word} {comma[0]}: {comma[1]} is " + comma[1].replace(",", ".")
    question = Question(
        "decimal",
        f"Some numbers have a decimal point ({len(points)}, such as {point[1]}) and others a "
        f"comma ({len(commas)}, such as {comma[1]}). What does each mean?",
        [
            Choice("both", "both are decimal signs", both),
            Choice(".", "only the point is; rows with a comma are left out"),
            Choice(",", "only the comma is; rows with a point are left out"),
        ],
        rows=[row for row, _ in (commas if len(commas) <= len(points) else points)][:1000],
    )
    return asking.answer(question)


def style_of_dates(
    cells: Iterable[tuple[int, Cell]], hint: str, word: str, asking: Asking
) -> str | None:
    """Return ``dmy`` or ``mdy`` for dates like 3/4/2025; None where the question stays open."""
    # `hint` is what the column's own name or unit says (``dd/mm/yyyy``).
    order = re.sub(r"[^dmy]", "", hint.casefold())
    shorter = re.sub(r"(.)\1+", r"\1", order)
    if shorter in ("dmy", "mdy"):
        return shorter
    found = [
        (row, match)
        for row, cell in cells
        if isinstance(cell, str) and (match := _THREE.fullmatch(cell.strip()))
    ]
    if not found:
        return "dmy"
    good = {s: [_day(m, s) is not None for _, m in found] for s in ("dmy", "mdy")}
    sure = [s for s, fits in good.items() if all(fits)]
    if len(sure) == 1:
        return sure[0]
    if len(sure) == 2 and all(_day(m, "dmy") == _day(m, "mdy") for _, m in found):
        return "dmy"
    halfway = next(
        (row for (row, _), fits in zip(found, good["dmy"], strict=True) if not fits), None
    )
    row, match = found[0]
    choices = []
    for style in ("dmy", "mdy"):
        day = _day(match, style)
        bad = good[style].count(False)
        means = f"{word} {row}: {match[0]} is " + (f"{day:%d %B %Y}" if day else "no date")
        means += f"; {bad} of {len(found)} dates cannot be read so" if bad else ""
        choices.append(Choice(style, _WORDS[style], means))
    text = "Is the day or the month first in this file's dates?"
    if halfway is not None:
        text = (
            f"The dates of this file change their style (see {word} {halfway}). Which holds? Rows "
            "that do not fit are left out."
        )
    try:
        return asking.answer(Question("dates", text, choices, rows=[r for r, _ in found][:1000]))
    except Undecided:
        return None


def read_date(cell: Cell, style: str | None) -> dt.date | None:
    """Return a date by the file's style, None for a blank cell; raises what is wrong with it."""
    if isinstance(cell, dt.datetime):
        return cell.date()
    if isinstance(cell, dt.date):
        return cell
    text = read_text(cell, "date")
    if not text:
        return None
    iso = _ISO.fullmatch(text) or _COMPACT.fullmatch(text)
    three = _THREE.fullmatch(text)
    day = None
    if iso:
        day = _made(int(iso[1]), int(iso[2]), int(iso[3]))
    elif three:
        if style is None:
            raise Undecided("dates")
        day = _day(three, style)
    elif match := _MONTH.fullmatch(text):
        head = match["m"].casefold()
        month = next(
            (i for i, w in enumerate(_MONTHS, 1) if any(head.startswith(p) for p in w.split())), 0
        )
        number = re.sub(r"\D", "", match["d1"] or match["d2"] or "")
        if month and number and not (match["d1"] and match["d2"]):
            day = _made(_year(match["y"]), month, int(number))
    if day is None or not 1950 <= day.year <= 2100:
        raise FileError(
            "This date cannot be read without guessing.",
            expected="year-month-day, such as 2025-04-03, or the style of the file's other dates",
            got=repr(text[:40]),
            remedy="write dates as year-month-day, or format the cells as dates in the "
            "spreadsheet.",
        )
    return day


def _day(match: re.Match[str], style: str) -> dt.date | None:
    first, second = int(match[1]), int(match[2])
    day, month = (first, second) if style == "dmy" else (second, first)
    return _made(_year(match[3]), month, day)


def _year(text: str) -> int:
    return int(text) + (0 if len(text) == 4 else 2000 if int(text) < 80 else 1900)


def _made(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None
