"""A database's own error messages, and a damaged file's first page, in words that help."""

from __future__ import annotations

import os
from pathlib import Path

from matchlib.errors import ArchiveError

__all__ = ["ConflictError", "DamagedError", "EarlierError", "check_file", "check_kind", "words_of"]


class ConflictError(ArchiveError):
    """Two changes that exclude each other: another writer, or records that contradict."""


class DamagedError(ArchiveError):
    """An archive of which something is broken or gone."""


class EarlierError(ArchiveError):
    """An archive of an earlier version that may not be brought up to date."""


_MAGIC = b"SQLite format 3\x00"
_DAMAGED = "This archive is damaged."
_BACKUP = "restore the newest backup ('workbook restore --from last'), or save what can be read "
_BACKUP += "('workbook salvage')"

# Part of the database's message, what it means, and what to do. First match wins.
_SQLITE = (
    (
        ("not a database", "unsupported file format", "file is encrypted"),
        "This file is not an archive.",
        "give the path of an archive, or import into a new file.",
    ),
    (
        ("malformed", "corrupt", "decode"),
        _DAMAGED,
        f"{_BACKUP}.",
    ),
    (
        ("disk is full", "no space left", "file too large"),
        "The disk is full; nothing of this change was kept, everything before it was.",
        "free some space and do it again.",
    ),
    (
        ("readonly", "read-only"),
        "This archive cannot be written: its file or folder is read-only.",
        "copy it to a folder you can write to, or open it for reading only.",
    ),
    (
        ("locked", "busy"),
        "Another program has held this archive for too long.",
        "close the other program, or wait, and do it again; nothing was changed.",
    ),
    (
        ("disk i/o",),
        "The disk refused to read or write; nothing of this change was kept.",
        "check that the disk is not full and not broken, then do it again.",
    ),
    (
        ("unable to open",),
        "This archive cannot be opened.",
        "check the path, and that you may read and write its folder.",
    ),
)
_POSTGRES = (
    (
        ("password", "authentication", "no pg_hba"),
        "The database server does not let you in.",
        "check the user name and password in the address.",
    ),
    (
        ("does not exist",),
        "The database server has no such database, table or user.",
        "check the address, or have the database made first.",
    ),
    (
        ("read-only",),
        "This database takes no changes.",
        "open the archive for reading only, or use the main server.",
    ),
    (
        ("no space left", "disk full"),
        "The database server's disk is full; nothing of this change was kept.",
        "have space freed on the server and do it again.",
    ),
    (
        ("permission denied",),
        "The database server does not allow this to your user.",
        "have the rights given on the server.",
    ),
    (
        (
            "connection",
            "terminat",
            "server closed",
            "shutting down",
            "starting up",
            "could not translate",
            "resolve",
            "timeout",
            "recovery mode",
        ),
        "The connection to the database server failed or was cut.",
        "check that the server runs, then do it again; an import is kept whole or not at all, "
        "and importing twice doubles nothing.",
    ),
)


def words_of(message: str, label: str, *, sqlite: bool) -> ArchiveError:
    """Return the error for a message of the database."""
    line = " ".join(message.split())[:300]
    for marks, problem, remedy in _SQLITE if sqlite else _POSTGRES:
        if any(mark in line.casefold() for mark in marks):
            kind = DamagedError if problem == _DAMAGED else ArchiveError
            return kind(problem, got=f"'{line}'", remedy=remedy, where=label)
    return ArchiveError(
        "The archive's database refused.",
        got=f"'{line}'",
        remedy="nothing of this change was kept; if it happens again, check the archive.",
        where=label,
    )


def check_kind(path: Path) -> None:
    """Refuse a folder, and a device: it may have no end, and a pipe is waited on for ever."""
    if path.is_dir():
        raise ArchiveError(
            "This is a folder, not an archive.",
            where=str(path),
            remedy="give the path of a file in it.",
        )
    if not path.is_file():
        raise ArchiveError(
            "This is a device, not an archive.",
            where=str(path),
            remedy="give the path of a file.",
        )


def check_file(path: Path, *, read_only: bool) -> None:
    """Refuse a file that cannot be a whole archive, by its first page and size alone."""
    where = str(path)
    check_kind(path)
    try:
        with path.open("rb") as file:
            head = file.read(100)
            size = os.fstat(file.fileno()).st_size
    except OSError as error:
        raise ArchiveError(
            "This archive cannot be read.",
            got=error.strerror,
            where=where,
            remedy="check that you may read it.",
        ) from error
    if not head.startswith(_MAGIC):
        raise (ArchiveError if head else DamagedError)(
            "This file is not an archive." if head else "This archive is empty: 0 bytes.",
            expected="a file that this tool has made (a SQLite database)",
            got=f"a file that begins with {head[:16]!r}" if head else None,
            where=where,
            remedy="give the path of an archive; import a table or a backup with 'workbook import'."
            if head
            else f"{_BACKUP}; delete this file if it was never an archive.",
        )
    # SQLite file format, 1.3: page size at byte 16 (1 means 65536), pages at byte 28. Until a
    # write-ahead log is folded in, the size may rightly lag behind.
    page = int.from_bytes(head[16:18], "big")
    whole = (65536 if page == 1 else page) * int.from_bytes(head[28:32], "big")
    log = Path(f"{path}-wal")
    if size < whole and not (log.exists() and log.stat().st_size):
        raise DamagedError(
            "This archive is damaged: its file is cut short.",
            expected=f"{whole} bytes",
            got=f"{size} bytes",
            where=where,
            remedy=f"copy it again from where it came, or {_BACKUP}.",
        )
    if not read_only and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
        raise ArchiveError(
            "This archive cannot be written: its file or folder is read-only.",
            where=where,
            remedy="copy it to a folder you can write to, or open it for reading only.",
        )
