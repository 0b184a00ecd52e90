"""Files written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from matchlib.errors import ArchiveError

__all__ = ["written_whole"]


@contextmanager
def written_whole(path: str | Path) -> Iterator[Path]:
    """Give a path to write to, which becomes the file when the block has ended well.

    Parameters
    ----------
    path : str or Path
        The file wanted. One that is there is replaced only by the whole new one.

    Yields
    ------
    Path
        Beside it, with the same suffix.

    Raises
    ------
    ArchiveError
        If the folder cannot be written or the disk is full.
    """
    target = Path(path).expanduser().absolute()
    part = target.with_name(f".{target.stem}.{os.getpid()}.part{target.suffix}")
    try:
        yield part
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(target)
        if os.name == "posix":
            folder = os.open(target.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except OSError as error:
        raise ArchiveError(
            "This file cannot be written.",
            got=error.strerror or str(error),
            where=str(target),
            remedy="give a path in a folder that exists, that you can write to and that has space.",
        ) from error
    finally:
        part.unlink(missing_ok=True)
