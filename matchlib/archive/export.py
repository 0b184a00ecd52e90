"""The archive as a table that imports to the same archive."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from matchlib.archive.atomic import written_whole
from matchlib.archive.store import Archive

__all__ = ["export_table"]


def export_table(archive: Archive, path: str | Path, *, customers: bool = False) -> int:
    """Write the panels as a table that imports to an archive of the same content.

    Parameters
    ----------
    archive : Archive
        Open. Deleted panels are left out.
    path : str or Path
        CSV or XLSX by its suffix; written whole or not at all.
    customers : bool
        Whether customers' names go with it.

    Returns
    -------
    int
        Panels written.

    Raises
    ------
    ArchiveError
        If the file cannot be written.
    """
    # The readers and writers of tables load a spreadsheet library that an archive does not need.
    from matchlib.readings import write_table

    panels = archive.panels()
    if not customers:
        panels = tuple(replace(p, customer="") if p.customer else p for p in panels)
    with written_whole(path) as part:
        write_table(panels, part)
    return len(panels)
