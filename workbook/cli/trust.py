"""Commands that say how far to trust the archive and its model: fit, audit."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Annotated

import click

from workbook.cli.common import ArchiveOptions, SignedOptions, listed, note, show, show_json
from workbook.cli.many import WorkersOptions
from workbook.cli.options import Option
from workbook.cli.printing import number, table, wrapped
from workbook.cli.wanted import tell_fit

if TYPE_CHECKING:
    from matchlib.validation import TableRow

__all__ = ["validation_text"]

_USUAL = ("panel", "recipe", "ground")


def _fit(
    *,
    by: Annotated[
        list[str] | None,
        Option(
            help="What to leave out: panel, recipe, ground, lot; again for the next.  [default: "
            "the first three]",
            metavar="WHAT",
        ),
    ] = None,
    after: Annotated[
        str | None, Option(help="Leave out what came after a day: 2026-05-31.", metavar="DATE")
    ] = None,
    folds: Annotated[
        int, Option(type=click.IntRange(2, 100), help="Parts that are left out in turn.")
    ] = 10,
    check: Annotated[bool, Option(help="Measure the fit on panels left out.")] = True,
    workers: WorkersOptions,
    asked: ArchiveOptions,
) -> None:
    """Fit the model anew, and measure it on panels, recipes and grounds left out.

    The table shows ΔE00 beside simple regressors on the same folds and beside the archive's own
    repeatability, the floor; and how many left-out readings lie within the 90% regions.
    """
    wanted = listed(by) or ([] if after else list(_USUAL))
    if not set(wanted) <= {*_USUAL, "lot"}:
        raise click.BadParameter(f"leave out {', '.join(_USUAL)} or lot")
    from workbook.session.back import date_of

    if after:
        wanted.append(f"after {date_of(after)}")

    with asked.opened() as session:
        outcome = session.fit(refit=True)
        panels = len(session.archive)
        rows: Sequence[TableRow] = ()
        floor = None
        if check:
            with workers.at_work(None) as n_jobs:
                rows, floor = session.validate(
                    by=wanted, folds=folds, n_jobs=n_jobs, callback=_noting()
                )
    if asked.json_:
        show_json(
            {
                "panels": panels,
                "fit": outcome.how,
                "file": outcome.file,
                "validation": rows,
                "repeatability": floor,
            }
        )
        return
    show(f"{outcome.text[:-1]} to {panels} panels.")
    if floor is not None:
        show(validation_text(rows))
        show(wrapped(floor.words))


def _audit(
    *,
    fix: Annotated[
        list[str] | None,
        Option(help="Put the finding of this key right; again for the next.", metavar="KEY"),
    ] = None,
    ignore: Annotated[
        list[str] | None,
        Option(help="Set the finding of this key aside; again for the next.", metavar="KEY"),
    ] = None,
    asked: SignedOptions,
) -> None:
    """Look for wrong backs, impossible readings, doubles and drift, each with its evidence.

    Each finding has a key in brackets, the panel's code for its back, that stays what it is when
    others are put right. --fix writes what a finding proposes; it is kept in the history and undo
    takes it back.
    """
    if fix and ignore:
        raise click.BadParameter("give --fix or --ignore, not both")
    from workbook.session.auditing import finding_text, findings_of, fix_findings

    with asked.opened(write=bool(fix or ignore)) as session:
        tell_fit(session)
        found = findings_of(session.archive, session.model, fix or ignore or ())
        if fix:
            done = fix_findings(session.archive, found, who=asked.who)
            asked.answer(done, "\n".join(wrapped(d.text) for d in done))
            return
        if ignore:
            for chosen in found:
                session.archive.ignore(chosen.key, who=asked.who)
            asked.answer(found, f"Set aside: {', '.join(f.key for f in found)}")
            return
        panels = len(session.archive)
    if asked.json_:
        show_json(found)
    elif not found:
        show(f"Nothing looks wrong in {panels} panels.")
    else:
        things = "1 thing looks" if len(found) == 1 else f"{len(found)} things look"
        show(f"{things} wrong in {panels} panels.\n")
        show("\n\n".join(wrapped(finding_text(f)) for f in found))


def validation_text(rows: Sequence[TableRow]) -> str:
    """Return the validation table as text.

    Returned: ΔE00 in columns; blank where there is no number.
    """
    from matchlib.validation import left_out_words

    cells = [
        (
            f"{left_out_words(r.by)} left out",
            r.name,
            str(r.panels),
            *(number(v) if math.isfinite(v) else "" for v in (r.median, r.mean, r.high)),
            number(r.floor_ratio),
            f"{r.coverage[2]:.0%}" if r.coverage else "",
            r.note if r.panels else "",
        )
        for r in rows
    ]
    without = dict.fromkeys(wrapped(r.note) for r in rows if not r.panels)
    header = ("", "", "readings", "median", "mean", "95%", "by floor", "in 90%", "")
    return "\n".join([table(header, cells, right="  rrrrrr"), *without])


def _noting() -> Callable[[float | None, str], None]:
    """Say each piece of the work once, when it begins."""
    last = ""

    def step(_: float | None, words: str) -> None:
        nonlocal last
        if words != last:
            last = words
            note(f"{words[:1].upper()}{words[1:]} ...")

    return step
