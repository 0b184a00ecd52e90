"""Pictures of paint on a page: swatches, coats, a cut through a card, chances, how far off it is.

Swatches lie on a neutral mid grey; a state is told by shape and word, never by hue.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from workbook.figures.svg import Raw, esc, number, screen_colours
from workbook.theme import SURROUND

__all__ = ["areas", "axes", "chance", "coats", "cut", "numbers", "split", "tenths"]

_OUTSIDE = "outside what a screen can show"


def numbers(lab: Sequence[float]) -> str:
    """Return a reading as three numbers, ``27.1 45.9 28.5``."""
    return " ".join(number(float(v)) for v in lab)


def _rect(x: float, y: float, width: float, height: float, fill: str) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{fill}"/>'


def _filled(x: float, y: float, width: float, height: float, lab: Any) -> str:
    ((fill, inside),) = screen_colours([lab])
    drawn = _rect(x, y, width, height, fill)
    if inside:
        return drawn
    size = min(14.0, width / 2, height / 2)  # a corner tells what is drawn clipped
    corner = f"{x + width - size:g},{y:g} {x + width:g},{y:g} {x + width:g},{y + size:g}"
    told = f"<title>{_OUTSIDE}</title>"
    return f'{drawn}<polygon points="{corner}" fill="#fff" stroke="#000">{told}</polygon>'


def _svg(name: str, width: float, height: float, words: str, body: str) -> Raw:
    return Raw(
        f'<svg class="{name}" role="img" aria-label="{esc(words)}" width="{width:g}" '
        f'height="{height:g}" viewBox="0 0 {width:g} {height:g}">{body}</svg>'
    )


def areas(
    labs: Sequence[Any], *, words: str, width: int = 132, height: int = 66, edge: int = 8
) -> Raw:
    """Return colours edge to edge on grey: one, or the aim and what is compared with it.

    `labs`: CIELAB, from left to right. `words`: what is seen, for those who hear the page. `width`,
    `height`, `edge`: of the picture and of the grey around [px].
    """
    each = (width - 2 * edge) / max(1, len(labs))
    body = _rect(0, 0, width, height, SURROUND) + "".join(
        _filled(edge + i * each, edge, each, height - 2 * edge, lab) for i, lab in enumerate(labs)
    )
    if not len(labs):
        size = f'width="{width - 2 * edge}" height="{height - 2 * edge}"'
        body += f'<rect class="wb-none" x="{edge}" y="{edge}" {size}/>'
    return _svg("wb-split", width, height, words, body)


def split(aim: Any, other: Any | None = None, *, of: str = "the recipe", **size: int) -> Raw:
    """Return the aim, and beside it what is to meet it.

    `aim`, `other`: CIELAB; the aim alone where there is no other. `of`: what the other is.
    """
    if other is None:
        return areas([aim], words=f"aim {numbers(aim)}", **size)
    words = f"aim {numbers(aim)}, beside it {of} {numbers(other)}"
    return areas([aim, other], words=words, **size)


def coats(
    labs: Sequence[Any],
    aim: Any | None = None,
    *,
    first: str = "bare",
    counted: int = 1,
    size: int = 28,
    named: bool = True,
) -> Raw:
    """Return how a card looks coat by coat, and the aim beside the last.

    `labs`: CIELAB of what is there, then after each coat. `aim`: what is wanted. `first`: what is
    there before the first of these coats. `counted`: number of the first of these coats on the
    card. `size`: of a chip [px]. `named`: whether each is named below.
    """
    step, high = size + 2, size + 14
    names = [first, *(str(counted + i) for i in range(len(labs) - 1))]
    width = 6 + step * len(labs) + (step + 8 if aim is not None else 4)
    body = _rect(0, 0, width, high, SURROUND)
    body += "".join(_filled(6 + i * step, 7, size, size, lab) for i, lab in enumerate(labs))
    ends = [(6 + i * step + size / 2, name) for i, name in enumerate(names)]
    if aim is not None:
        x = 6 + len(labs) * step + 4
        body += _filled(x, 7, size, size, aim)
        ring = ' stroke="#fff" stroke-width="1.5" stroke-dasharray="4 3"'
        body += (
            f'<rect x="{x - 1:g}" y="6" width="{size + 2}" height="{size + 2}" fill="none"{ring}/>'
        )
        ends.append((x + size / 2, "aim"))
    if named:
        body += "".join(
            f'<text class="wb-tick" x="{x:g}" y="{high + 13}">{esc(name)}</text>'
            for x, name in ends
        )
    said = ", ".join(f"{n} {numbers(lab)}" for n, lab in zip(names, labs, strict=True))
    return _svg("wb-coats", width, high + (17 if named else 0), f"coat by coat: {said}", body)


def cut(labs: Sequence[Any], *, clear: bool) -> Raw:
    """Return a cut through a card: its ground, its coats, its clear.

    `labs`: CIELAB of the bare ground and after each coat. `clear`: whether it is cleared.
    """
    fills = [fill for fill, _ in screen_colours(labs)]
    layer = min(7.0, 60.0 / max(1, len(fills)))
    high = 22 + (layer + 1) * (len(fills) - 1)
    y, body = high - 14, _rect(1, high - 14, 52, 13, fills[0])
    for fill in fills[1:]:
        y -= layer + 1
        body += _rect(1, y, 52, layer, fill)
    if clear:
        body += f'<rect class="wb-clear" x="1.5" y="{y - 6:g}" width="51" height="5"/>'
    count = len(labs) - 1
    said = f"cut through the card: ground, {count} coat{'s' * (count != 1)}{', clear' * clear}"
    return _svg("wb-cut", 54, high, said, body)


def chance(probability: float) -> tuple[int, str]:
    """Return a chance in tens.

    `probability`: 0 to 1. `count`: of ten, rounded. `words`: ``8 of 10``; under one in twenty
    ``hardly any``.
    """
    count = math.floor(10.0 * probability + 0.5)
    return count, f"{count} of 10" if count else "hardly any"


def tenths(probability: float, words: str = "cards pass", *, more: str = "") -> Raw:
    """Return a chance as ten marks and in words.

    `probability`: 0 to 1. `words`: what so many of ten do. `more`: a second line.
    """
    count, said = chance(probability)
    marks = "".join(f'<i class="{"wb-on" if i < count else ""}"></i>' for i in range(10))
    line = f'<p class="wb-muted">{esc(more)}</p>' if more else ""
    return Raw(
        f'<div class="wb-odds"><span class="wb-tenths" aria-hidden="true">{marks}</span>'
        f"<p><b>{said}</b> {esc(words)}</p>{line}</div>"
    )


def axes(rows: Iterable[tuple[str, str, float, float]]) -> Raw:
    """Return how far off a card is, an axis a line: the band that passes, and a dot.

    `rows`: word for less, word for more, the difference, and the difference that passes alone.
    """
    told = []
    for less, more, value, passing in rows:
        scale = 28.0 / max(passing, 1e-6)
        x = 90 + max(-76.0, min(76.0, value * scale))
        body = (
            '<line class="wb-rule" x1="10" x2="170" y1="11" y2="11"/>'
            '<rect class="wb-pass" x="62" y="5" width="56" height="12"/>'
            f'<circle class="wb-dot" cx="{x:.1f}" cy="11" r="6"/>'
        )
        said = f"{more if value > 0 else less} by {number(abs(value))}"
        told.append(
            f'<div class="wb-axis"><span>{esc(less)}</span>{_svg("", 180, 22, said, body)}'
            f"<span>{esc(more)}</span><b>{'+' * (value >= 0.05)}{number(value)}</b></div>"
        )
    return Raw(f'<div class="wb-axes">{"".join(told)}</div>')
