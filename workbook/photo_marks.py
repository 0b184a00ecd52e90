"""The control on which a photograph's chart and panels are marked by tapping their corners."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import anywidget
import traitlets as t

from workbook.theme import read_static, stylesheet

__all__ = ["PhotoMarks"]

Corners = list[list[float]]


class PhotoMarks(anywidget.AnyWidget):
    """A photograph to be tapped on; nothing is seen of it before `show`.

    `marks` holds dictionaries of ``kind`` (``chart`` or ``panel``), ``code``, ``points`` (x and y
    as shares of the picture's width and height, four when whole) and, where nobody marked it yet,
    ``found``.
    """

    picture = t.Unicode().tag(sync=True)
    coded = t.Bool(False).tag(sync=True)
    marks = t.List(t.Dict()).tag(sync=True)

    # Read when the first control is made, so that importing this module opens no file.
    @property
    def _esm(self) -> str:
        return read_static("photo_marks.js")

    @property
    def _css(self) -> str:
        return stylesheet()

    def show(
        self,
        jpeg: bytes,
        size: tuple[int, int],
        *,
        chart: Sequence[Sequence[float]] = (),
        panels: Iterable[Sequence[Sequence[float]]] = (),
    ) -> None:
        """Show a photograph with what was found in it.

        Parameters
        ----------
        jpeg : bytes
            The photograph, small; nothing takes it away.
        size : tuple of 2 int
            Width and height of the photograph itself [pixel].
        chart : sequence of 4 (x, y)
            The chart's corners [pixel of the photograph]; none where it was not found.
        panels : iterable of sequences of 4 (x, y)
            Corners of what may be panels [pixel of the photograph].
        """
        found = [("chart", chart), *(("panel", p) for p in panels)]
        self.marks = [
            {"kind": kind, "code": "", "points": _shares(corners, size), "found": True}
            for kind, corners in found
            if len(corners) == 4
        ]
        data = base64.b64encode(jpeg).decode("ascii")
        self.picture = f"data:image/jpeg;base64,{data}" if jpeg else ""

    def marked(self, size: tuple[int, int]) -> tuple[Corners | None, dict[str, Corners]]:
        """Return what a person has marked, in the photograph's own pixels.

        Parameters
        ----------
        size : tuple of 2 int
            Width and height of the photograph itself [pixel].

        Returns
        -------
        corners : list of 4 [x, y] or None
            The chart's, None where it is to be looked for.
        panels : dict of str to list of 4 [x, y]
            By code; empty where the panel is to be looked for.
        """
        whole = [m for m in self.marks if len(m["points"]) == 4 and not m.get("found")]
        charts = [_pixels(m, size) for m in whole if m["kind"] == "chart"]
        panels = {m["code"]: _pixels(m, size) for m in whole if m["kind"] == "panel"}
        return (charts[-1] if charts else None), panels

    def on_marks(self, call: Callable[[], object]) -> None:
        """Call when a mark was made, moved or taken back.

        Parameters
        ----------
        call : callable
            Takes nothing.
        """
        self.observe(lambda _: call(), "marks")


def _shares(corners: Sequence[Sequence[float]], size: tuple[int, int]) -> Corners:
    return [[(float(x) + 0.5) / size[0], (float(y) + 0.5) / size[1]] for x, y in corners]


def _pixels(mark: Mapping[str, Any], size: tuple[int, int]) -> Corners:
    return [[float(x) * size[0] - 0.5, float(y) * size[1] - 0.5] for x, y in mark["points"]]
