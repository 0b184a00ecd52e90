"""The command for the pot: from recipe and job to what is poured."""

from __future__ import annotations

from typing import Annotated

import typer

from workbook.cli.common import ArchiveOption, JsonOption, command, show, show_json
from workbook.cli.jobs import (
    AreaOption,
    ChanceOption,
    DensityOption,
    DryFilmOption,
    GunCupOption,
    MarginOption,
    MarkOption,
    ResidueOption,
    SheetOption,
    SmallOption,
    SolidsOption,
    SphereOption,
    TransferOption,
    TubeOption,
    UnitOption,
    UsedAreaOption,
    UsedCoatsOption,
    UsedOption,
)

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this command.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """
    command(app, "mix")(_mix)


def _mix(
    *,
    panel: Annotated[str, typer.Option("--panel", help="Recipe of a panel in the archive.")] = "",
    colour: Annotated[str, typer.Option(help="Colour or blend: 'teal 2 + violet 1'.")] = "colour",
    schedule: Annotated[str, typer.Option(help="Coats: 4@6:1, or '2@6:1 2@3:1'.")] = "",
    ratio: Annotated[str, typer.Option(help="Carrier to colour, with --coats.")] = "",
    coats: Annotated[int | None, typer.Option(help="Colour coats, with --ratio.")] = None,
    area: AreaOption = "",
    sheet: SheetOption = "",
    tube: TubeOption = "",
    sphere: SphereOption = "",
    margin: MarginOption = None,
    dry_film: DryFilmOption = None,
    solids: SolidsOption = None,
    transfer: TransferOption = None,
    small: SmallOption = False,
    used: UsedOption = "",
    used_area: UsedAreaOption = "",
    used_coats: UsedCoatsOption = 1,
    chance: ChanceOption = 0.95,
    residue: ResidueOption = "15 ml",
    gun_cup: GunCupOption = "",
    mark: MarkOption = "",
    density: DensityOption = None,
    bottle: Annotated[str, typer.Option(help="What is left in an opened bottle: '120 ml'.")] = "",
    bottle_of: Annotated[
        str, typer.Option("--bottle-of", help="What is in it: colour or carrier.")
    ] = "colour",
    poured: Annotated[
        tuple[float, float] | None,
        typer.Option(help="What was poured, to compare with the ratio.", metavar="CARRIER COLOUR"),
    ] = None,
    unit: UnitOption = "ml",
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
        Job,
        Session,
        bottles_of,
        densities_of,
        draft_panel,
        pot_of,
        recipe_of,
        steps_of,
    )

    if panel:
        with Session.open(archive, write=False) as session:
            recipe = session.archive.panel(panel).recipe
    else:
        recipe = recipe_of(ground="any", colour=colour, schedule=schedule, ratio=ratio, coats=coats)
    job = Job(
        area=area,
        sheet=sheet,
        tube=tube,
        sphere=sphere,
        margin=margin,
        dry_film_um=dry_film,
        volume_solids=solids,
        transfer=transfer,
        small=small,
        used=used,
        used_area=used_area,
        used_coats=used_coats,
        chance=chance,
        residue=residue,
        gun_cup=gun_cup,
        mark=mark,
    )
    wanted = any((area, sheet, tube, sphere)) or not (bottle or poured)
    pots = pot_of(recipe, job, densities=densities_of(density or [])) if wanted else None
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
    told = [] if pots is None else pots.words(unit).splitlines()
    told += [f"Instead of a fresh pot: {s.words(unit)}" for s in steps]
    told += [f"{r.text[0].upper()}{r.text[1:]}." for r in reach]
    told += [] if stated is None else [f"{stated.text[0].upper()}{stated.text[1:]}"]
    if pots is None:
        told += [f"To ask: {q.text}" for q in map(question_ratio, ratios) if q is not None]
    # A colour that nobody named is called colour, which the drawing says of every colour.
    named = None if str(recipe.colour) == "colour" else recipe.colour
    for each in ratios:
        show(f"In the cup at {each}, from the bottom up:\n{cup_text(each, named)}\n")
    show(wrapped("\n".join(told)))
