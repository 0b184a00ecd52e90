"""The archive's side of a session: panels in and out, labels, history, targets."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from workbook.session.targets import readings_by_angle

if TYPE_CHECKING:
    from matchlib.archive import Archive, Change
    from matchlib.domain import Reading

__all__ = ["Exported", "Keeper"]


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

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {"file": str(self.file), "panels": self.panels, "customers": self.customers}


class Keeper:
    """An open archive and what is done with its panels.

    Parameters
    ----------
    archive : Archive
        Open; closed with the session.

    Attributes
    ----------
    place : str
        File or URL that it was opened by.
    """

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self.place = archive.label

    @classmethod
    def open(cls, path_or_url: str | Path, *, create: bool = False, write: bool = True) -> Self:
        """Open an archive.

        `create`: make an empty archive if there is none. Returned: use it in a ``with`` block, or
        close it.
        """
        from matchlib.archive import Archive

        locked = False
        if not write and "://" not in str(path_or_url) and os.path.isfile(path_or_url):
            file = Path(path_or_url)
            locked = not (os.access(file, os.W_OK) and os.access(file.absolute().parent, os.W_OK))
        made = cls(Archive.open(path_or_url, create=create, read_only=locked))
        made.place = str(path_or_url)
        return made

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the archive back."""
        self.archive.close()

    # Panels

    def export(self, path: str | Path, *, customers: bool = True) -> Exported:
        """Write the panels as a table, or everything as a backup.

        `path`: ``.csv``, ``.xlsx`` for a table; ``.zip`` for a backup of everything.
        """
        from matchlib.archive import export_bundle, export_table

        if Path(path).suffix.casefold() == ".zip":
            export_bundle(self.archive, path, customers=customers)
            return Exported(Path(path), len(self.archive), customers)
        return Exported(
            Path(path), export_table(self.archive, path, customers=customers), customers
        )

    def labels(
        self,
        codes: Sequence[str],
        path: str | Path,
        *,
        sheet: str = "A4",
        first: int = 1,
        cut_lines: bool = False,
    ) -> Path:
        """Print labels for the backs of panels."""
        from matchlib.readings.writing import save_bytes
        from workbook.label import label_pdf

        panels = [self.archive.panel(code) for code in codes]
        data = label_pdf(panels, sheet=sheet, first=first, cut_lines=cut_lines)
        save_bytes(data, Path(path))
        return Path(path)

    def history(self, code: str | None = None) -> tuple[Change, ...]:
        """Return what was changed.

        `code`: of one panel, which must exist; None for all. Returned: oldest first.
        """
        if code is not None:
            code = self.archive.panel(code).code
        return self.archive.history(code)

    def undo(self, change: int, *, who: str = "", why: str = "") -> Change:
        """Undo one change."""
        number = self.archive.undo(change, who=who, why=why)
        return next(c for c in self.archive.history() if c.number == number)

    # Readings as targets

    def angles_of_panel(self, code: str) -> tuple[Reading, ...]:
        """Return a panel's readings, one a geometry.

        Returned: means of repeats of one kind; one reading where all were taken at one geometry.
        """
        panel = self.archive.panel(code)
        return readings_by_angle(panel.readings, where=f"panel {panel.code}")

    @staticmethod
    def angles_of_file(
        path: str | Path,
        *,
        panel: str | None = None,
        decimal: str | None = None,
        scale: str | None = None,
        answers: Mapping[str, str] | None = None,
    ) -> tuple[Reading, ...]:
        """Return the readings of one thing in a file, one a geometry.

        `panel`: which sample, where it holds several. Returned: means of repeats; one reading where
        all were taken at one geometry.
        """
        from matchlib.readings import read_target

        found = read_target(path, panel=panel, decimal=decimal, scale=scale, answers=answers)
        return readings_by_angle(found, where=Path(path).name)
