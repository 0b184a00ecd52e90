"""One panel's reading off one photograph, from bytes or a file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from matchlib.readings.photo import Marks, PhotoReading, PhotoRefused, load_picture
from matchlib.readings.photo import read_photo as read_panels

__all__ = ["read_photo"]


def read_photo(
    source: bytes | Path,
    *,
    panel: Any = None,
    linear: bool | None = None,
    name: str | None = None,
    **marks: Any,
) -> PhotoReading:
    """Read the one panel, marked or looked for; a refusal is raised."""
    panels = {} if panel is None else {"": panel}
    picture = load_picture(source, linear=linear, name=name)
    (got,) = read_panels(picture, Marks(panels=panels, **marks)).values()
    if isinstance(got, PhotoRefused):
        raise got
    return got
