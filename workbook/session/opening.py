"""The archive a notebook works on: the one named, the one it was opened with, or the demo."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from pathlib import Path

from matchlib.errors import MatchlibError
from workbook.session.session import Session

__all__ = ["ARCHIVE", "is_missing", "is_new", "open_named"]

ARCHIVE = "WORKBOOK_ARCHIVE"
"""Environment variable that names the archive; ``workbook open`` sets it."""


def is_missing(place: str | Path) -> bool:
    """Whether there is no archive at a place, and one could be made there.

    Returned: false for a server's database, and where there is no folder either.
    """
    file = Path(place)
    try:
        file.lstat()  # a link that leads nowhere is there
    except FileNotFoundError:
        return "://" not in str(place) and file.absolute().parent.is_dir()
    except (OSError, ValueError):  # told of by who opens it
        pass
    return False


def is_new(place: str | Path) -> bool:
    """Whether a shop has nothing yet: no archive, or one without a card."""
    if is_missing(place):
        return True
    try:
        with Session.open(place, write=False) as session:
            return not len(session.archive)
    except MatchlibError:
        return False


def open_named(archive: str | Path | None = None) -> Session:
    """Open the archive of a notebook.

    `archive`: file or URL; else what `ARCHIVE` names; else the bundled demonstration, which is made
    in the user's data folder, or in a temporary one where that cannot be written.
    """
    named = archive or os.environ.get(ARCHIVE)
    if named:
        return Session.open(named, write=False)
    import platformdirs

    from workbook.session.demo import make_demo

    home = Path(platformdirs.user_data_dir("candy-panel-workbook"))
    try:
        place = make_demo(home / "demo").archive
    except (MatchlibError, OSError):
        room = tempfile.mkdtemp(prefix=f"workbook-{os.getpid()}-")
        atexit.register(shutil.rmtree, room, ignore_errors=True)
        place = make_demo(Path(room) / "demo").archive
    return Session.open(place, write=False)
