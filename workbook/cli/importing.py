"""The import command: files in, with questions where they leave something open."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import click

from matchlib.errors import ImportRefused, MatchlibError
from workbook.cli.common import (
    ArchiveOption,
    FileOptions,
    JsonOption,
    WhoOption,
    note,
    show,
    show_json,
    standard_input,
)
from workbook.cli.options import Argument, Option
from workbook.cli.printing import table

if TYPE_CHECKING:
    from matchlib.readings import ImportReport, Question
    from workbook.session.intake import HowToRead

__all__ = ["typed"]


@dataclass(frozen=True, slots=True)
class SaidOptions:
    """What files do not say of themselves.

    `illuminant`, `observer`, `geometry`, `source`, `instrument`: what holds where a file says
    nothing. `answers`: file of answers. `profile`: name of the answers kept for this kind of file.
    `sheet`: sheet of a spreadsheet. `replace`, `keep`, `repeats`: what holds where a panel is known
    and the file says otherwise.
    """

    illuminant: Annotated[
        str | None, Option(help="Light, where the file names none: D65, D50, A …")
    ] = None
    observer: Annotated[
        str | None, Option(help="Observer, where the file names none: 2 or 10.")
    ] = None
    geometry: Annotated[
        str | None,
        Option(help="Geometry, where the file names none: 45:0, di:8, de:8, 45as15 …"),
    ] = None
    source: Annotated[
        str | None,
        Option(help="How it was read, where the file does not say: spectro, photo, none."),
    ] = None
    instrument: Annotated[str | None, Option(help="The instrument, where the file names none.")] = (
        None
    )
    answers: Annotated[
        str | None, Option(help="File of answers: a JSON object by key.", metavar="FILE")
    ] = None
    profile: Annotated[
        str | None, Option(help="Use, and keep, the answers for this kind of file.")
    ] = None
    sheet: Annotated[str | None, Option(help="One sheet of a spreadsheet.")] = None
    replace: Annotated[bool, Option(help="Where a known panel differs, the file holds.")] = False
    keep: Annotated[bool, Option(help="Where a known panel differs, the archive holds.")] = False
    repeats: Annotated[bool, Option(help="Other readings of a known panel are repeats.")] = False

    def __post_init__(self) -> None:
        if self.replace + self.keep + self.repeats > 1:
            raise click.BadParameter("give one of --replace, --keep and --repeats")

    def how(self, readings: FileOptions) -> HowToRead:
        """Return it with the other declarations, as a session takes it."""
        from matchlib.readings import file_text, read_answers
        from workbook.session.intake import HowToRead

        given = {}
        if self.answers is not None:
            given = read_answers(file_text(self.answers), self.answers)
        names = ("illuminant", "observer", "geometry", "source", "instrument")
        facts = {n: str(v) for n in names if (v := getattr(self, n)) is not None}
        known: Any = next((n for n in ("replace", "keep", "repeats") if getattr(self, n)), "ask")
        how = HowToRead(facts, sheet=self.sheet, profile=self.profile, known=known)
        declared = readings.declared
        return replace(how, **(declared | {"answers": given | declared["answers"]}))


def _import(
    *,
    files: Annotated[
        list[str] | None,
        Argument(
            help="CSV, XLSX, ODS, CGATS, CxF, folders of such, or one backup (.zip), "
            "- for what is piped in. Readings in one file and backs in another meet by code."
        ),
    ] = None,
    archive: ArchiveOption = "panels.db",
    keep_good: Annotated[
        bool, Option(help="Take the good rows though others are refused.")
    ] = False,
    readings: FileOptions,
    stated: SaidOptions,
    dry_run: Annotated[bool, Option(help="Say what would be taken, and change nothing.")] = False,
    report: Annotated[
        str | None,
        Option(
            help="Write every row with every reason to this CSV file; corrected, it imports.",
            metavar="FILE",
        ),
    ] = None,
    watch: Annotated[
        str | None,
        Option(help="Take files as they appear in this folder.", metavar="FOLDER"),
    ] = None,
    who: WhoOption = "",
    json_: JsonOption = False,
) -> None:
    """Take files of past panels into the archive, which is made if there is none.

    What a file leaves open and would change a colour is asked, once for the file. All rows are
    taken or none, unless --keep-good is given; the report says which rows were refused and why.
    Importing the same file twice doubles nothing.
    """
    from workbook.session.intake import import_file, preview

    how = stated.how(readings)
    if watch is not None:
        _watch(archive, watch, how, keep_good=keep_good, who=who, json_=json_)
        return
    if not files:
        raise click.BadParameter("name a file, a folder, or --watch FOLDER")
    with standard_input(files) as paths:
        if dry_run:
            seen = preview(archive, paths, how)
            _save(seen, report)
            show_json(seen) if json_ else show(_previewed(seen))
            return
        if sys.stdin.isatty() and not json_:
            how = _asked(archive, paths, how)
        try:
            done = import_file(archive, paths, how, keep_good=keep_good, who=who)
        except ImportRefused as error:
            refused: ImportReport = error.report  # type: ignore[assignment]  # what the readers put there
            _save(refused, report)
            if json_:
                show_json(refused)
            raise
        if done.report is not None:
            _save(done.report, report)
        show_json(done) if json_ else show(done.text)


def _watch(
    archive: str, folder: str, how: HowToRead, *, keep_good: bool, who: str, json_: bool
) -> None:
    from workbook.session.intake import watch_folder

    note(f"Watching {folder}; Ctrl-C ends it.")
    for path, done in watch_folder(archive, folder, how, keep_good=keep_good, who=who):
        if isinstance(done, MatchlibError):
            note(str(done))
        else:
            show_json(done) if json_ else show(f"{path.name}: {done.text}")


def _save(report: ImportReport, path: str | None) -> None:
    from matchlib.readings.writing import save_bytes

    if path is not None:
        save_bytes(report.table().encode("utf-8-sig"), Path(path))


def _previewed(report: ImportReport) -> str:
    """The first rows as understood, then the report."""
    from workbook.session.intake import as_understood

    header, rows = as_understood(report)
    head = table(header, rows) if rows else ""
    return f"{head}\n\n{report.text()}\nNothing was changed: this was a dry run."


def _asked(archive: str, files: list[str], how: HowToRead) -> HowToRead:
    """Ask at the keyboard what the files leave open."""
    from workbook.session.intake import is_bundle, preview

    while not any(map(is_bundle, files)):
        waiting = preview(archive, files, how).open
        if not waiting:
            break
        given = {q.key: typed(q) for q in waiting}
        how = replace(how, answers={**how.answers, **given})
    return how


def typed(question: Question) -> str:
    """Ask a question at the keyboard until it is answered."""
    note(f"\n{question.text}")
    for i, choice in enumerate(question.choices, 1):
        means = f" ({choice.means})" if choice.means else ""
        note(f"  {i}  {choice.text}{means}")
    number = click.prompt("Number", type=int, err=True)
    if not 1 <= number <= len(question.choices):
        note(f"One of 1 to {len(question.choices)}.")
        return typed(question)
    return str(question.choices[number - 1].key)
