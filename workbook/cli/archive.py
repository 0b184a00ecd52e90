"""Commands for the archive itself: export, history, undo, check."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path
from typing import Annotated

import click

from matchlib.plural import counted
from workbook.cli.common import (
    ArchiveOption,
    ArchiveOptions,
    ChangeOptions,
    JsonOption,
    note,
    opened,
    show,
    show_json,
)
from workbook.cli.names import near_told
from workbook.cli.options import Argument, Option
from workbook.cli.printing import table

__all__: list[str] = []


def _export(
    *,
    file: Annotated[
        str,
        Argument(help="Where to: .csv, .xlsx, .cgats, .cxf, or .zip for all of it; - prints CSV."),
    ],
    archive: ArchiveOption = "panels.db",
    customers: Annotated[bool, Option(help="Whether customers' names go with it.")] = True,
    json_: JsonOption = False,
) -> None:
    """Write the panels as a table that imports to the same archive, or all of it as a backup."""
    from matchlib.archive import export_bundle, export_table

    to = Path(file)
    with opened(archive) as session:
        if file == "-":
            with tempfile.TemporaryDirectory() as folder:
                made = Path(folder, "panels.csv")
                export_table(session.archive, made, customers=customers)
                click.echo(made.read_bytes(), nl=False)
            return
        if to.suffix.casefold() == ".zip":
            export_bundle(session.archive, to, customers=customers)
            panels = len(session.archive)
        else:
            panels = export_table(session.archive, to, customers=customers)
    if json_:
        show_json({"file": to, "panels": panels, "customers": customers})
    else:
        names = "with" if customers else "without"
        show(f"{panels} panels written to {to}, {names} customers' names.")


def _history(
    *,
    which: Annotated[
        str | None,
        Argument(
            help="Code of a panel, or numbers of changes: 7, or 1-20; all without it.",
            metavar="PANEL|NUMBERS",
        ),
    ] = None,
    asked: ArchiveOptions,
) -> None:
    """Show what was changed, when and by whom; numbers are for undo.

    What is the code of a panel too means the panel; 7-7 is change 7.
    """
    from matchlib.errors import ArchiveError

    with asked.opened() as session:
        ends = None if which is None else _ends(which)
        try:
            changes = session.archive.history(which)
        except ArchiveError:
            if ends is None:
                raise
            changes = session.archive.history(numbers=ends)
    rows = [
        (str(c.number), f"{c.at:%Y-%m-%d %H:%M}", c.who, c.subject, c.words, c.why or c.file)
        for c in changes
    ]
    header = ("change", "when (UTC)", "who", "what of", "what", "why or file")
    none = "Nothing was ever changed." if which is None else "There is no such change."
    asked.answer(changes, table(header, rows, right="r") if rows else none)


def _ends(numbers: str) -> tuple[int, int] | None:
    """The first and the last of numbers of changes, such as 7 or 1-20; None if it is no such."""
    found = re.fullmatch(r"(\d{1,18})(?:-(\d{1,18}))?", numbers.strip(), re.ASCII)
    if found is None:
        return None
    first, last = int(found[1]), int(found[2] or found[1])
    return (first, last) if 1 <= first < 2**31 and 1 <= last < 2**31 else None


def _undo(
    *,
    change: Annotated[
        str,
        Argument(help="Number of a change, from history, or a range: 1-20.", metavar="NUMBER"),
    ],
    undoing: ChangeOptions,
) -> None:
    """Undo one change, or a range of them; the undoing can itself be undone.

    An import is one change. Of a range the last is undone first, and nothing is undone if one of
    them cannot be.
    """
    ends = _ends(change)
    if ends is None:
        raise click.BadParameter(f"a number such as 7, or a range such as 1-20, not {change!r}")
    first, last = ends
    with undoing.opened(write=True) as session:
        numbers = session.archive.undo_range(first, last, **undoing.said)
        done = session.archive.history(numbers=numbers)
    back = str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]}-{numbers[-1]}"
    if undoing.json_ and first == last:
        show_json({"change": done[0].number, "of": done[0].subject, "words": done[0].words})
    elif undoing.json_:
        undone = [{"change": c.number, "undoes": c.undoes, "of": c.subject} for c in done]
        show_json({"undone": undone})
    else:
        one = len(done) == 1
        what = (
            f"{done[0].subject}: change {first} was" if one else f"Changes {first} to {last} were"
        )
        show(f"{what} undone. To take that back: workbook undo {back}")


def _check(*, asked: ArchiveOptions) -> None:
    """Look the archive through for damage; ends with 1 if there is any.

    Names that may be one under two spellings are shown too; they are no damage.
    """
    from matchlib.archive import near_spellings

    with asked.opened() as session:
        faults = session.archive.check()
        panels = len(session.archive)
        near, words = near_told(() if faults else near_spellings(session.archive))
    if asked.json_:
        show_json({"panels": panels, "faults": faults, "near": near})
    elif not faults:
        show(f"All is well: {counted(panels, 'panel')}, no damage found.")
        if words:
            show(words)
    for fault in faults:
        note(fault)
    if faults:
        raise click.exceptions.Exit(1)
