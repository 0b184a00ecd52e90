"""Changing what is kept, with every change written into the log; and undoing.

The tables hold the present; the log holds how it came about. One change may touch many things: an
import is one. An entry is never changed or removed, an undoing is an entry of its own. Order is by
the entry's number, so a clock that was set back does no harm.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from matchlib.archive import jobs, names, schema
from matchlib.archive.changes import Entry, Stamp, finding_of, record, side_of, taken_back
from matchlib.archive.codec import panel_fields, stages_of_fields
from matchlib.archive.findings import ignored_in, rename_ignored, set_ignored
from matchlib.archive.naming import respelled_job
from matchlib.archive.reading_out import chunked, whole
from matchlib.archive.stored import StoredPanel, kept_in, panel_kept, write
from matchlib.domain import Name, Panel
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job
from matchlib.plain import from_plain

__all__ = [
    "REMOVED",
    "amend",
    "changes_from",
    "set_deleted",
    "undo",
    "undo_removal",
]

REMOVED = {"stage": "stage removed", "reading": "reading removed"}
"""What the log says of a part of a panel that was taken out."""


def amend(
    connection: sa.Connection,
    code: str,
    change: Callable[[Panel], Panel],
    stamp: Stamp,
    *,
    action: str = "amended",
) -> int | None:
    """Change a panel and keep what it was."""
    stored = panel_kept(connection, code)
    wanted = names.spell(connection, [change(stored.panel)])[0]
    items = write(connection, [(stored, panel_fields(wanted))])
    if wanted.code != (code := stored.panel.code):
        items += rename_ignored(connection, "panel", code, wanted.code, stamp)
    return record(connection, action, items, stamp) if items else None


def set_deleted(connection: sa.Connection, code: str, deleted: bool, stamp: Stamp) -> int | None:
    """Put a panel aside, or take it back."""
    stored = panel_kept(connection, code)
    items = write(connection, [(stored, {**stored.fields, "deleted": deleted})])
    action = "deleted" if deleted else "restored"
    return record(connection, action, items, stamp) if items else None


def undo_removal(connection: sa.Connection, code: str, what: str, stamp: Stamp) -> int:
    """Take back the stage or reading of a panel that was removed last."""
    h, t = schema.history, schema.history_items
    row = panel_kept(connection, code).row
    query = sa.select(h.c.id, h.c.action, h.c.undoes).join(t, t.c.change_id == h.c.id)
    query = query.where(t.c.kind == "panel", t.c.subject == row).order_by(h.c.id)
    gone: list[int] = []
    for number, action, undoes in connection.execute(query):
        if action == REMOVED[what]:
            gone.append(number)
        elif undoes in gone:
            gone.remove(undoes)
    if not gone:
        raise ArchiveError(
            f"No {what} of this panel was removed that is not back already.",
            got=code,
            remedy="see its history.",
        )
    return undo(connection, gone[-1:], stamp)[0]


def changes_from(connection: sa.Connection, first: int, last: int) -> list[int]:
    """Return the numbers of the changes of a range."""
    h = schema.history
    ends = {first, last}
    possible = [n for n in ends if 0 < n <= schema.LARGEST]
    found = set(connection.execute(sa.select(h.c.id).where(h.c.id.in_(possible))).scalars())
    if missing := sorted(ends - found):
        raise ArchiveError(
            "There is no change of this number.",
            got=str(missing[0])[:40],
            remedy="see the history for the numbers.",
        )
    between = sa.select(h.c.id).where(h.c.id.between(min(ends), max(ends))).order_by(h.c.id)
    return list(connection.execute(between).scalars())


def undo(connection: sa.Connection, numbers: Sequence[int], stamp: Stamp) -> list[int]:
    """Undo changes, the last first, each by a change of its own."""
    t = schema.history_items
    done = []
    for number in sorted(set(numbers), reverse=True):
        query = sa.select(t).where(t.c.change_id == number).order_by(t.c.id)
        # Names first, which jobs and panels are told in; a panel goes only once no job rests on it.
        entries: dict[str, list[Mapping[str, Any]]] = {"name": [], "job": []}
        for entry in connection.execute(query).mappings().all():
            entries.setdefault(entry["kind"], []).append(dict(entry))
        undone: list[Entry] = []
        try:
            for kind, some in entries.items():
                if some:
                    undone += whole(_UNDO.__getitem__, kind)(connection, some, stamp)
            touched = {entry["subject"] for entry in entries["job"]}
            left = jobs.jobs_of(connection) if touched else ()
            jobs.check_panels(connection, (job for job in left if job.number in touched))
            if not undone:
                raise ArchiveError(
                    "This change holds nothing that could be undone.",
                    remedy="see the history for the numbers.",
                )
        except MatchlibError as error:
            raise error.at(f"change {number}") from None
        done.append(record(connection, "undone", undone, stamp, undoes=number))
    return done


def _undo_panels(
    connection: sa.Connection, entries: Sequence[Mapping[str, Any]], _stamp: Stamp
) -> list[Entry]:
    p = schema.panels
    found: dict[int, StoredPanel] = {}
    for some in chunked(e["subject"] for e in entries):
        found |= {k.row: k for k in kept_in(connection, p.c.id.in_(some))}
    say = names.spelling(connection)
    wanted = []
    for entry in entries:
        stored = whole(found.__getitem__, entry["subject"])
        before = _before(stored.fields, entry, f"panel {stored.panel.code}")
        fields = {**stored.fields, **before}
        if set(before) != {"deleted"}:  # as the panel is kept, so that the log says the same of it
            panel = _panel_of(fields, say)
            fields = {**panel_fields(panel), "deleted": fields["deleted"]}
        wanted.append((stored, fields))
    return write(connection, wanted)


def _panel_of(fields: Mapping[str, Any], say: Callable[[str, str], str]) -> Panel:
    """The panel of the log's fields, by the names of today."""
    # Stage by stage, for with names of then and of today together it is no panel.
    stages = names.respelled(whole(stages_of_fields, fields), say)
    together = tuple(panel.stages[0] for panel in stages)
    return whole(lambda: replace(stages[0], stages=together))


