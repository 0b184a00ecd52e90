"""A photograph of panels beside a chart → readings with their uncertainty, or plain refusals."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import delta_e00
from matchlib.errors import MatchlibError
from matchlib.readings.photo import checks
from matchlib.readings.photo.chart import chart_lab
from matchlib.readings.photo.correct import Correction, fit_correction
from matchlib.readings.photo.estimate import PhotoReading, reading_of
from matchlib.readings.photo.find import Chart, find_chart, quad_of
from matchlib.readings.photo.fit import ChartFit
from matchlib.readings.photo.gloss import body_lab, part_gloss
from matchlib.readings.photo.image import Picture, load_picture
from matchlib.readings.photo.light import SURFACE, panel_edge, places_of, surround_of
from matchlib.readings.photo.refusal import PhotoRefused, refuse
from matchlib.readings.photo.sample import find_panels, sample_chart, sample_panel
from matchlib.readings.photo.uncertainty import parts_of

__all__ = ["Region", "read_panels", "read_photo"]

Array = NDArray[np.float64]
Region = Sequence[float] | Sequence[Sequence[float]]
"""x, y, width and height, or four corners [pixel of the upright picture]."""


def read_photo(
    source: str | os.PathLike[str] | bytes | Picture,
    *,
    corners: Sequence[Sequence[float]] | None = None,
    panel: Region | None = None,
    chart: ArrayLike | None = None,
    linear: bool | None = None,
    one_surface: bool = True,
    matt: bool = False,
    name: str | None = None,
) -> PhotoReading:
    """Read a panel's colour off a photograph with a 24-patch reference chart in it.

    Parameters
    ----------
    source : path-like or bytes or Picture
        A picture file (see `load_picture`), or what that returned.
    corners : sequence of 4 (x, y), optional
        Outer corners of the chart's four corner patches [pixel of the upright picture], around,
        from any of them; looked for where not given.
    panel : Region, optional
        What to read; the one large even area beside the chart where not given.
    chart : array_like, shape (24, 3), optional
        Your own chart's Lab, D65/10°, row by row from the brown patch; an average chart's where
        not given.
    linear : bool, optional
        Whether the file's numbers are proportional to light.
    one_surface : bool
        Whether chart and panel lie on one surface, which then tells of shade between them.
    matt : bool
        Whether the panel is matt, as a ground without clear coat is.
    name : str, optional
        File name for errors, where bytes are given.

    Returns
    -------
    PhotoReading
        The reading, its uncertainty and how it came about.

    Raises
    ------
    PhotoRefused
        If no honest reading can be had; its `reason` says why in a word, and its `chart_corners`
        and `outlines` what was found until then.
    FileError
        If the file is no readable picture.
    DomainError
        If corners, panel or chart are impossible.
    """
    scene, shown = _open(
        source, corners=corners, chart=chart, linear=linear, one_surface=one_surface, name=name
    )
    scene.matt = matt
    try:
        if panel is not None:
            return scene.read(panel)
        outlines = find_panels(scene.picture, scene.chart)
        scene.outlines = outlines
        if len(outlines) > 1:
            raise refuse(
                "which panel",
                "More than one area of this picture could be the panel.",
                expected="one panel beside the chart, and no paper or other panel as large",
                got=f"{len(outlines)} even areas",
                remedy="mark the panel on the picture.",
            )
        return scene.read_outline(outlines[0], found=True)
    except MatchlibError as error:
        raise scene.shown_in(error).at(shown) from error


def read_panels(
    source: str | os.PathLike[str] | bytes | Picture,
    panels: Mapping[str, Region],
    *,
    corners: Sequence[Sequence[float]] | None = None,
    chart: ArrayLike | None = None,
    linear: bool | None = None,
    one_surface: bool = True,
    matt: bool = False,
    name: str | None = None,
) -> dict[str, PhotoReading | PhotoRefused]:
    """Read several panels of one photograph, each by its code.

    Parameters
    ----------
    source, corners, chart, linear, one_surface, matt, name
        As for `read_photo`.
    panels : mapping of str to Region
        Where each panel is, by its code.

    Returns
    -------
    dict of str to PhotoReading or PhotoRefused
        A panel that cannot be read does not take the others with it.

    Raises
    ------
    PhotoRefused
        If the chart, and so every panel, cannot be read.
    FileError
        If the file is no readable picture.
    DomainError
        If corners, a region or the chart are impossible.
    """
    scene, shown = _open(
        source, corners=corners, chart=chart, linear=linear, one_surface=one_surface, name=name
    )
    scene.matt = matt
    scene.outlines = [quad_of(where, scene.picture.size, "panel") for where in panels.values()]
    result: dict[str, PhotoReading | PhotoRefused] = {}
    for code, where in panels.items():
        try:
            result[code] = scene.read(where)
        except PhotoRefused as refusal:
            scene.shown_in(refusal)
            refusal.where = f"{shown}, panel {code}"
            result[code] = refusal
    return result


def _open(
    source: str | os.PathLike[str] | bytes | Picture,
    *,
    corners: Sequence[Sequence[float]] | None,
    chart: ArrayLike | None,
    linear: bool | None,
    one_surface: bool,
    name: str | None,
) -> tuple[_Scene, str]:
    shown = name or "picture"
    if not isinstance(source, (bytes, Picture)):
        shown = Path(source).name
    lab = chart_lab(chart)
    picture = (
        source if isinstance(source, Picture) else load_picture(source, linear=linear, name=name)
    )
    found: Chart | None = None
    try:
        found = find_chart(picture, lab, corners=corners)
        patches = sample_chart(picture, found)
        checks.check_exposure(patches)
        trust = np.where(patches.blind.max(axis=1) > 0.2, 0.3, 1.0)
        seen = ChartFit(patches.light, places_of(picture, found, patches.middle), lab, trust)
        checks.check_curve(seen, picture)
        scene = _Scene(picture, found, seen, one_surface)
        checks.check_chart(scene.fit(plain=False), picture.space)
        return scene, shown
    except MatchlibError as error:
        if isinstance(error, PhotoRefused) and found is not None:
            error.chart_corners = pairs(found.corners)
        raise error.at(shown) from error
    except (ArithmeticError, np.linalg.LinAlgError, ValueError) as error:
        # No finite correction exists: the patches are not what they were taken for.
        raise refuse(
            "chart residual",
            "No correction can be worked out from this chart.",
            expected="24 patches of different colours, none of them black to the camera",
            got=str(error)[:100].rstrip("."),
            remedy="use even daylight, and mark the chart's corners on the picture.",
        ).at(shown) from error


@dataclass
class _Scene:
    """A picture with its chart, from which any panel in it can be read."""

    picture: Picture
    chart: Chart
    seen: ChartFit
    one_surface: bool
    matt: bool = False
    outlines: list[Array] = field(default_factory=list)
    _fits: dict[bool, Correction] = field(default_factory=dict)

    def fit(self, *, plain: bool) -> Correction:
        """The correction, worked out once."""
        if plain not in self._fits:
            self._fits[plain] = fit_correction(self.seen, linear=self.picture.linear, plain=plain)
        return self._fits[plain]

    def shown_in(self, error: MatchlibError) -> MatchlibError:
        """A refusal with what was found, so that it can be shown on the picture."""
        if isinstance(error, PhotoRefused):
            error.chart_corners = pairs(self.chart.corners)
            error.outlines = tuple(pairs(o) for o in self.outlines)
        return error

    def read(self, region: Region) -> PhotoReading:
        """Read what was marked, a little within its edge."""
        outline = quad_of(region, self.picture.size, "panel")
        if not self.outlines:
            self.outlines = [outline]
        return self.read_outline(
            outline.mean(axis=0) + 0.92 * (outline - outline.mean(axis=0)), found=False
        )

    def read_outline(self, outline: Array, *, found: bool) -> PhotoReading:
        """Read one panel."""
        cells = sample_panel(self.picture, outline)
        cells, shone = checks.without_highlights(cells)
        fit = self.fit(plain=bool(cells.blind.mean(axis=0).max() > 0.05))
        checks.check_edge(*panel_edge(cells))
        around = None
        if self.one_surface:
            around = surround_of(self.picture, self.chart, fit, [outline, *self.outlines], outline)
            checks.check_surround(around)
            if around is not None:
                fit = fit.corrected(around.slope, around.step, sd=SURFACE + around.error)
        places = places_of(self.picture, self.chart, cells.middle)
        areas = fit.xyz(cells.light, places)
        noise = np.abs(fit.xyz(cells.light + cells.noise, places) - areas)
        body = part_gloss(areas, noise, places.plane, matt=self.matt)
        checks.check_gloss(body.change)
        lab, gloss = body_lab(body)
        parts, lab = parts_of(
            fit, cells, places, body, lab,
            around=around, shone=shone, space=self.picture.space,
        )  # fmt: skip
        checks.check_colour(lab)
        return PhotoReading(
            reading=reading_of(lab, {**parts, "gloss": gloss}),
            parts={**parts, "gloss": gloss},
            body=body,
            left_out=float(np.mean(delta_e00(self.seen.lab, self.seen.lab + fit.left_out))),
            fitted=float(np.mean(delta_e00(self.seen.lab, self.seen.lab + fit.fitted))),
            method=fit.model.words,
            warnings=checks.warnings_of(cells, body, around, shone, self.one_surface),
            chart_corners=pairs(self.chart.corners),
            panel_outline=pairs(outline),
            panel_found=found,
        )


def pairs(points: Array) -> tuple[tuple[float, float], ...]:
    """Return points as plain numbers."""
    return tuple((float(x), float(y)) for x, y in points)
