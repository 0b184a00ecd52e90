"""Commands for names: list, near, rename, join, lot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Annotated

import click

from workbook.cli.common import ArchiveOptions, ChangeOptions
from workbook.cli.options import Argument, Option
from workbook.cli.printing import table

if TYPE_CHECKING:
    from matchlib.domain import Lot, Name

__all__: list[str] = []

KindArgument = Annotated[
    str, Argument(help="ground, colour, clear, instrument or sprayer.", metavar="KIND")
]
NameArgument = Annotated[str, Argument(help="The name, in any spelling that is known.")]


def _list(
    *,
    kind: Annotated[
        str | None, Argument(help="Of one kind: ground, colour, clear, instrument, sprayer.")
    ] = None,
    asked: ArchiveOptions,
) -> None:
    """List names with their spellings, today's lot, and on how many panels they stand."""
    from matchlib.archive import all_names
    from matchlib.domain import NAME_KINDS

    if kind not in (None, *NAME_KINDS):
        raise click.BadParameter(f"a kind is one of {', '.join(NAME_KINDS)}, not {kind!r}")
    with asked.opened() as session:
        found = all_names(session.archive, kind)
    rows = [
        (n.kind, n.name, str(uses), ", ".join(n.spellings), n.lot.code if n.lot else "")
        for n, uses in found
    ]
    header = ("kind", "name", "panels", "also written", "lot in use")
    text = table(header, rows, right="llr") if rows else "No names are known."
    asked.answer([_plain(name, uses) for name, uses in found], text)


def _near(*, asked: ArchiveOptions) -> None:
    """Show names that may be one thing under two spellings."""
    from matchlib.archive import near_spellings

    with asked.opened() as session:
        found = near_spellings(session.archive)
    data, words = near_told(found)
    asked.answer(data, words or "No two names are near each other.")


def near_told(found: Sequence[tuple[str, str, str]]) -> tuple[list[dict[str, str]], str]:
    """Return what is told of names that may be one, as plain data and in words, a line a pair."""
    data = [{"kind": kind, "name": name, "near": other} for kind, name, other in found]
    return data, "\n".join(
        f"The {kind}s {name} and {other} may be one. If they are: "
        f"workbook names join {kind} '{name}' '{other}'"
        for kind, name, other in found
    )


def _rename(
    *,
    kind: KindArgument,
    name: NameArgument,
    to: Annotated[str, Argument(help="The new name.")],
    change: ChangeOptions,
) -> None:
    """Give a thing another name, on every panel and in every job.

    The old name stays known as another spelling. Undo takes it back.
    """
    from matchlib.archive import rename

    with change.opened(write=True) as session:
        number = rename(session.archive, kind, name, to, **change.said)
    change.tell(number, f"The {kind} {name} is now {to}.")


def _join(
    *,
    kind: KindArgument,
    name: Annotated[str, Argument(help="The name that goes.")],
    into: Annotated[str, Argument(help="The name that stays.")],
    change: ChangeOptions,
) -> None:
    """Make two names one, on every panel and in every job; both spellings mean it from then on."""
    from matchlib.archive import all_names, join_names
    from matchlib.domain import name_key

    with change.opened(write=True) as session:
        number = join_names(session.archive, kind, name, into, **change.said)
        stays = next(
            n.name for n, _ in all_names(session.archive, kind) if name_key(into) in n.keys
        )
    change.tell(number, f"The {kind} {name} is {stays} from now on.")


def _lot(
    *,
    kind: KindArgument,
    name: NameArgument,
    code: Annotated[str, Argument(help="The lot or batch, as printed on the tin.")],
    opened: Annotated[str, Option(help="Day it was opened, such as 2027-03-01.")] = "",
    finished: Annotated[str, Option(help="Day it was used up.")] = "",
    note: Annotated[str, Option(help="Anything else.")] = "",
    change: ChangeOptions,
) -> None:
    """Note a lot of a colour, or a batch of a ground or clear coat.

    The one opened last and not finished is today's.
    """
    from matchlib.archive import all_names, keep_lot
    from matchlib.domain import name_key

    with change.opened(write=True) as session:
        known = [n for n, _ in all_names(session.archive) if n.kind == kind]
        named = [n for n in known if name_key(name) in n.keys]
        lots = [lot for n in named for lot in n.lots if name_key(lot.code) == name_key(code)]
        lot = _edited_lot(lots[0] if lots else None, code, (opened, finished), note)
        number = keep_lot(session.archive, kind, name, lot, **change.said)
    change.tell(number, f"Lot {lot.code} of the {kind} {name} was noted.")


def _edited_lot(known: Lot | None, code: str, days: tuple[str, str], note: str) -> Lot:
    """The lot with what was given, and what was known of it where nothing was."""
    from matchlib.domain import Lot

    old = known or Lot(code)
    opened, finished = (_day(day) for day in days)
    return Lot(old.code, opened or old.opened, finished or old.finished, note or old.note)


def _day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise click.BadParameter(f"write a day as 2027-03-01, not {text!r}") from None


def _plain(name: Name, uses: int) -> dict[str, object]:
    from matchlib.plain import to_plain

    return {"spellings": [], "lots": [], **to_plain(name), "panels": uses}
