"""A photograph of a panel beside a 24-patch reference chart → an estimate of its Lab.

`read_photo` does it all: it loads the picture (`image`), finds the chart (`find`), samples chart
and panel (`sample`), fits the way from the camera's light to D65 (`correct`) and says how far the
result can be trusted (`taking`). An estimate it stays: good to about ΔE00 1 to 3 in daylight,
worse in warm light, and blind to how a metallic panel changes with the angle.

Needs the extra ``photo``.
"""

from __future__ import annotations

from matchlib.readings.photo.chart import standard_chart_lab
from matchlib.readings.photo.estimate import PhotoReading
from matchlib.readings.photo.image import MAX_PIXELS, Picture, load_picture
from matchlib.readings.photo.refusal import REASONS, PhotoRefused
from matchlib.readings.photo.taking import read_photo

__all__ = [
    "MAX_PIXELS",
    "REASONS",
    "PhotoReading",
    "PhotoRefused",
    "Picture",
    "load_picture",
    "read_photo",
    "standard_chart_lab",
]
