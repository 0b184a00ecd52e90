"""Step 5, done: label, sheet, closed; or given up, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matchlib.domain import Panel
from workbook.figures import esc, numbers
from workbook.jobs.pot import pots_of, typed_of
from workbook.page.fields import button, field, fold, problem
from workbook.page.pictures import coats, coats_words, recipe_title, split
from workbook.session.targets import read_like
from workbook.session.work import Work

if TYPE_CHECKING:
    from workbook.jobs.app import JobsScreen

__all__ = ["draw", "label_of", "sheet_pdf"]


def draw(screen: JobsScreen, work: Work) -> tuple[str, str, str]:
    """Return the step: its title, its HTML, and how to go on."""
    job, wrong = work.job, screen.error
    cards = [work.archive.panel(code) for code in job.panels]
    none = "No card was sprayed for it." if job.target else "It had no target."
    shown = "".join(_card(work, c) for c in cards if job.target) or f"<p>{none}</p>"
    prints = button("Print the job sheet", "sheet", quiet=True) if job.plan is not None else ""
    if not job.open:
        words = job.outcome + (f": {job.why}" if job.why else "")
        body = (
            f'{problem(wrong)}<p class="wb-big">{esc(words[:1].upper() + words[1:])}</p>{shown}'
            f'<div class="wb-bar">{prints}{button("Take it up again", "reopen", quiet=True)}</div>'
        )
        return f"{job.name}: done", body, button("Back to the jobs", "jobs", go=True)
    up = fold(
        "Give it up",
        field("Why", "why", help="such as: out of reach of this shelf")
        + button("Give this job up", "giveup", quiet=True),
        ident="giveup",
        open_=not cards,
    )
    body = f'{problem(wrong)}{shown}<div class="wb-bar">{prints}</div>{up}'
    if not cards:
        forward = button("Back to the recipes", "step", "recipe", go=True)
        return f"{job.name}: finish", body, forward
    passes = screen.passes(work) is True
    words = "Close it as matched" + " all the same" * (not passes)
    return f"{job.name}: finish", body, button(words, "matched", go=passes)


def _card(work: Work, card: Panel) -> str:
    read, seen, words = card.stages[-1].last_read, split(work.wanted), "not read"
    if read:
        lab = read_like(work.job.target[0], read)
        state = f", {read[0].state}" if read[0].state else ""
        seen, words = split(work.wanted, lab, of=card.code), f"reads {numbers(lab)}{state}"
    labs = work.expected_labs(card.recipe.coat_by_coat())
    label = button("Print its label", "label", card.code, spoken=card.code, quiet=True)
    return (
        f'<article class="wb-card wb-row">{seen}<div><h2>{esc(card.code)}</h2>'
        f"<p>{recipe_title(card.recipe)}, {esc(coats_words(card.recipe))}</p>"
        f"{coats(labs, work.wanted, size=20, named=False)}</div>"
        f'<p class="wb-num">{esc(words)}</p>{label}</article>'
    )


def label_of(work: Work, code: str) -> bytes:
    """Return the label of a card as a PDF."""
    from workbook.label import label_pdf

    return label_pdf(work.archive.panel(code), cut_lines=True)


def sheet_pdf(work: Work) -> bytes:
    """Return the sheet of the job as a PDF: of what is to be sprayed, or was sprayed last."""
    from matchlib.errors import MatchlibError
    from workbook.jobsheet import jobsheet_pdf

    typed, plan, recipe = typed_of(work.archive), work.job.plan, work.pot_recipe
    # One card from its bare ground, or all of it laid: the sheet tells the whole of it.
    fresh = work.built_on is not None and (not work.begun or work.next_coat is None)
    if plan is not None and fresh:
        recipe = plan.recipe
    try:
        pot = pots_of(recipe, typed) if recipe is not None else None
    except MatchlibError:
        pot = None  # the sheet tells the ratios all the same
    code = work.panel.code if work.panel is not None else work.next_code
    sheet = work.sheet(fresh=fresh, pot=pot, unit=typed.get("unit", "ml"), code=code)
    return jobsheet_pdf(sheet)
