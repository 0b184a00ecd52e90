"""Commands that keep an archive safe: backup, restore, salvage."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal

import click

from workbook.cli.common import (
    ArchiveOptions,
    ChangeOptions,
    JsonOption,
    WhoOption,
    show,
    show_json,
)
from workbook.cli.options import Argument, Option
from workbook.cli.printing import table

__all__: list[str] = []


def _backup(
    *,
    file: Annotated[
        str | None,
        Argument(help="Where to; among the archive's own backups without it."),
    ] = None,
    list_: Annotated[bool, Option(help="List the backups there are.")] = False,
    asked: ArchiveOptions,
) -> None:
    """Copy the archive whole, customers, photos and history too.

    The newest ten are kept beside the archive, or in your own data folder where it is on a server.
    One is made by itself before the first change of a day, before every upgrade, merge and restore.
    A file that ends in .zip is written as export does it.
    """
    from matchlib.archive import Archive, back_up, backups_of, export_bundle

    if not list_:
        with Archive.open(asked.archive, read_only=True) as kept:
            if file is not None and Path(file).suffix.casefold() == ".zip":
                made = export_bundle(kept, file)
            else:
                made = back_up(kept, to=file)
        asked.answer({"file": made}, f"The backup is {made}")
        return
    found = backups_of(asked.archive)
    if asked.json_:
        plain = [{"file": str(b.path), "at": b.at.isoformat(), "why": b.why} for b in found]
        show_json(plain)
    elif found:
        rows = [(str(i), f"{b.at:%Y-%m-%d %H:%M}", b.why) for i, b in enumerate(found, 1)]
        show(table(("", "made", "why"), rows, right="r"))
        show(f"They are in {found[0].path.parent}. To see one: workbook restore --from 1 --dry-run")
    else:
        show("There is no backup yet.")


def _restore(
    *,
    panel: Annotated[str | None, Argument(help="Code of a panel that was removed.")] = None,
    stage: Annotated[bool, Option(help="The stage of it that was removed last.")] = False,
    reading: Annotated[bool, Option(help="The reading of it that was removed last.")] = False,
    backup: Annotated[
        str | None,
        Option(
            "--from",
            help="The whole archive from a backup: a file, last, or a number of backup --list.",
            metavar="BACKUP",
        ),
    ] = None,
    dry_run: Annotated[bool, Option(help="Look at both, and change nothing.")] = False,
    yes: Annotated[bool, Option(help="Do not ask first.")] = False,
    over_newer: Annotated[
        bool, Option(help="Give up changes that the backup does not have.")
    ] = False,
    change: ChangeOptions,
) -> None:
    """Take back a panel that was removed, or the whole archive from a backup.

    Of a panel, it may be the stage or reading that was removed last. Of the archive, both are
    shown first, and what is here is kept among the backups before it gives way.
    """
    if (panel is None) == (backup is None):
        raise click.BadParameter("name a panel, or a backup with --from")
    if panel is not None:
        if stage and reading:
            raise click.BadParameter("give --stage or --reading, not both")
        _take_back(panel, "stage" if stage else "reading" if reading else "panel", change)
        return
    from matchlib.archive import restore
    from matchlib.errors import ArchiveError
    from matchlib.plain import shown

    chosen = _chosen(change.archive, str(backup))
    seen = restore(change.archive, chosen, dry_run=True)
    if not change.json_:
        show(seen.text)
    if not (dry_run or yes):
        if not sys.stdin.isatty():
            raise ArchiveError(
                "Nothing was restored, for nobody could be asked.",
                remedy="look at it with --dry-run, then say --yes.",
            )
        click.confirm("Restore it?", abort=True, err=True)
    if not dry_run:
        seen = restore(change.archive, chosen, over_newer=over_newer, looked=seen)
    if change.json_:
        show_json({**shown(seen), "restored": not dry_run})
    elif dry_run:
        show("Nothing was changed: this was a dry run.")
    else:
        gone = "" if seen.kept is None else f" What was here before is kept: {seen.kept}"
        show(f"Restored: {seen.backup.words}.{gone}")


def _take_back(
    panel: str, what: Literal["panel", "stage", "reading"], change: ChangeOptions
) -> None:
    """Take back a panel that was removed, or its stage or reading that was removed last."""
    with change.opened(write=True) as session:
        number = session.archive.restore(panel, what=what, **change.said)
    back = f"Panel {panel}" if what == "panel" else f"The {what} of panel {panel}"
    change.tell(number, f"{back} is back.", f"{back} was not removed.")


def _chosen(archive: str, typed: str) -> str | Path:
    """The backup that is meant: a file, or one of the archive's own by its place in the list."""
    from matchlib.archive import backups_of
    from matchlib.errors import ArchiveError

    number = 1 if typed == "last" else int(typed) if typed.isascii() and typed.isdigit() else 0
    if not number or Path(typed).exists():
        return typed
    found = backups_of(archive)
    if number > len(found):
        raise ArchiveError(
            "There is no such backup.",
            expected=f"1 to {len(found)}" if found else None,
            got=typed,
            where=archive.rpartition("@")[2],
            remedy="see them with 'workbook backup --list', or name a file.",
        )
    return found[number - 1].path


def _salvage(
    *,
    damaged: Annotated[str, Argument(help="The damaged archive's file.")],
    into: Annotated[str, Argument(help="The new archive to be made of it.")],
    who: WhoOption = "",
    json_: JsonOption = False,
) -> None:
    """Save what can be read of a damaged archive, panel by panel, and say what was lost.

    The damaged one is not touched. Try a backup first: restore --from last.
    """
    from matchlib.archive import salvage

    saved = salvage(damaged, into, who=who)
    show_json(saved) if json_ else show(saved.text)
