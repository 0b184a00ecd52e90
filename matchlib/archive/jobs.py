"""Jobs in the archive: kept, found, and changed only by who has seen the last change."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import Entry, Stamp, entry_of, inserted, record
from matchlib.archive.reading_out import whole
from matchlib.domain import name_key
from matchlib.errors import ArchiveError
from matchlib.job import Job
from matchlib.plain import dump, from_plain, load, stored_as, to_plain

__all__ = [
    "begin",
    "check_free",
    "check_panels",
    "job_fields",
    "job_of",
    "jobs_of",
    "keep",
    "rewrite_job",
]


def job_of(connection: sa.Connection, number: int, *, label: str) -> Job:
    """Return a job."""
    j = schema.jobs
    row = connection.execute(sa.select(j).where(j.c.number == number)).mappings().first()
    if row is None:
        raise ArchiveError(
            "There is no job of this number.",
            got=str(number),
            where=label,
            remedy="see the list of jobs for the numbers.",
        )
    return whole(_job, dict(row))


def jobs_of(
    connection: sa.Connection,
    *,
    customer: str | None = None,
    done: bool | None = None,
) -> tuple[Job, ...]:
    """Return every job, or those of a customer or a state, the newest first."""
    j = schema.jobs
    query = sa.select(j).order_by(j.c.number.desc())
    if customer is not None:
        query = query.where(j.c.customer.contains(name_key(customer), autoescape=True))
    if done is not None:
        query = query.where((j.c.state == "done") == done)
    return tuple(whole(_job, dict(row)) for row in connection.execute(query).mappings())


def keep(connection: sa.Connection, job: Job, stamp: Stamp, *, label: str) -> Job:
    """Keep a new job, or a job as it was changed."""
    check_panels(connection, [job])
    if not job.number:
        number, entry = begin(connection, job, stamp)
        record(connection, "job begun", [entry], stamp)
        return replace(job, number=number, version=1)
    stored = job_of(connection, job.number, label=label)
    if stored.version != job.version:
        raise ArchiveError(
            f"Job {job.number} was changed elsewhere since you opened it; nothing was changed.",
            expected=f"change {stored.version} of it",
            got=f"change {job.version}",
            where=label,
            remedy="open it again, see what is different, and do it once more.",
        )
    item = rewrite_job(connection, job.number, stored, job, stamp)
    if item is None:
        return stored
    record(connection, "job changed", [item], stamp)
    return replace(job, version=job.version + 1)


def begin(connection: sa.Connection, job: Job, stamp: Stamp) -> tuple[int, Entry]:
    """Insert a new job."""
    own = {"number": job.number} if job.number else {}
    done = connection.execute(schema.jobs.insert().values({**_row(job, stamp), **own}))
    number = inserted(done)
    return number, ("job", number, None, job_fields(job))


def check_panels(connection: sa.Connection, some: Iterable[Job]) -> None:
    """Refuse that a job rests on a panel that is not there."""
    p = schema.panels
    wanted = {code for job in some for code in job.panels}
    known = sa.select(p.c.code).where(p.c.code.in_(wanted), p.c.deleted == sa.false())
    missing = wanted - set(connection.execute(known).scalars())
    if missing:
        raise ArchiveError(
            "This job names a panel that is not in the archive.",
            got=", ".join(sorted(missing)),
            remedy="add the panel first, or take it back ('workbook restore').",
        )


def check_free(connection: sa.Connection, codes: Collection[str]) -> None:
    """Refuse that a panel goes on which a job rests."""
    for job in jobs_of(connection) if codes else ():
        own = {*job.panels, *([job.plan.on] if job.plan else [])} & set(codes)
        if own:
            raise ArchiveError(
                f"Panel {min(own)} cannot be removed, for a job rests on it.",
                got=f"job {job.number}, {job.name}",
                remedy=f"take it out of the job: workbook job change {job.number} --without "
                f"'{min(own)}'.",
            )


def rewrite_job(
    connection: sa.Connection, number: int, stored: Job | None, wanted: Job | None, stamp: Stamp
) -> Entry | None:
    """Write a job over what it was."""
    old = {} if stored is None else job_fields(stored)
    new = {} if wanted is None else job_fields(wanted)
    j, t = schema.jobs, schema.history_items
    entry = entry_of("job", number, old, new)
    if entry is None:
        return None
    if wanted is None:
        connection.execute(j.delete().where(j.c.number == number))
    elif stored is None:
        # More than any version that someone may still have open.
        of_it = sa.and_(t.c.kind == "job", t.c.subject == number)
        count = connection.execute(sa.select(sa.func.count()).select_from(t).where(of_it))
        begin(connection, replace(wanted, number=number, version=count.scalar_one()), stamp)
    else:
        row = _row(replace(wanted, version=stored.version), stamp)
        connection.execute(j.update().where(j.c.number == number).values(row))
    return entry


def job_fields(job: Job) -> dict[str, Any]:
    """Return what the log keeps of a job, by the names of its fields."""
    fields: dict[str, Any] = stored_as(to_plain(replace(job, number=0, version=0)))
    return fields


def _row(job: Job, stamp: Stamp) -> dict[str, Any]:
    return {
        "version": job.version + 1,
        "state": job.state,
        "customer": name_key(job.customer),
        "at": stamp.at,
        "data": dump(job_fields(job)),
    }


def _job(row: Mapping[str, Any]) -> Job:
    plain = load(row["data"])
    return from_plain(Job, {**plain, "number": row["number"], "version": row["version"]})
