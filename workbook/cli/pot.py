"""The command for the pot: from recipe and job to what is poured."""

from __future__ import annotations

from typing import Annotated

import typer

from workbook.cli.common import (
    ArchiveOption,
    CoatsOption,
    JsonOption,
    PouredOption,
    RatioOption,
    ScheduleOption,
    show,
    show_json,
)
from workbook.cli.jobs import JobOptions

__all__ = ["COMMANDS"]


def _mix(
    *,
    panel: Annotated[str, typer.Option("--panel", help="Recipe of a panel in the archive.")] = "",
    colour: Annotated[str, typer.Option(help="Colour or blend: 'teal 2 + violet 1'.")] = "colour",
    schedule: ScheduleOption = "",
    ratio: RatioOption = "",
    coats: CoatsOption = None,
    job: JobOptions,
    bottle: Annotated[str, typer.Option(help="What is left in an opened bottle: '120 ml'.")] = "",
    bottle_of: Annotated[
        str, typer.Option("--bottle-of", help="What is in it: colour or carrier.")
    ] = "colour",
    poured: PouredOption = None,
    archive: ArchiveOption = "panels.db",
    json_: JsonOption = False,
) -> None:
    """Work out the pots of a job: carrier and colour for each coat group, and in all.

    Give the recipe (--schedule, or --ratio and --coats, or --panel) and the job (--area, --sheet,
    --tube or --sphere, with --dry-film and --solids, or with --used). With --bottle it says how
    far an opened bottle goes, with --poured whether what was poured is the ratio; both go without
    a job.
    """
    from matchlib.mixing import question_ratio
    from workbook.cli.printing import cup_text, wrapped
    from workbook.session import (
        Session,
        bottle_words,
        bottles_of,
        draft_panel,
        recipe_of,
        steps_of,
    )

    if panel:
        with Session.open(archive, write=False) as session:
            recipe = session.archive.panel(panel).recipe
    else:
        recipe = recipe_of(ground="any", colour=colour, schedule=schedule, ratio=ratio, coats=coats)
    pots = job.pots(recipe) if job.shaped or not (bottle or poured) else None
    steps = steps_of(recipe, pots)
    reach = bottles_of(recipe, bottle, of=bottle_of) if bottle else ()
    stated = draft_panel(code="mix", recipe=recipe, poured=poured).stated if poured else None
    if json_:
        show_json(
            {
                "recipe": str(recipe.schedule),
                "words": recipe.schedule.words if recipe.schedule else "",
                "pot": None if pots is None else pots.as_dict(),
                "step_ups": [s.as_dict() for s in steps],
                "bottle": [r.as_dict() for r in reach],
                "stated": None if stated is None else stated.as_dict(),
            }
        )
        return
    ratios = dict.fromkeys(s.ratio for s in recipe.schedule.steps) if recipe.schedule else {}
    told = [] if pots is None else pots.words(job.unit).splitlines()
    told += [f"Instead of a fresh pot: {s.words(job.unit)}" for s in steps]
    told += [bottle_words(r, bottle, job.unit) for r in reach]
    told += [] if stated is None else [f"{stated.text[0].upper()}{stated.text[1:]}"]
    if pots is None:
        told += [f"To ask: {q.text}" for q in map(question_ratio, ratios) if q is not None]
    # A colour that nobody named is called colour, which the drawing says of every colour.
    named = None if str(recipe.colour) == "colour" else recipe.colour
    for each in ratios:
        show(f"In the cup at {each}, from the bottom up:\n{cup_text(each, named)}\n")
    show(wrapped("\n".join(told)))


COMMANDS = {"mix": _mix}
"""By name, in the order in which they are told of."""
