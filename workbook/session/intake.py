"""Files into an archive: read, judged and asked about before anything is made or changed."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from matchlib.errors import ArchiveError, FileError, MatchlibError
from matchlib.plural import counted

if TYPE_CHECKING:
    from matchlib.archive import AddResult, Archive
    from matchlib.readings import ImportReport, Stated

__all__ = [
    "HowToRead",
    "Imported",
    "as_understood",
    "import_file",
    "is_bundle",
    "preview",
    "sent_file",
    "watch_folder",
]

_BUNDLE_MARK = "manifest.json"
_PROFILE = "import"
_ENDINGS = (".csv", ".tsv", ".txt", ".xlsx", ".ods", ".cxf", ".xml", ".cgats", ".it8", ".ti3")


@dataclass(frozen=True, slots=True)
class HowToRead:
    """What the user says of files beside their content.

    `facts`: what holds where the files say nothing: ``illuminant``, ``observer``, ``geometry``,
    ``source``, ``instrument``. `scale`: declared reflectance scale, ``unit`` or ``percent``.
    `decimal`: declared decimal sign. `sheet`: sheet of a spreadsheet. `answers`: answer by key of
    question. `profile`: name of the profile of this kind of file, used and kept; one of a file with
    the same columns is used without it. `known`: what holds where a panel is known and the file
    says otherwise: refuse and say what, the archive, the file; or both, other readings being
    repeats of the same card.
    """

    facts: Mapping[str, str] = field(default_factory=dict)
    scale: str | None = None
    decimal: str | None = None
    sheet: str | None = None
    answers: Mapping[str, str] = field(default_factory=dict)
    profile: str | None = None
    known: Literal["ask", "keep", "replace", "repeats"] = "ask"


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of a file.

    `archive`: archive it went into. `created`: whether the archive was made for it. `report`: rows
    taken and refused; None for a bundle. `result`: what the archive did with them; None for a
    bundle. `restored`: panels restored from a bundle, the deleted ones included. `profile`: under
    which its answers were kept.
    """

    SHOWN: ClassVar = (
        *("archive", "created", ("", "report"), ("", "result"), "restored", "profile"),
    )

    archive: str
    created: bool
    report: ImportReport | None = None
    result: AddResult | None = None
    restored: int | None = None
    profile: str | None = None

    @property
    def text(self) -> str:
        """What happened, in plain words, a line each."""
        lines = [f"A new archive was made: {self.archive}"] if self.created else []
        if self.report is not None and self.result is not None:
            lines.append(self.report.text())
            lines.append(self.result.words)
            lines += [f"Differs: {code}: {what}" for code, what in self.result.differing]
            lines += [f"Replaced: {code}: {what}" for code, what in self.result.replaced]
            lines += [f"Left out: {code}: {why}" for code, why in self.result.refused]
            if self.result.again:
                lines.append(
                    "Removed earlier and added again: " + ", ".join(self.result.again) + "."
                )
        else:
            lines.append(f"{counted(self.restored or 0, 'panel')} restored from the backup.")
        if self.profile:
            lines.append(f"The answers were kept as the profile {self.profile!r}.")
        return "\n".join(lines)


