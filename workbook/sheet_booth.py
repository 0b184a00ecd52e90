"""The parts of a job sheet that are used at the booth: coats, checks, readings, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Paragraph, Spacer

from matchlib.cautions import BOOTH_PROMPTS, CAUTIONS, DEFERENCE, cautions_at
from matchlib.domain import Recipe
from matchlib.explain import CoatReadings
from matchlib.plural import counted
from matchlib.trade import PROTOCOL, TROUBLES
from workbook.sheet_parts import (
    TickBox,
    WriteLine,
    grid,
    lab_words,
    labelled,
    para,
    text_style,
)

__all__ = [
    "cautions",
    "checks",
    "coat_table",
    "first_cautions",
    "head",
    "reading_lines",
    "troubles",
]

_MOST_COAT_ROWS = 16


def head(text: str) -> list[Any]:
    """Return a heading that stays with what follows."""
    style = text_style(12, bold=True, spaceBefore=7, spaceAfter=2.5, keepWithNext=1)
    return [CondPageBreak(35 * mm), Paragraph(escape(text), style)]


def first_cautions(step: str, *, after: str = "") -> Paragraph:
    """Return the first sentence of each caution of a step, to stand where it matters.

    `after`: the step whose cautions stand above.
    """
    above = cautions_at(after) if after else ()
    words = "Mind besides: " if after else "Mind: "
    return para(words + " ".join(c.first for c in cautions_at(step) if c not in above), 7.5)


def coat_table(
    recipe: Recipe,
    readings: CoatReadings,
    width: float,
    *,
    whole: Recipe | None = None,
    after: str = "",
) -> list[Any]:
    """Return the coats in order, with what the card should read after each and room to write.

    `width`: in all [pt]. `whole`: all that is on the card in the end, and what `readings` are of,
    where the coats go on one that has some. `after`: as of `first_cautions`.
    """
    laid = whole.coats - recipe.coats if whole is not None else 0
    heads = ("Coat", "Mix, carrier first", "Should read, before clear", "Reads: L* a* b*",
             "Sprayed, flash-off by data sheet", "Done")  # fmt: skip
    rows: list[list[Any]] = []

    def should(number: int) -> Any:
        one = readings.coats[laid + number]
        return para(f"{lab_words(one.lab)} ± {one.spread:.1f}")

    if laid:
        words = para(f"as it is, {counted(laid, 'coat')} on it")
        rows.append([para("Card"), words, "", "", "", TickBox()])
    else:
        rows.append([para("Ground"), para(f"{recipe.ground}, bare"), should(0), "", "", TickBox()])
    number = 1
    single = recipe.coats <= _MOST_COAT_ROWS
    for step in recipe.steps:
        of = f"{step.colour} at " if len(recipe.layers) > 1 else ""
        words = para(f"{of}{step.ratio}: {step.ratio.words}")
        for _ in range(step.coats if single else 1):
            last = number if single else number + step.coats - 1
            which = para(number if last == number else f"{number} to {last}")
            rows.append([which, words, should(last), "", "", TickBox()])
            number = last + 1
    if recipe.clear:
        name = "" if recipe.clear == "yes" else f" {recipe.clear}"
        cleared = para(f"then: {lab_words(readings.cleared.lab)}") if readings.cleared else ""
        words = para(f"clear coat{name}, mixed as its data sheet says")
        rows.append([para("Clear"), words, cleared, "", "", TickBox()])
    shares = (0.09, 0.27, 0.25, 0.15, 0.16, 0.08)
    out = [*head("Coats in order"), first_cautions("spray", after=after), Spacer(1, 1 * mm)]
    out.append(grid(rows, [width * s for s in shares], heads=heads))
    if readings.clear_words:
        out += [Spacer(1, 1 * mm), para(readings.clear_words)]
    return out


def checks(width: float) -> Any:
    """Return the prompts to tick and to write in, in two columns [pt]."""
    cells = [[TickBox(), para(prompt.text, 8)] for prompt in BOOTH_PROMPTS]
    if len(cells) % 2:
        cells.append(["", ""])
    half = len(cells) // 2
    rows = [[*a, *b] for a, b in zip(cells[:half], cells[half:], strict=True)]
    box = 7 * mm
    return grid(rows, (box, width / 2 - box, box, width / 2 - box))


def reading_lines(
    geometries: Sequence[str], measure: str, width: float, *, labelled_below: bool
) -> list[Any]:
    """Return lines to write the readings on, and how they are taken.

    `width`: in all [pt].
    """
    quarter, third = width / 4, width / 3
    places = [f"Read, {g}" for g in geometries] or [f"Place {n}" for n in (1, 2, 3)]
    rows = [
        [WriteLine(n, quarter - 6) for n in (f"{place}: L*", "a*", "b*", measure)]
        for place in places
    ]
    back = [] if labelled_below else [
        ("Sprayer", "Date", "Panel code"),
        ("Booth °C and %RH", "Lot of each bottle", "Batch of the ground"),
        ("Gun and tip", "Pressure and fan", "Overlap and distance"),
        ("Coats of clear", "Read on", "Drawer"),
    ]  # fmt: skip
    alike = " ".join(f"{s.name}: {s.ask}." for s in PROTOCOL if s.key != "places")
    lines = [[WriteLine(n, third - 6) for n in row] for row in back]
    return [
        grid(rows, [quarter] * 4),
        *([grid(lines, [third] * 3)] if lines else []),
        para(f"Read alike each time. {alike}", 8.5),
        Spacer(1, 1 * mm),
    ]


def troubles() -> list[Paragraph]:
    """Return the troubles of spraying, each with what to check first."""
    return [labelled(f"{t.name}:", t.check[0], 8) for t in TROUBLES]


def cautions() -> list[Any]:
    """Return all cautions with their sources."""
    out: list[Any] = [para(DEFERENCE, 7.5, bold=True), Spacer(1, 0.5 * mm)]
    for caution in CAUTIONS:
        sources = escape("; ".join(caution.sources))
        text = (
            f"<b>{escape(caution.title)}.</b> {escape(caution.text)} "
            f'<font color="#444444">({sources})</font>'
        )
        out.append(Paragraph(text, text_style(7, leading=8.1, spaceAfter=0.7)))
    return out
