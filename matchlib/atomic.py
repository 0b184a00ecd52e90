"""Files written whole or not at all, and what a process that was killed left of them."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from matchlib.errors import FileError, MatchlibError

__all__ = ["keep_names", "sweep", "unfinished", "written_whole"]

_PART = re.compile(r"\..*\.[0-9a-f]{12}\.part([.-].*)?")
_OLD = 3600.0  # seconds; nothing here takes so long to write


def unfinished(target: Path) -> Path:
    """Return where a file is written before it takes its place, of a name that `sweep` knows."""
    return target.with_name(f".{target.stem[:80]}.{secrets.token_hex(6)}.part{target.suffix}")


@contextmanager
def written_whole(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a path to write to, which becomes the file when the block has ended well."""
    target = _place_of(path)
    part = unfinished(target)
    sweep(target.parent)
    try:
        yield part
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(target)
        keep_names(target.parent)
    except MatchlibError:  # of what was to be written
        raise
    except (OSError, ValueError) as error:
        raise _refused(path, error) from error
    finally:
        with contextlib.suppress(OSError, ValueError):
            part.unlink(missing_ok=True)


def keep_names(folder: Path) -> None:
    """Force to the disk which files a folder holds, where the system can."""
    if os.name == "posix":
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def _place_of(path: str | os.PathLike[str]) -> Path:
    """Where a file is to be, links followed; refused where something else is there already."""
    try:
        target = Path(path).expanduser().resolve()
        other = target.exists() and not target.is_file()
    except (OSError, ValueError, RuntimeError) as error:  # a null character; links in a circle
        raise _refused(path, error) from error
    if other:  # whoever may write to devices would replace one by the file
        raise FileError(
            "This file cannot be written.",
            got="the path of a folder" if target.is_dir() else "the path of a device or a pipe",
            where=str(path),
            remedy="give the path of a file, there already or new.",
        )
    return target


def _refused(path: str | os.PathLike[str], error: Exception) -> FileError:
    return FileError(
        "This file cannot be written.",
        got=getattr(error, "strerror", None) or str(error),
        where=os.fspath(path),
        remedy="give a path in a folder that exists, that you can write to and that has space.",
    )


def sweep(folder: Path) -> None:
    """Take away what processes that were killed left unfinished in a folder."""
    with contextlib.suppress(OSError, ValueError):  # what cannot be taken away is left
        for entry in folder.iterdir():
            if _PART.fullmatch(entry.name) and time.time() - entry.stat().st_mtime > _OLD:
                entry.unlink()