def _undo_jobs(
    connection: sa.Connection, entries: Sequence[Mapping[str, Any]], stamp: Stamp
) -> list[Entry]:
    undone: list[Entry] = []
    say = names.spelling(connection)
    by_number = {job.number: job for job in jobs.jobs_of(connection)}
    for entry in entries:
        number = entry["subject"]
        stored = by_number.get(number)
        now = {} if stored is None else jobs.job_fields(stored)
        then = {**now, **_before(now, entry, f"job {number}")}
        plain = {k: v for k, v in then.items() if v is not None}
        wanted = respelled_job(whole(from_plain, Job, plain), say) if plain else None
        item = jobs.rewrite_job(connection, number, stored, wanted, stamp)
        undone += [item] if item else []
    return undone


def _undo_names(
    connection: sa.Connection, entries: Sequence[Mapping[str, Any]], _stamp: Stamp
) -> list[Entry]:
    stored = names.names_of(connection)
    wanted: dict[int, Name | None] = {}
    for entry in entries:
        row = entry["subject"]
        now = names.name_fields(stored.get(row))
        what = str((now or side_of(entry, "before") or {}).get("name", "one joined since"))
        wanted[row] = names.name_of({**now, **_before(now, entry, what)})
    return names.rewrite_names(connection, stored, wanted)


def _undo_findings(
    connection: sa.Connection, entries: Sequence[Mapping[str, Any]], stamp: Stamp
) -> list[Entry]:
    undone = []
    for entry in entries:
        key, aside = whole(finding_of, side_of(entry, "before"))
        _before({"finding": key, "aside": key in ignored_in(connection)}, entry, key)
        undone += set_ignored(connection, key, aside, stamp)
    return undone


_UNDO = {
    "panel": _undo_panels,
    "job": _undo_jobs,
    "name": _undo_names,
    "finding": _undo_findings,
}


def _before(now: Mapping[str, Any], entry: Mapping[str, Any], what: str) -> Mapping[str, Any]:
    """What an undo of an entry sets; refused where that was changed since."""
    sides = (side_of(entry, side) for side in ("before", "after"))
    before, changed = taken_back(entry["kind"], now, *sides)
    if changed:
        raise ArchiveError(
            f"This change cannot be undone, for the {entry['kind']} was changed again since.",
            got=f"another {', '.join(changed)} of {what}",
            remedy="undo the later change first.",
        )
    return before
