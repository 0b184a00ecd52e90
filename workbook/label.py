"""The label for the back of a panel: recipe in words, date, sprayer, code and its QR.

Printed on plain label sheets, two labels by five on the larger. Text is wrapped and shrunk until
all of it is there; what would then be too small to read goes on to a second label.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import NamedTuple

from reportlab.lib.units import mm

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import USUAL_OVERLAP, Panel, lot_words, lots_text
from matchlib.errors import DomainError
from workbook.paper import (
    BOLD,
    REGULAR,
    draw_qr,
    new_canvas,
    paper_size,
    printable,
    take_line,
    use_fonts,
)

__all__ = ["PlacedLabel", "label_cells", "label_lines", "label_pdf", "place_label"]

_LARGEST, _SMALLEST = 11.0, 5.5
_PADDING = 2.5 * mm
_LEADING = 1.22


def label_cells(sheet: str) -> tuple[tuple[float, float], list[tuple[float, float]]]:
    """Return the size of a label on a sheet, and the lower left corner of each.

    `sheet`: A4 and Letter hold two by five, the smaller ones one. `size`: width and height of a
    label [pt]. `corners`: along the rows from the top left [pt].
    """
    page_w, page_h = paper_size(sheet)
    large = sheet.strip().casefold() in ("a4", "letter")
    columns, rows = (2, 5) if large else (1, 1)
    side, top, gap = (8.0, 10.0, 3.0) if large else (4.0, 4.0, 0.0)  # margins, between columns [mm]
    width = (page_w - (2 * side + gap * (columns - 1)) * mm) / columns
    height = (page_h - 2 * top * mm) / rows
    corners = [
        (side * mm + column * (width + gap * mm), page_h - top * mm - (row + 1) * height)
        for row in range(rows)
        for column in range(columns)
    ]
    return (width, height), corners


class PlacedLine(NamedTuple):
    """A line of text at its place within a label.

    `x`, `y`: start of the base line, from the label's lower left corner [pt].
    """

    x: float
    y: float
    font: str
    size: float
    text: str


class PlacedLabel(NamedTuple):
    """A label laid out.

    `qr`: lower left corner and side of the code [pt]. `rest`: blocks of text that go on to the next
    label: font, text, relative size.
    """

    lines: tuple[PlacedLine, ...]
    qr: tuple[float, float, float]
    rest: tuple[tuple[str, str, float], ...]


def label_lines(panel: Panel) -> tuple[tuple[str, str, float], ...]:
    """Return what the label says: font, text and relative size of each block.

    Returned: code, recipe in words, then what repeats the panel and what it read; blanks to fill in
    where not known.
    """
    use_fonts()
    return (
        (BOLD, printable(panel.code), 1.25),
        (REGULAR, printable(panel.recipe.words), 1.0),
        *((REGULAR, printable(line), 0.92) for line in _back(panel)),
    )


def _back(panel: Panel) -> list[str]:
    """What repeats the panel, line by line; of several stages what was noted of each."""
    stages = panel.stages
    date = _told(s.date.isoformat() if s.date else "" for s in stages)
    sprayer = _told(s.sprayer for s in stages)
    lines = [f"Date {date or '______________'} · Sprayer {sprayer or '______________'}"]
    lots = _told(lots_text(s.lots) for s in stages)
    lot = lot_words(_told(s.lot for s in stages)) or "lot ________"
    batch = f"Ground batch {panel.batch or '________'}"
    lines.append(f"{lot[:1].upper()}{lot[1:]}{'; ' * bool(lots)}{lots} · {batch}")
    setup = _told(s.setup.words for s in stages)
    noted = setup if any(s.setup.gun for s in stages) or not setup else f"Gun: {setup}"
    lines.append(noted or "Gun ________ tip ____ pressure ____ fan ____ distance ____")
    if all(s.setup.overlap is None for s in stages):
        lines.append(f"Overlap ____% ({USUAL_OVERLAP:g} is usual)")
    warm = _told("" if s.temperature is None else f"{s.temperature:g}" for s in stages) or "____"
    damp = _told("" if s.humidity is None else f"{s.humidity:g}" for s in stages) or "____"
    last = stages[-1].clear_coats
    clear = "____" if last is None else f"{last}"
    coats = f" · Coats of clear {clear}" * (panel.recipe.clear is not None)
    lines.append(f"Booth {warm} °C {damp} %RH{coats}")
    lines += _read(panel)
    lines.append(f"Drawer {panel.drawer or '________'}")
    return lines


def _told(noted: Iterable[str]) -> str:
    """What was noted stage by stage; what stays the same is said once."""
    return ", then ".join(value for value, _ in groupby(filter(None, noted)))


def _read(panel: Panel) -> list[str]:
    """The last reading at each angle and its day, or room for one."""
    lines = []
    for last in {r.viewing.canonical: r for r in panel.stages[-1].last_read}.values():
        day = last.date or panel.date
        words = "Reads L* {:.1f} a* {:.1f} b* {:.1f}".format(*lab_of_reading(last))
        state = f" {last.state}" if last.state else ""
        on = day.isoformat() if day else "__________"
        lines.append(f"{words.replace('-', '−')}{state} ({last.viewing}) on {on}")
    return lines or ["Reads L* ______ a* ______ b* ______ on __________"]


def _flow(
    blocks: Iterable[tuple[str, str, float]], size: float, box: tuple[float, float], qr: float
) -> PlacedLabel:
    width, height = box
    inner = width - 2 * _PADDING
    corner = (width - _PADDING - qr, height - _PADDING - qr, qr)
    y = height - _PADDING
    lines: list[PlacedLine] = []
    rest: list[tuple[str, str, float]] = []
    for font, text, scale in blocks:
        em = size * scale
        left = text
        while left:
            base = y - em
            if rest or base < _PADDING:
                rest.append((font, left, scale))
                break
            # Beside the code the line is shorter; a descender may not touch it either.
            beside = base + em > corner[1] - 0.3 * em
            room = inner - (qr + 2 * mm if beside else 0.0)
            line, left = take_line(left, font=font, size=em, width=room)
            lines.append(PlacedLine(_PADDING, base, font, em, line))
            y -= em * _LEADING
        y -= size * 0.25
    return PlacedLabel(tuple(lines), corner, tuple(rest))


def place_label(blocks: Iterable[tuple[str, str, float]], box: tuple[float, float]) -> PlacedLabel:
    """Lay text out on a label as large as all of it fits.

    `box`: width and height of the label [pt]. Returned: at the smallest readable size what does not
    fit is in `rest`, never lost.
    """
    held = tuple(blocks)
    width, height = box
    qr = min(0.6 * (height - 2 * _PADDING), 0.36 * (width - 2 * _PADDING), 26 * mm)
    qr = max(qr, 11 * mm)
    size = _LARGEST
    while size > _SMALLEST:
        placed = _flow(held, size, box, qr)
        if not placed.rest:
            return placed
        size -= 0.25
    return _flow(held, _SMALLEST, box, qr)


def _labels(panels: Iterable[Panel], box: tuple[float, float]) -> Iterator[tuple[str, PlacedLabel]]:
    for panel in panels:
        placed = place_label(label_lines(panel), box)
        yield panel.code, placed
        number = 2
        while placed.rest:
            head = (BOLD, printable(f"{panel.code}, continued ({number})"), 1.0)
            placed = place_label((head, *placed.rest), box)
            yield panel.code, placed
            number += 1


def label_pdf(
    panels: Panel | Iterable[Panel],
    *,
    sheet: str = "A4",
    first: int = 1,
    cut_lines: bool = False,
) -> bytes:
    """Print labels for the backs of panels.

    `sheet`: ``A4``, ``Letter``, or an ISO 216 size down to ``A7``. `first`: label of the first
    sheet to begin with, 1 or more: a sheet begun can be used up.
    """
    held = [panels] if isinstance(panels, Panel) else list(panels)
    box, corners = label_cells(sheet)
    if not held or not 1 <= first <= len(corners):
        raise DomainError(
            "There is nothing to print, or no such label on the sheet.",
            expected=f"at least one panel, and a first label from 1 to {len(corners)}",
            got=f"{len(held)} panels, first label {first}",
            remedy="choose panels, and count labels along the rows from the top left.",
        )
    stream = io.BytesIO()
    title = f"Panel label {held[0].code}" if len(held) == 1 else f"{len(held)} panel labels"
    canvas = new_canvas(stream, paper_size(sheet), title)
    place = first - 1
    for code, placed in _labels(held, box):
        if place == len(corners):
            canvas.showPage()
            place = 0
        x, y = corners[place]
        if cut_lines:
            canvas.setStrokeGray(0.6)
            canvas.setLineWidth(0.4)
            canvas.rect(x, y, *box)
        draw_qr(canvas, code, x=x + placed.qr[0], y=y + placed.qr[1], side=placed.qr[2])
        for line in placed.lines:
            canvas.setFont(line.font, line.size)
            canvas.drawString(x + line.x, y + line.y, line.text)
        place += 1
    canvas.save()
    return stream.getvalue()
