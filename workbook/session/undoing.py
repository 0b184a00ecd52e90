"""What can be taken back: the last change of cards, names or findings, and a job's last step."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from matchlib.errors import DomainError
from workbook.session.work import Work

if TYPE_CHECKING:
    from matchlib.archive import Archive, Change

__all__ = ["last_change", "standing", "undo", "undo_words"]

_RECENT = dt.timedelta(hours=12)
_KINDS = {"panel", "name", "finding"}


def standing(history: Sequence[Change], *, undoings: bool = False) -> Iterator[Change]:
    """Yield the changes that hold, the newest first: neither undone nor an undoing.

    `history`: oldest first. What was undone and then brought back holds again. `undoings`: whether
    those that hold are yielded too.
    """
    undone = set()
    for change in reversed(history):
        if change.number in undone:
            continue
        if change.undoes is not None:
            undone.add(change.undoes)
        if undoings or change.undoes is None:
            yield change


def last_change(archive: Archive) -> Change | None:
    """Return the last change of cards, names or findings that can be taken back from a page.

    Returned: the newest of the last twelve hours that was not undone; files taken in, and what is
    older, are taken back from the history, where it is seen what came after them, and a job's
    steps, whole, at the job.
    """
    now = dt.datetime.now(dt.UTC)
    of_jobs: set[str] = set()  # cards
    for change in standing(archive.history()):
        if now - change.at > _RECENT:
            return None
        kinds, names = ({getattr(i, of) for i in change.items} for of in ("kind", "name"))
        if re.match(r"job \d+: ", change.why):
            of_jobs |= names.union(*(i.after.get("panels") or () for i in change.items))
        elif change.action == "added" and names & of_jobs:
            continue  # it is half of a first coat
        elif kinds and kinds <= _KINDS and not change.file:
            return change
    return None


def _last_step(work: Work) -> list[Change]:
    """Changes of the step of a job done last that was not taken back, the last first."""
    archive, beginning = work.archive, f"job {work.job.number}: "
    mine = archive.history(why=beginning)
    if not mine:
        return []

    def is_step(change: Change) -> bool:
        if change.why.startswith(beginning):
            return not change.why.startswith(f"{beginning}took back ")
        own = {(item.kind, item.name) for item in change.items}
        return own == {("job", f"job {work.job.number}")} and change.action != "job begun"

    # Between them the job may have been changed at the command line, or taken back there.
    since = archive.history(numbers=(mine[0].number, archive.last_change()))
    step: list[Change] = []
    touched: set[tuple[str, str]] = set()
    for change in filter(is_step, standing(since)):
        own = {(item.kind, item.name) for item in change.items}
        # A card read twice is two steps of the same words.
        if not step or (change.why and change.why == step[0].why and not own & touched):
            step.append(change)
            touched |= own
    return step


def undo_words(work: Work) -> str:
    """Return what an undo would take back of a job; empty for nothing."""
    last = next(iter(_last_step(work)), None)
    return last.why.partition(": ")[2].rpartition(" #")[0] or last.action if last else ""


def undo(work: Work) -> Work:
    """Take back the step of a job done last, whole."""
    step, archive = _last_step(work), work.archive
    if not step:
        raise DomainError("There is nothing to take back.", remedy="go on.")
    done = undo_words(work)
    words = work.why(f"took back {done}")
    archive.undo_each([change.number for change in step], why=words)
    # A card made by the first coat is put aside with it, unless it is another job's as well.
    jobs = archive.jobs()
    held = {code for j in jobs for code in (*j.panels, *([j.plan.on] if j.plan else []))}
    for code in set(work.job.panels) - held if done == "coat 1 sprayed" else ():
        first, *more = archive.panel(code).stages
        if first.log and not first.readings and not more:
            archive.delete(code, why=words)
    return Work(work.session, archive.job(work.job.number))
