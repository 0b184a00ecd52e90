"""Commands for customers' jobs: begin, find, plan, print, close."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import TYPE_CHECKING, Annotated, Any

from workbook.cli.common import (
    ArchiveOption,
    ArchiveOptions,
    FileOptions,
    LightOptions,
    SignedOptions,
    note,
    opened,
    show,
    show_json,
)
from workbook.cli.jobs import JobOptions
from workbook.cli.options import Argument, Option
from workbook.cli.printing import before_mixing, chance, table, wrapped
from workbook.cli.wanted import OrderOptions, SearchOptions, TargetOptions, tell_fit

if TYPE_CHECKING:
    from matchlib.domain import Reading
    from matchlib.job import Job
    from matchlib.mixing import Limits
    from workbook.session import Session

__all__: list[str] = []

NumberArgument = Annotated[int, Argument(help="Number of the job.")]
CustomerOption = Annotated[str | None, Option(help="For whom; part of it in a search.")]


@dataclass(frozen=True, slots=True)
class SavingOptions(SignedOptions):
    """Where a job is kept, and by whom."""

    def keep(self, made: Callable[[Session], Job]) -> None:
        """Keep a job as it is made of what the archive holds, and tell of it."""
        with self.opened(write=True) as session:
            job = session.archive.keep_job(made(session), who=self.who)
        self.answer(_as_dict(job), _text(job))


def _new(
    *,
    name: Annotated[str, Argument(help="What the shop calls it.")],
    customer: CustomerOption = None,
    due: Annotated[str, Option(help="Wanted by, year-month-day.")] = "",
    notes: Annotated[str, Option(help="Anything else.")] = "",
    wanted: TargetOptions,
    passing: OrderOptions,
    shelf: SearchOptions,
    light: LightOptions,
    file: FileOptions,
    kept: SavingOptions,
) -> None:
    """Begin a job: a customer's sample to be met.

    The target (--lab, --lab-at, --reading or --panel) may come later, with `job aim`.
    """
    from matchlib.job import Job
    from workbook.session.back import date_of

    def begun(session: Session) -> Job:
        job = Job(name, customer or "", date_of(due), tolerance=passing.order, notes=notes)
        if given := shelf.limits():
            job = replace(job, limits=session.limits(**given))
        if wanted.given:
            return _aimed(job, wanted.readings(session, light, file), passing)
        passing.without_target()
        return job

    kept.keep(begun)


def _aim(
    *,
    number: NumberArgument,
    wanted: TargetOptions,
    passing: OrderOptions,
    light: LightOptions,
    file: FileOptions,
    kept: SavingOptions,
) -> None:
    """Give a job its target and what passes. Another target is another job."""

    def aimed(session: Session) -> Job:
        job = session.archive.job(number)
        return _aimed(job, wanted.readings(session, light, file), passing)

    kept.keep(aimed)


def _aimed(job: Job, readings: tuple[Reading, ...], passing: OrderOptions) -> Job:
    aim = passing.aim(readings)  # refuses what no surface can have
    tolerance = passing.order if passing.tolerance_given else job.tolerance
    weights = [a.weight for a in aim.aims] if passing.weights else job.weights
    return job.aimed(readings, tolerance, weights)


def _list(
    *,
    customer: CustomerOption = None,
    all_: Annotated[bool, Option(help="Those done as well.")] = False,
    asked: ArchiveOptions,
) -> None:
    """List the jobs, the newest first."""
    with asked.opened() as session:
        jobs = session.archive.jobs(customer=customer, done=None if all_ else False)
    rows = [
        (
            str(j.number),
            j.name,
            j.customer,
            j.outcome or j.state,
            j.due.isoformat() if j.due else "",
            ", ".join(j.panels),
        )
        for j in jobs
    ]
    header = ("job", "name", "customer", "waits for", "due", "panels")
    text = table(header, rows, right="r") if rows else "No jobs in hand."
    asked.answer([_as_dict(job) for job in jobs], text)


def _show(*, number: NumberArgument, asked: ArchiveOptions) -> None:
    """Show a job: its target, its recipe and what to expect of it, its panels."""
    from matchlib.errors import MatchlibError
    from workbook.session.work import Work

    with asked.opened() as session:
        job = session.archive.job(number)
        work, found, words = Work(session, job), None, ""
        if job.plan is not None and job.open and not (job.plan.on and job.state == "read"):
            try:
                tell_fit(session)
                _ = work.added  # refused where all of it is on the card
                found = work.outlook()
                words = work.outlook_words(found)
            except MatchlibError as error:  # the job is shown all the same
                note(str(error))
    if asked.json_:
        expected = (
            None
            if found is None
            else {
                **dict(zip("Lab", found.lab, strict=True)),
                "expected_difference": found.expected,
                "probability": found.probability,
                "words": words,
            }
        )
        show_json({**_as_dict(job), "expected": expected})
        return
    show(_text(job))
    if found is not None:
        show(f"Expected: {words}; it passes with a chance of {chance(found.probability)}.")


def _plan(
    *,
    number: NumberArgument,
    on: Annotated[str, Option(help="Panel to build on.", metavar="CODE")] = "",
    ground: Annotated[str, Option(help="Ground of a fresh card.")] = "",
    colour: Annotated[str, Option(help="Colour or blend.")] = "",
    schedule: Annotated[str, Option(help="Coats of a fresh card, or those to add: 1@10:1.")] = "",
    clear: Annotated[str, Option(help="Clear coat at the end: yes, no or a name.")] = "yes",
    read_after: Annotated[
        list[int] | None, Option(help="Read the card after this coat; again for the next.")
    ] = None,
    kept: SavingOptions,
) -> None:
    """Choose what to spray for a job: a recipe, or coats to add to a panel (--on)."""
    from matchlib.domain import CoatSchedule, Colour, Recipe
    from matchlib.job import Plan

    def planned(session: Session) -> Job:
        job, card = session.archive.job(number), ""
        if on:
            panel = session.archive.panel(on)
            own = Colour.parse(colour) if colour else None
            recipe = panel.recipe.then(CoatSchedule.parse(schedule), colour=own, clear=clear)
            card = panel.code
        else:
            recipe = Recipe.of(ground, colour, schedule, clear)
        return job.planned(Plan(recipe, card, tuple(read_after or ())))

    kept.keep(planned)


def _sprayed(
    *,
    number: NumberArgument,
    code: Annotated[str, Argument(help="Panel of the archive.")],
    kept: SavingOptions,
) -> None:
    """Say that a panel of the archive was sprayed for a job."""

    def sprayed(session: Session) -> Job:
        panel = session.archive.panel(code)
        return session.archive.job(number).sprayed(panel.code)

    kept.keep(sprayed)


def _change(
    *,
    number: NumberArgument,
    name: Annotated[str | None, Option(help="Another name.")] = None,
    customer: CustomerOption = None,
    due: Annotated[str | None, Option(help="Wanted by, year-month-day.")] = None,
    notes: Annotated[str | None, Option(help="Other notes.")] = None,
    without: Annotated[
        list[str] | None,
        Option(help="A panel that is none of it; again for the next.", metavar="CODE"),
    ] = None,
    shelf: SearchOptions,
    kept: SavingOptions,
) -> None:
    """Change what is written of a job, or what may be used for it."""
    from workbook.session.back import date_of

    def changed(session: Session) -> Job:
        job = session.archive.job(number)
        given: dict[str, Any] = {"name": name, "customer": customer, "notes": notes}
        changes = {k: v for k, v in given.items() if v is not None}
        if due is not None:
            changes["due"] = date_of(due)
        if limits := shelf.limits():
            changes["limits"] = replace(job.limits or session.limits(), **limits)
        job = replace(job, **changes)
        for code in without or ():
            job = job.without(code)
        return job

    kept.keep(changed)


def _close(
    *,
    number: NumberArgument,
    given_up: Annotated[str, Option(help="Why it is given up; else it was matched.")] = "",
    kept: SavingOptions,
) -> None:
    """Close a job: matched, or given up with the reason."""
    outcome = "given up" if given_up else "matched"
    kept.keep(lambda session: session.archive.job(number).closed(outcome, given_up))


def _reopen(
    *,
    number: NumberArgument,
    kept: SavingOptions,
) -> None:
    """Take a closed job up again, where it stood."""
    from workbook.session.doing import reopened

    kept.keep(lambda session: reopened(session.archive, number))


def _pot(
    *,
    number: NumberArgument,
    work: JobOptions,
    asked: ArchiveOptions,
) -> None:
    """Work out the pots of a job: of its recipe, or of the coats to add alone."""
    from workbook.session.pot import time_words
    from workbook.session.work import Work

    with asked.opened() as session:
        job = Work(session, session.archive.job(number))
        recipe, panel = job.added, job.built_on
    pots = work.pots(recipe)
    on = None if panel is None else panel.code
    where = "" if on is None else f" on panel {on}"
    lines = [f"{recipe.words}{where}.", pots.words(work.unit), time_words(work, pots)]
    lines.append(before_mixing())
    asked.answer(
        {"recipe": str(recipe.schedule), "on": on, "pot": pots},
        wrapped("\n".join(filter(None, lines))),
    )


def _sheet(
    *,
    number: NumberArgument,
    work: JobOptions,
    out: Annotated[str, Option(help="The PDF to write.  [default: job-NUMBER.pdf]")] = "",
    paper: Annotated[str, Option(help="A4 or Letter.")] = "A4",
    code: Annotated[str, Option(help="Code of a fresh card: a label.")] = "",
    archive: ArchiveOption = "panels.db",
) -> None:
    """Print the sheet of a job: its own target, its own recipe or the coats to add."""
    from pathlib import Path

    from matchlib.readings.writing import save_bytes
    from workbook.jobsheet import jobsheet_pdf
    from workbook.session.work import Work

    with opened(archive) as session:
        job = Work(session, session.archive.job(number))
        recipe = job.added
        pots = work.pots(recipe) if work.shapes else None
        tell_fit(session)
        sheet = job.sheet(pot=pots, unit=work.unit, code=code)
    file = Path(out or f"job-{number}.pdf")
    save_bytes(jobsheet_pdf(sheet, paper=paper), file)
    show(f"Job sheet written to {file}.")


def _as_dict(job: Job) -> dict[str, Any]:
    from matchlib.plain import to_plain

    # A job says in full where it stands, the rest only where it holds something.
    plain: dict[str, Any] = to_plain(job)
    return {**plain, "state": job.state, "number": job.number, "panels": list(job.panels)}


def _text(job: Job) -> str:
    from matchlib.plural import times

    lines = [f"Job {job.number}: {job.name}" + (f", for {job.customer}" if job.customer else "")]
    if job.due:
        lines.append(f"Due: {job.due.isoformat()}")
    for reading, weight in zip_longest(job.target, job.weights):
        read = "spectrum" if reading.lab is None else "L {:g}, a {:g}, b {:g}".format(*reading.lab)
        counts = f"; counts {times(weight)}" if job.weights else ""
        lines.append(f"Target: {read} ({reading.viewing}); passes: {job.tolerance.words}{counts}")
    lines += [f"Shelf: {_shelf_words(job.limits)}"] if job.limits else []
    if job.plan is not None:
        on = f"on panel {job.plan.on}, up to " if job.plan.on else ""
        after = " and ".join(map(str, job.plan.read_after))
        stops = f"; read after coat {after}" if after else ""
        lines.append(f"Recipe: {on}{job.plan.recipe.words}{stops}")
    if job.panels:
        lines.append("Panels: " + ", ".join(job.panels))
    lines += [f"Notes: {job.notes}"] if job.notes else []
    why = f": {job.why}" if job.why else ""
    lines.append(f"Waits for: {job.state}" if job.open else f"Done: {job.outcome}{why}")
    return "\n".join(lines)


def _shelf_words(limits: Limits) -> str:
    """What may be used, as far as it is not the usual."""
    from matchlib.plain import to_plain

    def words(name: str, value: Any) -> str:
        what = name.replace("_", " ")
        if value is None or isinstance(value, bool):
            return what if value else f"no {what}"
        if isinstance(value, float):
            value = f"{value:g}" + ":1" * name.endswith("ratio")
        elif isinstance(value, list):
            value = ", ".join(value)
        elif isinstance(value, dict):
            value = ", ".join(f"{each} {ml:g} ml" for each, ml in value.items())
        return f"{what} {value}"

    said = {**to_plain(limits), **{n: v.text for n in ("area", "use") if (v := getattr(limits, n))}}
    return "; ".join(words(*each) for each in said.items()) or "all, at the usual ratios"
