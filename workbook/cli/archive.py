"""Commands for the archive itself: export, history, undo, check."""

from __future__ import annotations

from typing import Annotated

import typer

from workbook.cli.common import (
    ArchiveOption,
    JsonOption,
    WhoOption,
    note,
    show,
    show_json,
)

__all__ = ["COMMANDS"]


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
                    "items": [{"kind": i.kind, "name": i.name, "words": i.words} for i in c.items],
                    "action": c.action,
                    "words": c.words,
                    "undoes": c.undoes,
                    "file": c.file,
                }
                for c in changes
            ]
        )
        return
    rows = [
        (
            str(c.number),
            f"{c.at:%Y-%m-%d %H:%M}",
            c.who,
            c.subject,
            c.words,
            c.why or c.file,
        )
        for c in changes
    ]
    header = ("change", "when (UTC)", "who", "what of", "what", "why or file")
    show(table(header, rows, right="r") if rows else "Nothing was ever changed.")


def _undo(
    *,
    change: Annotated[
        int, typer.Argument(min=1, max=2**31 - 1, help="Number of the change, from history.")
    ],
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
        show_json({"change": done.number, "of": done.subject, "words": done.words})
    else:
        show(
            f"{done.subject}: change {change} was undone. "
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
    "export": _export,
    "history": _history,
    "undo": _undo,
    "check": _check,
}
"""By name, in the order in which they are told of."""
