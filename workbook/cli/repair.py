"""The commands for repairs: an aged finish, blending in, and one colour faded into another."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from workbook.cli.common import ArchiveOptions, FileOptions, JsonOption, show, show_json
from workbook.cli.options import Option
from workbook.cli.printing import number, table, wrapped
from workbook.cli.wanted import tell_fit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matchlib.repair import Zone

__all__: list[str] = []


def _tell(zones: Sequence[Zone], beside: str, asked: ArchiveOptions) -> None:
    from matchlib.repair import EDGES

    rows = [
        (
            str(z.recipe.schedule or "bare"),
            *(number(v, 1) for v in z.lab),
            number(z.off, 1),
            number(z.step, 1),
            "shows" if z.shows else "",
        )
        for z in zones
    ]
    heads = ("coats", "L", "a", "b", f"ΔE00 from {beside}", "step", "a sharp edge")
    asked.answer(zones, f"{table(heads, rows, right=' rrrrr')}\n{wrapped(EDGES)}")


def _aged(
    *,
    reading: Annotated[str, Option(help="File with the places read.")],
    file: FileOptions,
    json_: JsonOption = False,
) -> None:
    """Take a finish read on the car as a target: its mean, and its own spread as the tolerance."""
    from matchlib.domain import Viewing
    from matchlib.readings import read_targets
    from matchlib.repair import aged_finish

    # Each place may have a name of its own: door, wing.
    named = read_targets(reading, **file.declared)
    places = [one for read in named.values() for one in read]
    found = aged_finish(places)
    if json_:
        show_json(found)
        return
    lab, view, usual = [f"{v:.2f}" for v in found.lab], places[0].viewing, Viewing()
    colour = f"--lab {' '.join(lab)}"
    if view.geometry != usual.geometry:
        colour = f"--lab-at {view.geometry}={','.join(lab)}"
    if (view.illuminant, view.observer) != (usual.illuminant, usual.observer):
        colour += f" --illuminant {view.illuminant} --observer {view.observer}"
    show(wrapped(f"{found.words}\nworkbook match {colour} --tolerance {found.tolerance:.2f}"))


def _blend_in(
    *,
    ground: Annotated[str, Option(help="Of the finish.")],
    colour: Annotated[str, Option(help="Its colour or blend.")],
    schedule: Annotated[str, Option(help="Its coats: 4@6:1.")],
    clear: Annotated[str, Option(help="Its clear coat: yes, no or a name.")] = "yes",
    over: Annotated[int, Option(help="Coats that run out over the finish.")] = 2,
    weaker: Annotated[int, Option(help="Weaker coats made of each coat, 1 to 4.")] = 1,
    asked: ArchiveOptions,
) -> None:
    """Say what more or fewer coats toward an edge show beside a finish."""
    from matchlib.domain import Recipe
    from matchlib.repair import blend_in

    recipe = Recipe.of(ground, colour, schedule, clear)
    with asked.opened() as session:
        tell_fit(session)
        zones = blend_in(session.model, recipe, over=over, weaker=weaker)
    _tell(zones, "the finish", asked)


def _fade(
    *,
    ground: Annotated[str, Option(help="Under both ends.")],
    one: Annotated[tuple[str, str], Option("--from", metavar="COLOUR COATS")],
    two: Annotated[tuple[str, str], Option("--to", metavar="COLOUR COATS")],
    clear: Annotated[str, Option(help="Over both: yes, no or a name.")] = "yes",
    zones: Annotated[int, Option(help="Strips from end to end.")] = 5,
    asked: ArchiveOptions,
) -> None:
    """Plan a fade between two colours over one ground, coat by coat and strip by strip.

    Such as --ground silver --from cherry 4@6:1 --to honey 3@4:1.
    """
    from matchlib.domain import Recipe
    from matchlib.repair import fade

    ends = [Recipe.of(ground, colour, coats, clear) for colour, coats in (one, two)]
    with asked.opened() as session:
        tell_fit(session)
        found = fade(session.model, *ends, zones=zones)
    _tell(found, "the first end", asked)
