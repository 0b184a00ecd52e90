"""Copies of an archive, and looking into one without changing it."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from matchlib.archive.backups import Backup, backups_in, copy_file, folder_of
from matchlib.archive.bundle import import_bundle
from matchlib.archive.database import database_of
from matchlib.archive.store import Archive
from matchlib.archive.troubles import EarlierError
from matchlib.archive.upgrade import copy_to, kept_copy

__all__ = ["apart", "back_up", "backups_of"]


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

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder:
    ...     with Archive.open(f"{folder}/a.db", create=True) as archive:
    ...         _ = archive.add(demo_panels()[:3])
    ...     with apart(f"{folder}/a.db") as looked_at:
    ...         len(looked_at)
    3
    """
    with tempfile.TemporaryDirectory() as folder:
        place, copy = path_or_url, Path(folder, Path(str(path_or_url)).name or "copy.db")
        is_file = "://" not in str(path_or_url) and Path(path_or_url).is_file()
        if is_file and zipfile.is_zipfile(path_or_url):
            place = copy
            with Archive.open(copy, create=True) as fresh:
                import_bundle(path_or_url, fresh)
        try:
            archive = Archive.open(place, read_only=True)
        except EarlierError:
            if not is_file:
                raise
            copy_file(Path(path_or_url), copy)
            Archive.open(copy).close()
            archive = Archive.open(copy, read_only=True)
        with archive:
            yield archive


def back_up(archive: Archive, why: str = "by hand", *, to: str | Path | None = None) -> Path:
    """Copy an archive whole, customers and history included.

    Parameters
    ----------
    archive : Archive
        Open; others may go on writing to it.
    why : str
        Part of the name of the copy.
    to : str or Path, optional
        The copy, as an archive in a file; among the archive's backups by default, of which the
        newest are kept.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    MatchlibError
        If the archive cannot be read, or the copy cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder:
    ...     with Archive.open(f"{folder}/a.db", create=True) as archive:
    ...         _ = archive.add(demo_panels()[:3])
    ...         copy = back_up(archive, to=f"{folder}/copy.db")
    ...     with Archive.open(copy) as kept:
    ...         len(kept)
    3
    """
    if to is None:
        return kept_copy(archive.database, why)
    place = Path(to).expanduser().absolute()
    copy_to(archive.database, place)
    return place


def backups_of(path_or_url: str | Path) -> tuple[Backup, ...]:
    """Return the backups of an archive, though it may be damaged or gone.

    Parameters
    ----------
    path_or_url : str or Path
        The archive.

    Returns
    -------
    tuple of Backup
        The newest first.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> with TemporaryDirectory() as folder:
    ...     with Archive.open(f"{folder}/a.db", create=True) as archive:
    ...         _ = back_up(archive)
    ...     len(backups_of(f"{folder}/a.db"))
    1
    """
    return backups_in(folder_of(database_of(path_or_url, read_only=True)))
