"""What every printed page shares: paper sizes, a font that is always there, text that fits, QR.

Nothing here asks a network or the machine's own fonts: the font comes from the `font-roboto`
package (Apache-2.0) and holds Δ, µ, °, ², Greek and Cyrillic letters. A page's metadata says what
it is and what made it, never who or where, and the same input gives the same bytes.
"""

from __future__ import annotations

import io
from functools import cache
from typing import Any

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from matchlib.errors import DomainError

__all__ = [
    "BOLD",
    "PAPERS",
    "REGULAR",
    "draw_qr",
    "new_canvas",
    "paper_size",
    "printable",
    "qr_squares",
    "take_line",
    "use_fonts",
    "wrap",
]

REGULAR = "Sheet"
BOLD = "Sheet-Bold"

#: Width and height [mm]: ISO 216, and the North American sheet.
PAPERS = {
    "A4": (210.0, 297.0),
    "A5": (148.0, 210.0),
    "A6": (105.0, 148.0),
    "A7": (74.0, 105.0),
    "Letter": (215.9, 279.4),
}


def paper_size(name: str) -> tuple[float, float]:
    """Return a paper's width and height in points.

    `name`: a name out of `PAPERS`, capitals or not. Returned: width and height [pt].
    """
    known = {k.casefold(): v for k, v in PAPERS.items()}
    size = known.get(str(name).strip().casefold())
    if size is None:
        raise DomainError(
            "This paper is not known.",
            expected=", ".join(PAPERS),
            got=repr(str(name)[:40]),
            remedy="choose one of these.",
        )
    return size[0] * mm, size[1] * mm


@cache
def use_fonts() -> frozenset[int]:
    """Make the font known to reportlab, once."""
    # Looks into its own folder when imported, so only when something is printed.
    import font_roboto  # type: ignore[import-untyped]  # a folder of fonts

    for name, key in ((REGULAR, "Roboto"), (BOLD, "RobotoBold")):
        pdfmetrics.registerFont(TTFont(name, font_roboto.font_files[key]))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR,
                                  boldItalic=BOLD)  # fmt: skip
    return frozenset(pdfmetrics.getFont(REGULAR).face.charToGlyph)


def printable(text: object) -> str:
    """Return text with every character the font lacks shown as a question mark.

    `text`: any text; white space is folded. Returned: same length or shorter; a QR code beside it
    keeps the exact code.
    """
    glyphs = use_fonts()
    return "".join(c if ord(c) in glyphs else "?" for c in " ".join(str(text).split()))


def new_canvas(stream: io.BytesIO, size: tuple[float, float], title: str) -> Canvas:
    """Return an empty PDF whose metadata tells nothing of the machine or the hour.

    `size`: page [pt].
    """
    use_fonts()
    canvas = Canvas(stream, pagesize=size, invariant=1, lang="en-GB", initialFontName=REGULAR)
    anonymous(canvas, title)
    return canvas


def anonymous(canvas: Canvas, title: str) -> None:
    """Set the metadata of a page: what it is, and nothing else."""
    canvas.setTitle(printable(title))
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setKeywords("")
    canvas.setCreator("candy-panel-workbook")
    canvas.setProducer("reportlab")


def take_line(text: str, *, font: str, size: float, width: float) -> tuple[str, str]:
    """Take as much text as fits on one line.

    `text`: not empty. `size`: [pt]. `width`: [pt]; more than one letter wide.
    """
    words = text.split(" ")
    space = pdfmetrics.stringWidth(" ", font, size)
    used, count = 0.0, 0
    for word in words:
        used += pdfmetrics.stringWidth(word, font, size) + (space if count else 0.0)
        if used > width:
            break
        count += 1
    if count:
        return " ".join(words[:count]), " ".join(words[count:])
    letters = 1
    while (
        letters < len(words[0])
        and pdfmetrics.stringWidth(words[0][: letters + 1], font, size) <= width
    ):
        letters += 1
    return words[0][:letters], " ".join([words[0][letters:], *words[1:]])


def wrap(text: str, *, font: str, size: float, width: float) -> list[str]:
    """Break text into lines that fit.

    `size`: [pt]. `width`: [pt].
    """
    lines, rest = [], printable(text)
    while rest:
        line, rest = take_line(rest, font=font, size=size, width=width)
        lines.append(line)
    return lines or [""]


def qr_squares(code: str) -> tuple[int, list[tuple[int, int, int]]]:
    """Return a QR code as dark runs.

    `modules`: modules along a side, quiet zone included. `runs`: dark modules, joined along the
    rows; rows count from the top.
    """
    import segno
    from segno.utils import matrix_to_lines  # type: ignore[attr-defined]  # its stub has it not

    border = 4
    # UTF-8 whatever the letters: left to itself the library may choose a Japanese code page.
    plain = code.isascii()
    matrix = segno.make(
        code,
        error="m",
        micro=False,
        mode=None if plain else "byte",
        encoding=None if plain else "utf-8",
    ).matrix
    lines = matrix_to_lines(matrix, border, border)
    return len(matrix) + 2 * border, [(row, start, end - start) for (start, row), (end, _) in lines]


def draw_qr(canvas: Any, code: str, *, x: float, y: float, side: float) -> None:
    """Draw a QR code with its quiet zone, black on white.

    `x`, `y`: lower left corner [pt]. `side`: [pt].
    """
    modules, runs = qr_squares(code)
    unit = side / modules
    canvas.saveState()
    canvas.setFillGray(1)
    canvas.rect(x, y, side, side, stroke=0, fill=1)
    canvas.setFillGray(0)
    path = canvas.beginPath()
    for row, column, length in runs:
        path.rect(x + column * unit, y + side - (row + 1) * unit, length * unit, unit)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()
