"""What an archive keeps beside its panels: photos, settings, audit findings set aside."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any, Self

import sqlalchemy as sa

from matchlib.archive import attaching, history, jobs, schema
from matchlib.archive.attaching import Attachment
from matchlib.archive.changes import Change, Stamp, read_changes, record
from matchlib.archive.checking import check
from matchlib.archive.database import Database
from matchlib.archive.findings import ignored_in, set_ignored
from matchlib.domain import clean_name
from matchlib.errors import ArchiveError
from matchlib.job import Job
from matchlib.plain import dump, load

__all__ = ["Cupboard", "utc_now"]


def utc_now() -> dt.datetime:
    """Return the time by this machine's clock.

    Returns
    -------
    datetime.datetime
        UTC.
    """
    return dt.datetime.now(dt.UTC)


class Cupboard:
    """An open database with its clock, and all of an archive that is no panel.

    Parameters
    ----------
    database : Database
        Checked and of the newest version.
    clock : callable
        Gives the time for the history.
    """

    def __init__(self, database: Database, *, clock: Callable[[], dt.datetime] = utc_now) -> None:
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
        """Return who changes something now, and why.

        Parameters
        ----------
        who, why : str
            As given.

        Returns
        -------
        Stamp
            For the history.
        """
        return Stamp(self._now(), who, why)

    def undo(self, change: int, *, who: str = "", why: str = "") -> int:
        """Undo one change; the undoing is itself a change that can be undone.

        Parameters
        ----------
        change : int
            Number of the change, from `history`.
        who, why : str
            For the history.

        Returns
        -------
        int
            Number of the undoing.

        Raises
        ------
        ArchiveError
            If there is no such change, or a later one stands in the way.
        """
        return self.undo_range(change, change, who=who, why=why)[0]

    def undo_range(self, first: int, last: int, *, who: str = "", why: str = "") -> list[int]:
        """Undo all changes from one to another, the last first; all of them or none.

        Parameters
        ----------
        first, last : int
            Numbers of changes, from `history`.
        who, why : str
            For the history.

        Returns
        -------
        list of int
            Numbers of the undoings.

        Raises
        ------
        ArchiveError
            If there is no such change, or one that is later than these stands in the way.
        """
        with self._database.write() as connection:
            numbers = history.changes_from(connection, first, last)
            return history.undo(connection, numbers, self.stamp(who, why))

    def history(self, code: str | None = None, *, why: str = "") -> tuple[Change, ...]:
        """Return what was changed, oldest first.

        Parameters
        ----------
        code, why : str
            Of one panel alone; those whose reason begins so.

        Returns
        -------
        tuple of Change
            By number, which no clock can disorder.
        """
        with self._database.read() as connection:
            return read_changes(connection, code, why=why, label=self.label)

    def check(self) -> tuple[str, ...]:
        """Look for damage through and through.

        Returns
        -------
        tuple of str
            What is wrong, in words; empty when all is well.
        """
        return check(self._database)

    def attach(self, code: str, name: str, data: bytes, *, who: str = "") -> None:
        """Keep a photo or another file with a panel.

        Parameters
        ----------
        code : str
            The panel.
        name : str
            A file name; the same name with other bytes is refused.
        data : bytes
            At most `matchlib.archive.attaching.MAX_BYTES`.
        who : str
            For the record.

        Raises
        ------
        ArchiveError
            If the panel is unknown, the name unusable or taken, or the file too large.
        """
        with self._database.write() as connection:
            attaching.attach(connection, code, name, data, at=self._now(), who=who)

    def attachments(self, code: str) -> tuple[Attachment, ...]:
        """Return the files kept with a panel.

        Parameters
        ----------
        code : str
            The panel.

        Returns
        -------
        tuple of Attachment
            In the order attached.
        """
        with self._database.read() as connection:
            return attaching.attachments_of(connection, code)

    def setting(self, key: str, default: Any = None) -> Any:
        """Return a remembered value.

        Parameters
        ----------
        key : str
            Its name.
        default : object
            If there is none.

        Returns
        -------
        object
            What JSON can hold.
        """
        s = schema.settings
        with self._database.read() as connection:
            text = connection.execute(sa.select(s.c.value).where(s.c.key == key)).scalar()
        return default if text is None else load(text)

    def settings(self, beginning: str) -> dict[str, Any]:
        """Return all remembered values whose names begin alike.

        Parameters
        ----------
        beginning : str
            Of their names, capitals as written.

        Returns
        -------
        dict
            Name to what JSON can hold, in order of names.
        """
        s = schema.settings
        query = sa.select(s.c.key, s.c.value).where(s.c.key.startswith(beginning, autoescape=True))
        with self._database.read() as connection:
            found = {row.key: row.value for row in connection.execute(query)}
        # SQLite takes capitals and small letters for the same here.
        return {k: load(found[k]) for k in sorted(found) if k.startswith(beginning)}

    def set_setting(self, key: str, value: Any) -> None:
        """Remember a value; the last one written holds.

        Parameters
        ----------
        key : str
            Its name, at most 200 characters.
        value : object
            What JSON can hold; None forgets it.

        Raises
        ------
        ArchiveError
            If the value or the key cannot be kept.
        """
        s = schema.settings
        text = _text_of(value, key)
        if not key or len(key) > 200:
            raise ArchiveError("This is no name of a setting.", got=repr(key[:80]))
        with self._database.write() as connection:
            connection.execute(s.delete().where(s.c.key == key))
            if value is not None:
                connection.execute(s.insert().values(key=key, value=text))

    def job(self, number: int) -> Job:
        """Return a job.

        Parameters
        ----------
        number : int
            Its number.

        Returns
        -------
        Job
            As kept last.

        Raises
        ------
        ArchiveError
            If there is none of this number.
        """
        with self._database.read() as connection:
            return jobs.job_of(connection, number, label=self.label)

    def jobs(self, *, customer: str | None = None, done: bool | None = None) -> tuple[Job, ...]:
        """Return jobs, the newest first.

        Parameters
        ----------
        customer : str, optional
            Part of the customer's name, in any capitals; None for all.
        done : bool, optional
            Only those that are done, or only those that are not; None for both.

        Returns
        -------
        tuple of Job
            By number, the newest first.
        """
        with self._database.read() as connection:
            return jobs.jobs_of(connection, customer=customer, done=done, label=self.label)

    def keep_job(self, job: Job, *, who: str = "", why: str = "") -> Job:
        """Keep a new job, or one as it was changed.

        Parameters
        ----------
        job : Job
            Number 0 for a new one; else as it was read, with `dataclasses.replace` of what is
            different.
        who, why : str
            For the history.

        Returns
        -------
        Job
            With its number and its new version.

        Raises
        ------
        ArchiveError
            If it was changed by someone else since it was read, or names a panel that is not
            there; nothing is changed then.
        """
        with self._database.write() as connection:
            return jobs.keep(connection, job, self.stamp(who, why), label=self.label)

    def profile(self, kind: str, name: str) -> Any:
        """Return a profile: how something of a kind is set up, such as an instrument's files.

        Parameters
        ----------
        kind : str
            What it is of, such as ``import`` or ``phone``.
        name : str
            Its name.

        Returns
        -------
        object
            What JSON can hold; None where there is none.
        """
        return self.profiles(kind).get(name)

    def profiles(self, kind: str) -> dict[str, Any]:
        """Return every profile of a kind.

        Parameters
        ----------
        kind : str
            What they are of.

        Returns
        -------
        dict
            Name to what JSON can hold, in order of names.
        """
        f = schema.profiles
        query = sa.select(f.c.name, f.c.data).where(f.c.kind == kind).order_by(f.c.name)
        with self._database.read() as connection:
            return {row.name: load(row.data) for row in connection.execute(query)}

    def keep_profile(self, kind: str, name: str, data: Any, *, who: str = "") -> None:
        """Keep a profile in place of the one of this kind and name.

        Parameters
        ----------
        kind : str
            What it is of, at most 40 characters.
        name : str
            Its name, 1 to 80 printable characters.
        data : object
            What JSON can hold; None forgets the profile.
        who : str
            For the record.

        Raises
        ------
        MatchlibError
            If the name or the data cannot be kept.
        """
        f = schema.profiles
        name = clean_name(name, "profile")
        text = _text_of(data, name)
        with self._database.write() as connection:
            connection.execute(f.delete().where(f.c.kind == kind, f.c.name == name))
            if data is not None:
                row = {"kind": kind, "name": name, "data": text, "at": self._now(), "who": who}
                connection.execute(f.insert().values(row))

    def ignore(self, finding: str, *, who: str = "", why: str = "") -> int | None:
        """Set an audit finding aside for good.

        Parameters
        ----------
        finding : str
            Its key, at most 400 characters.
        who, why : str
            For the history.

        Returns
        -------
        int or None
            Number of the change; None if it was set aside already.
        """
        return self._set_ignored(finding, True, "finding set aside", self.stamp(who, why))

    def unignore(self, finding: str, *, who: str = "", why: str = "") -> int | None:
        """Let an audit finding be shown again.

        Parameters
        ----------
        finding : str
            Its key.
        who, why : str
            For the history.

        Returns
        -------
        int or None
            Number of the change; None if it was not set aside.
        """
        return self._set_ignored(finding, False, "finding shown again", self.stamp(who, why))

    def _set_ignored(self, key: str, ignored: bool, action: str, stamp: Stamp) -> int | None:
        with self._database.write() as connection:
            items = set_ignored(connection, key, ignored, stamp)
            return record(connection, action, items, stamp) if items else None

    def ignored(self) -> frozenset[str]:
        """Return the keys of the findings set aside.

        Returns
        -------
        frozenset of str
            As given to `ignore`.
        """
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
