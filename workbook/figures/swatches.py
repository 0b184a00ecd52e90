"""Colours as areas on neutral grey; a screen shows them for orientation, numbers decide."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from workbook.figures.svg import Raw, number, picture, screen_colours
from workbook.theme import SURROUND

__all__ = ["areas", "filled", "grey", "numbers"]


CLIPPED = "outside what a screen can show"
"""What a white corner in a swatch means."""


def numbers(lab: Sequence[float]) -> str:
    """Return a reading as three numbers, ``27.1 45.9 28.5``."""
    return " ".join(number(float(v)) for v in lab)


def grey(width: float, height: float) -> str:
    """Return the neutral grey that swatches lie on, as a part of an SVG."""
    return f'<rect width="{width:g}" height="{height:g}" fill="{SURROUND}"/>'


def filled(x: float, y: float, width: float, height: float, lab: Any | None) -> str:
    """Return a colour as a part of an SVG: an empty frame for None, a corner where it is clipped.

    `x`, `y`, `width`, `height`: of it [px]. `lab`: CIELAB.
    """
    box = f'x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
    if lab is None:
        return f'<rect class="wb-none" {box}/>'
    ((fill, inside),) = screen_colours([lab])
    # No line between neighbours: the eye judges a difference best at a bare edge.
    drawn = f'<rect {box} fill="{fill}" shape-rendering="crispEdges"/>'
    if inside:
        return drawn
    size = min(14.0, width / 2, height / 2)
    corner = f"M{x + width - size:g} {y:g}h{size:g}v{size:g}Z"
    title = f"<title>{CLIPPED}</title>"
    return f'{drawn}<path class="wb-corner" d="{corner}" fill="#fff" stroke="#000">{title}</path>'


def areas(
    labs: Sequence[Any | None],
    *,
    words: str,
    width: int = 132,
    height: int = 66,
    edge: int = 8,
    gap: int = 0,
) -> Raw:
    """Return colours edge to edge on grey: one, or the aim and what is compared with it.

    `labs`: CIELAB, from left to right; none at all, or None, is drawn as an empty frame. `words`:
    what is seen, for those who hear the page. `width`, `height`, `edge`, `gap`: of the picture, of
    the grey around and of that between [px].
    """
    some = list(labs) or [None]
    each = (width - 2 * edge + gap) / len(some)
    body = grey(width, height) + "".join(
        filled(edge + i * each, edge, each - gap, height - 2 * edge, lab)
        for i, lab in enumerate(some)
    )
    return picture(body, width=width, height=height, title=words)
