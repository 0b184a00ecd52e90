"""What is done to a job at work: planned, sprayed coat by coat, cleared, read.

Each step goes into the archive at once, under words of its own in the history, by which it can be
taken back whole; what comes of it is the job as it then stands.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matchlib.domain import BEFORE_CLEAR, CoatSchedule, LoggedCoat, Panel, Recipe, Stage
from matchlib.errors import ArchiveError, DomainError, TargetError
from matchlib.job import Job, Plan
from workbook.session.work import Work

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.domain import Reading

__all__ = ["check", "choose", "clear_laid", "coat_laid", "keep", "note_sprayed", "read", "reopened"]

_OF_COATS = ("sprayer", "lot", "lots", "setup", "temperature", "humidity")  # under a clear too


def check(work: Work, version: str) -> None:
    """Refuse what was pressed on a page that shows the job as it was before."""
    if version and version != str(work.job.version):
        raise ArchiveError(
            f"Job {work.job.number} was changed elsewhere meanwhile, so this press did "
            "nothing. The page now shows how it stands.",
            remedy="look again, and press once more.",
        )


def keep(work: Work, job: Job, words: str, *, who: str = "") -> Work:
    """Keep the job as it is to be."""
    kept = work.archive.keep_job(job, who=who, why=work.why(words))
    return Work(work.session, kept)


def choose(work: Work, recipe: Recipe, *, on: str = "", read_after: Sequence[int] = ()) -> Work:
    """Choose what to spray: a fresh card, or what is to be on a card in the end."""
    plan = Plan(recipe, on, tuple(read_after))
    return keep(work, work.job.planned(plan), "chose the recipe")


def reopened(archive: Archive, number: int) -> Job:
    """Return a closed job taken up again where it stood when it was closed."""
    job = archive.job(number)
    of_it = ("job", f"job {number}")
    items = (i for c in archive.history() for i in c.items if (i.kind, i.name) == of_it)
    stood = [i.before["state"] for i in items if i.before and i.after.get("state") == "done"]
    return job if job.open else job.reopened(stood[-1] if stood else "")


def coat_laid(work: Work, *, code: str = "", **noted: Any) -> Work:
    """Note the next coat: a card is made by its first; after a reading or a clear comes a stage."""
    coat, plan = work.next_coat, work.job.plan
    schedule = None if coat is None else coat.recipe.schedule
    if coat is None or plan is None or schedule is None:
        raise DomainError("All coats of this plan are laid.", remedy="clear it, or read it.")
    words = f"coat {coat.number} sprayed"
    who, why = noted.get("sprayer", ""), work.why(words)
    now = dt.datetime.now().astimezone().replace(microsecond=0)
    entry = LoggedCoat(coat.number, now, coat.ratio, **noted)
    stage = {**noted, "date": now.date()}
    card = work.built_on
    code = (" ".join(code.split()) or work.next_code) if card is None else card.code
    panels = work.job.panels if code in work.job.panels else (*work.job.panels, code)
    # Before anything is noted: a closed job takes no coat.
    job = replace(work.job, plan=replace(plan, on=code), panels=panels, state="spray")
    if card is None:
        if same := [p for p in work.archive.panels() if p.code.casefold() == code.casefold()]:
            raise DomainError(
                f"There is a card {same[0].code} already.",
                got=code,
                remedy="write another code on the back of this one.",
            )
        made = Panel(code, (Stage(coat.recipe, log=(entry,), **stage),), customer=work.job.customer)
        work.archive.add([made], who=who)
        return keep(work, job, words, who=who)
    # What is on it is what its back says by now, whatever was planned.
    recipe = card.recipe.then(CoatSchedule(schedule.each[-1:]), colour=coat.colour)
    if card.stages[-1].readings or card.recipe.clear is not None:
        work.archive.build_on(code, recipe, who=who, why=why, log=(entry,), **stage)
    else:
        log = (*card.stages[-1].log, entry)
        work.archive.amend(code, who=who, why=why, recipe=recipe, log=log)
    return keep(work, job, words, who=who)


def clear_laid(work: Work) -> Work:
    """Note the clear coat."""
    card, plan = work.panel, work.job.plan
    if card is None or plan is None or not work.to_clear:
        raise DomainError("There is nothing to clear.", remedy="lay the colour coats first.")
    job, why = replace(work.job, state="read"), work.why("clear coat laid")
    recipe = replace(card.recipe, clear=plan.recipe.clear)
    if card.stages[-1].readings:
        kept = {name: getattr(card.stages[-1], name) for name in _OF_COATS}
        work.archive.build_on(card.code, recipe, why=why, date=dt.date.today(), **kept)
    else:
        work.archive.amend(card.code, why=why, recipe=recipe)
    return keep(work, job, "clear coat laid")


def read(work: Work, readings: Sequence[Reading], *, sure: bool = False) -> Work:
    """Note what was read of the card in hand.

    `sure`: it was read again, and is as no such card can be expected to read.
    """
    card = work.panel
    if card is None:
        raise DomainError("There is no card to read yet.", remedy="spray it first.")
    have = {r.viewing.canonical for r in readings}
    lack = [str(r.viewing) for r in work.job.target if r.viewing.canonical not in have]
    if lack:
        raise TargetError(
            "The target was not read like this, so the two cannot be compared.",
            expected=", ".join(lack),
            got=", ".join(map(str, have)),
            remedy="read the card as the target was read, at every angle of it.",
        )
    job = replace(work.job, state="read")
    stage, words = card.stages[-1], f"{card.code} read"
    state = BEFORE_CLEAR if work.uncleared else ""
    new = tuple(replace(r, state=state, date=dt.date.today()) for r in readings)
    if not sure:
        _question(work, replace(card, stages=(replace(stage, readings=new),)), card)
    kept = replace(stage, readings=(*stage.readings, *new))
    stages = (*card.stages[:-1], kept)
    work.archive.amend(card.code, why=work.why(words), stages=stages)
    return keep(work, job, words)


def _question(work: Work, latest: Panel, card: Panel) -> None:
    """Refuse a reading that this card can hardly have, or that its last one gainsays."""
    from matchlib.correction import Belief, Sprayed
    from matchlib.steering import check_stages

    stages = [Sprayed.of(row) for row in (*work.rows(card), *work.rows(latest))]
    recipes = [s.recipe for s in stages]
    known = all(map(work.model.words_.knows, recipes))
    if latest.recipe.schedule is not None and known:
        check_stages(Belief.of(work.model, recipes=recipes), stages)


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
