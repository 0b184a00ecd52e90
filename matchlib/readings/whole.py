"""A file read whole, or refused before it can be waited on or fill the memory."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from matchlib.errors import FileError, MatchlibError

__all__ = ["bytes_of", "file_bytes", "file_text"]

_MAX_BYTES = 32 * 2**20


def file_bytes(path: str | os.PathLike[str]) -> tuple[bytes, str]:
    """Return a file whole, at most 32 MiB and not empty, and its name without the folder."""
    file = Path(path)
    shorter = "export only the columns and rows that are needed."
    data = bytes_of(file, most=_MAX_BYTES, shorter=shorter)
    if not data.strip():
        raise FileError(
            "This file is empty.",
            expected="a header and at least one row",
            remedy="export the table again.",
            where=file.name,
        )
    return data, file.name


def bytes_of(file: Path, *, most: int, shorter: str, noun: str = "file") -> bytes:
    """Return a file's bytes; a large one is refused, and a pipe or device, which may not end."""
    try:
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            raise FileError(
                "This is not a file.",
                got="a folder" if file.is_dir() else "a device",
                remedy="name the file itself.",
                where=str(file),
            )
        if status.st_size > most:
            raise FileError(
                f"This {noun} is too large.",
                expected=f"at most {most // 2**20} MiB",
                got=f"{status.st_size / 2**20:,.0f} MiB",
                remedy=shorter,
                where=file.name,
            )
        with file.open("rb") as stream:
            return stream.read(most + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, MatchlibError):
            raise
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FileError(
            f"This file cannot be read: {why}.",
            remedy="check the name and the folder, and that you may read it.",
            where=str(file),
        ) from error


def file_text(path: str | os.PathLike[str]) -> str:
    """Return a file of UTF-8 text whole.

    Parameters
    ----------
    path : str or path-like
        Of a file of at most 32 MiB; a pipe or a device is refused.

    Returns
    -------
    str
        Without a byte order mark.

    Raises
    ------
    FileError
        If it is no file, too large, empty, not UTF-8, or cannot be read.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     _ = Path(folder, "a.csv").write_text("panel,L,a,b")
    ...     file_text(Path(folder, "a.csv"))
    'panel,L,a,b'
    """
    data, name = file_bytes(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(
            "This file is no text in UTF-8.", where=name, remedy="save it again as UTF-8."
        ) from error
