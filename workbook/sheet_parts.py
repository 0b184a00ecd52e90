"""The parts of a job sheet: text, grids, swatches on grey, the cup, boxes to tick, the label."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable, Paragraph, Spacer
from reportlab.platypus import Table as Grid

from matchlib.colorimetry import to_srgb
from matchlib.domain import Colour, MixRatio, Panel
from matchlib.plural import times
from workbook.cup import cup_layers, label_heights
from workbook.figures import number
from workbook.label import label_lines, place_label
from workbook.paper import BOLD, REGULAR, draw_qr, printable, wrap
from workbook.theme import SURROUND

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.forecast import ForecastAngle

__all__ = [
    "CupPicture",
    "LabelBox",
    "Swatches",
    "TickBox",
    "WriteLine",
    "angle_grid",
    "grid",
    "lab_words",
    "labelled",
    "para",
    "text_style",
]


class TickBox(Flowable):  # type: ignore[misc]  # reportlab ships no types
    """An empty square to tick."""

    def __init__(self) -> None:
        super().__init__()
        self.width = self.height = 3.4 * mm

    def draw(self) -> None:
        """Draw the square."""
        self.canv.setLineWidth(0.8)
        self.canv.rect(0, 0, self.width, self.height)


class Swatches(Flowable):  # type: ignore[misc]  # reportlab ships no types
    """Colours edge to edge on neutral grey, each named and numbered below.

    `named`: name and Lab of each.
    """

    def __init__(self, named: Sequence[tuple[str, tuple[float, float, float]]]) -> None:
        super().__init__()
        self.named = list(named)
        self.width, self.field = 92 * mm, 24 * mm
        self.height = self.field + 11 * mm

    def draw(self) -> None:
        """Draw the field, the colours and their numbers."""
        canvas, below = self.canv, self.height - self.field
        canvas.setFillColor(colors.HexColor(SURROUND))
        canvas.rect(0, below, self.width, self.field, stroke=0, fill=1)
        edge = 5 * mm
        wide = (self.width - 2 * edge) / len(self.named)
        rgb, inside = to_srgb([lab for _, lab in self.named])
        for place, (name, lab) in enumerate(self.named):
            x = edge + place * wide
            canvas.setFillColorRGB(*(float(v) for v in rgb[place]))
            canvas.rect(x, below + edge, wide, self.field - 2 * edge, stroke=0, fill=1)
            canvas.setFillGray(0)
            canvas.setFont(BOLD, 9)
            mark = "" if inside[place] else " (outside sRGB)"
            canvas.drawString(x, below - 3.6 * mm, printable(name) + mark)
            canvas.setFont(REGULAR, 9)
            canvas.drawString(x, below - 7.6 * mm, lab_words(lab))
            if not inside[place]:
                # A corner cut out: the mark is a shape, too.
                path = canvas.beginPath()
                top = below + self.field - edge
                path.moveTo(x, top)
                path.lineTo(x + 5 * mm, top)
                path.lineTo(x, top - 5 * mm)
                path.close()
                canvas.setFillColor(colors.HexColor(SURROUND))
                canvas.drawPath(path, stroke=0, fill=1)


class CupPicture(Flowable):  # type: ignore[misc]  # reportlab ships no types
    """The parts in the cup in black and white, with words.

    `colour`: the colour's name or blend.
    """

    def __init__(self, ratio: MixRatio, colour: Colour | None, *, width: float) -> None:
        super().__init__()
        self.layers = cup_layers(ratio, colour)
        self.width = width
        self.cup = 15 * mm
        self.lines = [
            wrap(x.words, font=REGULAR, size=8.5, width=width - self.cup - 8 * mm)
            for x in self.layers
        ]
        self.gap = 10.0 * max(len(lines) for lines in self.lines) + 3.0
        self.filled = max(22 * mm, self.gap * len(self.layers))
        self.height = self.filled + 5 * mm

    def draw(self) -> None:
        """Draw the cup and its words."""
        canvas = self.canv
        places = label_heights(self.layers, height=self.filled - self.gap / 2, gap=self.gap)
        for layer, lines, place in zip(self.layers, self.lines, places, strict=True):
            low, tall = layer.low * self.filled, (layer.high - layer.low) * self.filled
            canvas.setLineWidth(0.5)
            self._hatch(layer.hatch, low, tall)
            canvas.rect(0, low, self.cup, tall)
            y = place + 4.0
            canvas.line(self.cup - 2, low + tall / 2, self.cup + 3 * mm, y)
            canvas.line(self.cup + 3 * mm, y, self.cup + 5 * mm, y)
            canvas.setFillGray(0)
            canvas.setFont(REGULAR if layer.what == "carrier" else BOLD, 8.5)
            for row, line in enumerate(lines):
                base = y - 3.0 + 5.0 * (len(lines) - 1) - 10.0 * row
                canvas.drawString(self.cup + 6 * mm, base, line)
        canvas.setLineWidth(1.4)
        rim = self.filled + 4 * mm
        canvas.lines([(0, 0, 0, rim), (0, 0, self.cup, 0), (self.cup, 0, self.cup, rim)])

    def _hatch(self, hatch: str, low: float, tall: float) -> None:
        canvas, wide, step = self.canv, self.cup, 5.0
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(0, low, wide, tall)
        canvas.clipPath(frame, stroke=0, fill=0)
        canvas.setStrokeGray(0.2)
        high = low + tall
        if hatch == "dots":
            # Round-ended dashes of no length to speak of: far less to write than circles.
            canvas.setLineCap(1)
            canvas.setLineWidth(0.9)
            across = [2.5 + step * n for n in range(int(wide / step) + 1)]
            up = [low + 2.5 + step * n for n in range(int(tall / step) + 1)]
            canvas.lines([(x, y, x + 0.05, y) for y in up for x in across])
        count = int((wide + tall) / step) + 2
        if hatch in ("rising", "cross"):
            for n in range(count):
                canvas.line(n * step - tall, low, n * step, high)
        if hatch in ("falling", "cross"):
            for n in range(count):
                canvas.line(n * step - tall, high, n * step, low)
        if hatch == "upright":
            for n in range(count):
                canvas.line(n * step + 2, low, n * step + 2, high)
        if hatch == "level":
            for n in range(int(tall / step) + 2):
                canvas.line(0, low + n * step, wide, low + n * step)
        canvas.restoreState()


class LabelBox(Flowable):  # type: ignore[misc]  # reportlab ships no types
    """A panel's label within a dashed line to cut along.

    `panel`: what the label says.
    """

    def __init__(self, panel: Panel) -> None:
        super().__init__()
        self.panel, self.width, self.height = panel, 92 * mm, 56 * mm
        self.placed = place_label(label_lines(panel), (self.width, self.height))
        while self.placed.rest:
            # One cut-out only: it grows until all the text is on it.
            self.height += 6 * mm
            self.placed = place_label(label_lines(panel), (self.width, self.height))

    def draw(self) -> None:
        """Draw the dashed line, the text and the code."""
        canvas = self.canv
        canvas.setDash(3, 2)
        canvas.setLineWidth(0.6)
        canvas.rect(0, 0, self.width, self.height)
        canvas.setDash()
        x, y, side = self.placed.qr
        draw_qr(canvas, self.panel.code, x=x, y=y, side=side)
        canvas.setFillGray(0)
        for line in self.placed.lines:
            canvas.setFont(line.font, line.size)
            canvas.drawString(line.x, line.y, line.text)


def lab_words(lab: Sequence[float]) -> str:
    """Return Lab in words and numbers, with a true minus sign.

    Returned: such as ``L* 37.6  a* −20.8  b* −19.6``.
    """
    return "L* {}  a* {}  b* {}".format(*map(number, lab))


class WriteLine(Flowable):  # type: ignore[misc]  # reportlab ships no types
    """Words followed by a line to write on.

    `width`: in all [pt].
    """

    def __init__(self, label: str, width: float) -> None:
        super().__init__()
        self.label, self.width, self.height = label, width, 6 * mm

    def draw(self) -> None:
        """Draw the words and the line."""
        canvas = self.canv
        canvas.setFont(REGULAR, 9)
        canvas.drawString(0, 1.6 * mm, self.label)
        canvas.setLineWidth(0.5)
        written = pdfmetrics.stringWidth(self.label, REGULAR, 9)
        canvas.line(written + 1.5 * mm, 1 * mm, self.width - 2 * mm, 1 * mm)


def text_style(size: float = 9.0, *, bold: bool = False, **more: Any) -> ParagraphStyle:
    """Return how text is set.

    `size`: [pt].
    """
    font = BOLD if bold else REGULAR
    more = {"leading": size * 1.28, **more}
    return ParagraphStyle(f"{font}{size}", fontName=font, fontSize=size, **more)


def para(text: object, size: float = 9.0, *, bold: bool = False) -> Paragraph:
    """Return a paragraph.

    `text`: printed as it is; escaped. `size`: [pt].
    """
    return Paragraph(escape(printable(text)), text_style(size, bold=bold))


def labelled(label: str, text: object, size: float = 9.0) -> Paragraph:
    """Return a paragraph with a bold word before it.

    `size`: [pt].
    """
    words = f"<b>{escape(printable(label))}</b> {escape(printable(text))}"
    return Paragraph(words, text_style(size))


def grid(
    rows: Sequence[Sequence[Any]], widths: Sequence[float], *, heads: Sequence[str] = ()
) -> Grid:
    """Return cells in rows.

    `widths`: of the columns [pt]. `heads`: of a table with lines; without them there are none.
    """
    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 2.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
    ]
    if heads:
        rows = [[para(h, bold=True) for h in heads], *rows]
        style += [
            ("GRID", (0, 0), (-1, -1), 0.4, colors.Color(0.45, 0.45, 0.45)),
            ("BACKGROUND", (0, 0), (-1, 0), colors.Color(0.92, 0.92, 0.92)),
        ]
    return Grid(
        list(rows),
        colWidths=list(widths),
        style=style,
        repeatRows=1 if heads else 0,
        splitInRow=1,
        hAlign="LEFT",
    )


def angle_grid(angles: Sequence[ForecastAngle], tolerance: Tolerance, width: float) -> list[Any]:
    """Return wanted and predicted at each angle, in rows; by weights, what each may measure.

    `angles`: in order; may be none. `width`: in all [pt].
    """
    if not angles:
        return []
    heads = ("Angle", "Target", "Predicted", "Difference", "Counts")
    rows = [
        [
            para(a.viewing.geometry, bold=True),
            para(lab_words(a.wanted)),
            para(lab_words(a.lab)),
            para(tolerance.with_unit(a.difference)),
            para(times(a.weight)),
        ]
        for a in angles
    ]
    shares = (0.12, 0.28, 0.28, 0.2, 0.12)
    out = [grid(rows, [width * s for s in shares], heads=heads), Spacer(1, 1 * mm)]
    if any(a.weight != 1 for a in angles):
        most = [
            f"{a.viewing.geometry} up to {tolerance.with_unit(tolerance.value / a.weight)}"
            for a in angles
        ]
        out.insert(1, labelled("As measured, an angle passes:", "; ".join(most) + "."))
    return out
