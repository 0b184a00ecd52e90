"""A colour as a small area on neutral grey; a screen shows it for orientation, numbers decide."""

from __future__ import annotations

from typing import Any

from workbook.figures.svg import Raw, lab_text, picture, screen_colours, warning_corner
from workbook.theme import SURROUND

__all__ = ["chip"]


def chip(lab: Any, *, size: int = 26) -> Raw:
    """Return a swatch [px] for a line of text or a table cell; numbers must stand beside it.

    A colour outside sRGB is drawn clipped, with a striped corner, and told so.
    """
    ((fill, inside),) = screen_colours([lab])
    body = (
        f'<rect width="{size}" height="{size}" style="fill:{SURROUND}"/>'
        f'<rect x="3" y="3" width="{size - 6}" height="{size - 6}" style="fill:{fill}"/>'
    )
    if not inside:
        body += warning_corner(size - 3, 3, size / 2.6)
    told = lab_text(lab) + ("" if inside else ", outside screen range")
    return picture(body, width=size, height=size, title=f"Swatch {told}")
