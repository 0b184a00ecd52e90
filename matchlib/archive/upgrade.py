"""Making an archive, copying it, and bringing one of an earlier version to the newest."""

from __future__ import annotations

import contextlib
import datetime as dt
import logging
import os
import sqlite3
import tempfile
from collections.abc import Sequence
from pathlib import Path

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.backups import (
    backups_in,
    copy_file,
    file_changed,
    folder_of,
    fresh_place,
    prune,
)
from matchlib.archive.database import Database, database_of
from matchlib.archive.rows import TABLES, fill, stored_rows
from matchlib.archive.troubles import EarlierError, check_file
from matchlib.atomic import keep_names, sweep, unfinished
from matchlib.errors import ArchiveError, MatchlibError

__all__ = ["copy_if_due", "copy_to", "find", "kept_copy", "migrate"]


def find(database: Database, *, create: bool) -> None:
    """Make sure that there is an archive of the newest version."""
    path = database.path
    if path is not None and not _exists(path):
        if not create:
            raise ArchiveError(
                "There is no archive here.",
                where=str(path),
                remedy="check the path; importing a table of panels makes the archive.",
            )
        _create(database)
    elif path is None and create:
        _create(database)
    if path is not None:
        check_file(path, read_only=database.read_only)
    _ensure_current(database)
    asked: set[dt.date] = set()

    def before_change() -> None:
        today = dt.datetime.now().astimezone().date()
        # To ask a server for its last change takes a while, so it is asked once a day.
        if path is not None or today not in asked:
            asked.add(today)
            copy_if_due(database)

    database.before_change = before_change


def copy_if_due(database: Database) -> None:
    """Copy what an earlier day left, unless that was done; a copy that fails stops nobody."""
    try:
        changed = _last_change(database)
        if changed is None or changed.date() >= dt.datetime.now().astimezone().date():
            return
        if not any(backup.at >= changed for backup in backups_in(folder_of(database))[:1]):
            kept_copy(database, "daily")
    except (OSError, MatchlibError) as error:
        logging.getLogger("matchlib").warning(
            "No backup of %s could be made: %s", database.label, error
        )


def _last_change(database: Database) -> dt.datetime | None:
    if database.path is not None:
        return file_changed(database.path)
    queries = [sa.select(sa.func.max(table.c.at)) for table in TABLES if "at" in table.c]
    with database.read() as connection:
        times = [connection.execute(query).scalar() for query in queries]
    known = [dt.datetime.fromisoformat(at) for at in times if at is not None]
    return max(known).astimezone().replace(microsecond=0) if known else None


def kept_copy(database: Database, why: str, version: str = schema.HEAD) -> Path:
    """Copy an archive among its backups, of which the newest are kept."""
    folder = folder_of(database)
    place = fresh_place(folder, why)
    copy_to(database, place, version)
    prune(folder)
    return place


def copy_to(database: Database, to: Path, version: str = schema.HEAD) -> None:
    """Copy an archive, as of its own version, into a file."""
    if database.path is not None:
        copy_file(database.path, to)
        return
    with database.read() as connection, tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, "copy.db")
        copy.touch()
        fresh = database_of(copy, read_only=False)
        try:
            with fresh.write() as new:
                if version == schema.HEAD:
                    _make(new)
                    tables: Sequence[sa.Table] = TABLES
                else:
                    _run_steps(new, version)
                    copied = sa.MetaData()
                    copied.reflect(new)
                    sort = copied.sorted_tables
                    tables = tuple(t for t in sort if t.name != schema.version.name)
                fill(new, lambda table: stored_rows(connection, table), tables)
        finally:
            fresh.close()
        copy_file(copy, to)


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError as error:
        raise ArchiveError(
            "This place cannot be looked into.",
            expected="a folder that may be read",
            got=error.strerror or str(error),
            where=str(path),
            remedy="choose another folder, or ask who looks after this machine.",
        ) from None


