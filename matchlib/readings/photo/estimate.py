"""What comes of a photograph: a reading with its covariance, and what that is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Reading, Viewing, three
from matchlib.readings.photo.gloss import Body

__all__ = ["COMMON", "PARTS", "PhotoReading", "reading_of"]

Array = NDArray[np.float64]

PARTS: Mapping[str, str] = {
    "chart": "how well the chart's colours predict one another",
    "faded": "a chart paler than it should be, or a dull picture style",
    "beyond": "a colour that this camera or file cannot hold",
    "light": "how the light goes on from chart to panel",
    "noise": "noise and flake",
    "slope": "the panel's own change of brightness",
    "gloss": "what the gloss may mirror",
    "floor": "what no photograph is free of",
    "scatter": "how the photographs differ",
    "profile": "how this phone and chart have read before",
}
"""What the uncertainty is made of, in words."""
COMMON = ("chart", "faded", "beyond", "floor")
"""What photographs with one camera and one chart share: repeats do not shrink it."""


@dataclass(frozen=True)
class PhotoReading:
    """What a photograph, or several of one panel together, say of the panel.

    Parameters
    ----------
    reading : Reading
        Lab, D65/10°, source and geometry ``photo``, with its covariance.
    parts : mapping of str to ndarray, shape (3, 3)
        Of what that covariance is the sum [ΔE*ab²]; `PARTS` names them.
    body : Body
        The panel's light with what of the reflection could be told taken off.
    left_out : float
        Mean ΔE00 of the chart's patches, each predicted from the others.
    method : str
        What was fitted, in words.
    warnings : tuple of str
        What should be looked at, or done otherwise next time.
    chart_corners : tuple of 4 (float, float)
        Where the chart was found: the outer corners of its corner patches, from the brown
        patch [pixel of the upright picture].
    panel_outline : tuple of (float, float)
        What was read of the panel [pixel of the upright picture].
    panel_found : bool
        Whether that was found, and not marked: look whether it is the panel.
    photographs : int
        How many this comes from.
    """

    SHOWN: ClassVar = (
        ("lab", lambda p: [round(v, 3) for v in p.lab]),
        ("sd", lambda p: np.sqrt(p.covariance.diagonal()).round(3)),
        ("covariance", lambda p: p.covariance.round(4)),
        ("parts", lambda p: {name: round(p.sd_of(name), 3) for name in p.parts}),
        *(("geometry", "reading.viewing.geometry"), ("source", "reading.source")),
        ("left_out", lambda p: round(p.left_out, 3)),
        *("method", "warnings", "photographs"),
        ("chart_corners", lambda p: np.round(p.chart_corners, 1)),
        ("panel_outline", lambda p: np.round(p.panel_outline, 1)),
        "panel_found",
    )

    reading: Reading
    parts: Mapping[str, Array]
    body: Body
    left_out: float
    method: str
    warnings: tuple[str, ...]
    chart_corners: tuple[tuple[float, float], ...]
    panel_outline: tuple[tuple[float, float], ...]
    panel_found: bool
    photographs: int = 1

    @property
    def lab(self) -> tuple[float, float, float]:
        """L*, a*, b*, D65/10°."""
        return self.reading.lab or (0.0, 0.0, 0.0)

    @property
    def covariance(self) -> Array:
        """Of L*, a* and b*, shape (3, 3) [ΔE*ab²]."""
        return np.array(self.reading.covariance, dtype=np.float64)

    def sd_of(self, part: str) -> float:
        """Return what one of `parts` adds, root mean square over the axes [ΔE*ab]."""
        return float(np.sqrt(max(np.trace(self.parts[part]), 0.0) / 3.0))

    def text(self) -> str:
        """Return the reading and what it is worth, in plain words.

        Returns
        -------
        str
            Several lines.
        """
        each = np.sqrt(np.diag(self.covariance))
        worst = max(self.parts, key=self.sd_of)
        several = f"{self.photographs} photographs" if self.photographs > 1 else "a photograph"
        lines = [
            f"Estimate from {several}: "
            + ", ".join(
                f"{axis} {value:.1f} ± {sd:.1f}"
                for axis, value, sd in zip("Lab", self.lab, each, strict=True)
            )
            + " (D65/10°; ± is one standard deviation).",
            f"Most of that is {PARTS[worst]}.",
            f"The chart's own colours came out within ΔE00 {self.left_out:.1f} in the mean, each "
            "predicted from the others.",
            *(["Look on the picture whether that is the panel."] if self.panel_found else []),
            *self.warnings,
        ]
        if worst == "gloss" and self.photographs == 1:
            lines.append(
                "Turn the panel or go round to the other side and take it twice more: together "
                "the photographs tell more of what is mirrored and what is paint."
            )
        lines.append(
            "Metallic flake reads differently from each angle, and a photograph knows one. It "
            "never counts like an instrument's reading."
        )
        return "\n".join(lines)


def reading_of(lab: Array, parts: Mapping[str, Array]) -> Reading:
    """Return a photograph's reading."""
    total = np.sum(list(parts.values()), axis=0)
    total = (total + total.T) / 2.0
    total *= min(1.0, 50.0**2 * 3.0 / float(np.trace(total)))
    light, red, yellow = three(lab)
    return Reading(
        Viewing(geometry="photo"),
        "photo",
        (max(light, 0.0), red, yellow),
        covariance=tuple(map(three, total)),
    )
