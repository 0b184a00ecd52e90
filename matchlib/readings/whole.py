"""A file read whole, or refused before it can be waited on or fill the memory."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from matchlib.errors import FileError, MatchlibError
from matchlib.readings._grid import MAX_BYTES

__all__ = ["file_bytes", "file_text"]


def file_bytes(path: str | os.PathLike[str]) -> tuple[bytes, str]:
    """Return a file whole, and its name.

    Parameters
    ----------
    path : str or path-like
        Of a file; a pipe or a device, which may have no end, is refused.

    Returns
    -------
    data : bytes
        At most `MAX_BYTES`, and not empty.
    name : str
        Without the folder.

    Raises
    ------
    FileError
        If it is no file, too large, empty, or cannot be read.
    """
    file = Path(path)
    try:
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            raise FileError(
                "This is not a file.",
                got="a folder" if file.is_dir() else "a device",
                remedy="name the table's file.",
                where=str(path),
            )
        if status.st_size > MAX_BYTES:
            raise FileError(
                "This file is too large.",
                expected=f"at most {MAX_BYTES // 2**20} MiB",
                got=f"{status.st_size / 2**20:,.0f} MiB",
                remedy="export only the columns and rows that are needed.",
                where=file.name,
            )
        with file.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, MatchlibError):
            raise
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FileError(
            f"This file cannot be read: {why}.",
            remedy="check the name and the folder, and that you may read it.",
            where=str(path),
        ) from error
    if not data.strip():
        raise FileError(
            "This file is empty.",
            expected="a header and at least one row",
            remedy="export the table again.",
            where=file.name,
        )
    return data, file.name


def file_text(path: str | os.PathLike[str]) -> str:
    """Return a file of UTF-8 text whole.

    Parameters
    ----------
    path : str or path-like
        As for `file_bytes`.

    Returns
    -------
    str
        Without a byte order mark.

    Raises
    ------
    FileError
        As for `file_bytes`, and if it is not UTF-8.
    """
    data, name = file_bytes(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(
            "This file is no text in UTF-8.", where=name, remedy="save it again as UTF-8."
        ) from error
