"""The control on which a photograph's chart and panel are marked by tapping their corners."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import anywidget
import traitlets as t

from workbook.theme import read_static

__all__ = ["PhotoMarks"]

Corners = list[list[float]]


class PhotoMarks(anywidget.AnyWidget):
    """A photograph to be tapped on; nothing is seen of it before `show`.

    `marks` holds dictionaries of ``kind`` (``chart`` or ``panel``), ``points`` (x and y as shares
    of the picture's width and height, four when whole), a panel's ``code`` where there are several
    and, where nobody marked it yet, ``found``.
    """

    picture = t.Unicode().tag(sync=True)
    marks = t.List(t.Dict()).tag(sync=True)

    # Read when the first control is made, so that importing this module opens no file.
    @property
    def _esm(self) -> str:
        return read_static("photo_marks.js")

    @property
    def _css(self) -> str:
        return read_static("photo_marks.css")

    def show(
        self,
        jpeg: bytes,
        size: tuple[int, int],
        *,
        chart: Sequence[Sequence[float]] = (),
        panels: Iterable[Sequence[Sequence[float]]] = (),
    ) -> None:
        """Show a photograph, small, with what was found in it; nothing takes it away.

        `size` and the four corners each of `chart` and `panels` are in pixels of the photograph
        itself; an empty chart was not found.
        """
        found = [("chart", chart), *(("panel", p) for p in panels)]
        self.marks = [
            {"kind": kind, "points": _shares(corners, size), "found": True}
            for kind, corners in found
            if len(corners) == 4
        ]
        data = base64.b64encode(jpeg).decode("ascii")
        self.picture = f"data:image/jpeg;base64,{data}" if jpeg else ""

    def marked(self, size: tuple[int, int]) -> tuple[Corners | None, dict[str, Corners]]:
        """Return what a person marked of a photograph of this size, in its own pixels.

        The chart's corners, None where it is to be looked for, and the panels' by their codes.
        """
        whole = [m for m in self.marks if len(m["points"]) == 4 and not m.get("found")]
        chart = next((_pixels(m, size) for m in whole if m["kind"] == "chart"), None)
        panels = {m.get("code", ""): _pixels(m, size) for m in whole if m["kind"] == "panel"}
        return chart, panels


def _shares(corners: Sequence[Sequence[float]], size: tuple[int, int]) -> Corners:
    return [[(float(x) + 0.5) / size[0], (float(y) + 0.5) / size[1]] for x, y in corners]


def _pixels(mark: Mapping[str, Any], size: tuple[int, int]) -> Corners:
    return [[float(x) * size[0] - 0.5, float(y) * size[1] - 0.5] for x, y in mark["points"]]
