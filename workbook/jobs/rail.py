"""What stands still on a job's page: whose it is, the aim, the recipe, the five steps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matchlib.job import JOB_STATES
from workbook.figures import Raw, areas, esc, numbers
from workbook.jobs.board import due_words
from workbook.page.frame import steps_list
from workbook.page.pictures import coats_words, cut, recipe_title, split
from workbook.session.targets import read_like
from workbook.session.work import Work

if TYPE_CHECKING:
    from matchlib.domain import Recipe

__all__ = ["materials", "rail", "steps_open"]


def steps_open(work: Work) -> dict[str, bool]:
    """Return which steps of a job can be gone to, and whether each is done."""
    job = work.job
    aimed, planned, begun = bool(job.target), job.plan is not None, bool(job.panels)
    steps = {
        "target": (True, aimed),
        "recipe": (aimed, planned),
        "spray": (planned, begun and (not planned or work.next_coat is None)),
        "read": (aimed and begun and work.panel is not None, begun and not job.open),
        "done": (aimed or not job.open, not job.open),  # given up, it may be, before any card
    }
    return {name: done for name, (opened, done) in steps.items() if opened}


def rail(work: Work, step: str) -> Raw:
    """Return the rail of a job."""
    job, plan = work.job, work.job.plan
    whom = ", ".join(filter(None, [job.customer, due_words(job)]))
    whom = f'<br><span class="wb-muted">{esc(whom)}</span>' if whom else ""
    body, picture = "", areas([], words="no target yet", width=236, height=104)
    aim = ""
    if job.target:
        picture, aim = split(work.wanted, width=236, height=104), f"aim {numbers(work.wanted)}"
        if len(job.target) > 1:
            aim += f" at {esc(job.target[0].viewing.geometry)}"
    if job.target and plan is not None:
        labs = work.expected_labs(plan.recipe.coat_by_coat())
        name, other = _beside(work)
        picture = split(work.wanted, other, of=name, width=236, height=104)
        aim += f"<br>{esc(name)} {numbers(other)}"
        body = (
            f'<div class="wb-recrow"><p>{recipe_title(plan.recipe)}<br>'
            f"{esc(coats_words(plan.recipe))}</p>"
            f"{cut(labs, clear=plan.recipe.clear is not None)}</div>"
        )
    opened = steps_open(work)
    steps = [(s, s.capitalize(), str(i)) for i, s in enumerate(JOB_STATES, 1)]
    past = [s for s, done in opened.items() if done or (s, step) == ("read", "done")]
    shut = [s for s in JOB_STATES if s not in opened]
    shown = steps_list(steps, step, past=past, shut=shut)
    return Raw(
        f'<div class="wb-held"><p>Job {job.number} · <b>{esc(job.name)}</b>{whom}</p>'
        f'{picture}<p class="wb-num">{aim}</p>{body}{shown}</div>'
    )


def _beside(work: Work) -> tuple[str, tuple[float, float, float]]:
    """What stands beside the aim: the card as it reads once it is finished, until then the plan."""
    card = work.panel
    read = () if card is None or work.next_coat or work.to_clear else card.stages[-1].last_read
    if card is not None and read:
        return card.code, read_like(work.job.target[0], read)
    return "plan", work.ahead[-1]


def materials(recipe: Recipe) -> tuple[object, ...]:
    """A recipe's ground and its colours, whatever their ratios and coats."""
    return recipe.ground, *recipe.colours
