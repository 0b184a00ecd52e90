"""The archive as a table that imports to the same archive."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from matchlib.archive.store import Archive
from matchlib.domain import Panel

__all__ = ["export_table", "write_panels"]


def export_table(archive: Archive, path: str | Path, *, customers: bool = True) -> int:
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
    FileError
        If the file cannot be written or its suffix is another.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder, Archive.open(f"{folder}/a.db", create=True) as archive:
    ...     added = archive.add(demo_panels())
    ...     count = export_table(archive, f"{folder}/panels.csv")
    >>> count
    133
    """
    # The readers and writers of tables load libraries that an archive does not need.
    from matchlib.readings import write_table

    panels = _open_to_all(archive.panels(), customers)
    write_table(panels, Path(path))
    return len(panels)


def write_panels(panels: tuple[Panel, ...], *, customers: bool) -> Iterator[tuple[str, bytes]]:
    """Yield the files for other programs that a bundle holds."""
    from matchlib.readings import write_table  # as above

    shown = _open_to_all(panels, customers)
    names = ["panels.csv"] + ["readings.cgats"] * any(panel.times_read for panel in shown)
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            write_table(shown, Path(folder, name))
            yield name, Path(folder, name).read_bytes()


def _open_to_all(panels: tuple[Panel, ...], customers: bool) -> tuple[Panel, ...]:
    if customers:
        return panels
    return tuple(replace(p, customer="") if p.customer else p for p in panels)
