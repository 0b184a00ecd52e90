"""A photograph of a panel beside a chart → a reading with its uncertainty, or a plain refusal."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import delta_e00
from matchlib.domain import Reading, Viewing
from matchlib.errors import MatchlibError
from matchlib.readings.photo.chart import chart_lab
from matchlib.readings.photo.correct import ChartFit, Correction, Places, fit_correction, nearness
from matchlib.readings.photo.estimate import PhotoReading
from matchlib.readings.photo.find import Chart, find_chart, quad_of
from matchlib.readings.photo.image import Picture, load_picture
from matchlib.readings.photo.refusal import refuse
from matchlib.readings.photo.sample import Samples, find_panel, sample_chart, sample_panel

__all__ = ["LIMITS", "read_photo"]

Array = NDArray[np.float64]

LIMITS: Mapping[str, float] = {
    "white at least": 0.12,  # light of the white patch, of full scale
    "clipped share of a patch": 0.02,
    "clipped share of the panel": 0.25,
    "power": 1.45,  # how far the curve may be from the declared one
    "mean ΔE00 of patches left out": 5.0,
    "mean ΔE00 of patches fitted": 4.0,
    "change of tint": 0.06,
    "change of panel": 12.0,  # ΔE*ab from edge to edge
    "panel in highlight": 0.4,
}
"""Beyond these a photograph is refused. Chosen on rendered scenes; no published source."""

_FLOOR = 0.5  # per Lab axis: geometry and the print of the chart; common practice, no source


def read_photo(
    source: str | os.PathLike[str] | bytes,
    *,
    corners: Sequence[Sequence[float]] | None = None,
    panel: Sequence[float] | Sequence[Sequence[float]] | None = None,
    chart: ArrayLike | None = None,
    linear: bool | None = None,
    geometry: str = "45:0",
    name: str | None = None,
) -> PhotoReading:
    """Read a panel's colour off a photograph with a 24-patch reference chart in it.

    Parameters
    ----------
    source : path-like or bytes
        JPEG, PNG, TIFF or camera raw file; see `load_picture`.
    corners : sequence of 4 (x, y), optional
        Outer corners of the chart's four corner patches [pixel of the upright picture], around,
        from any of them; looked for where not given.
    panel : sequence, optional
        What to read: x, y, width and height, or four corners [pixel]; the largest even area
        beside the chart where not given.
    chart : array_like, shape (24, 3), optional
        Your own chart's Lab, D65/10°, row by row from the brown patch; an average chart's where
        not given.
    linear : bool, optional
        Whether the file's numbers are proportional to light.
    geometry : str
        Of `Viewing`, for the reading.
    name : str, optional
        File name for errors, where bytes are given.

    Returns
    -------
    PhotoReading
        The reading, its uncertainty and how it came about.

    Raises
    ------
    PhotoRefused
        If no honest reading can be had; its `reason` says why in a word.
    FileError
        If the file is no readable picture.
    DomainError
        If corners, panel or chart are impossible.
    """
    if isinstance(source, bytes):
        shown = name or "picture"
    else:
        shown = Path(source).name
    viewing = Viewing(geometry=geometry)
    lab = chart_lab(chart)
    picture = load_picture(source, linear=linear, name=name)
    try:
        return _read(picture, lab, viewing, corners=corners, panel=panel)
    except MatchlibError as error:
        raise error.at(shown) from error
    except (ArithmeticError, np.linalg.LinAlgError, ValueError) as error:
        # No finite correction exists: the patches are not what they were taken for.
        raise refuse(
            "chart residual",
            "No correction can be worked out from this chart.",
            expected="24 patches of different colours, none of them black to the camera",
            got=str(error)[:100].rstrip("."),
            remedy="use even daylight, and check where the chart was found (corners=).",
        ).at(shown) from error


def _read(
    picture: Picture,
    lab: Array,
    viewing: Viewing,
    *,
    corners: Sequence[Sequence[float]] | None,
    panel: object,
) -> PhotoReading:
    chart = find_chart(picture, lab, corners=corners)
    patches = sample_chart(picture, chart)
    _check_exposure(patches, picture)
    given = panel is not None
    outline = quad_of(panel, picture.size, "panel") if given else find_panel(picture, chart)
    if given:
        # What is given is often the panel's very edge.
        outline = outline.mean(axis=0) + 0.92 * (outline - outline.mean(axis=0))
    cells = sample_panel(picture, outline)
    cells, highlight = _without_highlights(cells)
    where, at = _places(picture, chart, patches), _places(picture, chart, cells)
    seen = ChartFit(patches.light, where, lab, cells.light, at)
    power = seen.tone_power()
    if not 1 / LIMITS["power"] <= power <= LIMITS["power"]:
        as_read = "proportional to light" if picture.linear else "encoded for a screen (sRGB)"
        raise refuse(
            "curve",
            "The chart's greys do not fit the way this file was said to be encoded.",
            expected=f"greys that rise as they do in a file that is {as_read}",
            got=f"a curve of power {power:.2f} on top of that",
            remedy=f"say that it is the other kind (linear={not picture.linear}), or switch the "
            "camera's picture styles off.",
        )
    fit = fit_correction(seen, linear=picture.linear)
    left_out = float(np.mean(delta_e00(lab, lab + fit.left_out)))
    fitted = float(np.mean(delta_e00(lab, lab + fit.fitted)))
    tint, tint_error = seen.tint_across(fit.model)
    _check_fit(left_out, fitted, tint, tint_error)
    return _result(
        fit, cells, at, viewing,
        highlight=highlight, left_out=left_out, fitted=fitted, tint=tint,
        chart=chart, outline=outline, found=not given,
    )  # fmt: skip


def _places(picture: Picture, chart: Chart, areas: Samples) -> Places:
    middle = (np.array(picture.size, dtype=np.float64) - 1.0) / 2.0
    out = ((areas.middle - middle) ** 2).sum(axis=1) / (middle**2).sum()
    return Places(chart.to_plane(areas.middle), out)


def _check_exposure(patches: Samples, picture: Picture) -> None:
    share = patches.clipped
    if share.max() > LIMITS["clipped share of a patch"]:
        raise refuse(
            "clipped",
            "The picture is too bright: part of the chart is at the end of the scale.",
            expected="no patch at the end of the scale",
            got=f"{int((share > LIMITS['clipped share of a patch']).sum())} of 24 patches",
            remedy="expose one to two stops less, and keep reflections off the chart.",
        )
    white = float(patches.light[18].max())
    if white < LIMITS["white at least"]:
        raise refuse(
            "too dark",
            "The picture is too dark.",
            expected=f"the white patch at {LIMITS['white at least']:.0%} of full light or more",
            got=f"{white:.1%}",
            remedy="expose longer, or bring more light.",
        )
    grey = patches.noise[18:23].max(axis=1) / patches.light[18:23].max(axis=1)
    if grey.max() > 0.05:
        raise refuse(
            "too dark",
            "The picture is too noisy.",
            expected="greys known within 5%",
            got=f"{grey.max():.0%}",
            remedy="bring more light, or set a lower sensitivity (ISO).",
        )
    if np.sort(patches.uneven[:23])[-3] > 0.15:
        raise refuse(
            "glare",
            "Patches of the chart are not even in themselves.",
            expected="each patch of one brightness, within 15%",
            got=f"{np.sort(patches.uneven[:23])[-3]:.0%} on three patches or more",
            remedy="keep shadows and reflections off the chart; check that it was found where it "
            "lies (corners=).",
        )


def _without_highlights(cells: Samples) -> tuple[Samples, float]:
    clipped = cells.clipped > 0.02
    if clipped.mean() > LIMITS["clipped share of the panel"]:
        raise refuse(
            "clipped",
            "The panel is too bright: its light is at the end of the scale.",
            expected="a panel whose colour is not cut off",
            got=f"{clipped.mean():.0%} of it cut off",
            remedy="expose one to two stops less, and turn the panel out of the reflection.",
        )
    bright = cells.light.sum(axis=1)
    # A reflection adds light to a part; shade and vignetting change all of it slowly. So what
    # stands out above a plane through the darker half counts as reflection.
    terms = np.column_stack([np.ones(len(bright)), cells.middle - cells.middle.mean(axis=0)])
    kept = ~clipped
    for _ in range(6):
        solved, *_ = np.linalg.lstsq(terms[kept], np.log(bright[kept] + 1e-9), rcond=None)
        above = np.log(bright + 1e-9) - terms @ solved
        middle = np.median(above[kept])
        scatter = 1.4826 * np.median(np.abs(above[kept] - middle))
        now = (above <= middle + max(3.0 * scatter, 0.02)) & ~clipped
        if (now == kept).all() or now.sum() < 9:
            break
        kept = now
    shone = 1.0 - float(kept.mean())
    if shone > LIMITS["panel in highlight"] or kept.sum() < 9:
        raise refuse(
            "glare",
            "Too much of the panel reflects the light.",
            expected=f"at most {LIMITS['panel in highlight']:.0%} of it in reflections",
            got=f"{shone:.0%}",
            remedy="turn the panel until no lamp or window shows in it, and take it again.",
        )
    parts = (cells.light, cells.noise, cells.middle, cells.clipped, cells.uneven)
    return Samples(*(part[kept] for part in parts)), shone


def _check_fit(left_out: float, fitted: float, tint: float, tint_error: float) -> None:
    if tint > LIMITS["change of tint"] and tint > 3.0 * tint_error:
        raise refuse(
            "mixed light",
            "The light is mixed: its colour changes over the chart.",
            expected=f"a change of tint of at most {LIMITS['change of tint']:.0%}",
            got=f"{tint:.0%}, known within {tint_error:.0%}",
            remedy="use one kind of light only: daylight without lamps, or lamps without daylight.",
        )
    for what, mean, word in (
        ("mean ΔE00 of patches left out", left_out, "predicted from the others"),
        ("mean ΔE00 of patches fitted", fitted, "fitted"),
    ):
        if mean > LIMITS[what]:
            raise refuse(
                "chart residual",
                "The chart's colours cannot be brought to what they are.",
                expected=f"patches {word} within a mean ΔE00 of {LIMITS[what]:g}",
                got=f"{mean:.1f}",
                remedy="use even daylight, no filters or effects in the camera, a clean chart, and "
                "give the chart's own values if it is not an average one (chart=).",
            )


def _result(
    fit: Correction,
    cells: Samples,
    at: Places,
    viewing: Viewing,
    *,
    highlight: float,
    left_out: float,
    fitted: float,
    tint: float,
    chart: Chart,
    outline: Array,
    found: bool,
) -> PhotoReading:
    labs = fit.lab(cells.light, at)
    mean = labs.mean(axis=0)
    # A plane through the cells: what changes from edge to edge, although the light's fall is
    # taken out, is the panel's gloss, its angle, or light the chart did not see.
    flat = at.plane - at.plane.mean(axis=0)
    terms = np.column_stack([np.ones(len(flat)), flat])
    solved, *_ = np.linalg.lstsq(terms, labs, rcond=None)
    across = terms[:, 1:] @ solved[1:]
    gradient = float(np.linalg.norm(np.ptp(across, axis=0)))
    if gradient > LIMITS["change of panel"]:
        raise refuse(
            "uneven",
            "The panel's colour changes too much from edge to edge.",
            expected=f"a change of at most ΔE*ab {LIMITS['change of panel']:g}",
            got=f"{gradient:.0f}",
            remedy="light chart and panel from the same side, move the lamp away, and give a "
            "region of the panel that is even (panel=).",
        )
    near = nearness(fit.chart.lab, mean)
    error2 = np.sum(fit.left_out**2, axis=1) / 3.0
    noise = fit.lab(cells.light + cells.noise, at) - labs
    mottle = (labs - terms @ solved).std(axis=0) / np.sqrt(len(labs))
    light = fit.spread(cells.light, at)
    parts = {
        "chart": float(np.sqrt(np.sum(near * error2) / near.sum())),
        "light": float(np.sqrt(np.mean(light**2))),
        "noise": float(np.sqrt(np.mean(noise**2) / len(labs) + np.mean(mottle**2))),
        "gradient": gradient / np.sqrt(12.0 * 3.0),
        "gloss": highlight * 2.0,
        "floor": _FLOOR,
    }
    sd = float(np.sqrt(sum(v * v for v in parts.values())))
    low, high = np.array([0.0, -200.0, -200.0]), np.array([100.0, 200.0, 200.0])
    if np.any(mean < low) or np.any(mean > high):
        raise refuse(
            "chart residual",
            "The panel's colour comes out as none that there is.",
            expected="L from 0 to 100, a and b within 200",
            got="L {:.0f}, a {:.0f}, b {:.0f}".format(*mean),
            remedy="check the panel's region, and that chart and panel share one light.",
        )
    return PhotoReading(
        reading=Reading(
            viewing=viewing,
            source="photo",
            lab=(float(mean[0]), float(mean[1]), float(mean[2])),
            sd=min(sd, 50.0),
        ),
        parts=parts,
        left_out=left_out,
        fitted=fitted,
        tint=tint,
        gradient=gradient,
        highlight=highlight,
        method=fit.model.words,
        chart_corners=_pairs(chart.corners),
        panel_outline=_pairs(outline),
        panel_found=found,
    )


def _pairs(points: Array) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in points)