@contextmanager
def sent_file(name: str, content: bytes) -> Iterator[Path]:
    """A file that a browser sent, under its own name for as long as it is read."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / (Path(name.replace("\\", "/")).name or "file")
        file.write_bytes(content)
        yield file


def is_bundle(path: str | Path) -> bool:
    """Whether a file is a backup that ``export`` wrote, rather than a spreadsheet.

    `path`: the file; XLSX and ODS files are zips too.
    """
    import zipfile

    named = Path(path).suffix.casefold() == ".zip"
    try:
        if not Path(path).is_file():
            return False
        if not zipfile.is_zipfile(path):
            return named
        with zipfile.ZipFile(path) as held:
            names = held.namelist()
    except (OSError, ValueError, zipfile.BadZipFile):
        return named
    return _BUNDLE_MARK in names or not {"[Content_Types].xml", "content.xml"} & set(names)


def preview(
    archive: str | Path, paths: str | Path | Sequence[str | Path], how: HowToRead = HowToRead()
) -> ImportReport:
    """Read files as an import would, and change nothing.

    `archive`: the archive they would go into; need not be there. Its names, its panels and the
    profiles of earlier files are known. `paths`: tables, CGATS, CxF; folders stand for the files in
    them.
    """
    from matchlib.archive import Archive

    if "://" not in str(archive) and not os.path.exists(archive):
        return _read(None, _listed(paths), how)[0]
    with Archive.open(archive, read_only=True) as kept:
        return _read(kept, _listed(paths), how)[0]


def as_understood(report: ImportReport) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The names and cells of the first rows of a file as they were understood, for a table.

    Returned: what is unsure of each row last, by the keys of the questions.
    """
    names = list(dict.fromkeys(n for seen in report.preview for n in seen if n != "unsure"))
    shown = [n for n in names if n not in ("readings", "recipe")][:10]
    shown += [n for n in ("readings",) if n in names]
    rows = []
    for seen in report.preview:
        cells = {**seen, "readings": "; ".join(seen.get("readings", ()))}
        rows.append((*(str(cells.get(n, "")) for n in shown), ", ".join(seen["unsure"])))
    return (*shown, "unsure"), rows


def import_file(
    archive: str | Path,
    paths: str | Path | Sequence[str | Path],
    how: HowToRead = HowToRead(),
    *,
    keep_good: bool = False,
    who: str = "",
) -> Imported:
    """Take files' panels into an archive, which is made if there is none."""
    from matchlib.archive import Archive, import_bundle
    from matchlib.readings import accepted

    listed = _listed(paths)
    bundle = next((p for p in listed if is_bundle(p)), None)
    created = "://" not in str(archive) and not os.path.exists(archive)
    found = None
    if bundle is not None:
        if len(listed) > 1:
            raise FileError("A backup is restored by itself.", remedy="give it alone.")
        # Tried in a place of its own first, so that a damaged backup leaves no archive behind.
        with (
            tempfile.TemporaryDirectory() as room,
            Archive.open(Path(room, "trial.db"), create=True) as trial,
        ):
            import_bundle(bundle, trial)
    elif created:
        found = _read(None, listed, how)
        accepted(found[0], keep_good=keep_good)
    if created and not Path(archive).absolute().parent.is_dir():
        raise ArchiveError(
            "There is no folder for this archive.",
            where=str(archive),
            remedy="make the folder first, or check the path.",
        )
    with Archive.open(archive, create=True) as kept:
        if bundle is not None:
            return Imported(kept.label, created, restored=import_bundle(bundle, kept))
        report, profile = found or _read(kept, listed, how)
        accepted(report, keep_good=keep_good)
        otherwise: Literal["skip", "refuse"] = "skip" if keep_good else "refuse"
        result = kept.add(
            report.panels,
            file=report.file,
            sha256=report.sha256,
            who=who,
            on_duplicate=how.known if how.known in ("keep", "replace") else otherwise,
            strict=how.known != "repeats",
            repeats=report.met,  # what gives readings alone has read a known card again
        )
        given = {q.key: q.answer for q in report.questions if q.answer is not None}
        name = (profile or Path(listed[0]).stem[:80]) if given else None
        if name:
            data = {"columns": _signature(report), "answers": given}
            kept.keep_profile(_PROFILE, name, data, who=who)
        return Imported(kept.label, created, report, result, profile=name)


