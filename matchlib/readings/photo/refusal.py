"""Why a photograph is not read: one kind of error for all reasons, each with its remedy."""

from __future__ import annotations

from matchlib.errors import FileError

__all__ = ["PhotoRefused"]


class PhotoRefused(FileError):  # noqa: N818 - named as what happens, like ImportRefused
    """A photograph from which no honest reading can be had.

    Its `reason` is one of ``no chart``, ``no panel``, ``which panel``, ``two charts``, ``clipped``,
    ``too dark``, ``curve``, ``chart residual``, ``mixed light``, ``shade`` and ``glare``. What was
    found of chart and panels until then is in `chart_corners` and `outlines` [pixel of the upright
    picture], to be shown on the picture.
    """

    chart_corners: tuple[tuple[float, float], ...] = ()
    outlines: tuple[tuple[tuple[float, float], ...], ...] = ()

    def __init__(self, reason: str, problem: str, *, expected: str, got: str, remedy: str) -> None:
        super().__init__(problem, expected=expected, got=got, remedy=remedy)
        self.reason = reason
