"""Value over grounds: one colour, coats rising, each swatch at its own lightness."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matchlib.plural import counted
from workbook.figures.svg import Raw, nice_ticks, number, picture, screen_colours, text

if TYPE_CHECKING:
    from matchlib.lessons import Rung

__all__ = ["value_chart", "value_words"]

_LEFT, _STEP, _TALL, _SIDE = 210, 150, 400, 34


def value_chart(ladders: Sequence[Sequence[Rung]], *, title: str) -> Raw:
    """Return what coats of one colour do to the lightness of several grounds.

    `ladders`: one a ground, all of one colour, ratio and number of coats; at least one.
    """
    coats = len(ladders[0]) - 1
    step = min(_STEP, 640 / coats)
    lights = [r.lab[0] for one in ladders for r in one]
    lights += [lab[0] for one in ladders for r in one for _, lab in r.panels]
    low, high = min(lights) - 6, max(lights) + 6

    def height(light: float) -> float:
        return 16 + (high - light) / (high - low) * _TALL

    wide = _LEFT + 20 + coats * step + 110
    body = []
    for tick in nice_ticks(low, high, 5):
        y = height(tick)
        body.append(f'<path d="M{_LEFT + 30} {y:.1f}H{wide - 34:.0f}" class="wb-grid"/>')
        body.append(text(wide - 14, y + 4, number(tick, 0), cls="wb-tick"))
    body.append(text(wide - 44, 12, "lightness L*", cls="wb-tick"))
    ranked = sorted(ladders, key=lambda one: -one[0].lab[0])
    # Of grounds side by side at one lightness none may hide another: each has its own lane.
    lane = min(20.0, (step - _SIDE) / max(len(ranked) - 1, 1))
    described, last = [], -99.0
    for k, one in enumerate(ranked):
        shift = lane * (k - (len(ranked) - 1) / 2)
        points = [
            (_LEFT + 20 + i * step + (shift if i else 0), height(r.lab[0]))
            for i, r in enumerate(one)
        ]
        line = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        body.append(f'<path d="M{line}" class="wb-trace"/>')
        fills = screen_colours([r.lab for r in one])
        for (x, y), (fill, _) in zip(points, fills, strict=True):
            body.append(
                f'<rect x="{x - _SIDE / 2:.1f}" y="{y - _SIDE / 2:.1f}" width="{_SIDE}" '
                f'height="{_SIDE}" class="wb-edge" style="fill:{fill}"/>'
            )
        for (x, _), rung in zip(points, one, strict=True):
            for _, lab in rung.panels[:3]:
                ((fill, _),) = screen_colours([lab])
                body.append(
                    f'<circle cx="{x:.1f}" cy="{height(lab[0]):.1f}" r="8" class="wb-mark" '
                    f'style="fill:{fill}"/>'
                )
        # Names that would stand on one another are moved down.
        last = max(points[0][1] + 5, last + 17)
        body.append(text(_LEFT - 8, last, one[0].recipe.ground, anchor="end", cls="wb-title"))
        steps = ", ".join(number(r.lab[0], 0) for r in one)
        described.append(f"{one[0].recipe.ground}: L* {steps}")
    foot = _TALL + 44
    for i in range(coats + 1):
        words = "bare" if not i else counted(i, "coat")
        body.append(text(_LEFT + 20 + i * step, foot, words, anchor="middle", cls="wb-tick"))
    image = picture(
        "".join(body),
        width=wide,
        height=foot + 10,
        title=title,
        desc=". ".join(described),
        cls="wb-value",
    )
    return Raw(f'<figure class="wb-scroll">{image}</figure>')


def value_words(ladders: Sequence[Sequence[Rung]]) -> str:
    """Say what the ground decides: lightness after the last coat, lightest against darkest.

    Returned: one sentence; empty for one ground.
    """
    if len(ladders) < 2:
        return ""
    ends = sorted(ladders, key=lambda one: -one[-1].lab[0])
    light, dark, coats = ends[0], ends[-1], ends[0][-1].coats
    apart = light[-1].lab[0] - dark[-1].lab[0]
    top, low = light[0].recipe.ground, dark[0].recipe.ground
    return (
        f"After {counted(coats, 'coat')} {top} is {number(apart, 0)} L* lighter than "
        f"{low}: the ground decides that, not the colour."
    )
