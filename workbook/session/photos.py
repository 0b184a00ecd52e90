"""Photographs taken in: read one by one or together, each panel by its code, and shown marked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from matchlib.errors import FileError, MatchlibError

if TYPE_CHECKING:
    from matchlib.readings.photo import Marks, PhotoReading, Picture, Profile

__all__ = [
    "Photographed",
    "Shot",
    "by_phone",
    "photograph",
    "photograph_table",
]

Outline = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Photographed:
    """What came of the photographs of one panel.

    `code`: the panel's; empty where none was given. `files`: names of the photographs. `reading`:
    of those that could be read, together. `refused`: one a photograph that could not. `picture`:
    the first that could be read, else the last, small, with what was found drawn on it: JPEG, or
    nothing. `chart`, `panels`: corners of the chart, and outlines of what is or may be a panel, in
    the last photograph [pixel]; empty where they were not found.
    """

    SHOWN: ClassVar = (
        *(("panel", "code"), "files"),
        (
            "refused",
            lambda p: [{"reason": getattr(e, "reason", ""), "words": str(e)} for e in p.refused],
        ),
        ("", "reading"),
    )

    code: str
    files: tuple[str, ...]
    reading: PhotoReading | None
    refused: tuple[MatchlibError, ...]
    picture: bytes
    chart: Outline = ()
    panels: tuple[Outline, ...] = ()

    @property
    def text(self) -> str:
        """What came of it, in plain words."""
        lines = [f"Panel {self.code}:"] if self.code else []
        lines += [f"Refused: {error}" for error in self.refused]
        if self.reading is not None:
            lines.append(self.reading.text())
        return "\n".join(lines)


@dataclass(frozen=True)
class Shot:
    """One photograph, with what a person says of it.

    `name`: of the file. `content`: the file itself, or where it is. `marks`: whatever is marked.
    """

    name: str
    content: bytes | Path
    marks: Marks


def photograph(shots: Sequence[Shot]) -> list[Photographed]:
    """Read photographs: those that show one panel together, each marked panel by its code.

    `shots`: if none has more than one panel marked, all are of one panel. Returned: one a panel, in
    the order marked. Nothing is raised for a photograph that cannot be read: it is told, and does
    not take the others with it.
    """
    from matchlib.readings.photo import combine

    if not shots:
        raise FileError("No photograph was chosen yet.", remedy="choose one first.")
    named = dict.fromkeys(code for shot in shots for code in shot.marks.panels)
    alone = all(len(shot.marks.panels) < 2 for shot in shots)
    only = next(iter(named), "")
    came: dict[str, list[tuple[str, PhotoReading | MatchlibError, bytes]]] = {}
    for shot in shots:
        for own, got, picture in _one(shot):
            came.setdefault(only if alone else own, []).append((shot.name, got, picture))
    result = []
    for code, each in came.items():
        names = tuple(name for name, _, _ in each)
        found = [(got, picture) for _, got, picture in each if not isinstance(got, MatchlibError)]
        refused = tuple(got for _, got, _ in each if isinstance(got, MatchlibError))
        reading = combine([got for got, _ in found]) if found else None
        shown = found[0][1] if found else next((p for *_, p in reversed(each) if p), b"")
        outlines = _outlines(each[-1][1])
        result.append(Photographed(code, names, reading, refused, shown, *outlines))
    return result


def by_phone(found: Photographed, profile: Profile) -> Photographed:
    """Return what came of photographs as the phone's past corrects it, under the phone's name."""
    if found.reading is None:
        return found
    reading = profile.applied(found.reading)
    named = replace(reading.reading, instrument=profile.name)
    return replace(found, reading=replace(reading, reading=named))


def _one(shot: Shot) -> list[tuple[str, PhotoReading | MatchlibError, bytes]]:
    """Read one photograph: what came of each panel, and the picture to be shown for it."""
    from matchlib.readings.photo import load_picture, read_photo

    marks = shot.marks
    codes = list(marks.panels or [""])
    try:
        picture = load_picture(shot.content, linear=marks.linear, name=shot.name)
    except MatchlibError as error:
        return [(code, error, b"") for code in codes]
    got: Mapping[str, PhotoReading | MatchlibError]
    try:
        got = read_photo(picture, marks)
    except MatchlibError as error:
        got = dict.fromkeys(codes, error)
    return [(code, each, _shown(picture, each)) for code, each in got.items()]


def _outlines(got: PhotoReading | MatchlibError) -> tuple[Outline, tuple[Outline, ...]]:
    """Where the chart is, and what is or may be a panel."""
    from matchlib.readings.photo import PhotoReading, PhotoRefused

    if isinstance(got, PhotoReading):
        return got.chart_corners, (got.panel_outline,)
    if isinstance(got, PhotoRefused):
        return got.chart_corners, got.outlines
    return (), ()


def _shown(picture: Picture, got: PhotoReading | MatchlibError) -> bytes:
    from matchlib.readings.photo import marked_picture

    chart, panels = _outlines(got)
    return marked_picture(picture, chart=chart, panels=panels)


def photograph_table(named: Mapping[str, Sequence[Path]], marks: Marks) -> list[Photographed]:
    """Read photographs that a table names, those of one panel together.

    `marks`: what holds for all; its panels are not used.
    """
    plain, result = replace(marks, panels={}), []
    for code, paths in named.items():
        (got,) = photograph([Shot(p.name, p, plain) for p in paths])
        result.append(replace(got, code=code))
    return result
