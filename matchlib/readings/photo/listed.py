"""Tables that go with photographs: a chart's own values, and which picture shows which panel."""

from __future__ import annotations

from pathlib import Path

from matchlib.errors import FileError
from matchlib.readings._cells import read_number, read_text
from matchlib.readings._grid import Row
from matchlib.readings._text import read_delimited
from matchlib.readings.files import placing
from matchlib.readings.questions import Asking
from matchlib.readings.whole import file_bytes

__all__ = ["read_chart", "read_codes"]


def read_chart(path: Path) -> list[list[float]]:
    """Read a chart's own Lab, the last three cells of 24 rows, with or without a header."""
    rows = _rows(path)
    return [_lab(row, path) for row in rows[len(rows) == 25 :]]


def read_codes(path: Path, folder: Path) -> dict[str, list[Path]]:
    """Read which photographs of a folder show which panel, from columns ``file`` and ``panel``."""
    rows = _rows(path)
    names = [read_text(cell, "header").casefold() for row in rows[:1] for cell in row.cells]
    result: dict[str, list[Path]] = {}
    for row in rows[1:]:
        given = {n: read_text(row.at(i), n) for i, n in enumerate(names)}
        name, code = given.get("file", ""), given.get("panel", "")
        picture = folder / name
        if not name or not code or not _within(picture, folder):
            raise FileError(
                "This row names no photograph and panel.",
                expected="a file of the folder and the panel's code, in columns file and panel",
                got=f"{name!r} and {code!r}",
                remedy="correct the row.",
                where=f"{path.name}, row {row.number}",
            )
        result.setdefault(code, []).append(picture)
    if not result:
        raise FileError(
            "This table names no photograph.",
            expected="columns file and panel, a row a photograph",
            got="no row",
            remedy="write one row a photograph.",
            where=str(path),
        )
    return result


def _rows(path: Path) -> tuple[Row, ...]:
    data, name = file_bytes(path)
    with placing(name):
        return read_delimited(data, Asking()).rows


def _lab(row: Row, path: Path) -> list[float]:
    try:
        lightness, a, b = row.cells[-3:]
        return [read_number(cell, "Lab", decimal="both") for cell in (lightness, a, b)]
    except (FileError, ValueError):
        raise FileError(
            "The chart's values cannot be read.",
            expected="24 rows of L,a,b (D65/10°), row by row from the brown patch",
            got=repr(";".join(map(str, row.cells))[:60]),
            remedy="correct the file, or leave it out for an average chart.",
            where=f"{path}, row {row.number}",
        ) from None


def _within(picture: Path, folder: Path) -> bool:
    return picture.parent.resolve() == folder.resolve() and picture.is_file()
