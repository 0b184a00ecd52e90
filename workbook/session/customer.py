"""A customer's job at the bench: what to expect of its plan, its pot, its sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from matchlib.domain import BEFORE_CLEAR, Recipe
from matchlib.errors import DomainError
from workbook.session.model_cache import model_of
from workbook.session.sheet import sheet_of
from workbook.session.targets import stages_read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matchlib.archive import Archive
    from matchlib.domain import Panel, Reading
    from matchlib.job import Job, Plan
    from matchlib.mixing import Pot
    from matchlib.outcome import Outcome
    from matchlib.regression import FilmPredictor
    from matchlib.target import Target
    from workbook.jobsheet import JobSheet

__all__ = [
    "aim_of_job",
    "expected_on",
    "fit_of_job",
    "note_sprayed",
    "outlook_of",
    "sheet_of_job",
    "to_spray",
]


def aim_of_job(job: Job) -> Target:
    """Return what a job is to match."""
    from matchlib.target import Target

    if not job.target:
        raise DomainError(
            f"Job {job.number}, {job.name}, has no target yet.",
            expected="the reading of the customer's sample",
            got="none",
            remedy=f"read it, then: workbook job aim {job.number} --reading FILE.",
        )
    weights = job.weights or (1.0,) * len(job.target)
    return Target.of_readings(job.target, weights=list(weights), tolerance=job.tolerance)


def to_spray(archive: Archive, job: Job) -> tuple[Recipe, Panel | None]:
    """Return what is to be sprayed for a job: a whole recipe, or the coats to add to a panel.

    `recipe`: the coats to lay, alone. `panel`: the panel they are laid on; None for a fresh card.
    """
    plan = _plan_of(job)
    panel = archive.panel(plan.on) if plan.on else None
    recipe = plan.recipe if panel is None else plan.recipe.after(panel.recipe)
    if recipe is None:
        raise DomainError(
            f"The coats planned for job {job.number} are on panel {plan.on} already.",
            expected="a plan that adds coats",
            got=str(plan.recipe),
            remedy="read the panel, or plan further coats.",
        )
    return recipe, panel


def note_sprayed(archive: Archive, code: str, *, who: str = "") -> tuple[Job, ...]:
    """Let jobs that build on a panel wait for its reading, if all their coats are on it."""
    panel = archive.panel(code)
    on = panel.recipe.schedule
    return tuple(
        archive.keep_job(job.sprayed(panel.code), who=who)
        for job in archive.jobs(done=False)
        if job.state == "spray" and job.plan and job.plan.on == panel.code
        if on is not None and on == job.plan.recipe.schedule
    )


def fit_of_job(archive: Archive, job: Job) -> FilmPredictor:
    """Return the archive's fit without a job's cards, and without cards that nobody has read."""
    unread = (p.code for p in archive.panels() if not any(s.readings for s in p.stages))
    on = [job.plan.on] if job.plan is not None and job.plan.on else []
    return model_of(archive, without={*job.panels, *on, *unread}).model


def _plan_of(job: Job) -> Plan:
    if job.plan is None:
        raise DomainError(
            f"No recipe is chosen for job {job.number}, {job.name}.",
            expected="a recipe, or the stage to add to a panel",
            got="none",
            remedy=f"choose one: workbook job plan {job.number} --help.",
        )
    return job.plan


def outlook_of(archive: Archive, job: Job) -> tuple[Outcome, str]:
    """Return what a job's plan should give, and its difference in words.

    Of a plan that builds on a panel, by the panel's own last reading, if it has one.
    """
    aim, wanted = aim_of_job(job), _plan_of(job).recipe
    _, panel = to_spray(archive, job)
    model = fit_of_job(archive, job)
    rows = [] if panel is None or panel.recipe.bare else stages_read(panel, wanted.clear)
    if panel is None or not rows:
        from matchlib.forecast import forecast

        (fresh,) = forecast(model, [wanted], aim)
        return fresh, fresh.words
    # The panel's own reading is learnt from once: the fit is that of the others.
    (found,) = expected_on(model, rows[-1], aim, [wanted])
    away = aim.tolerance.with_unit(found.expected)
    return found, f"{away} expected{aim.worst}, from the reading of {panel.code}"


def _under_clear(panel: Panel) -> bool:
    read = panel.stages[-1].last_read
    return panel.recipe.clear is not None and not (read and read[-1].state == BEFORE_CLEAR)


def expected_on(
    model: FilmPredictor,
    card: tuple[Recipe, tuple[Reading, ...]],
    aim: Target,
    recipes: Sequence[Recipe],
) -> list[Outcome]:
    """Return what to expect of coats on top of a card, from its own reading.

    `card`: what is on it, and its readings. `recipes`: all that is on it then.
    """
    from matchlib.correction import Belief, Card, Sprayed

    begun = Card.of(Belief.of(model), [Sprayed.of(card)])
    return begun.expected(recipes, aim) if recipes else []


def sheet_of_job(
    archive: Archive, job: Job, *, pot: Pot | None = None, unit: str = "ml", code: str = ""
) -> JobSheet:
    """Return the sheet of a job: of its own target, recipe and customer, and of no other's."""
    from matchlib.explain import coat_readings
    from matchlib.forecast import angles_of, forecast
    from matchlib.steering import SANDING

    recipe, panel = to_spray(archive, job)
    model, aim = fit_of_job(archive, job), aim_of_job(job)
    sheet = sheet_of(
        model,
        recipe,
        target=aim,
        target_name=job.name,
        pot=pot,
        unit=unit,
        panels=archive.panels(),
        title=f"Job {job.number}: {job.name}",
        customer=job.customer,
        panel_code=code if panel is None else panel.code,
    )
    if panel is None:
        return sheet
    found, words = outlook_of(archive, job)
    whole = _plan_of(job).recipe
    coats = coat_readings(model, whole, archive=archive.panels(), viewing=aim.aims[0].viewing)
    rows = stages_read(panel, whole.clear)
    if rows and panel.recipe.schedule is not None:  # it was read: the rest goes on from that
        laid = panel.recipe.schedule.coats
        coming = replace(whole, clear=None).coat_by_coat()[laid + 1 :]
        then = expected_on(model, rows[-1], aim, coming)
        on = [replace(c, lab=o.lab) for c, o in zip(coats.coats[laid + 1 :], then, strict=True)]
        cleared = coats.cleared and replace(coats.cleared, lab=found.lab)
        coats = replace(coats, coats=(*coats.coats[: laid + 1], *on), cleared=cleared)
    angles = sheet.angles
    if angles:
        each = [replace(aim, aims=(one,)) for one in aim.aims]
        if rows and not panel.recipe.bare:
            seen = [expected_on(model, rows[-1], one, [whole])[0].lab for one in each]
        else:
            seen = [forecast(model, [whole], one)[0].lab for one in each]
        angles = angles_of(aim, seen)
    notes = [f"These coats go on panel {panel.code}, which has {panel.recipe}."]
    notes += [SANDING] if _under_clear(panel) else []
    return replace(
        sheet,
        predicted_lab=found.lab,
        difference=words,
        sd=None,
        chance=found.probability,
        angles=angles,
        whole=whole,
        coats=coats,
        notes=(*sheet.notes, *notes),
    )
