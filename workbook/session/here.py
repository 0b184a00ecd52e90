"""The archive a notebook works on: the one named, the one it was opened with, or the demo."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from matchlib.errors import MatchlibError
from workbook.session.session import Session

__all__ = ["ARCHIVE", "session_here"]

ARCHIVE = "WORKBOOK_ARCHIVE"
"""Environment variable that names the archive; ``workbook open`` sets it."""


def session_here(archive: str | Path | None = None) -> tuple[Session, bool]:
    """Open the archive of a notebook.

    Parameters
    ----------
    archive : str or Path, optional
        File or URL; else what `ARCHIVE` names; else the bundled demonstration, which is made in
        the user's data folder, or in a temporary one where that cannot be written.

    Returns
    -------
    session : Session
        Open.
    demo : bool
        Whether it is the demonstration because no archive was named.

    Raises
    ------
    ArchiveError
        If the archive that was named cannot be opened.
    """
    named = archive or os.environ.get(ARCHIVE)
    if named:
        return Session.open(named, write=False), False
    import platformdirs

    from workbook.session.demo import make_demo

    home = Path(platformdirs.user_data_dir("candy-panel-workbook"))
    try:
        place = make_demo(home / "demo").archive
    except (MatchlibError, OSError):
        place = make_demo(Path(tempfile.mkdtemp(prefix="workbook-")) / "demo").archive
    return Session.open(place, write=False), True
