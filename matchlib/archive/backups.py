"""Backups: whole copies of an archive in a folder beside it, the newest ten of them.

Those of an archive on a server are in the folder of the user's own data, as files like any other.
The first change of a day copies what the day before left. So does every upgrade, merge and restore.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from matchlib.archive.database import Database
from matchlib.archive.troubles import words_of
from matchlib.atomic import written_whole
from matchlib.errors import ArchiveError

__all__ = [
    "KEPT",
    "Backup",
    "backups_in",
    "copy_file",
    "file_changed",
    "folder_of",
    "fresh_place",
    "prune",
]

KEPT = 10
"""How many backups are kept of one archive."""

_NAME = re.compile(r"(\d{4}-\d\d-\d\d \d{6}) (.+)\.db")
_TIME = "%Y-%m-%d %H%M%S"


@dataclass(frozen=True, slots=True)
class Backup:
    """One backup."""

    path: Path  # the file: an archive of its own
    at: dt.datetime  # when it was made, by the clock of the machine
    why: str  # ``daily``, ``before merge`` and the like


def folder_of(database: Database) -> Path:
    """Return the folder of an archive's backups."""
    if database.path is not None:
        return database.path.with_name(f"{database.path.name}-backups")
    import platformdirs  # as the fits of such archives are kept

    name = re.sub(r"[^\w.-]+", "-", database.label.rpartition("@")[2] or database.label)
    return Path(platformdirs.user_data_dir("candy-panel-workbook")) / "backups" / name[:100]


def backups_in(folder: Path) -> tuple[Backup, ...]:
    """Return the backups in a folder."""
    found = []
    for path in sorted(folder.glob("*.db"), reverse=True):
        if match := _NAME.fullmatch(path.name):
            with contextlib.suppress(ValueError):
                at = dt.datetime.strptime(match[1], _TIME).astimezone()
                found.append(Backup(path, at, match[2]))
    return tuple(found)


def fresh_place(folder: Path, why: str) -> Path:
    """Return where the next backup goes, in a folder that is made if need be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ArchiveError(
            "The folder for backups cannot be made.",
            got=error.strerror or str(error),
            where=str(folder),
            remedy="see that the disk has space and that the folder beside it can be written.",
        ) from error
    at = dt.datetime.now().astimezone().replace(microsecond=0)
    # Two made within a second keep their order.
    if newest := backups_in(folder)[:1]:
        at = max(at, newest[0].at + dt.timedelta(seconds=1))
    return folder / f"{at:{_TIME}} {why}.db"


def prune(folder: Path) -> None:
    """Take away all but the newest backups of a folder."""
    for old in backups_in(folder)[KEPT:]:
        with contextlib.suppress(OSError):  # what cannot be taken away is left
            old.path.unlink()


def copy_file(path: Path, to: Path) -> None:
    """Copy the file of an archive as it was kept last, whole or not at all."""
    try:
        with (
            written_whole(to) as part,
            contextlib.closing(sqlite3.connect(path)) as source,
            contextlib.closing(sqlite3.connect(part)) as target,
        ):
            source.backup(target)
            # One file by itself, without a log beside it.
            target.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        raise words_of(str(error), str(to), sqlite=True) from error


def file_changed(path: Path) -> dt.datetime:
    """Return when the file of an archive was changed last, to the second."""
    changed = path.stat().st_mtime
    log = Path(f"{path}-wal")
    if log.exists() and log.stat().st_size:
        changed = max(changed, log.stat().st_mtime)
    return dt.datetime.fromtimestamp(int(changed)).astimezone()
