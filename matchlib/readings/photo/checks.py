"""What a photograph is refused for, each in words, and what only has to be told."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from matchlib.readings.photo.correct import Correction
from matchlib.readings.photo.fit import ChartFit
from matchlib.readings.photo.gloss import Body
from matchlib.readings.photo.image import Picture
from matchlib.readings.photo.light import Surround
from matchlib.readings.photo.refusal import PhotoRefused
from matchlib.readings.photo.sample import Samples

__all__ = [
    "check_chart",
    "check_colour",
    "check_curve",
    "check_edge",
    "check_exposure",
    "check_gloss",
    "check_surround",
    "unclipped",
    "warnings_of",
]

Array = NDArray[np.float64]

# Beyond these a photograph is refused. Chosen on rendered scenes; no published source.
_LIMITS: Mapping[str, float] = {
    "white at least": 0.12,  # light of the white patch, of full scale
    "clipped share of a patch": 0.02,
    "clipped share of the panel": 0.25,
    "power": 1.45,  # how far the curve may be from the declared one
    "mean ΔE00 of patches left out": 5.0,
    "paleness": 0.22,  # logarithm
    "strength": 0.45,  # the other way: picture styles do that
    "change of tint": 0.06,
    "edge on chart": 0.12,  # logarithm of the light
    "edge on panel": 0.08,
    "light between": 0.33,
    "reflection on the panel": 0.06,  # change over it, of white
}

_LIGHT = "use even daylight from one side, and keep shadows and lamps off chart and panel."


def check_exposure(patches: Samples) -> None:
    """Refuse a chart that is too bright or too dark."""
    share = patches.clipped
    if share.max() > _LIMITS["clipped share of a patch"]:
        raise PhotoRefused(
            "clipped",
            "The picture is too bright: part of the chart is at the end of the scale.",
            expected="no patch at the end of the scale",
            got=f"{int((share > _LIMITS['clipped share of a patch']).sum())} of 24 patches",
            remedy="expose one to two stops less, and keep reflections off the chart.",
        )
    white = float(patches.light[18].max())
    if white < _LIMITS["white at least"]:
        raise PhotoRefused(
            "too dark",
            "The picture is too dark.",
            expected=f"the white patch at {_LIMITS['white at least']:.0%} of full light or more",
            got=f"{white:.1%}",
            remedy="expose longer, or bring more light.",
        )


def check_curve(seen: ChartFit, picture: Picture) -> None:
    """Refuse a picture whose greys are not encoded as was said."""
    power = seen.tone_power()
    if not 1 / _LIMITS["power"] <= power <= _LIMITS["power"]:
        as_read = "proportional to light" if picture.linear else "encoded for a screen (sRGB)"
        other = "untick" if picture.linear else "tick"
        raise PhotoRefused(
            "curve",
            "The chart's greys do not fit the way this file was said to be encoded.",
            expected=f"greys that rise as they do in a file that is {as_read}",
            got=f"a curve of power {power:.2f} on top of that",
            remedy=f"{other} 'linear picture', or switch the camera's picture styles off.",
        )


def check_chart(fit: Correction, space: str) -> None:
    """Refuse a chart in mixed light, in half shade, faded, or not brought to what it is."""
    tint, error = fit.chart.tint_across(fit.model)
    if tint > _LIMITS["change of tint"] and tint > 3.0 * error:
        raise PhotoRefused(
            "mixed light",
            "The light is mixed: its colour changes over the chart.",
            expected=f"a change of tint of at most {_LIMITS['change of tint']:.0%}",
            got=f"{tint:.0%}, known within {error:.0%}",
            remedy="use one kind of light only: daylight without lamps, or lamps without daylight.",
        )
    pale = fit.chart.paleness(space) or 0.0
    most = _LIMITS["paleness" if pale > 0 else "strength"]
    if abs(pale) > most:
        raise PhotoRefused(
            "chart residual",
            f"The chart is {'paler' if pale > 0 else 'stronger'} in colour than such a chart is.",
            expected=f"its chroma within {np.expm1(most):.0%} of what it should be",
            got=f"{abs(1 - np.exp(-pale)):.0%} {'less' if pale > 0 else 'more'}",
            remedy="use a chart that has not faded, and no effects in the camera; or give the "
            "chart's own values.",
        )
    step, error = fit.edge()
    if abs(step) > _LIMITS["edge on chart"] and abs(step) > 5.0 * error:
        raise PhotoRefused(
            "shade",
            "An edge of shade crosses the chart.",
            expected="the whole chart in one light",
            got=f"{1 - np.exp(-abs(step)):.0%} less light on part of it",
            remedy=_LIGHT,
        )
    most = _LIMITS["mean ΔE00 of patches left out"]
    if fit.mean_left_out > most:
        raise PhotoRefused(
            "chart residual",
            "The chart's colours cannot be brought to what they are.",
            expected=f"patches predicted from the others within a mean ΔE00 of {most:g}",
            got=f"{fit.mean_left_out:.1f}",
            remedy="use even daylight, no filters or effects in the camera, a clean chart, and "
            "give the chart's own values if it is not an average one.",
        )


def unclipped(cells: Samples) -> Samples:
    """Leave out what of a panel is cut off; refuse one of which much is."""
    clipped = cells.clipped > 0.02
    if clipped.mean() > _LIMITS["clipped share of the panel"]:
        raise PhotoRefused(
            "clipped",
            "The panel is too bright: its light is at the end of the scale.",
            expected="a panel whose colour is not cut off",
            got=f"{clipped.mean():.0%} of it cut off",
            remedy="expose one to two stops less, and turn the panel out of the reflection.",
        )
    return cells.take(~clipped)


def check_edge(step: float, error: float) -> None:
    """Refuse a panel that an edge of shade crosses."""
    if abs(step) > _LIMITS["edge on panel"] and abs(step) > 6.0 * error:
        raise PhotoRefused(
            "shade",
            "An edge of shade or of a reflection crosses the panel.",
            expected="the whole panel in one light",
            got=f"{1 - np.exp(-abs(step)):.0%} less light on part of it",
            remedy=_LIGHT,
        )


def check_surround(around: Surround) -> None:
    """Refuse a panel whose surroundings are lit otherwise than the chart's."""
    step = abs(around.step)
    if step > _LIMITS["light between"] and step > 2.0 * np.hypot(around.error, around.expected):
        brighter = "more" if around.step > 0 else "less"
        raise PhotoRefused(
            "shade",
            "Chart and panel do not seem to stand in one light.",
            expected="the surface around them as bright at the panel as at the chart",
            got=f"{abs(np.expm1(around.step)):.0%} {brighter} light at the panel",
            remedy="move both out of the shade; if they lie on two different surfaces, tick that.",
        )


