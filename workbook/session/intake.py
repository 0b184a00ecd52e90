"""Files into an archive: read and judged before anything is made or changed."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.errors import ArchiveError

if TYPE_CHECKING:
    from matchlib.archive import AddResult
    from matchlib.readings import ImportReport

__all__ = ["Imported", "import_file", "is_bundle"]

_BUNDLE_MARK = "manifest.json"


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of a file.

    Parameters
    ----------
    archive : str
        Archive it went into.
    created : bool
        Whether the archive was made for it.
    report : ImportReport, optional
        Rows taken and refused; None for a bundle.
    result : AddResult, optional
        What the archive did with them; None for a bundle.
    restored : int, optional
        Panels restored from a bundle, the deleted ones included.
    """

    archive: str
    created: bool
    report: ImportReport | None = None
    result: AddResult | None = None
    restored: int | None = None

    @property
    def text(self) -> str:
        """What happened, in plain words, a line each."""
        lines = [f"A new archive was made: {self.archive}"] if self.created else []
        if self.report is not None and self.result is not None:
            lines.append(self.report.text())
            lines.append(self.result.words)
            lines += [f"Differs: {code}: {what}" for code, what in self.result.differing]
            lines += [f"Left out: {code}: {why}" for code, why in self.result.refused]
            if self.result.again:
                lines.append(
                    "Removed earlier and added again: " + ", ".join(self.result.again) + "."
                )
        else:
            lines.append(f"{self.restored} panels restored from the backup.")
        return "\n".join(lines)

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON.
        """
        told: dict[str, Any] = {"archive": self.archive, "created": self.created}
        if self.report is not None and self.result is not None:
            told |= self.report.as_dict()
            told |= {
                "added": list(self.result.added),
                "extended": [{"panel": c, "readings": n} for c, n in self.result.extended],
                "already": list(self.result.already),
                "again": list(self.result.again),
                "left_out": [{"panel": c, "reason": r} for c, r in self.result.refused],
                "differing": [{"panel": c, "what": w} for c, w in self.result.differing],
                "readings_added": self.result.readings,
            }
        else:
            told["restored"] = self.restored
        return told


def is_bundle(path: str | Path) -> bool:
    """Whether a file is a backup that ``export`` wrote, rather than a spreadsheet.

    Parameters
    ----------
    path : str or Path
        The file; an XLSX file is a zip too.

    Returns
    -------
    bool
        True for a zip file without the parts of a spreadsheet.
    """
    import zipfile

    try:
        if not Path(path).is_file() or not zipfile.is_zipfile(path):
            return Path(path).suffix.casefold() == ".zip" and Path(path).is_file()
        with zipfile.ZipFile(path) as held:
            names = held.namelist()
    except (OSError, zipfile.BadZipFile):
        return Path(path).suffix.casefold() == ".zip"
    return _BUNDLE_MARK in names or "[Content_Types].xml" not in names


def import_file(
    archive: str | Path,
    path: str | Path,
    *,
    keep_good: bool = False,
    scale: str | None = None,
    decimal: str = ".",
    sheet: str | None = None,
    who: str = "",
) -> Imported:
    """Take a file's panels into an archive, which is made if there is none.

    Parameters
    ----------
    archive : str or Path
        File or URL of the archive.
    path : str or Path
        Table, CGATS, CxF, or a backup in a zip.
    keep_good : bool
        Take the good rows though others are refused.
    scale : str, optional
        Declared reflectance scale, ``unit`` or ``percent``.
    decimal : str
        Declared decimal sign.
    sheet : str, optional
        Sheet of a spreadsheet.
    who : str
        For the history.

    Returns
    -------
    Imported
        What became of it.

    Raises
    ------
    MatchlibError
        If the file or the archive is refused; nothing is made or changed then.
    """
    from matchlib.archive import Archive, import_bundle
    from matchlib.readings import read_file

    bundle = is_bundle(path)
    if bundle:
        # Tried in a place of its own first, so that a damaged backup leaves no archive behind.
        with tempfile.TemporaryDirectory() as room, _open(Path(room, "trial.db")) as trial:
            import_bundle(path, trial)
        report = None
    else:
        report = read_file(path, keep_good=keep_good, scale=scale, decimal=decimal, sheet=sheet)
    created = "://" not in str(archive) and not os.path.exists(archive)
    if created and not Path(archive).absolute().parent.is_dir():
        raise ArchiveError(
            "There is no folder for this archive.",
            where=str(archive),
            remedy="make the folder first, or check the path.",
        )
    with Archive.open(archive, create=True) as kept:
        if report is None:
            return Imported(kept.label, created, restored=import_bundle(path, kept))
        result = kept.add(
            report.panels,
            file=report.file,
            sha256=report.sha256,
            who=who,
            on_duplicate="skip" if keep_good else "refuse",
        )
        return Imported(kept.label, created, report, result)


def _open(path: Path) -> Any:
    from matchlib.archive import Archive

    return Archive.open(path, create=True)
