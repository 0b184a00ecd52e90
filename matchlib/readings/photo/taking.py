"""A photograph of panels beside a chart → readings with their uncertainty, or plain refusals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from matchlib.errors import MatchlibError
from matchlib.readings.photo import checks
from matchlib.readings.photo.chart import chart_lab
from matchlib.readings.photo.correct import Correction, fit_correction
from matchlib.readings.photo.estimate import PhotoReading, reading_of
from matchlib.readings.photo.find import Chart, find_chart, quad_of
from matchlib.readings.photo.fit import ChartFit
from matchlib.readings.photo.gloss import body_lab, part_gloss
from matchlib.readings.photo.image import Picture
from matchlib.readings.photo.light import SURFACE, panel_edge, places_of, surround_of
from matchlib.readings.photo.refusal import PhotoRefused
from matchlib.readings.photo.sample import find_panels, sample_chart, sample_panel
from matchlib.readings.photo.uncertainty import parts_of

__all__ = ["Marks", "read_photo"]

Array = NDArray[np.float64]
Corners = Sequence[Sequence[float]]


@dataclass(frozen=True)
class Marks:
    """What a person says of a photograph; pixels are of the upright picture.

    Parameters
    ----------
    corners : sequence of 4 (x, y), optional
        Outer corners of the chart's four corner patches, around, from any of them; looked for
        where not given.
    panels : mapping of str to sequence
        Where panels are, by their codes: four corners, or x, y, width and height. The one large
        even area beside the chart where there are none.
    chart : sequence of 24 (L, a, b), optional
        Your own chart's Lab, D65/10°, row by row from the brown patch; an average chart's where
        not given.
    linear : bool, optional
        Whether the file's numbers are proportional to light, for `load_picture`.
    one_surface : bool
        Whether chart and panels lie on one surface, which then tells of shade between them.
    matt : bool
        Whether the panels are matt, as grounds without clear coat are.
    """

    corners: Corners | None = None
    panels: Mapping[str, Sequence[float] | Corners] = field(default_factory=dict)
    chart: Sequence[Sequence[float]] | None = None
    linear: bool | None = None
    one_surface: bool = True
    matt: bool = False


def read_photo(picture: Picture, marks: Marks = Marks()) -> dict[str, PhotoReading | PhotoRefused]:
    """Read panels' colours off a photograph with a 24-patch reference chart in it.

    Parameters
    ----------
    picture : Picture
        Of `load_picture`.
    marks : Marks
        Where chart and panels are, and what else is known.

    Returns
    -------
    dict of str to PhotoReading or PhotoRefused
        By the panels' codes; by the empty one where none is marked. A panel of which no honest
        reading can be had does not take the others with it; its refusal's `reason` says why in a
        word, and its `chart_corners` and `outlines` what was found until then.

    Raises
    ------
    PhotoRefused
        If the chart, and so every panel, cannot be read.
    DomainError
        If corners, a panel's place or the chart are impossible.
    """
    scene = _open(picture, marks)
    result: dict[str, PhotoReading | PhotoRefused] = {}
    for i, code in enumerate(marks.panels or [""]):
        where = f"{picture.name}, panel {code}" if code else picture.name
        try:
            if marks.panels:
                # A little within its edge.
                middle = scene.outlines[i].mean(axis=0)
                outline = middle + 0.92 * (scene.outlines[i] - middle)
            else:
                outline = scene.look_for_panel()
            result[code] = scene.read(outline)
        except PhotoRefused as refusal:
            result[code] = scene.shown_in(refusal)
            refusal.where = where
    return result


def _open(picture: Picture, marks: Marks) -> _Scene:
    lab = chart_lab(marks.chart)
    found: Chart | None = None
    try:
        found = find_chart(picture, lab, corners=marks.corners)
        patches = sample_chart(picture, found)
        checks.check_exposure(patches)
        trust = np.where(patches.blind.max(axis=1) > 0.2, 0.3, 1.0)
        seen = ChartFit(patches.light, places_of(picture, found, patches.middle), lab, trust)
        checks.check_curve(seen, picture)
        scene = _Scene(picture, marks, found, seen)
        checks.check_chart(scene.fit(plain=False), picture.space)
        scene.outlines = [quad_of(where, picture.size, "panel") for where in marks.panels.values()]
        return scene
    except MatchlibError as error:
        if isinstance(error, PhotoRefused) and found is not None:
            error.chart_corners = pairs(found.corners)
        raise error.at(picture.name) from error
    except (ArithmeticError, np.linalg.LinAlgError, ValueError) as error:
        # No finite correction exists: the patches are not what they were taken for.
        raise PhotoRefused(
            "chart residual",
            "No correction can be worked out from this chart.",
            expected="24 patches of different colours, none of them black to the camera",
            got=str(error)[:100].rstrip("."),
            remedy="use even daylight, and mark the chart's corners on the picture.",
        ).at(picture.name) from error


@dataclass
class _Scene:
    """A picture with its chart, from which any panel in it can be read."""

    picture: Picture
    marks: Marks
    chart: Chart
    seen: ChartFit
    outlines: list[Array] = field(default_factory=list)
    _fits: dict[bool, Correction] = field(default_factory=dict)

    def fit(self, *, plain: bool) -> Correction:
        """The correction, worked out once."""
        if plain not in self._fits:
            self._fits[plain] = fit_correction(self.seen, linear=self.picture.linear, plain=plain)
        return self._fits[plain]

    def shown_in(self, refusal: PhotoRefused) -> PhotoRefused:
        """A refusal with what was found, so that it can be shown on the picture."""
        refusal.chart_corners = pairs(self.chart.corners)
        refusal.outlines = tuple(pairs(o) for o in self.outlines)
        return refusal

    def look_for_panel(self) -> Array:
        """The one even area beside the chart."""
        self.outlines = find_panels(self.picture, self.chart)
        if len(self.outlines) > 1:
            raise PhotoRefused(
                "which panel",
                "More than one area of this picture could be the panel.",
                expected="one panel beside the chart, and no paper or other panel as large",
                got=f"{len(self.outlines)} even areas",
                remedy="mark the panel on the picture.",
            )
        return self.outlines[0]

    def read(self, outline: Array) -> PhotoReading:
        """Read one panel."""
        cells = checks.unclipped(sample_panel(self.picture, outline))
        fit = self.fit(plain=bool(cells.blind.mean(axis=0).max() > 0.05))
        checks.check_edge(*panel_edge(cells))
        around = None
        if self.marks.one_surface:
            around = surround_of(self.picture, self.chart, fit, [outline, *self.outlines], outline)
            if around is not None:
                checks.check_surround(around)
                fit = fit.corrected(around.slope, around.step, sd=SURFACE + around.error)
        places = places_of(self.picture, self.chart, cells.middle)
        areas = fit.xyz(cells.light, places)
        noise = np.abs(fit.xyz(cells.light + cells.noise, places) - areas)
        body = part_gloss(areas, noise, places.plane, matt=self.marks.matt)
        checks.check_gloss(body.change)
        lab, gloss = body_lab(body)
        space = self.picture.space
        parts, lab = parts_of(fit, cells, places, body, lab, around=around, space=space)
        parts["gloss"] = gloss
        checks.check_colour(lab)
        return PhotoReading(
            reading=reading_of(lab, parts),
            parts=parts,
            body=body,
            left_out=fit.mean_left_out,
            method=fit.model.words,
            warnings=checks.warnings_of(cells, body, around, self.marks.one_surface),
            chart_corners=pairs(self.chart.corners),
            panel_outline=pairs(outline),
            panel_found=not self.marks.panels,
        )


def pairs(points: Array) -> tuple[tuple[float, float], ...]:
    """Return points as plain numbers."""
    return tuple((float(x), float(y)) for x, y in points)
