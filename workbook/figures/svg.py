"""The pen of the figures: escaped text, numbers, screen colours, axes; all as SVG strings."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from matchlib.colorimetry import to_srgb

__all__ = [
    "SHAPES",
    "Raw",
    "Scale",
    "esc",
    "minus",
    "nice_ticks",
    "number",
    "picture",
    "screen_colours",
    "shape",
    "text",
]

SHAPES = ("circle", "square", "triangle", "diamond", "cross")


class Raw(str):
    """HTML that is already escaped: what the figures return, to be nested in a table or card."""

    __slots__ = ()


def esc(value: object) -> str:
    """Return the text with ``& < > " '`` made harmless; `Raw` is left as it is."""
    return str(value) if isinstance(value, Raw) else html.escape(str(value), quote=True)


def number(value: float, digits: int = 1) -> str:
    """Return a number for reading: fixed digits, a true minus sign, no minus zero.

    `value`: any; not-a-number gives a dash. Returned: such as ``−12.3``.
    """
    if not math.isfinite(value):
        return "–"
    shown = f"{value:.{digits}f}"
    if float(shown) == 0:
        shown = shown.lstrip("-")
    return shown.replace("-", "−")


def minus(words: str) -> str:
    """Return words with a true minus sign before their numbers."""
    return re.sub(r"(?<![\w-])-(?=\d)", "−", words)


def screen_colours(labs: Any) -> list[tuple[str, bool]]:
    """Return screen colours, and whether sRGB can show each.

    Returned: ``#rrggbb`` and True where the colour lies inside sRGB; outside, it is the nearest by
    clipping and must be marked.
    """
    rgb, inside = to_srgb(np.asarray(labs, dtype=float).reshape(-1, 3))
    eight = np.rint(255 * np.clip(rgb, 0, 1)).astype(int)
    return [
        (f"#{r:02x}{g:02x}{b:02x}", bool(ok))
        for (r, g, b), ok in zip(eight, np.atleast_1d(inside), strict=True)
    ]


def nice_ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Return round numbers inside a range."""
    span = max(high - low, 1e-9) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(span))
    wanted = next(m * power for m in (1, 2, 5, 10) if m * power >= span * 0.999)
    ticks: list[float] = []
    for step in (m * power for m in (10, 5, 2, 1) if m * power <= wanted):
        first = math.ceil(low / step - 1e-9)
        last = math.floor(high / step + 1e-9)
        ticks = [k * step for k in range(first, last + 1)]
        if ticks:  # a step as long as the axis may have no multiple on it
            break
    return ticks


def text(
    x: float, y: float, words: object, *, anchor: str = "start", cls: str = "", extra: str = ""
) -> str:
    """Return an SVG text element.

    `x`, `y`: baseline point [px].
    """
    named = f' class="{cls}"' if cls else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{named} {extra}>{esc(words)}</text>'
    )


def picture(
    body: str, *, width: float, height: float, title: str, desc: str = "", cls: str = ""
) -> Raw:
    """Return an SVG image that says in words what it shows.

    `width`, `height`: size [px]. `title`, `desc`: what it is, and what is to be seen in it, for
    those who do not see it. `cls`: by which the style sheet knows it.
    """
    spoken = f"{title}. {desc}" if desc else title
    named = f' class="{cls}"' if cls else ""
    described = f"<desc>{esc(desc)}</desc>" if desc else ""
    return Raw(
        f'<svg xmlns="http://www.w3.org/2000/svg"{named} role="img" aria-label="{esc(spoken)}" '
        f'width="{width:g}" height="{height:g}" viewBox="0 0 {width:g} {height:g}">'
        f"<title>{esc(title)}</title>{described}{body}</svg>"
    )


def shape(kind: int, x: float, y: float, r: float, fill: str) -> str:
    """Return a mark; kinds differ in outline, so that colour is never the only signal.

    `x`, `y`, `r`: centre and half size [px].
    """
    style = f'class="wb-mark" style="fill:{fill}"'
    match SHAPES[kind % len(SHAPES)]:
        case "circle":
            return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" {style}/>'
        case "square":
            d = f"M{x - r:.1f} {y - r:.1f}h{2 * r:.1f}v{2 * r:.1f}h{-2 * r:.1f}Z"
        case "triangle":
            d = f"M{x:.1f} {y - 1.2 * r:.1f}L{x + 1.15 * r:.1f} {y + r:.1f}H{x - 1.15 * r:.1f}Z"
        case "diamond":
            s = 1.35 * r
            d = f"M{x:.1f} {y - s:.1f}L{x + s:.1f} {y:.1f}L{x:.1f} {y + s:.1f}L{x - s:.1f} {y:.1f}Z"
        case _:
            a, b = r * 1.3, r * 0.45
            c = a - b
            d = (
                f"M{x - b:.1f} {y - a:.1f}h{2 * b:.1f}v{c:.1f}h{c:.1f}v{2 * b:.1f}h{-c:.1f}v{c:.1f}"
                f"h{-2 * b:.1f}v{-c:.1f}h{-c:.1f}v{-2 * b:.1f}h{c:.1f}Z"
            )
    return f'<path d="{d}" {style}/>'


@dataclass(frozen=True, slots=True)
class Scale:
    """A plot's rectangle on the paper and the numbers at its ends.

    `x`, `y`: numbers at the left and right, and at the bottom and top.
    """

    left: float
    top: float
    width: float
    height: float
    x: tuple[float, float]
    y: tuple[float, float]

    def px(self, value: float) -> float:
        """Return the place across [px]."""
        return self.left + (value - self.x[0]) / (self.x[1] - self.x[0]) * self.width

    def py(self, value: float) -> float:
        """Return the place down [px]."""
        return self.top + self.height - (value - self.y[0]) / (self.y[1] - self.y[0]) * self.height

    def frame(self, x_name: str, y_name: str, *, x_marks: bool = True) -> str:
        """Return grid, axes, numbers and axis names."""
        foot, right = self.top + self.height, self.left + self.width
        out = [
            f'<rect x="{self.left:.1f}" y="{self.top:.1f}" width="{self.width:.1f}" '
            f'height="{self.height:.1f}" class="wb-box"/>'
        ]
        ticks = nice_ticks(*self.x) if x_marks else []
        digits = _digits(ticks)
        for v in ticks:
            p = self.px(v)
            out.append(f'<path d="M{p:.1f} {self.top:.1f}V{foot:.1f}" class="wb-grid"/>')
            out.append(text(p, foot + 16, number(v, digits), anchor="middle"))
        ticks = nice_ticks(*self.y)
        digits = _digits(ticks)
        for v in ticks:
            p = self.py(v)
            out.append(f'<path d="M{self.left:.1f} {p:.1f}H{right:.1f}" class="wb-grid"/>')
            out.append(text(self.left - 6, p + 4, number(v, digits), anchor="end"))
        out.append(text(self.left + self.width / 2, foot + 34, x_name, anchor="middle"))
        middle = self.top + self.height / 2
        turned = f'transform="rotate(-90 14 {middle:.1f})"'
        out.append(text(14, middle, y_name, anchor="middle", extra=turned))
        return "".join(out)


def _digits(ticks: Sequence[float]) -> int:
    if len(ticks) < 2:
        return 1
    return max(0, -math.floor(math.log10(abs(ticks[1] - ticks[0])) + 1e-9))
