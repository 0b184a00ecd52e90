"""What an archive keeps beside its panels: history, photos, settings, jobs, profiles, findings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Sequence
from typing import Any, Self

import sqlalchemy as sa

from matchlib.archive import attaching, history, jobs, schema
from matchlib.archive.attaching import Attachment
from matchlib.archive.changes import Change, Stamp, read_changes, record
from matchlib.archive.checking import check
from matchlib.archive.database import Database
from matchlib.archive.findings import ignored_in, set_ignored
from matchlib.archive.stored import panel_kept
from matchlib.domain import clean_name
from matchlib.errors import ArchiveError
from matchlib.job import Job
from matchlib.plain import dump, load

__all__ = ["Records", "utc_now"]


def utc_now() -> dt.datetime:
    """Return the time by this machine's clock."""
    return dt.datetime.now(dt.UTC)


class Records:
    """An open database with its clock, and all of an archive that is no panel."""

    def __init__(self, database: Database, *, clock: Callable[[], dt.datetime]) -> None:
        self._database = database
        self._clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give the file or the server back."""
        self._database.close()

    @property
    def label(self) -> str:
        """File path, or address without the password."""
        return self._database.label

    @property
    def database(self) -> Database:
        """The database below, for the other modules of this package."""
        return self._database

    def _now(self) -> str:
        return self._clock().astimezone(dt.UTC).isoformat(timespec="milliseconds")

    def stamp(self, who: str, why: str) -> Stamp:
        """Return who changes something now, and why."""
        return Stamp(self._now(), who, why)

    def undo(self, change: int, *, who: str = "", why: str = "") -> int:
        """Undo one change; the undoing is itself a change that can be undone."""
        return self.undo_range(change, change, who=who, why=why)[0]

    def undo_range(self, first: int, last: int, *, who: str = "", why: str = "") -> list[int]:
        """Undo all changes from one to another, the last first; all of them or none."""
        with self._database.write() as connection:
            numbers = history.changes_from(connection, first, last)
            return history.undo(connection, numbers, self.stamp(who, why))

    def undo_each(self, changes: Sequence[int], *, who: str = "", why: str = "") -> list[int]:
        """Undo some changes, the last first; all of them or none."""
        with self._database.write() as connection:
            return history.undo(connection, changes, self.stamp(who, why))

    def history(
        self, code: str | None = None, *, numbers: Collection[int] | None = None, why: str = ""
    ) -> tuple[Change, ...]:
        """Return what was changed, oldest first: of one panel, or between two numbers."""
        with self._database.read() as connection:
            if code is not None:
                code = panel_kept(connection, code).panel.code
            return read_changes(connection, code, numbers=numbers, why=why)

    def last_change(self) -> int:
        """Return the number of the last change; 0 where nothing was changed yet."""
        with self._database.read() as connection:
            return connection.execute(sa.select(sa.func.max(schema.history.c.id))).scalar() or 0

    def check(self) -> tuple[str, ...]:
        """Look for damage through and through."""
        return check(self._database)

    def attach(self, code: str, name: str, data: bytes, *, who: str = "") -> None:
        """Keep a photo or another file with a panel."""
        with self._database.write() as connection:
            attaching.attach(connection, code, name, data, at=self._now(), who=who)

    def attachments(self, code: str) -> tuple[Attachment, ...]:
        """Return the files kept with a panel."""
        with self._database.read() as connection:
            return attaching.attachments_of(connection, code)

    def setting(self, key: str, default: Any = None) -> Any:
        """Return a remembered value."""
        s = schema.settings
        with self._database.read() as connection:
            text = connection.execute(sa.select(s.c.value).where(s.c.key == key)).scalar()
        return default if text is None else load(text)

    def settings(self, beginning: str) -> dict[str, Any]:
        """Return all remembered values whose names begin alike."""
        s = schema.settings
        query = sa.select(s.c.key, s.c.value).where(s.c.key.startswith(beginning, autoescape=True))
        with self._database.read() as connection:
            found = {row.key: row.value for row in connection.execute(query)}
        # SQLite takes capitals and small letters for the same here.
        return {k: load(found[k]) for k in sorted(found) if k.startswith(beginning)}

    def set_setting(self, key: str, value: Any) -> None:
        """Remember a value; the last one written holds."""
        s = schema.settings
        text = _text_of(value, key)
        if not key or len(key) > 200:
            raise ArchiveError("This is no name of a setting.", got=repr(key[:80]))
        with self._database.write() as connection:
            connection.execute(s.delete().where(s.c.key == key))
            if value is not None:
                connection.execute(s.insert().values(key=key, value=text))

    def job(self, number: int) -> Job:
        """Return a job."""
        with self._database.read() as connection:
            return jobs.job_of(connection, number, label=self.label)

    def jobs(self, *, customer: str | None = None, done: bool | None = None) -> tuple[Job, ...]:
        """Return jobs, the newest first."""
        with self._database.read() as connection:
            return jobs.jobs_of(connection, customer=customer, done=done)

    def keep_job(self, job: Job, *, who: str = "", why: str = "") -> Job:
        """Keep a new job, or one as it was changed."""
        with self._database.write() as connection:
            return jobs.keep(connection, job, self.stamp(who, why), label=self.label)

    def profiles(self, kind: str) -> dict[str, Any]:
        """Return how things of a kind are set up, such as an instrument's files, by their names."""
        f = schema.profiles
        query = sa.select(f.c.name, f.c.data).where(f.c.kind == kind).order_by(f.c.name)
        with self._database.read() as connection:
            return {row.name: load(row.data) for row in connection.execute(query)}

    def keep_profile(self, kind: str, name: str, data: Any, *, who: str = "") -> None:
        """Keep a profile in place of the one of this kind and name."""
        f = schema.profiles
        name = clean_name(name, "profile")
        text = _text_of(data, name)
        with self._database.write() as connection:
            connection.execute(f.delete().where(f.c.kind == kind, f.c.name == name))
            if data is not None:
                row = {"kind": kind, "name": name, "data": text, "at": self._now(), "who": who}
                connection.execute(f.insert().values(row))

    def ignore(self, finding: str, *, who: str = "", why: str = "") -> int | None:
        """Set an audit finding aside for good."""
        return self._set_ignored(finding, True, "finding set aside", self.stamp(who, why))

    def unignore(self, finding: str, *, who: str = "", why: str = "") -> int | None:
        """Let an audit finding be shown again."""
        return self._set_ignored(finding, False, "finding shown again", self.stamp(who, why))

    def _set_ignored(self, key: str, ignored: bool, action: str, stamp: Stamp) -> int | None:
        with self._database.write() as connection:
            items = set_ignored(connection, key, ignored, stamp)
            return record(connection, action, items, stamp) if items else None

    def ignored(self) -> frozenset[str]:
        """Return the keys of the findings set aside."""
        with self._database.read() as connection:
            return ignored_in(connection)


def _text_of(value: Any, where: str) -> str:
    try:
        return dump(value)
    except (TypeError, ValueError) as error:
        raise ArchiveError(
            "This value cannot be remembered.",
            expected="numbers, texts, lists and the like",
            got=f"{type(value).__name__} ({error})",
            where=where,
        ) from error
