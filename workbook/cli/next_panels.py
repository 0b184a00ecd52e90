"""The command that says which panel to spray next."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

import click

from matchlib.errors import FitError
from workbook.cli.common import ArchiveOptions, FileOptions, LightOptions, show, show_json
from workbook.cli.options import Option
from workbook.cli.printing import chance, number, table, wrapped
from workbook.cli.results import rests_on, tell_left_out
from workbook.cli.sprayed import SprayedOption, TriedOption
from workbook.cli.today import TodayOptions
from workbook.cli.wanted import OrderOptions, ShelfOptions, TargetOptions, tell_fit

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.mixing import Limits
    from matchlib.next_panel import TargetPanel
    from matchlib.steering import CardPlan
    from workbook.session import Session

__all__: list[str] = []


def _next(
    *,
    wanted: TargetOptions,
    tried: TriedOption = None,
    sprayed: SprayedOption = None,
    passing: OrderOptions,
    today: TodayOptions,
    top: Annotated[int, Option(type=click.IntRange(1, 100), help="Panels wanted.")] = 5,
    shelf: ShelfOptions,
    light: LightOptions,
    file: FileOptions,
    asked: ArchiveOptions,
) -> None:
    """Say which panel to spray next.

    With a target (and what was already sprayed for it, as for correct): the panels that are
    likeliest to meet it by the second try. Without a target: the set of panels that would teach the
    archive most about all that the shop could spray.
    """
    from matchlib.plain import shown

    with asked.opened() as session:
        today.tell(session)
        limits = session.limits(**shelf.limits())
        if not wanted.given:
            _teach(session, limits, top, json_=asked.json_)
            return
        target = wanted.readings(session, light, file)
        aim = passing.aim(target)
        why_not = ""
        if not tried:
            tell_fit(session)
            if not sprayed:  # what was sprayed for it says more than the archive alone
                why_not = session.match(aim, limits, top=1).why_not
        found, unfitting, card = session.next_panels(
            aim,
            limits,
            codes=tried or (),
            file=sprayed,
            source=target[0].source,
            top=top,
        )
        left_out = rests_on(session, [p.recipe for p in found])
    if asked.json_:
        of_all = {
            "unfitting": [r.words for r in unfitting],
            "miss": why_not,
            "card": card,
        }
        rows = zip(found, left_out, strict=True)
        show_json([shown(panel) | {"left_out": codes} | of_all for panel, codes in rows])
        return
    if why_not:
        show(f"{wrapped(why_not)}\n")
    _tell(found, unfitting, card)
    tell_left_out(left_out)


def _teach(session: Session, limits: Limits, top: int, *, json_: bool) -> None:
    """Show the panels that would teach the archive most."""
    from matchlib.plain import shown

    if not session.archive.colours():
        raise FitError(
            "No panel of this archive has colour on it, so no law can say what to spray.",
            expected="a let-down set of one colour to begin with",
            got="bare grounds alone" if session.archive.grounds() else "no panel",
            remedy="workbook first-day --colour cherry says which panels to spray, in which order.",
        )
    tell_fit(session)
    plan = session.plan_panels(limits, top=top)
    left_out = session.left_out_each(p.recipe for p in plan.panels)
    if json_:
        rows = zip(plan.panels, left_out, strict=True)
        show_json([shown(panel) | {"left_out": codes} for panel, codes in rows])
        return
    show(wrapped(plan.words))
    show(wrapped("\n".join(f"{i}. {p.words}" for i, p in enumerate(plan.panels, 1))))
    tell_left_out(left_out)


def _tell(
    found: Iterable[TargetPanel], unfitting: tuple[Recipe, ...], card: CardPlan | None
) -> None:
    from matchlib.correction import aside_words
    from workbook.session.order import DAY

    rows = [
        (chance(p.probability), chance(p.passes_by_second), *map(number, p.lab), str(p.recipe))
        for p in found
    ]
    header = ("chance", "by the second", "L", "a", "b", "panel to spray")
    show(f"{table(header, rows, right='rrrrr')}\n\n{wrapped(f'{DAY} {aside_words(unfitting)}')}")
    if card is not None:
        show(f"\nWorth more than any of these, a card read on its way:\n{wrapped(card.words)}")
