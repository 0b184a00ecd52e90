"""CSV and other delimited text → a sheet: encoding and delimiter found from the text itself."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Iterator
from itertools import islice, pairwise

from matchlib.errors import FileError
from matchlib.readings._cells import is_number
from matchlib.readings._grid import Collector, Sheet
from matchlib.readings._words import meaning_of, wavelength
from matchlib.readings.questions import Asking, Choice, Question

__all__ = ["decode", "read_delimited"]

# What spreadsheets and instruments write that do not write UTF-8, the most frequent first.
_OLD = ("cp1252", "mac_roman", "cp850", "cp1250", "cp1251")
_SIGNS = set("°²³µ·–—’‘“”…×%Δ€£§½¼¾±™®ºª«»")
_LINES = 60


def decode(data: bytes, asking: Asking) -> tuple[str, str | None]:
    """Return a text file's text without byte order mark, and what had to be assumed."""
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        raise FileError(
            "This text is in UTF-32.", remedy="save it as UTF-8, the usual choice for CSV."
        )
    head = data[:4096]
    odd, even = head[1::2].count(0), head[0::2].count(0)
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        if marked:
            return data.decode("utf-16"), None
        if max(odd, even) * 4 > len(head) > 1 and min(odd, even) * 20 < len(head):
            return data.decode("utf-16-le" if odd > even else "utf-16-be"), None
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        if marked or 0 in head:
            raise _not_text() from None
        return _old_encoding(data, asking)
    if "\x00" in text:
        raise _not_text()
    return text, None


def _old_encoding(data: bytes, asking: Asking) -> tuple[str, str | None]:
    # one letter more or less in a name changes no colour, so the likeliest stands unless answered
    found: dict[str, list[str]] = {}
    for name in _OLD:
        try:
            words = [w for w in re.split(r"[\s,;\t|]+", data.decode(name)) if not w.isascii()]
        except UnicodeDecodeError:
            continue
        words = list(dict.fromkeys(words[:1000]))
        if all(map(_plausible, words)) and words not in found.values():
            found[name] = words
    if not found:
        raise _not_text()
    best, *others = found
    if others:
        choices = [
            Choice(n, n, "such as " + ", ".join(w[:30] for w in ws[:3])) for n, ws in found.items()
        ]
        question = "The text is not UTF-8. In which encoding are its names right?"
        best = asking.answer(Question("encoding", question, choices, best))
    shown = {"cp1252": "Windows-1252"}.get(best, best)
    sample = next(iter(found[best]), "")[:40]
    return data.decode(best), (
        f"The text is not UTF-8; it was read as {shown}. Check a name such as {sample!r}, and save "
        "as UTF-8 if it looks wrong"
    )


def _plausible(word: str) -> bool:
    scripts = set()
    for c in word:
        if c.isascii() or c in _SIGNS:
            continue
        kind = unicodedata.name(c, "").split(" ")[0]
        if kind not in ("LATIN", "CYRILLIC"):
            return False
        scripts.add(kind)
    mixed = len(scripts) > 1 or ("CYRILLIC" in scripts and re.search("[a-zA-Z]", word))
    return not mixed and not any(
        a.islower() and b.isupper() and not b.isascii() for a, b in pairwise(word)
    )


def read_delimited(data: bytes, asking: Asking) -> Sheet:
    """Return the rows of CSV, semicolon-, tab- or bar-separated text, as a spreadsheet counts."""
    text, warning = decode(data, asking)
    if not text.strip():
        raise FileError(
            "This file is empty.",
            expected="a header and at least one row",
            remedy="export the table again.",
        )
    first, _, rest = text.lstrip("\n\r").partition("\n")
    if first.strip().casefold() in ("sep=,", "sep=;", "sep=\\t", "sep=\t", "sep=|"):
        text = rest  # a spreadsheet's own mark, which it does not show as a row
        delimiter = "\t" if "t" in first[4:].casefold() or "\t" in first else first.strip()[4]
    else:
        delimiter = _delimiter(text)
    kept, number = Collector(), 0
    try:
        for number, cells in enumerate(csv.reader(_lines(text), delimiter=delimiter), 1):
            kept.add(number, tuple(cells))
    except csv.Error as error:
        raise FileError(
            f"The table breaks off: {error}.",
            where=f"row {number + 1}",
            remedy="look for a quotation mark that is never closed.",
        ) from error
    return Sheet(kept.next_sheet(), warnings=(warning,) if warning else ())


def _lines(text: str) -> Iterator[str]:
    return (m[0] for m in re.finditer(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+", text))


def _not_text() -> FileError:
    return FileError(
        "This is not a text table.",
        expected="CSV text in UTF-8, or an XLSX, ODS, CGATS or CxF file",
        remedy="export the table as CSV (UTF-8) or XLSX.",
    )


def _delimiter(text: str) -> str:
    # The names of columns decide: a comma in a later cell may be a decimal comma. Without names it
    # is what leaves most numbers whole.
    found: dict[str, tuple[int, int, int]] = {}
    lines = [line for line in islice(_lines(text), _LINES) if line.strip()]
    if any(len(line) > 200_000 for line in lines):
        raise FileError(
            "A row of this table is too long; it has too many columns.",
            remedy="export only the columns of the table of readings.",
        )
    for delimiter in ",;\t|":
        best, numbers, width = 0, 0, 1
        for line in lines:
            if delimiter not in line:
                continue
            try:
                cells = next(csv.reader([line], delimiter=delimiter))
            except csv.Error:
                continue
            width = max(width, len(cells))
            numbers += sum(is_number(c.strip()) for c in cells)
            best = max(best, _named(cells))
        down = _named(line.split(delimiter)[0].strip().strip('"') for line in lines)
        if width > 1:
            found[delimiter] = (max(best, down), numbers, width)
    if not found:
        return ","
    likely = sorted(found, key=lambda d: found[d], reverse=True)
    if len(likely) > 1 and 0 < found[likely[0]][0] <= 2 * found[likely[1]][0]:
        raise FileError(
            "The delimiter of this table is in doubt: its header holds more than one.",
            expected="commas, semicolons or tabs, one kind between the column names",
            got=repr(lines[0].strip()[:60]),
            remedy="put names that hold such a sign into quotation marks, or rename them.",
        )
    return likely[0]


def _named(cells: Iterable[str]) -> int:
    """How many columns these cells name."""
    texts = {" ".join(cell.split()) for cell in cells}
    meanings = {meaning_of(text) for text in texts} - {None}
    bands = {wavelength(text) for text in texts} - {None}
    # One or two are the ends of numbers cut at their decimal commas.
    return len(meanings) + (len(bands) if len(bands) > 2 else 0)
