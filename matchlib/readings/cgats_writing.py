"""Panels → CGATS text (ISO 28178) that reads back as the same panels."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import groupby

from matchlib import __version__
from matchlib.domain import Panel
from matchlib.readings._rows import ReadingRow, reading_rows
from matchlib.readings._words import known_name
from matchlib.readings.cgats import EXTRA_FIELD, NEWLINE_KEYWORD
from matchlib.readings.writing import table_of

__all__ = ["cgats_of"]

_STANDARD = {"panel": "SAMPLE_NAME", "L": "LAB_L", "a": "LAB_A", "b": "LAB_B"}
_NUMBERED = re.compile(r"\d+(?:\.\d+)?")


def cgats_of(panels: Iterable[Panel]) -> bytes:
    """Return panels as CGATS text, one set a reading."""
    tables = [table_of(run) for _, run in groupby(reading_rows(panels), key=_kind)]
    mark = _unused([c for _, rows in tables for row in rows for c in row if isinstance(c, str)])
    lines = ["CGATS.17", f'ORIGINATOR "matchlib {__version__}"', 'FILE_DESCRIPTOR "panels"']
    lines += [f'KEYWORD "{NEWLINE_KEYWORD}"', f'{NEWLINE_KEYWORD} "{mark}"']
    for header, rows in tables:
        fields, own = _fields(header)
        used = [
            i
            for i, name in enumerate(header)
            if name in _STANDARD or any(row[i] not in (None, "") for row in rows)
        ]
        standard = set(_STANDARD.values())
        lines += [
            f'KEYWORD "{fields[i]}"'
            for i in used
            if fields[i] not in standard and not fields[i].startswith("SPECTRAL_")
        ]
        lines += [f"{fields[i]} {_quoted(own[i], mark)}" for i in used if i in own]
        lines += [f"NUMBER_OF_FIELDS {len(used)}", "BEGIN_DATA_FORMAT"]
        lines += [" ".join(fields[i] for i in used), "END_DATA_FORMAT"]
        lines += [f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"]
        lines += [" ".join(_quoted(row[i], mark) for i in used) for row in rows]
        lines.append("END_DATA")
    return ("\n".join(lines) + "\n").encode("utf-8")


def _kind(row: ReadingRow) -> tuple[float, ...]:
    return row.reading.wavelengths if row.reading is not None else ()


def _fields(header: list[str]) -> tuple[list[str], dict[int, str]]:
    fields, own = [], {}
    for i, name in enumerate(header):
        if name in _STANDARD:
            fields.append(_STANDARD[name])
        elif _NUMBERED.fullmatch(name):
            fields.append(f"SPECTRAL_NM{name}")
        elif known_name(name) == name:
            fields.append(name.upper())
        else:
            fields.append(f"{EXTRA_FIELD}{i}")
            own[i] = name
    return fields, own


def _unused(texts: list[str]) -> str:
    # A text of this format cannot hold a line end; a sign that no text holds stands for it.
    joined = "\x00".join(texts)
    n = 0
    while (mark := f"<br{n or ''}>") in joined:
        n += 1
    return mark


def _quoted(cell: str | float | None, mark: str) -> str:
    if isinstance(cell, int | float):
        return repr(float(cell))
    text = (cell or "").replace("\n", mark).replace('"', '""')
    return f'"{text}"'
