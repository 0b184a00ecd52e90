"""Commands that ask the model: predict, match."""

from __future__ import annotations

from typing import Annotated

import typer

from workbook.cli.common import (
    ArchiveOption,
    FileOptions,
    JsonOption,
    LabOption,
    LightOptions,
    ToleranceOption,
    note,
    show,
    show_json,
)
from workbook.cli.wanted import OrderOptions, SearchOptions, TargetOptions, tell_fit

__all__ = ["COMMANDS"]


def _predict(
    *,
    recipes: Annotated[
        str,
        typer.Option(
            "--recipes",
            help="Table with ground, colour, and schedule or ratio and coats.",
            metavar="FILE",
        ),
    ],
    lab: LabOption = None,
    tolerance: ToleranceOption = 1.0,
    light: LightOptions,
    file: FileOptions,
    archive: ArchiveOption = "panels.db",
    json_: JsonOption = False,
) -> None:
    """Predict what the next panel of each recipe would read.

    One result a row of the file, in its order. With --lab the difference (delta_e00), its standard
    deviation (sd_delta_e00) and the chance of being within the tolerance (probability) are those of
    the next panel sprayed against that colour. Without it they are of the next panel against the
    prediction itself: how far from its own prediction a panel is expected to come out.
    """
    from workbook.cli.printing import chance, number, table
    from workbook.session import Session, reading_of_lab

    target = None if lab is None else reading_of_lab(lab, light.viewing)
    with Session.open(archive, write=False) as session:
        tell_fit(session)
        found = session.predict_file(recipes, target=target, tolerance=tolerance, **file.declared)
    if json_:
        show_json([p.as_dict() for p in found])
        return
    rows = [
        (
            p.panel or "",
            str(p.recipe.ground),
            str(p.recipe.colour or "bare"),
            str(p.recipe.schedule or ""),
            *(number(v) for v in p.lab),
            number(p.delta_e00),
            number(p.sd_delta_e00),
            chance(p.probability),
        )
        for p in found
    ]
    header = ("panel", "ground", "colour", "schedule", "L", "a", "b", "ΔE00", "sd", "chance")
    show(table(header, rows, right="    rrrrrr"))
    against = "the colour asked for" if target else "the prediction"
    show(
        f"\nΔE00, its sd and the chance of ΔE00 within {tolerance:g} are of the next panel sprayed "
        f"against {against}."
    )


def _match(
    *,
    wanted: TargetOptions,
    passing: OrderOptions,
    top: Annotated[int, typer.Option("--top", help="Recipes wanted.")] = 5,
    shelf: SearchOptions,
    remember: Annotated[
        bool, typer.Option("--remember", help="Keep these limits with the archive.")
    ] = False,
    forget: Annotated[
        bool, typer.Option("--forget", help="Forget the limits kept with the archive first.")
    ] = False,
    light: LightOptions,
    file: FileOptions,
    archive: ArchiveOption = "panels.db",
    json_: JsonOption = False,
) -> None:
    """Find recipes for a target, best first.

    Each comes with its predicted Lab and how far that is from the target (delta_e00), what to
    expect of the next panel sprayed, as read (expected_delta_e00 and its standard deviation
    sd_delta_e00), and the chance that this panel is within the tolerance (probability). Where the
    order names another difference than ΔE00, or the target was read at several angles, the chance
    is that of passing by that difference at every angle.
    """
    order, weights = passing.said()
    from workbook.cli.results import matches_as_dicts, matches_text
    from workbook.session import Session
    from workbook.session.order import aim_of, unseen_words

    with Session.open(archive, write=remember or forget) as session:
        if forget:
            session.remember_shelf(None)
        limits = session.limits(**shelf.limits())  # refused before the model is fitted
        if remember:
            given = {k: v for k, v in shelf.limits().items() if v is not None}
            session.remember_shelf({**session.shelf(), **given})
        target = wanted.readings(session, light, file)
        aim = aim_of(target, order, weights)
        tell_fit(session)
        found = session.match(target, limits, tolerance=order, weights=weights, top=top)
        unseen = unseen_words(session.model, aim)
    if unseen:
        note(unseen)
    if json_:
        show_json(matches_as_dicts(found))
    else:
        show(matches_text(found))


COMMANDS = {"predict": _predict, "match": _match}
"""By name, in the order in which they are told of."""
