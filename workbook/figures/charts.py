"""Charts as SVG strings: Lab views, drift in time, bars; axes named, marks told by shape."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from workbook.figures.svg import (
    Raw,
    Scale,
    esc,
    nice_ticks,
    number,
    picture,
    screen_colours,
    shape,
    text,
)

__all__ = ["Mark", "bars", "lab_chart", "legend", "timeline"]


_SIDE = 250  # of one plot [px]


@dataclass(frozen=True, slots=True)
class Mark:
    """A colour in a chart.

    `kind`: what it is, such as ``target``; each kind has its own shape and stands in the legend.
    `label`: written beside it; leave empty where there are many.
    """

    lab: tuple[float, float, float]
    kind: str
    label: str = ""


def _empty(title: str, words: str) -> Raw:
    head = f"<strong>{esc(title)}</strong><br>{esc(words)}"
    return Raw(f"<figure><figcaption>{head}</figcaption></figure>")


def _outline(points: np.ndarray) -> np.ndarray:
    """Return the corners of the convex hull, or nothing where the points span no area."""
    from scipy.spatial import ConvexHull, QhullError

    if len(points) < 3:
        return points[:0]
    try:
        corners: np.ndarray = points[ConvexHull(points).vertices]
        return corners
    except QhullError:
        return points[:0]


def _range(values: np.ndarray, least: float) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    room = max(0.08 * (high - low), (least - (high - low)) / 2, 0.0)
    return low - room, high + room


def _widened(ends: tuple[float, float], length: float, floor: float) -> tuple[float, float]:
    low = max(sum(ends) / 2 - length / 2, floor)
    return low, low + length


_BESIDE = [
    (side * r, up * r) for r in (11, 26, 44, 64) for up in (0.3, -0.9, 1.5) for side in (1, -1)
]


def _crosses(a: Sequence[float], b: Sequence[float]) -> bool:
    return not (a[2] < b[0] or a[0] > b[2] or a[3] < b[1] or a[1] > b[3])


def _labels(scale: Scale, spots: Sequence[tuple[float, float, str]]) -> str:
    """Write labels near their marks, the first in the list first, none on another or outside.

    A label that had to move off is tied to its mark by a line.
    """
    named = [spot for spot in spots if spot[2]]
    marked = [(x - 8, y - 8, x + 8, y + 8) for x, y, _ in spots]
    taken = [(x - 8, y - 8, x + 8, y + 8) for x, y, _ in named]
    out = []
    for x, y, words in named:
        wide = 7.2 * len(words)
        open_spots = []
        for dx, dy in _BESIDE:
            left = x + dx if dx > 0 else x + dx - wide
            box = (left, y + dy - 12, left + wide, y + dy + 3)
            inside = box[0] >= scale.left and box[2] <= scale.left + scale.width
            inside = inside and box[1] >= scale.top and box[3] <= scale.top + scale.height
            if inside and not any(_crosses(box, t) for t in taken):
                # Over a nameless mark is worse than a step further off, but not than no label.
                over = sum(_crosses(box, m) for m in marked)
                open_spots.append((20 * over + abs(dx), left, y + dy, box, abs(dx) > 20))
        if not open_spots:
            continue  # the words of the picture and the table beside it have it all
        _, left, foot, box, far = min(open_spots)
        taken.append(box)
        if far:
            end = box[0] - 1 if left > x else box[2] + 1
            out.append(f'<path d="M{x:.1f} {y:.1f}L{end:.1f} {foot - 4:.1f}" class="wb-trace"/>')
        out.append(text(left, foot, words, cls="wb-label"))
    return "".join(out)


def _plane(
    marks: Sequence[Mark],
    flat: np.ndarray,
    hull: np.ndarray,
    kinds: Sequence[str],
    *,
    names: tuple[str, str],
    title: str,
    floor: float,
) -> Raw:
    everything = np.vstack([flat, hull]) if len(hull) else flat
    least = 20.0 if len(hull) else 8.0  # alone, marks are drawn as far apart as they can be
    x, y = _range(everything[:, 0], least), _range(everything[:, 1], least)
    # One unit is as long across as up, so that distances may be compared by eye.
    most = max(x[1] - x[0], y[1] - y[0])
    x, y = _widened(x, most, floor), _widened(y, most, floor)
    scale = Scale(left=58, top=30, width=_SIDE, height=_SIDE, x=x, y=y)
    body = [text(58, 18, title, cls="wb-title"), scale.frame(*names)]
    corners = _outline(hull)
    if len(corners):
        d = "L".join(f"{scale.px(a):.1f} {scale.py(b):.1f}" for a, b in corners)
        body.append(f'<path d="M{d}Z" class="wb-hull"/>')
    if x[0] < 0.0 < x[1]:
        body.append(f'<path d="M{scale.px(0):.1f} 30V{30 + _SIDE}" class="wb-box"/>')
    if y[0] < 0.0 < y[1]:
        body.append(f'<path d="M58 {scale.py(0):.1f}H{58 + _SIDE}" class="wb-box"/>')
    colours = screen_colours([m.lab for m in marks])
    # Kinds later in the order lie on top: a target is not hidden by a cloud of panels.
    spots = []
    for i in sorted(range(len(marks)), key=lambda i: -kinds.index(marks[i].kind)):
        px, py = scale.px(flat[i, 0]), scale.py(flat[i, 1])
        crowd = len(marks) > 40 and not marks[i].label
        body.append(shape(kinds.index(marks[i].kind), px, py, 3.5 if crowd else 6, colours[i][0]))
        spots.append((px, py, marks[i].label))
    body.append(_labels(scale, spots[::-1]))
    described = ". ".join(
        f"{m.kind} {m.label}: {names[0]} {number(flat[i, 0])}, {names[1]} {number(flat[i, 1])}"
        for i, m in enumerate(marks)
        if m.label or len(marks) <= 12
    )
    counts = ", ".join(f"{sum(m.kind == k for m in marks)} {k}" for k in kinds)
    desc = f"Shows {counts}. {described}" if described else f"Shows {counts}."
    return picture("".join(body), width=_SIDE + 72, height=_SIDE + 72, title=title, desc=desc)


def legend(kinds: Sequence[str], *, hull: str = "", band: str = "") -> Raw:
    """Return which shape means what."""
    parts = []
    for k, kind in enumerate(kinds):
        body = shape(k, 9, 9, 5.5, "transparent")
        icon = picture(body, width=18, height=18, title="").replace(
            'role="img" aria-label=""', 'aria-hidden="true"'
        )
        parts.append(f'<span class="wb-key">{icon}{esc(kind)}</span>')
    for words, cls in ((hull, "wb-hull"), (band, "wb-band")):
        if words:
            icon = (
                '<svg aria-hidden="true" width="26" height="18" viewBox="0 0 26 18">'
                f'<rect x="2" y="3" width="22" height="12" class="{cls}"/></svg>'
            )
            parts.append(f'<span class="wb-key">{icon}{esc(words)}</span>')
    return Raw(f'<div style="display:flex;flex-wrap:wrap;gap:4px 18px">{"".join(parts)}</div>')


def lab_chart(
    marks: Sequence[Mark],
    *,
    reachable: Any = None,
    order: Sequence[str] = (),
    title: str = "Colours in CIELAB",
) -> Raw:
    """Return the a*–b* view and the chroma–lightness view side by side.

    `reachable`: colours the shop can reach; drawn as a dashed outline round them. `order`: kinds,
    most important first; the others follow.
    """
    marks = list(marks)
    if not marks:
        return _empty(title, "Nothing to show yet.")
    there = [m.kind for m in marks]
    kinds = [k for k in dict.fromkeys([*order, *there]) if k in there]
    lab = np.array([m.lab for m in marks], float)
    cloud = np.empty((0, 3)) if reachable is None else np.asarray(reachable, float).reshape(-1, 3)

    def lightness(values: np.ndarray) -> np.ndarray:
        return np.column_stack([np.hypot(values[:, 1], values[:, 2]), values[:, 0]])

    first = _plane(
        marks,
        lab[:, 1:],
        cloud[:, 1:],
        kinds,
        names=("a* (green − to red +)", "b* (blue − to yellow +)"),
        title="Hue and chroma: a* and b*",
        floor=-np.inf,
    )
    second = _plane(
        marks,
        lightness(lab),
        lightness(cloud),
        kinds,
        names=("chroma C*", "lightness L*"),
        title="Lightness and chroma: C* and L*",
        floor=-2.0,
    )
    hull = "within reach of these limits" if len(cloud) else ""
    return Raw(
        f"<figure><figcaption><strong>{esc(title)}</strong></figcaption>"
        f'<div class="wb-figures">{first}{second}</div>{legend(kinds, hull=hull)}</figure>'
    )


def timeline(
    series: Mapping[str, Sequence[tuple[dt.date, float]]],
    *,
    title: str,
    y_name: str,
    band: tuple[float, float] | None = None,
    band_name: str = "usual spread",
) -> Raw:
    """Return values in the order of their dates, one shape a series.

    `title`, `y_name`: what it shows; what is on the upright axis, with its unit.
    """
    width, height = 620, 220  # of the plot [px]
    points = [(d.toordinal(), v) for rows in series.values() for d, v in rows]
    if not points:
        return _empty(title, "No dated panels.")
    values = np.array(points, float)
    y = _range(np.concatenate([values[:, 1], band]) if band else values[:, 1], 0.5)
    x = (float(values[:, 0].min()) - 1.5, float(values[:, 0].max()) + 1.5)
    scale = Scale(left=58, top=12, width=width, height=height, x=x, y=y)
    body = []
    if band:
        top, foot = scale.py(max(band)), scale.py(min(band))
        body.append(f'<path d="M58 {top:.1f}h{width}V{foot:.1f}h{-width}Z" class="wb-band"/>')
    body.append(scale.frame("date", y_name, x_marks=False))
    for tick in nice_ticks(*x, 5):
        if x[0] <= tick <= x[1] and tick == int(tick):
            day = dt.date.fromordinal(int(tick))
            body.append(f'<path d="M{scale.px(tick):.1f} 12v{height}" class="wb-grid"/>')
            body.append(text(scale.px(tick), height + 28, day.isoformat(), anchor="middle"))
    described = []
    for k, (name, rows) in enumerate(series.items()):
        places = [(scale.px(d.toordinal()), scale.py(v)) for d, v in sorted(rows)]
        if len(places) > 1:
            d = "L".join(f"{a:.1f} {b:.1f}" for a, b in places)
            body.append(f'<path d="M{d}" class="wb-trace"/>')
        body += [shape(k, a, b, 4.5, "var(--wb-paper,#fff)") for a, b in places]
        if rows:
            middle = float(np.median([v for _, v in rows]))
            described.append(f"{name}: {len(rows)} points, median {number(middle, 2)}")
    image = picture(
        "".join(body), width=width + 82, height=height + 54, title=title, desc=". ".join(described)
    )
    return Raw(
        f'<figure class="wb-scroll"><figcaption><strong>{esc(title)}</strong></figcaption>{image}'
        f"{legend(list(series), band=band_name if band else '')}</figure>"
    )


def _with_unit(value: float, digits: int, unit: str) -> str:
    if not math.isfinite(value):
        return "not known"
    gap = "" if unit in ("", "%") else " "
    return f"{number(value, digits)}{gap}{unit}"


def bars(
    names: Sequence[str],
    values: Sequence[float],
    *,
    title: str,
    unit: str = "%",
    most: float | None = None,
    digits: int = 0,
) -> Raw:
    """Return level bars, each with its name and number.

    `most`: value of a full bar; the largest value if left out. What is not known has an empty bar.
    """
    width = 300  # of a full bar [px]
    known = [v for v in values if math.isfinite(v)]
    full = most if most is not None else max([*known, 1e-12])
    room = 16 + max((7.2 * len(n) for n in names), default=0)
    body = [text(0, 15, title, cls="wb-title")]
    for k, (name, value) in enumerate(zip(names, values, strict=True)):
        y = 28 + 28 * k
        body.append(text(0, y + 15, name))
        long = max(0.0, min(1.0, value / full)) * width if math.isfinite(value) else 0.0
        body.append(f'<rect x="{room:.0f}" y="{y}" width="{width}" height="20" class="wb-box"/>')
        body.append(
            f'<rect x="{room:.0f}" y="{y}" width="{long:.1f}" height="20" class="wb-fill"/>'
        )
        body.append(text(room + width + 8, y + 15, _with_unit(value, digits, unit)))
    described = ". ".join(
        f"{n}: {_with_unit(v, digits, unit)}" for n, v in zip(names, values, strict=True)
    )
    wide = room + width + 90
    return picture(
        "".join(body), width=round(wide), height=34 + 28 * len(names), title=title, desc=described
    )