def check_gloss(change: float) -> None:
    """Refuse a panel over which much is mirrored."""
    if change > _LIMITS["reflection on the panel"]:
        raise PhotoRefused(
            "glare",
            "Something bright is mirrored in the panel.",
            expected=f"at most {_LIMITS['reflection on the panel']:.0%} of a white's light, "
            "mirrored in one place more than in another",
            got=f"{change:.0%}",
            remedy="turn the panel until no lamp, window or bright sky shows in it.",
        )


def check_colour(lab: Array) -> None:
    """Refuse a colour that there is not."""
    if not (0.0 <= lab[0] <= 100.0 and np.all(np.abs(lab[1:]) <= 200.0)):
        raise PhotoRefused(
            "chart residual",
            "The panel's colour comes out as none that there is.",
            expected="L from 0 to 100, a and b within 200",
            got="L {:.0f}, a {:.0f}, b {:.0f}".format(*lab),
            remedy="look whether the panel is marked where it lies, and that chart and panel "
            "share one light.",
        )


def warnings_of(
    cells: Samples, body: Body, around: Surround | None, one_surface: bool
) -> tuple[str, ...]:
    """Return what a person should know of a reading that is given out."""
    remarks = []
    blind = cells.blind.mean(axis=0)
    if blind.max() > 0.05:
        names = [n for n, b in zip(("red", "green", "blue"), blind, strict=True) if b > 0.05]
        remarks.append(
            f"This colour is outside what the file can hold ({' and '.join(names)} at nought): a "
            "raw or linear picture would hold it."
        )
    if body.change > 0.01:
        remarks.append(
            f"The gloss mirrors {body.change:.0%} of a white's light more in places: it was taken "
            "off. Turn the panel out of it."
        )
    if abs(body.slope) > 0.25:
        remarks.append("The panel is brighter on one side, as metallics are: its mean was taken.")
    if around is None:
        why = "no one surface lies around both" if one_surface else "they lie on two surfaces"
        remarks.append(f"Whether chart and panel stand in one light was not checked: {why}.")
    elif abs(around.step) > 0.15:
        remarks.append("Around the panel the light is not quite as at the chart.")
    return tuple(remarks)
