"""Commands that ask the model: predict, match."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click

from matchlib.errors import DomainError
from workbook.cli.common import (
    ArchiveOptions,
    FileOptions,
    LightOptions,
    note,
    show,
    show_json,
    standard_input,
)
from workbook.cli.many import ManyOptions
from workbook.cli.options import Option
from workbook.cli.printing import wrapped
from workbook.cli.results import (
    matches_as_dicts,
    matches_text,
    plans_text,
    predictions_text,
    rests_on,
    tell_left_out,
)
from workbook.cli.today import TodayOptions
from workbook.cli.wanted import KeptOptions, OrderOptions, SearchOptions, TargetOptions, tell_fit

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Conditions
    from matchlib.forecast import Forecast
    from matchlib.readings import RecipeRow
    from matchlib.target import Target
    from workbook.session import Session

__all__: list[str] = []


def _predict(
    *,
    recipes: Annotated[
        list[str],
        Option(
            help="Table with ground, colour, and schedule or ratio and coats; again for the next.",
            metavar="FILE",
        ),
    ],
    wanted: TargetOptions,
    passing: OrderOptions,
    today: TodayOptions,
    light: LightOptions,
    file: FileOptions,
    asked: ArchiveOptions,
) -> None:
    """Predict what the next panel of each recipe would read.

    One result a row, in the order of the files; what a row says in columns sprayer, lot, batch,
    instrument and date counts before the options of those names. With a target, given as for match,
    the difference, its standard deviation and the chance of passing (probability) are those of the
    next panel sprayed against it, at every angle of the target. Without one they are of the next
    panel against the prediction itself: how far from its own prediction a panel is expected to come
    out.
    In JSON what is called delta_e00 is ΔE00 at the first angle; expected_difference and
    sd_difference are by what the order names; cov is the covariance of the next panel's L, a and b
    as read there, and degrees_of_freedom those of the Student's t that such readings follow.
    """
    from matchlib.plain import shown
    from matchlib.readings import read_recipes
    from matchlib.suggest.words import PastRecipes, believed

    with asked.opened() as session:
        today.tell(session)
        aim = None
        if wanted.given:
            aim = passing.aim(wanted.readings(session, light, file))
        else:
            passing.without_target()
        with standard_input(recipes) as paths:
            tables = [(Path(path).name, read_recipes(path, **file.declared)) for path in paths]
        tell_fit(session)  # what is wrong with target or tables was refused before it
        order = passing.order
        by_file = [_predict_rows(session, rows, name, aim, order) for name, rows in tables]
        found = [each for file_found in by_file for each in file_found]
        left_out = rests_on(session, [p.recipe for _, p in found], aim)
        past = PastRecipes(believed(session.model, session.archive.panels()))
        new = [past.new(p.recipe) for _, p in found]
    if asked.json_:
        names = [n for n, held in zip(recipes, by_file, strict=True) for _ in held]
        show_json(
            [
                {"panel": code}
                | shown(each)
                | {"never_sprayed": some, "left_out": codes, "file": name}
                for (code, each), some, codes, name in zip(found, new, left_out, names, strict=True)
            ]
        )
    else:
        for name, held in zip(recipes, by_file, strict=True):
            show((f"{name}:\n" if len(recipes) > 1 else "") + predictions_text(held, order))
        for (_, each), some in zip(found, new, strict=True):
            if some:
                show(wrapped(f"{each.recipe}. {' '.join(f'New here: {n}.' for n in some)}"))
        tell_left_out(left_out)


def _predict_rows(
    session: Session, rows: Sequence[RecipeRow], name: str, aim: Target | None, order: Tolerance
) -> list[tuple[str | None, Forecast]]:
    """Predict the next panel of every row of a table of recipes, each with its panel's code.

    A row that does not say whether it is under clear coat, or in which geometry it would be
    read, is taken as the archive mostly is; who sprays it, from what and when, as was asked about.
    """
    from matchlib.forecast import forecast
    from workbook.session.conditions import Known, conditions_stated

    known = Known.of(session.archive.panels())
    clear, geometry = session.clear, session.model.usual_view.geometry
    recipes, viewings = [], []
    under: dict[Conditions, list[int]] = {}
    for i, r in enumerate(rows):
        under.setdefault(r.conditions, []).append(i)
        usual = "clear" not in r.stated
        recipes.append(replace(r.recipe, clear=clear) if usual else r.recipe)
        own = "geometry" not in r.stated
        viewings.append(replace(r.viewing, geometry=geometry) if own else r.viewing)
    places = [f"{name}, row {r.row}" for r in rows]
    found: dict[int, Forecast] = {}
    unseen: list[str] = []
    for said, which in under.items():
        try:
            today, strange = conditions_stated(known, said)
        except DomainError as error:
            raise error.at(places[which[0]]) from None
        unseen += strange
        told = forecast(
            session.model.under(today),
            [recipes[i] for i in which],
            aim,
            viewings=[viewings[i] for i in which],
            tolerance=order,
            places=[places[i] for i in which],
        )
        found.update(zip(which, told, strict=True))
    for words in dict.fromkeys(unseen):
        note(words)
    return [(r.panel, found[i]) for i, r in enumerate(rows)]


def _match(
    *,
    wanted: TargetOptions,
    many: ManyOptions,
    passing: OrderOptions,
    today: TodayOptions,
    top: Annotated[
        int | None,
        Option(
            type=click.IntRange(1, 100), help="Recipes wanted.  [default: 5; 1 each for --targets]"
        ),
    ] = None,
    readings: Annotated[
        int | None,
        Option(
            type=click.IntRange(0, 3),
            help="How often a card may be read on its way, before its last coats; 0 for one "
            "sprayed blind.  [default: 2]",
        ),
    ] = None,
    shelf: SearchOptions,
    kept: KeptOptions,
    light: LightOptions,
    file: FileOptions,
    asked: ArchiveOptions,
) -> None:
    """Find recipes for a target, and how to steer a card to it, best first.

    A card is sprayed up to a first look, read before its clear coat, and built on by what was read;
    ranked by the chance that it then passes. Go on with correct --looks.

    Each comes with its predicted Lab and how far that is from the target (delta_e00), what to
    expect of the next panel sprayed, as read (expected_delta_e00 and its standard deviation
    sd_delta_e00), and the chance that this panel is within the tolerance (probability). Where the
    order names another difference than ΔE00, or the target was read at several angles, the chance
    is that of passing by that difference at every angle.
    """
    many.check(beside=wanted.given or bool(readings), json_=asked.json_)
    from matchlib.steering import plan

    with asked.opened(write=kept.write) as session:
        today.tell(session)
        limits = kept.limits(session, shelf.limits())  # refused before the model is fitted
        if many.targets is not None:
            samples = many.samples(file)
            aims = {name: passing.aim(read) for name, read in samples.items()}
            tell_fit(session)
            many.tell(many.found(session, aims, limits, top=top or 1), json_=asked.json_)
            return
        target = wanted.readings(session, light, file)
        aim = passing.aim(target)
        tell_fit(session)
        readings = 2 if readings is None else readings
        plans = plan(session.model, aim, limits, readings=readings, top=top or 5,
                     archive=session.archive.panels(), source=target[0].source)  # fmt: skip
        found = plans.ranked(top or 5)
        left_out = rests_on(session, [item.recipe for item in found], aim)
    if not asked.json_:
        show(matches_text(found))
        if readings:
            show(f"\n{plans_text(plans)}")
        tell_left_out(left_out)
        return
    cards = {p.suggestion.recipe: p for p in plans if p.suggestion and p.planned_readings}
    rows = zip(found, matches_as_dicts(found), left_out, strict=True)
    show_json(
        [
            match | {"left_out": codes, "card": cards.get(one.recipe), "notes": list(plans.notes)}
            for one, match, codes in rows
        ]
    )
