"""The command that prints a job sheet."""

from __future__ import annotations

from typing import Annotated

import typer

from workbook.cli.common import (
    ArchiveOption,
    DecimalOption,
    IlluminantOption,
    LabOption,
    ObserverOption,
    ScaleOption,
    command,
    scale_of,
    show,
)
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
from workbook.cli.wanted import (
    AngleWeightOption,
    BoxLchOption,
    BoxOption,
    DifferenceOption,
    PassingOption,
    ReadingOption,
    SampleOption,
    order_of,
    target_of,
    tell_fit,
    weights_of,
)

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this command.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """
    command(app, "job-sheet")(_job_sheet)


def _job_sheet(
    *,
    panel: Annotated[str, typer.Option("--panel", help="Recipe of a panel in the archive.")] = "",
    ground: Annotated[str, typer.Option(help="The recipe: its ground.")] = "",
    colour: Annotated[str, typer.Option(help="Its colour or blend.")] = "",
    schedule: Annotated[str, typer.Option(help="Its coats: 4@6:1, or '2@6:1 2@3:1'.")] = "",
    clear: Annotated[str, typer.Option(help="Its clear coat: yes, no or a name.")] = "yes",
    out: Annotated[str, typer.Option(help="The PDF to write.")] = "job-sheet.pdf",
    paper: Annotated[str, typer.Option(help="A4 or Letter.")] = "A4",
    title: Annotated[str, typer.Option(help="The job's name.")] = "Job",
    customer: Annotated[str, typer.Option(help="May be left out.")] = "",
    code: Annotated[str, typer.Option(help="Code of the panel to be sprayed: a label.")] = "",
    lab: LabOption = None,
    reading: ReadingOption = None,
    sample: SampleOption = None,
    tolerance: PassingOption = None,
    difference: DifferenceOption = None,
    box: BoxOption = None,
    box_lch: BoxLchOption = None,
    angle_weight: AngleWeightOption = None,
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
    unit: UnitOption = "ml",
    illuminant: IlluminantOption = "D65",
    observer: ObserverOption = "10",
    scale: ScaleOption = None,
    decimal: DecimalOption = ".",
    archive: ArchiveOption = "panels.db",
) -> None:
    """Print a job sheet: what to match, what to mix, how to spray it, what to read afterwards.

    Give the recipe (--panel, or --ground, --colour and --schedule); with a target (--lab or
    --reading) it says what to expect, with a job (--area and what a coat takes) what to pour.
    """
    declared = scale_of(scale)
    order, weights = order_of(tolerance, difference, box, box_lch), weights_of(angle_weight)
    from workbook.session import Job, Session, densities_of, pot_of, recipe_of

    with Session.open(archive, write=False) as session:
        if panel:
            recipe = session.archive.panel(panel).recipe
        else:
            recipe = recipe_of(ground=ground, colour=colour, schedule=schedule, clear=clear)
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
        shaped = any((area, sheet, tube, sphere))
        pots = pot_of(recipe, job, densities=densities_of(density or [])) if shaped else None
        tell_fit(session)
        target = None
        if lab is not None or reading is not None:
            target = target_of(
                session,
                lab=lab,
                reading=reading,
                sample=sample,
                panel=None,
                light=(illuminant, observer),
                decimal=decimal,
                scale=declared,
            )
        file = session.job_sheet(
            recipe,
            out,
            target=target,
            target_name=sample or reading or "",
            tolerance=order,
            weights=weights,
            pot=pots,
            paper=paper,
            title=title,
            customer=customer,
            panel_code=code,
            unit=unit,
        )
    show(f"Job sheet written to {file}.")
