"""What comes of a photograph: a reading with its uncertainty, and what that is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from matchlib.domain import Reading

__all__ = ["PhotoReading"]


@dataclass(frozen=True)
class PhotoReading:
    """What a photograph says of a panel.

    Parameters
    ----------
    reading : Reading
        Lab, D65/10°, source ``photo``, with its standard uncertainty per Lab axis.
    parts : mapping of str to float
        What the uncertainty is made of, each a standard deviation per Lab axis: ``chart``,
        ``light``, ``noise``, ``gradient``, ``gloss``, ``floor``; their squares add up.
    left_out, fitted : float
        Mean ΔE00 of the chart's patches, each predicted from the others, and as fitted.
    tint : float
        Change of the light's colour over the chart [-].
    gradient : float
        Change over the panel from edge to edge [ΔE*ab].
    highlight : float
        Share of the panel left out as a reflection [-].
    method : str
        What was fitted, in words.
    chart_corners : tuple of 4 (float, float)
        Where the chart was found: the outer corners of its corner patches, from the brown
        patch [pixel of the upright picture].
    panel_outline : tuple of (float, float)
        What was read of the panel [pixel of the upright picture].
    panel_found : bool
        Whether that was found, and not given: look whether it is the panel.
    """

    reading: Reading
    parts: Mapping[str, float]
    left_out: float
    fitted: float
    tint: float
    gradient: float
    highlight: float
    method: str
    chart_corners: tuple[tuple[float, float], ...]
    panel_outline: tuple[tuple[float, float], ...]
    panel_found: bool

    @property
    def lab(self) -> tuple[float, float, float]:
        """L*, a*, b*, D65/10°."""
        return self.reading.lab or (0.0, 0.0, 0.0)

    def text(self) -> str:
        """Return the reading and what it is worth, in plain words.

        Returns
        -------
        str
            Several lines.
        """
        sd = self.reading.sd or 0.0
        names = {
            "chart": "chart colours predicted from the others",
            "light": "uneven light and curve",
            "noise": "noise",
            "gradient": "change over the panel",
            "gloss": "reflections",
            "floor": "what no photograph is free of",
        }
        worst = max(self.parts, key=lambda name: self.parts[name])
        (x0, y0), (x1, y1) = (
            np.array(self.panel_outline).min(0),
            np.array(self.panel_outline).max(0),
        )
        where = f"x {x0:.0f} to {x1:.0f}, y {y0:.0f} to {y1:.0f} pixels"
        lines = [
            "Estimate from a photograph: L {:.1f}, a {:.1f}, b {:.1f} (D65/10°)".format(*self.lab)
            + f", each give or take {sd:.1f} (one standard deviation).",
            f"The most of that is: {names[worst]}.",
            f"The chart's own colours came out within ΔE00 {self.left_out:.1f} in the mean, each "
            "predicted from the others.",
            (f"Panel found at {where}: look whether that is the panel." if self.panel_found else
             f"Panel as given: {where}."),
        ]  # fmt: skip
        if self.highlight > 0.02:
            lines.append(
                f"{self.highlight:.0%} of the panel shone and was left out; turn it out of the "
                "light."
            )
        lines += [
            "Straight talk: in daylight a photograph is good to about ΔE00 1 to 3, in warm light "
            "it is worse. Metallic flake reads differently from each angle, and a photograph knows "
            "one. It never counts like an instrument's reading.",
        ]
        return "\n".join(lines)
