"""The job sheet: what to match, what to mix, how to spray it, what to read afterwards.

Plain data in, a PDF out, on A4 or Letter; black and white suffices, since every swatch has its
numbers and every layer of the cup its hatching and words. Flash times are left blank: the data
sheet says them.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, SimpleDocTemplate, Spacer

from matchlib.domain import Panel, Recipe
from matchlib.errors import DomainError
from matchlib.explain import CoatReadings
from matchlib.mixing import ACTIVATED, Pot, format_volume, ratio_questions
from matchlib.tails import chance_words
from workbook.cup import cup_speech, cups_of
from workbook.paper import REGULAR, anonymous, paper_size, printable, use_fonts
from workbook.sheet_booth import (
    cautions,
    checks,
    coat_table,
    first_cautions,
    head,
    reading_lines,
    troubles,
)
from workbook.sheet_parts import (
    CupPicture,
    LabelBox,
    Swatches,
    angle_grid,
    grid,
    lab_words,
    labelled,
    para,
)

if TYPE_CHECKING:
    from matchlib.forecast import Forecast, ForecastAngle

__all__ = ["PRINT_NOTE", "JobSheet", "jobsheet_pdf"]

PRINT_NOTE = (
    "Print is not a colour reference: the swatches are for orientation, the numbers and the "
    "sprayed panel decide."
)
_MARGIN = 15 * mm
_MOST_CUPS = 6
_TALLEST = 120 * mm


@dataclass(frozen=True, slots=True)
class JobSheet:
    """What a job sheet says, as plain data.

    `title`: heading, such as the job's name. `recipe`: what is sprayed. `found`: what to expect of
    it, against the target where there is one. `coats`: what the card should read after each coat.
    `target_name`: what is matched. `words`: how far from the target that is expected to be, where
    the coats go on a card; else the prediction's own difference is told. `pot`: quantities. `unit`:
    of volume. `notes`: lines to add. `panel_code`: code of the panel to be sprayed; without one
    there is no label. `customer`: may be empty. `whole`: all that is on the card in the end, where
    the coats go on one that has some.
    """

    title: str
    recipe: Recipe
    found: Forecast
    coats: CoatReadings
    target_name: str = ""
    words: str = ""
    pot: Pot | None = None
    unit: str = "ml"
    notes: tuple[str, ...] = ()
    panel_code: str = ""
    customer: str = ""
    whole: Recipe | None = None

    @property
    def angles(self) -> tuple[ForecastAngle, ...]:
        """Where the target holds several, all of them."""
        return self.found.angles if len(self.found.angles) > 1 else ()

    @property
    def accepted(self) -> str:
        """What passes, in words."""
        return self.found.tolerance.words + (", at every angle" if self.angles else "")


def _match(sheet: JobSheet, width: float) -> list[Any]:
    found, tolerance = sheet.found, sheet.found.tolerance
    named = [("Target", one.wanted) for one in found.angles[:1]] + [("Predicted", found.lab)]
    facts: list[Any] = []
    if sheet.target_name:
        facts.append(labelled("Target:", sheet.target_name))
    if sheet.customer:
        facts.append(labelled("Customer:", sheet.customer))
    facts.append(labelled("Read under:", str(found.viewing)))
    away = sheet.words
    if not away and found.angles:
        worst = ", at the worst angle" if sheet.angles else ""
        worst += ", times what it counts" * any(a.weight != 1 for a in sheet.angles)
        away = tolerance.with_unit(found.difference) + worst
    if away:
        facts.append(labelled("Predicted difference:", away))
    # Without a target nothing is said of differences in another unit than the usual one.
    if not sheet.words and (found.angles or tolerance.kind == "ΔE00"):
        facts.append(labelled("Uncertainty of the next panel:", f"± {found.sd:.2f} (one sd)"))
    facts.append(labelled("Tolerance:", sheet.accepted))
    if found.angles:
        facts.append(labelled("Chance of being within it:", chance_words(found.probability)))
    left = 96 * mm
    body = grid([[Swatches(named), facts]], (left, width - left))
    return [
        *head("To match"),
        body,
        *angle_grid(sheet.angles, tolerance, width),
        para(PRINT_NOTE, 8),
    ]


def _recipe(sheet: JobSheet, width: float) -> list[Any]:
    recipe = sheet.recipe
    words = [para(recipe.words, 10.5, bold=True)]
    words += [labelled("Note:", line) for line in sheet.notes]
    out = head("Recipe")
    if recipe.schedule is None:
        return [*out, *words]
    cups = cups_of(recipe)
    for question in ratio_questions(ratio for ratio, _ in cups):
        words.append(labelled("To ask before pouring:", question.text))
    for line in words:  # not up against the cup beside it
        line.style = line.style.clone("beside", rightIndent=3 * mm)
    columns = 3
    pictures: list[list[Any]] = [words]
    for ratio, colour in cups[:_MOST_CUPS]:
        picture: Any = CupPicture(ratio, colour, width=width / columns - 6)
        if picture.height > _TALLEST:
            picture = para(cup_speech(ratio, colour), 8)
        pictures.append([para(f"{ratio} (carrier first)", bold=True), Spacer(1, 1 * mm), picture])
    while len(pictures) % columns:
        pictures.append([])
    rows = [pictures[i : i + columns] for i in range(0, len(pictures), columns)]
    out.append(grid(rows, [width / columns] * columns))
    if len(cups) > _MOST_CUPS:
        out.append(para(f"Drawn are the first {_MOST_CUPS} of {len(cups)} mixes.", 8))
    return out


def _pots(sheet: JobSheet, width: float) -> list[Any]:
    pot = sheet.pot
    if pot is None:
        return []
    unit = sheet.unit

    def volume(ml: float) -> str:
        return format_volume(max(0.0, ml), unit)

    heads = ("Coats", "Mix, carrier first", "From the pot before", "Pour, in this order", "Pot")
    rows: list[list[Any]] = []
    how: list[Any] = []
    for group in pot.groups:
        made, ratio = group.pour, group.pour.ratio
        before = "" if made.kept is None else f"{volume(made.kept.ml)} left at {made.kept.ratio}"
        rows.append(
            [
                para(group.coats),
                [para(str(ratio), bold=True), para(ratio.words)],
                para(before),
                [para(f"{volume(p.ml)} {p.words}") for p in made.portions if p.ml > 0],
                para(volume(made.total_ml)),
            ]
        )
        if made.marks:
            how.append(labelled(f"{ratio} by the cup:", f"{made.marks}."))
        if made.scale:
            how.append(labelled(f"{ratio} by weight:", f"{made.scale}."))
        if group.fills > 1:
            each = volume(made.total_ml / group.fills)
            how.append(labelled(f"{ratio}:", f"{group.fills} fillings of {each} each."))
    rows.append(
        [para("All", bold=True), para("out of the bottles"), "",
         [para(f"{volume(p.ml)} {p.words}", bold=True) for p in pot.needs],
         para(volume(pot.total_ml), bold=True)]
    )  # fmt: skip
    if any(g.pour.kept for g in pot.groups):
        how.append(para("Measure what is left before you add to it; with less left, make it up at "
                        "the ratio it has."))  # fmt: skip
    shares = (0.08, 0.27, 0.21, 0.3, 0.14)
    life = pot.pot_life or ("Pot life, by the data sheet: ______ min." if pot.activated else "")
    return [
        *head("Pots"),
        first_cautions("mix"),
        Spacer(1, 1 * mm),
        labelled("Area:", f"{pot.area.text}."),
        labelled("Use:", f"{pot.use.text}."),
        labelled(
            "Enough with a chance of",
            f"{100 * pot.chance:.3g}%, as far as that use is known; "
            f"{volume(pot.groups[0].residue_ml)} a pot is allowed for cup, strainer and gun; "
            f"{volume(pot.left_ml)} is likely left over.",
        ),
        Spacer(1, 1.5 * mm),
        grid(rows, [width * s for s in shares], heads=heads),
        Spacer(1, 1 * mm),
        *how,
        *([labelled("Clock:", life)] if life else []),
        *([labelled("Left over:", ACTIVATED)] if pot.activated else []),
    ]


def _reading(sheet: JobSheet, width: float) -> list[Any]:
    lab, view = lab_words(sheet.found.lab), sheet.found.viewing
    expect = f"{lab} ({view}). Accept, against the target: {sheet.accepted}."
    out = [*head("Afterwards"), labelled("Expect to read:", expect)]
    angles = [a.viewing.geometry for a in sheet.angles]
    out += reading_lines(
        angles, sheet.found.tolerance.unit, width, labelled_below=bool(sheet.panel_code)
    )
    words = "If it goes wrong, check first"
    if not sheet.panel_code:
        return [*out, *head(words), *troubles()]
    # The label to cut out and what is read once share a row, so that a job takes less paper.
    panel = Panel.of(sheet.panel_code, sheet.whole or sheet.recipe)
    box: Any = LabelBox(panel)
    if box.height > _TALLEST:
        box = para("This recipe is too long for a cut-out; print its label on label sheets.")
    label = [para("Label for the back of the panel", bold=True), Spacer(1, 1 * mm), box]
    beside = [para(words, bold=True), Spacer(1, 1 * mm), *troubles()]
    left = 96 * mm
    out.append(KeepTogether(grid([[label, beside]], (left, width - left))))
    return out


def jobsheet_pdf(sheet: JobSheet, *, paper: str = "A4") -> bytes:
    """Print a job sheet.

    `paper`: ``A4`` or ``Letter``. Returned: the PDF; the same sheet gives the same bytes. Raises
    `DomainError` if the paper is neither.
    """
    if str(paper).strip().casefold() not in ("a4", "letter"):
        raise DomainError(
            "A job sheet is printed on A4 or Letter.",
            expected="A4 or Letter",
            got=repr(str(paper)[:40]),
            remedy="choose one of the two.",
        )
    use_fonts()
    pages = _build(sheet, paper, None)[1]
    return _build(sheet, paper, pages)[0]


def _build(sheet: JobSheet, paper: str, pages: int | None) -> tuple[bytes, int]:
    size = paper_size(paper)
    width = size[0] - 2 * _MARGIN - 12
    story: list[Any] = [para(sheet.title, 16, bold=True), Spacer(1, 1.5 * mm)]
    for part in (
        _match(sheet, width),
        _recipe(sheet, width),
        _pots(sheet, width),
        coat_table(
            sheet.recipe,
            sheet.coats,
            width,
            whole=sheet.whole,
            after="mix" if sheet.pot is not None else "",
        ),
        [*head("Before and while spraying"), checks(width)],
        _reading(sheet, width),
    ):
        story += part
    story.append(KeepTogether([*head("Cautions")[1:], *cautions()]))

    def furniture(canvas: Any, document: Any) -> None:
        anonymous(canvas, f"Job sheet {sheet.title}")
        canvas.saveState()
        canvas.setFont(REGULAR, 8)
        of = "" if pages is None else f" of {pages}"
        names = dict.fromkeys(("Job sheet", sheet.panel_code or sheet.title))
        left = " · ".join(printable(t)[:60] for t in names)
        canvas.drawString(_MARGIN + 6, 7 * mm, left)
        canvas.drawRightString(size[0] - _MARGIN - 6, 7 * mm, f"page {document.page}{of}")
        canvas.restoreState()

    stream = io.BytesIO()
    document = SimpleDocTemplate(
        stream,
        pagesize=size,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=10 * mm,
        bottomMargin=12 * mm,
        invariant=1,
        lang="en-GB",
    )
    document.build(story, onFirstPage=furniture, onLaterPages=furniture)
    return stream.getvalue(), document.page
