"""The jobs in hand: what each waits for, and the ways to the other pages."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.plural import counted
from workbook.figures import Raw, areas, esc
from workbook.page.fields import button, field, fold, problem
from workbook.page.frame import frame
from workbook.page.pictures import split

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.job import Job

__all__ = ["board", "due_words"]

_PAGES = (
    ("browse_the_library.ipynb", "Library", "{cards}"),
    ("analyse_the_archive.ipynb", "Archive", "what it covers, what looks wrong"),
    ("train_on_grounds.ipynb", "Training", "what grounds do to a colour"),
)
_SHOWN = 40


def board(archive: Archive, *, sought: str = "", wrong: Exception | None = None) -> Raw:
    """Return the page of all jobs.

    `sought`: part of a customer's name, of a job's name, or its number.
    """
    jobs = archive.jobs()
    words = " ".join(sought.casefold().split())
    found = [j for j in jobs if words in f"{j.name} {j.customer} {j.number}".casefold()]
    held = len(archive)
    cards = f"{counted(held, 'card')} to look through" if held else "no cards yet: begin here"
    links = "".join(
        f'<a class="wb-door" href="{file}"><b>{name}</b>'
        f"<span>{esc(text.format(cards=cards))}</span></a>"
        for file, name, text in _PAGES
    )
    new = (
        '<button type="button" class="wb-door" data-do="new"><b>New job</b>'
        "<span>a customer points at a colour</span></button>"
    )
    # What is due stands first, by its day; then the newest.
    open_ = sorted((j for j in found if j.open), key=lambda j: j.due or dt.date.max)
    none = "No job is called so." if words else "None. Begin one with <b>New job</b>."
    rows = "".join(_row(j, first=j is open_[0]) for j in open_) or (
        f'<p class="wb-muted">{none}</p>'
    )
    done = [j for j in found if not j.open]
    finished = "".join(_row(j) for j in done[:_SHOWN])
    search = ""
    if len(jobs) > 5:
        search = (
            '<div class="wb-seek" data-enter="find">'
            + field("Customer, name or number", "sought", sought, kind="search")
            + button("Find", "find", quiet=True)
            + "</div>"
        )
    count = f"{len(done)} finished job{'s' * (len(done) != 1)}"
    return frame(
        "Jobs in hand",
        problem(wrong)
        + search
        + rows
        + (fold(count, finished, ident="finished", open_=bool(words)) if done else ""),
        place="jobs",
        above=f'<div class="wb-doors">{new}{links}</div>',
    )


def _row(job: Job, *, first: bool = False) -> str:
    seen = (
        split(lab_of_reading(job.target[0]))
        if job.target
        else areas([], words="no target yet", width=132, height=66)
    )
    whom = f"job {job.number}" + (f" · {job.customer}" if job.customer else "")
    due = f"<br>{due_words(job)}" if job.due and job.open else ""
    go = button("Go on" if job.open else "Look", "job", job.number, go=first, spoken=job.name)
    return (
        f'<article class="wb-card wb-row">{seen}<div><h2>{esc(job.name)}</h2>'
        f'<p class="wb-muted">{esc(whom)}</p></div><p>{esc(waiting(job))}{due}</p>{go}</article>'
    )


def due_words(job: Job) -> str:
    """Return when a job is due, ``due Friday 4 December``, or that it was; empty for no day."""
    if job.due is None:
        return ""
    today = dt.date.today()
    year = f" {job.due.year}" if job.due.year != today.year else ""
    late = "overdue since" if job.open and job.due < today else "due"
    return f"{late} {job.due:%A} {job.due.day} {job.due:%B}{year}"


def waiting(job: Job) -> str:
    """Return what a job waits for, in a few words."""
    if not job.open:
        return job.outcome + (f": {job.why}" if job.why else "")
    if job.state == "spray" and job.plan and job.plan.on:
        return f"{job.plan.on} is being sprayed"
    return {
        "target": "no target yet",
        "recipe": "recipe to be chosen",
        "spray": "recipe chosen, to be sprayed",
        "read": f"{job.panels[-1]} to be read or judged" if job.panels else "to be read",
    }[job.state]
