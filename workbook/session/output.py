"""Panels written out: as a table, or as a backup of everything."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matchlib.archive import Archive

__all__ = ["Exported", "export"]


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written.

    `panels`: panels in it. `customers`: whether customers' names are in it.
    """

    file: Path
    panels: int
    customers: bool

    @property
    def text(self) -> str:
        """What was written, in words."""
        names = "with" if self.customers else "without"
        return f"{self.panels} panels written to {self.file}, {names} customers' names."


def export(archive: Archive, path: str | Path, *, customers: bool = True) -> Exported:
    """Write the panels as a table, or everything as a backup.

    `path`: ``.csv``, ``.xlsx`` for a table; ``.zip`` for a backup of everything.
    """
    from matchlib.archive import export_bundle, export_table

    if Path(path).suffix.casefold() == ".zip":
        export_bundle(archive, path, customers=customers)
        return Exported(Path(path), len(archive), customers)
    return Exported(Path(path), export_table(archive, path, customers=customers), customers)
