"""Copies of an archive, and looking into one without changing it."""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from matchlib.archive import schema
from matchlib.archive.bundle import import_bundle
from matchlib.archive.database import database_of
from matchlib.archive.store import Archive
from matchlib.archive.troubles import check_file
from matchlib.archive.upgrade import version_of

__all__ = ["apart"]


@contextmanager
def apart(path_or_url: str | Path) -> Iterator[Archive]:
    """Open an archive or a backup of one to be read, and leave it as it is, whatever its version.

    Parameters
    ----------
    path_or_url : str or Path
        A file, a zip that `export_bundle` wrote, or the address of a database.

    Yields
    ------
    Archive
        Open until the block ends.

    Raises
    ------
    ArchiveError
        If it is none of these, or damaged.
    """
    with tempfile.TemporaryDirectory() as room:
        place, copy = path_or_url, Path(room, Path(str(path_or_url)).name or "copy.db")
        if "://" not in str(path_or_url) and Path(path_or_url).is_file():
            if zipfile.is_zipfile(path_or_url):
                place = copy
                with Archive.open(copy, create=True) as fresh:
                    import_bundle(path_or_url, fresh)
            elif _earlier(Path(path_or_url)):
                place = copy
                with (
                    contextlib.closing(sqlite3.connect(path_or_url)) as source,
                    contextlib.closing(sqlite3.connect(copy)) as target,
                ):
                    source.backup(target)
                Archive.open(copy).close()
        with Archive.open(place, read_only=True) as archive:
            yield archive


def _earlier(path: Path) -> bool:
    check_file(path, read_only=True)
    database = database_of(path, read_only=True)
    try:
        with database.read() as connection:
            return version_of(connection, database.label) not in (schema.HEAD, None)
    finally:
        database.close()
