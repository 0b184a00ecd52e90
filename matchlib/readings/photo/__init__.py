"""A photograph of a panel beside a 24-patch reference chart → an estimate of its Lab.

`read_photo` does it all with a picture that `load_picture` has opened (`image`) and with what a
person says of it (`Marks`): it finds the chart (`find`), samples chart and panels (`sample`), fits
the way from the camera's light to D65 (`correct`), looks whether both stand in one light (`light`),
parts the gloss from the paint (`gloss`) and says how far the result is known (`uncertainty`), or
why it is refused (`checks`). `combine` solves several photographs of one panel together. An
estimate it stays, blind to how a metallic changes with the angle.
"""

from __future__ import annotations

from matchlib.readings.photo.chart import standard_chart_lab
from matchlib.readings.photo.estimate import PARTS, PhotoReading
from matchlib.readings.photo.image import MAX_PIXELS, Picture, load_picture
from matchlib.readings.photo.marked import four_corners, marked_picture
from matchlib.readings.photo.profile import Profile
from matchlib.readings.photo.refusal import PhotoRefused
from matchlib.readings.photo.taking import Marks, read_photo
from matchlib.readings.photo.together import combine

__all__ = [
    "MAX_PIXELS",
    "PARTS",
    "Marks",
    "PhotoReading",
    "PhotoRefused",
    "Picture",
    "Profile",
    "combine",
    "four_corners",
    "load_picture",
    "marked_picture",
    "read_photo",
    "standard_chart_lab",
]
