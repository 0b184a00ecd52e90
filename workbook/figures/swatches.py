"""Colours as areas: swatches, pairs, ladders, the panel as it will look; always with numbers.

A screen shows a swatch for orientation; the numbers beside it decide. A colour outside sRGB is
drawn clipped, with a striped corner and the words 'outside screen range'.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from matchlib.colorimetry import delta_e00, to_srgb
from workbook.figures.svg import (
    Raw,
    esc,
    lab_text,
    number,
    picture,
    screen_colours,
    text,
    warning_corner,
)
from workbook.theme import SURROUND

if TYPE_CHECKING:
    from matchlib.evenness import Judge

__all__ = ["ORIENTATION", "chip", "ladder", "panel_picture", "swatch", "swatch_pair"]

ORIENTATION = "Screens differ: swatches are for orientation, the numbers decide."
OUTSIDE = "outside screen range"
_PAD = 14


def chip(lab: Any, *, size: int = 26) -> Raw:
    """Return a small swatch for a line of text or a table cell; numbers must stand beside it.

    Parameters
    ----------
    lab : array_like of shape (3,)
        CIELAB.
    size : int
        Side [px].

    Returns
    -------
    Raw
        SVG.
    """
    ((fill, inside),) = screen_colours([lab])
    body = (
        f'<rect width="{size}" height="{size}" style="fill:{SURROUND}"/>'
        f'<rect x="3" y="3" width="{size - 6}" height="{size - 6}" style="fill:{fill}"/>'
    )
    if not inside:
        body += warning_corner(size - 3, 3, size / 2.6)
    told = lab_text(lab) + ("" if inside else f", {OUTSIDE}")
    return picture(body, width=size, height=size, title=f"Swatch {told}")


def _under(lab: Any, inside: bool, extra: Sequence[object]) -> str:
    lines = [f'<span class="cpw-num">{esc(lab_text(lab))}</span>', *[esc(e) for e in extra if e]]
    if not inside:
        lines.append(f"<span>◣ {OUTSIDE}, drawn clipped</span>")
    return "<br>".join(lines)


def swatch(lab: Any, caption: str = "", *, note: str = "", size: int = 150) -> Raw:
    """Return one colour on neutral grey with its reading below.

    Parameters
    ----------
    lab : array_like of shape (3,)
        CIELAB.
    caption, note : str
        Above the numbers in bold, and below them.
    size : int
        Side of the colour [px].

    Returns
    -------
    Raw
        HTML figure.
    """
    ((fill, inside),) = screen_colours([lab])
    full = size + 2 * _PAD
    body = (
        f'<rect width="{full}" height="{full}" style="fill:{SURROUND}"/>'
        f'<rect x="{_PAD}" y="{_PAD}" width="{size}" height="{size}" style="fill:{fill}"/>'
    )
    if not inside:
        body += warning_corner(full - _PAD, _PAD, 34)
    named = caption or "Swatch"
    told = lab_text(lab) + ("" if inside else f", {OUTSIDE}")
    image = picture(body, width=full, height=full, title=named, desc=told)
    head = f"<strong>{esc(caption)}</strong><br>" if caption else ""
    return Raw(
        f"<figure>{image}<figcaption>{head}{_under(lab, inside, [note])}</figcaption></figure>"
    )


def _unit(judge: Judge | None) -> str:
    unit = "ΔE00" if judge is None else judge.unit
    return unit[:1].upper() + unit[1:]


def _difference(judge: Judge | None, one: Any, two: Any) -> np.ndarray:
    return np.asarray(delta_e00(one, two) if judge is None else judge.difference(one, two))


def swatch_pair(
    target: Any,
    suggestion: Any,
    *,
    names: tuple[str, str] = ("Target", "Predicted"),
    note: str = "",
    width: int = 340,
    height: int = 150,
    judge: Judge | None = None,
) -> Raw:
    """Return two colours edge to edge on neutral grey, with their readings and difference.

    Parameters
    ----------
    target, suggestion : array_like of shape (3,)
        CIELAB.
    names : (str, str)
        What each is called.
    note : str
        A further line, such as the chance of being within the tolerance.
    width, height : int
        Of both colours together [px].
    judge : Judge, optional
        The difference between them; ΔE00 if None.

    Returns
    -------
    Raw
        HTML figure.
    """
    pair = [np.asarray(target, float), np.asarray(suggestion, float)]
    colours = screen_colours(pair)
    full, tall = width + 2 * _PAD, height + 2 * _PAD
    body = [f'<rect width="{full}" height="{tall}" style="fill:{SURROUND}"/>']
    for k, (fill, inside) in enumerate(colours):
        x = _PAD + k * width / 2
        # No line between the two: the eye judges a difference best at a bare edge.
        body.append(
            f'<rect x="{x:g}" y="{_PAD}" width="{width / 2:g}" height="{height}" '
            f'shape-rendering="crispEdges" style="fill:{fill}"/>'
        )
        if not inside:
            body.append(warning_corner(x + width / 2, _PAD, 30))
    apart = f"{_unit(judge)} between them {number(_difference(judge, *pair).item(), 2)}"
    told = [
        f"{name}: {lab_text(lab)}" + ("" if inside else f", {OUTSIDE}")
        for name, lab, (_, inside) in zip(names, pair, colours, strict=True)
    ]
    image = picture(
        "".join(body),
        width=full,
        height=tall,
        title=f"{names[0]} beside {names[1]}",
        desc=f"{told[0]}. {told[1]}. {apart}",
    )
    cells = "".join(
        f"<div><strong>{esc(name)}</strong><br>{_under(lab, inside, [])}</div>"
        for name, lab, (_, inside) in zip(names, pair, colours, strict=True)
    )
    line = apart + (f". {note}" if note else "")
    return Raw(
        f'<figure style="max-width:{full}px">{image}<figcaption>'
        f'<div class="cpw-pair">{cells}</div>'
        f'<div class="cpw-num">{esc(line)}</div></figcaption></figure>'
    )


def ladder(
    labs: Any,
    labels: Sequence[str],
    *,
    title: str,
    notes: Sequence[str] = (),
    chosen: int | None = None,
    size: int = 92,
) -> Raw:
    """Return a row of colours in order, such as coats rising, each with label and reading.

    Parameters
    ----------
    labs : array_like of shape (n, 3)
        CIELAB.
    labels : sequence of str
        One a step, such as ``3 coats``.
    title : str
        What the row shows.
    notes : sequence of str
        One more line a step, or none.
    chosen : int or None
        The step to point out, by a mark and in words.
    size : int
        Side of one colour [px].

    Returns
    -------
    Raw
        HTML figure.
    """
    values = np.asarray(labs, float).reshape(-1, 3)
    step, lines = size + 22, 5 + bool(notes)
    # Long labels would run into their neighbours; the full text is in the words of the figure.
    most = max(6, int(step / 7.4))
    full, tall = step * len(values) + 12, size + 36 + 17 * lines
    body = [f'<rect width="{full}" height="{size + 24}" style="fill:{SURROUND}"/>']
    told = []
    for k, (lab, (fill, inside)) in enumerate(zip(values, screen_colours(values), strict=True)):
        x, y = 17 + k * step, size + 40.0
        middle = x + size / 2
        body.append(f'<rect x="{x}" y="12" width="{size}" height="{size}" style="fill:{fill}"/>')
        if not inside:
            body.append(warning_corner(x + size, 12, 24))
        words = [
            labels[k],
            *(f"{n} {number(v)}" for n, v in zip(("L*", "a*", "b*"), lab, strict=True)),
        ]
        words += [notes[k]] if notes else []
        words += [] if inside else ["off screen"]
        for row, word in enumerate(words):
            short = word if len(word) <= most else word[: most - 1] + "…"
            cls = "cpw-title" if row == 0 else ""
            body.append(text(middle, y + 17 * row, short, anchor="middle", cls=cls))
        if k == chosen:
            body.append(
                f'<path d="M{middle - 9:g} {size + 24}h18l-9 -10Z" '
                'style="fill:#fff;stroke:#000;stroke-width:1.5"/>'
            )
        told.append(
            f"{labels[k]}: {lab_text(lab)}"
            + (f", {notes[k]}" if notes else "")
            + ("" if inside else f", {OUTSIDE}")
            + (", chosen" if k == chosen else "")
        )
    image = picture("".join(body), width=full, height=tall, title=title, desc=". ".join(told))
    return Raw(
        f'<figure class="cpw-scroll"><figcaption><strong>{esc(title)}</strong></figcaption>'
        f'<div style="width:{full}px">{image}</div></figure>'
    )


def panel_picture(
    labs: Any, *, title: str, note: str = "", width: int = 360, judge: Judge | None = None
) -> Raw:
    """Return a panel as its unevenness would show, with the spread in numbers.

    Parameters
    ----------
    labs : array_like of shape (rows, columns, 3)
        CIELAB over the panel.
    title, note : str
        What it is, and a further line.
    width : int
        Of the panel on the page [px].
    judge : Judge, optional
        The difference in which the spread is told; ΔE00 if None.

    Returns
    -------
    Raw
        HTML figure; the picture is a PNG inside the page.
    """
    from PIL import Image  # comes with reportlab

    field = np.asarray(labs, float)
    rows, columns = field.shape[:2]
    rgb, inside = to_srgb(field.reshape(-1, 3))
    eight = np.rint(255 * np.clip(rgb, 0, 1)).astype(np.uint8).reshape(rows, columns, 3)
    store = BytesIO()
    Image.fromarray(eight, "RGB").save(store, "PNG")
    data = base64.b64encode(store.getvalue()).decode("ascii")
    tall = width * rows / columns
    middle = field.reshape(-1, 3).mean(axis=0)
    apart = _difference(judge, np.broadcast_to(middle, field.shape), field).ravel()
    spread = (
        f"Mean {lab_text(middle)}. {_unit(judge)} from the mean: "
        f"median {number(float(np.median(apart)), 2)}, "
        f"largest {number(float(apart.max()), 2)}. L* from {number(float(field[..., 0].min()))} "
        f"to {number(float(field[..., 0].max()))}."
    )
    share = 1 - float(np.mean(inside))
    if share > 0:
        spread += f" {number(100 * share, 0)}% of it {OUTSIDE}."
    body = (
        f'<rect width="{width + 2 * _PAD}" height="{tall + 2 * _PAD:.1f}" style="fill:{SURROUND}"/>'
        f'<image x="{_PAD}" y="{_PAD}" width="{width}" height="{tall:.1f}" '
        f'preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'
    )
    image = picture(
        body, width=width + 2 * _PAD, height=round(tall + 2 * _PAD), title=title, desc=spread
    )
    extra = f"<br>{esc(note)}" if note else ""
    return Raw(
        f'<figure style="max-width:{width + 2 * _PAD}px">{image}<figcaption>'
        f"<strong>{esc(title)}</strong><br>{esc(spread)}{extra}</figcaption></figure>"
    )