def watch_folder(
    archive: str | Path,
    folder: str | Path,
    how: HowToRead = HowToRead(),
    *,
    keep_good: bool = False,
    who: str = "",
) -> Iterator[tuple[Path, Imported | MatchlibError]]:
    """Take each file that appears in a folder, as an instrument writes them, for ever.

    `folder`: looked at every 2 s; what lies in it at the start is taken as well.
    """
    seen: dict[Path, tuple[int, int]] = {}
    done: dict[Path, tuple[int, int]] = {}
    while True:
        for path in _files_in(Path(folder)):
            try:
                status = path.stat()
            except OSError:
                continue  # taken away between two looks
            now = (status.st_size, status.st_mtime_ns)
            still = seen.get(path) == now  # else it may still be being written
            seen[path] = now
            if not still or done.get(path) == now or not status.st_size:
                continue
            done[path] = now
            try:
                yield path, import_file(archive, path, how, keep_good=keep_good, who=who)
            except MatchlibError as error:
                yield path, error
        time.sleep(2.0)


def _files_in(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise FileError("This folder is not there.", where=str(folder), remedy="check the path.")
    return sorted(p for p in folder.iterdir() if p.suffix.casefold() in _ENDINGS and p.is_file())


def _listed(paths: str | Path | Sequence[str | Path]) -> list[Path]:
    given = [paths] if isinstance(paths, str | Path) else list(paths)
    found: list[Path] = []
    for path in map(Path, given):
        if not os.path.isdir(path):
            found.append(path)
            continue
        inside = _files_in(path)
        if not inside:
            raise FileError(
                "This is not a file, and the folder holds no table.",
                expected="files that end in " + ", ".join(_ENDINGS),
                where=str(path),
                remedy="name the table's file, or the folder it is in.",
            )
        found += inside
    return found


def _read(
    archive: Archive | None, paths: Sequence[Path], how: HowToRead
) -> tuple[ImportReport, str | None]:
    """The report, and the name of the profile that was used or is to be kept."""
    from matchlib.readings import Stated, understand

    profiles = archive.profiles(_PROFILE) if archive is not None else {}
    stated: Stated = Stated(how.facts, how.decimal, how.scale)
    if archive is not None:
        names = {kind: _spellings(archive, kind) for kind in ("ground", "colour")}
        stated = replace(stated, names=names, panels=_Known(archive))
    answers = {**_answers_of(profiles.get(how.profile or "")), **how.answers}
    report = understand(paths, answers=answers, stated=stated, sheet=how.sheet)
    if not report.open or how.profile:
        return report, how.profile
    columns = _signature(report)
    for name, data in profiles.items():
        if columns and isinstance(data, dict) and data.get("columns") == columns:
            answers = {**_answers_of(data), **how.answers}
            again = understand(paths, answers=answers, stated=stated, sheet=how.sheet)
            note = f"questions were answered as last time, by the profile {name!r}."
            return replace(again, assumed=(*again.assumed, note)), name
    return report, None


def _spellings(archive: Archive, kind: str) -> list[str]:
    """Every spelling of the names in use; one on no card, as after an undo, is new again."""
    from matchlib.archive import all_names

    used = [name for name, uses in all_names(archive, kind) if uses or name.lots]
    return [text for name in used for text in (name.name, *name.spellings)]


def _answers_of(profile: Any) -> dict[str, str]:
    answers = profile.get("answers") if isinstance(profile, dict) else None
    return {str(k): str(v) for k, v in answers.items()} if isinstance(answers, dict) else {}


def _signature(report: ImportReport) -> list[str]:
    return [" ".join(name.casefold().split()) for name, *_ in report.columns][:200]


class _Known(Mapping[str, Any]):
    """The panels of an archive by code, read only when a reading without a back needs one."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._panels: dict[str, Any] | None = None

    def _all(self) -> dict[str, Any]:
        if self._panels is None:
            self._panels = {p.code: p for p in self._archive.panels()}
        return self._panels

    def __getitem__(self, code: str) -> Any:
        return self._all()[code]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all())

    def __len__(self) -> int:
        return len(self._archive)
