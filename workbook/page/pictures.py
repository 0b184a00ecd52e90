"""Pictures of paint on a page: swatches, coats, a cut through a card, chances, how far off it is.

Swatches lie on a neutral mid grey; a state is told by shape and word, never by hue.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from matchlib.plural import counted
from workbook.figures.svg import Raw, esc, number, picture, screen_colours
from workbook.figures.swatches import areas, filled, grey, numbers

if TYPE_CHECKING:
    from matchlib.domain import Recipe

__all__ = [
    "axes",
    "chance",
    "coats",
    "coats_words",
    "cut",
    "read_as",
    "recipe_title",
    "spaced",
    "split",
    "tenths",
]


def recipe_title(recipe: Recipe) -> Raw:
    """Return a recipe's colours over its ground, the names standing out."""
    colours = ", then ".join(f"<b>{esc(colour)}</b>" for colour in recipe.colours)
    return Raw(f"{colours or 'bare'} over <b>{esc(recipe.ground)}</b>")


def spaced(words: object) -> str:
    """Return words whose ratios stand apart, and are not broken at the end of a line."""
    return str(words).replace(":", "\u00a0:\u00a0")


def coats_words(recipe: Recipe) -> str:
    """Return a recipe's coats in a line, ``2 coats of 4.5:1, 1 of 9:1, clear``."""
    several = len(recipe.layers) > 1
    laid = [
        f"{counted(s.coats, 'coat')} of " + (f"{s.colour} at " if several else "") + spaced(s.ratio)
        for s in recipe.steps
    ]
    clear = [] if recipe.clear is None else ["clear" if recipe.clear == "yes" else recipe.clear]
    return ", ".join([*laid, *clear])


def split(aim: Any, other: Any | None = None, *, of: str = "the recipe", **size: int) -> Raw:
    """Return the aim, and beside it what is to meet it.

    `aim`, `other`: CIELAB; the aim alone where there is no other. `of`: what the other is.
    """
    if other is None:
        return areas([aim], words=f"aim {numbers(aim)}", **size)
    words = f"aim {numbers(aim)}, beside it {of} {numbers(other)}"
    return areas([aim, other], words=words, **size)


def read_as(lab: Any) -> Raw:
    """Return a swatch with its numbers beside it, for the cell of a table."""
    shown = areas([lab], words=numbers(lab), width=42, height=42, edge=5)
    return Raw(f'<span class="wb-reads">{shown}<span class="wb-num">{numbers(lab)}</span></span>')


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
    body = grey(width, high)
    body += "".join(filled(6 + i * step, 7, size, size, lab) for i, lab in enumerate(labs))
    ends = [(6 + i * step + size / 2, name) for i, name in enumerate(names)]
    if aim is not None:
        x = 6 + len(labs) * step + 4
        body += filled(x, 7, size, size, aim)
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
    each = ", ".join(f"{n} {numbers(lab)}" for n, lab in zip(names, labs, strict=True))
    high += 17 if named else 0
    title = f"coat by coat: {each}"
    return picture(body, width=width, height=high, title=title, cls="wb-coats")


def cut(labs: Sequence[Any], *, clear: bool) -> Raw:
    """Return a cut through a card: its ground, its coats, its clear.

    `labs`: CIELAB of the bare ground and after each coat. `clear`: whether it is cleared.
    """
    fills = [fill for fill, _ in screen_colours(labs)]
    layer = min(7.0, 60.0 / max(1, len(fills)))
    high = 22 + (layer + 1) * (len(fills) - 1)
    y, body = high - 14, f'<rect x="1" y="{high - 14:g}" width="52" height="13" fill="{fills[0]}"/>'
    for fill in fills[1:]:
        y -= layer + 1
        body += f'<rect x="1" y="{y:g}" width="52" height="{layer:g}" fill="{fill}"/>'
    if clear:
        body += f'<rect class="wb-clear" x="1.5" y="{y - 6:g}" width="51" height="5"/>'
    count = len(labs) - 1
    title = f"cut through the card: ground, {counted(count, 'coat')}{', clear' * clear}"
    return picture(body, width=54, height=high, title=title, cls="wb-cut")


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
    count, stated = chance(probability)
    marks = "".join(f'<i class="{"wb-on" if i < count else ""}"></i>' for i in range(10))
    line = f'<p class="wb-muted">{esc(more)}</p>' if more else ""
    return Raw(
        f'<div><span class="wb-tenths" aria-hidden="true">{marks}</span>'
        f"<p><b>{stated}</b> {esc(words)}</p>{line}</div>"
    )


def axes(rows: Iterable[tuple[str, str, float, float]]) -> Raw:
    """Return how far off a card is, an axis a line: the band that passes, and a dot.

    `rows`: word for less, word for more, the difference, and the difference that passes alone.
    """
    lines = []
    for less, more, value, passing in rows:
        scale = 28.0 / max(passing, 1e-6)
        x = 90 + max(-76.0, min(76.0, value * scale))
        body = (
            '<line class="wb-rule" x1="10" x2="170" y1="11" y2="11"/>'
            '<rect class="wb-pass" x="62" y="5" width="56" height="12"/>'
            f'<circle class="wb-dot" cx="{x:.1f}" cy="11" r="6"/>'
        )
        title = f"{more if value > 0 else less} by {number(abs(value))}"
        drawn = picture(body, width=180, height=22, title=title)
        lines.append(
            f'<div class="wb-axis"><span>{esc(less)}</span>{drawn}'
            f"<span>{esc(more)}</span><b>{'+' * (value >= 0.05)}{number(value)}</b></div>"
        )
    return Raw(f"<div>{''.join(lines)}</div>")
