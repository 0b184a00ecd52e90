"""Commands for the archive itself: import, export, history, undo, check."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from workbook.cli.common import (
    ArchiveOption,
    FileOptions,
    JsonOption,
    WhoOption,
    note,
    show,
    show_json,
)

if TYPE_CHECKING:
    from matchlib.archive import Change

__all__ = ["COMMANDS"]


def _import(
    *,
    file: Annotated[str, typer.Argument(help="CSV, XLSX, CGATS, CxF, or a backup (.zip).")],
    archive: ArchiveOption = "panels.db",
    keep_good: Annotated[
        bool, typer.Option("--keep-good", help="Take the good rows though others are refused.")
    ] = False,
    readings: FileOptions,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a spreadsheet.")] = None,
    who: WhoOption = "",
    json_: JsonOption = False,
) -> None:
    """Take a file of past panels into the archive, which is made if there is none.

    All rows are taken or none, unless --keep-good is given; the report says which rows were
    refused and why. Importing the same file twice doubles nothing.
    """
    from workbook.session import import_file

    done = import_file(
        archive,
        file,
        keep_good=keep_good,
        **readings.declared,
        sheet=sheet,
        who=who,
    )
    show_json(done.as_dict()) if json_ else show(done.text)


def _export(
    *,
    file: Annotated[str, typer.Argument(help="Where to: .csv, .xlsx, or .zip for a backup.")],
    archive: ArchiveOption = "panels.db",
    customers: Annotated[
        bool, typer.Option("--customers", help="Let customers' names go with it.")
    ] = False,
    json_: JsonOption = False,
) -> None:
    """Write the panels as a table that imports to the same archive, or all of it as a backup."""
    from workbook.session import Session

    with Session.open(archive, write=False) as session:
        done = session.export(file, customers=customers)
    show_json(done.as_dict()) if json_ else show(done.text)


def _history(
    *,
    panel: Annotated[str | None, typer.Argument(help="Code of a panel; all without it.")] = None,
    archive: ArchiveOption = "panels.db",
    json_: JsonOption = False,
) -> None:
    """Show what was changed, when and by whom; numbers are for undo."""
    from workbook.cli.printing import table
    from workbook.session import Session

    with Session.open(archive, write=False) as session:
        changes = session.history(panel)
    if json_:
        show_json(
            [
                {
                    "change": c.number,
                    "at": c.at.isoformat(),
                    "who": c.who,
                    "why": c.why,
                    "panel": c.panel,
                    "action": c.action,
                    "words": c.words,
                    "undoes": c.undoes,
                    "file": c.file,
                }
                for c in changes
            ]
        )
        return
    rows = [_line(together) for together in _runs(changes)]
    header = ("change", "when (UTC)", "who", "panel", "what", "why or file")
    show(table(header, rows, right="r") if rows else "Nothing was ever changed.")


def _runs(changes: Sequence[Change]) -> list[list[Change]]:
    """Changes in order; panels added from one file one after the other are together."""
    runs: list[list[Change]] = []
    for change in changes:
        last = runs[-1][-1] if runs else None
        follows = (
            last is not None
            and change.action == last.action == "added"
            and change.file == last.file != ""
            and (change.number, change.who) == (last.number + 1, last.who)
        )
        if follows:
            runs[-1].append(change)
        else:
            runs.append([change])
    return runs


def _line(together: list[Change]) -> tuple[str, ...]:
    first, last = together[0], together[-1]
    number, panel, words = str(first.number), first.panel, first.words
    if len(together) > 1:
        number, panel = f"{first.number}-{last.number}", f"{first.panel} to {last.panel}"
        words = f"{len(together)} panels added"
    return number, f"{first.at:%Y-%m-%d %H:%M}", first.who, panel, words, first.why or first.file


def _undo(
    *,
    change: Annotated[int, typer.Argument(help="Number of the change, from history.")],
    archive: ArchiveOption = "panels.db",
    who: WhoOption = "",
    why: Annotated[str, typer.Option(help="Why, for the history.")] = "",
    json_: JsonOption = False,
) -> None:
    """Undo one change; the undoing is itself a change that can be undone."""
    from workbook.session import Session

    with Session.open(archive) as session:
        done = session.undo(change, who=who, why=why)
    if json_:
        show_json({"change": done.number, "panel": done.panel, "words": done.words})
    else:
        show(
            f"Panel {done.panel}: change {change} was undone. "
            f"To take that back: workbook undo {done.number}"
        )


def _check(*, archive: ArchiveOption = "panels.db", json_: JsonOption = False) -> None:
    """Look the archive through for damage; ends with 1 if there is any."""
    from workbook.session import Session

    with Session.open(archive, write=False) as session:
        faults = session.archive.check()
        panels = len(session.archive)
    if json_:
        show_json({"panels": panels, "faults": list(faults)})
    elif not faults:
        show(f"All is well: {panels} panels, no damage found.")
    for fault in faults:
        note(fault)
    if faults:
        raise typer.Exit(1)


COMMANDS = {
    "import": _import,
    "export": _export,
    "history": _history,
    "undo": _undo,
    "check": _check,
}
"""By name, in the order in which they are told of."""
