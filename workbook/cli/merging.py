"""The command that takes another archive in."""

from __future__ import annotations

import sys
from typing import Annotated

from workbook.cli.common import (
    ArchiveOption,
    JsonOption,
    WhoOption,
    WhyOption,
    answers_of,
    opened,
    show,
    show_json,
)
from workbook.cli.importing import typed
from workbook.cli.options import Argument, Option

__all__: list[str] = []


def _merge(
    *,
    other: Annotated[
        str, Argument(help="The other archive: a file, a database, or a backup of one.")
    ],
    archive: ArchiveOption = "panels.db",
    prefix: Annotated[
        str,
        Option(help="Put before those of its codes that other panels have here.", metavar="TEXT"),
    ] = "",
    answer: Annotated[
        list[str] | None, Option(help="Answer what is left open.", metavar="KEY=ANSWER")
    ] = None,
    dry_run: Annotated[bool, Option(help="Say what would be joined, and change nothing.")] = False,
    who: WhoOption = "",
    why: WhyOption = "",
    json_: JsonOption = False,
) -> None:
    """Take the panels, names and jobs of another archive in; one undo takes it all back.

    Codes that other panels have here, and names much like those here, are asked about. The other
    archive is not changed.
    """
    from matchlib.archive import apart, merge

    answers = answers_of(answer)
    with apart(other) as theirs, opened(archive, write=True) as session:
        ours = session.archive
        if dry_run or (sys.stdin.isatty() and not json_):
            seen = merge(ours, theirs, answers, prefix=prefix, dry_run=True)
            while seen.open and not dry_run:
                answers |= {q.key: typed(q) for q in seen.open}
                seen = merge(ours, theirs, answers, prefix=prefix, dry_run=True)
        if not dry_run:
            seen = merge(ours, theirs, answers, prefix=prefix, who=who, why=why)
    if json_:
        show_json(seen)
        return
    open_ = [q.words() for q in seen.open]
    would = ["What a merge would do:"] if dry_run else []
    show("\n".join([*open_, *would, seen.text]))
    if dry_run:
        show("Nothing was changed: this was a dry run.")
    elif seen.change is not None:
        show(f"To take that back: workbook undo {seen.change}")