def _create(database: Database) -> None:
    """Make an empty archive of the newest version, whole or not at all."""
    if database.path is None:
        with database.write() as connection:
            if _version_of(connection, database.label) is None:
                _make(connection)
        return
    path = database.path
    if not path.parent.is_dir():
        raise ArchiveError(
            "The folder for the new archive does not exist.",
            where=str(path.parent),
            remedy="make the folder first, or give another path.",
        )
    if not os.access(path.parent, os.W_OK):
        raise ArchiveError(
            "The folder for the new archive cannot be written: it is read-only.",
            where=str(path.parent),
            remedy="give a path in a folder you can write to.",
        )
    # Made beside its place and then linked there in one step, so that a kill leaves no half
    # archive and a second process never meets one.
    part = unfinished(path)
    sweep(path.parent)
    try:
        with contextlib.closing(sqlite3.connect(part)) as raw:
            raw.execute("PRAGMA journal_mode = WAL")
        fresh = database_of(part, read_only=False)
        with fresh.write() as connection:
            _make(connection)
        fresh.close()
        _put(part, path)
    except (OSError, sqlite3.Error) as error:
        with database.guard():
            raise sa.exc.OperationalError("create", {}, error) from error
    finally:
        for leftover in (part, Path(f"{part}-wal"), Path(f"{part}-shm")):
            leftover.unlink(missing_ok=True)


def _version_of(connection: sa.Connection, label: str) -> str | None:
    """Return the schema version of a database, None if there is no archive in it."""
    tables = set(sa.inspect(connection).get_table_names())
    if not tables & {schema.version.name, schema.panels.name}:
        if tables and connection.dialect.name == "sqlite":
            raise _foreign(label, tables)
        return None
    if not {schema.version.name, schema.panels.name} <= tables:
        raise _foreign(label, tables)
    found = connection.execute(sa.select(schema.version.c.version_num)).scalars().all()
    if len(found) == 1 and found[0] in schema.VERSIONS:
        return str(found[0])
    raise ArchiveError(
        "This archive was made by a newer version of this tool.",
        expected=f"schema version {schema.HEAD} or earlier",
        got=f"version {', '.join(map(str, found)) or 'none'}",
        where=label,
        remedy="update this tool; the archive was not changed.",
    )


def _ensure_current(database: Database) -> None:
    """Check the archive's version and migrate an earlier one, after a backup copy."""
    with database.read() as connection:
        found = _version_of(connection, database.label)
    if found == schema.HEAD:
        return
    if found is None:
        raise ArchiveError(
            "There is no archive here.",
            where=database.label,
            remedy="import a table of panels, which makes the archive.",
        )
    if database.read_only:
        raise EarlierError(
            "This archive is of an earlier version and is open for reading only.",
            expected=f"schema version {schema.HEAD}",
            got=found,
            where=database.label,
            remedy="open a copy of it for writing once, which brings it up to date.",
        )
    migrate(database, found)


def migrate(database: Database, found: str) -> None:
    """Bring an earlier archive to this version, in one transaction."""
    kept_copy(database, f"before upgrade of {found}", found)
    with database.write() as connection:
        # Another process may have been quicker.
        if _version_of(connection, database.label) != schema.HEAD:
            _run_steps(connection, schema.HEAD)


def _run_steps(connection: sa.Connection, to: str) -> None:
    # Slow to import, and needed once in an archive's life.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "matchlib.archive:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def _make(connection: sa.Connection) -> None:
    schema.metadata.create_all(connection)
    schema.version.create(connection)
    connection.execute(schema.version.insert().values(version_num=schema.HEAD))


def _foreign(label: str, tables: set[str]) -> ArchiveError:
    return ArchiveError(
        "This is a database of something else, not an archive.",
        expected="the tables of an archive",
        got=", ".join(sorted(tables)[:5]),
        where=label,
        remedy="give the path of an archive, or of a file that does not exist yet.",
    )


def _put(part: Path, path: Path) -> None:
    try:
        os.link(part, path)
    except FileExistsError:
        return  # another process made it first; both are empty
    except OSError:
        # A file system without links.
        if not path.exists():
            part.rename(path)
    keep_names(path.parent)
