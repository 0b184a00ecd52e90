"""The command that prints a job sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from matchlib.errors import DomainError
from workbook.cli.common import (
    ArchiveOption,
    FileOptions,
    LightOptions,
    opened,
    show,
)
from workbook.cli.jobs import JobOptions
from workbook.cli.options import Option
from workbook.cli.wanted import OrderOptions, SampleOptions, tell_fit

__all__: list[str] = []


def _job_sheet(
    *,
    panel: Annotated[str, Option(help="Recipe of a panel in the archive.")] = "",
    ground: Annotated[str, Option(help="The recipe: its ground.")] = "",
    colour: Annotated[str, Option(help="Its colour or blend.")] = "",
    schedule: Annotated[str, Option(help="Its coats: 4@6:1, or '2@6:1 2@3:1'.")] = "",
    clear: Annotated[str, Option(help="Its clear coat: yes, no or a name.")] = "yes",
    out: Annotated[str, Option(help="The PDF to write.")] = "job-sheet.pdf",
    paper: Annotated[str, Option(help="A4 or Letter.")] = "A4",
    title: Annotated[str, Option(help="The job's name.")] = "Job",
    customer: Annotated[str, Option(help="May be left out.")] = "",
    code: Annotated[str, Option(help="Code of the panel to be sprayed: a label.")] = "",
    wanted: SampleOptions,
    passing: OrderOptions,
    job: JobOptions,
    light: LightOptions,
    file: FileOptions,
    archive: ArchiveOption = "panels.db",
) -> None:
    """Print a job sheet: what to match, what to mix, how to spray it, what to read afterwards.

    Give the recipe (--panel, or --ground, --colour and --schedule); with a target (--lab or
    --reading) it says what to expect, with a job (--area and what a coat takes) what to pour.
    """
    if not (panel or ground):
        raise DomainError(
            "There is no recipe to print the sheet of.",
            expected="a panel's recipe, or a ground with its colour and coats",
            got="a target alone" if wanted.given else "neither",
            remedy="give --panel CODE, or --ground, --colour and --schedule; 'workbook match' "
            "suggests recipes for a target.",
        )
    from matchlib.domain import Recipe
    from matchlib.explain import coat_readings
    from matchlib.forecast import forecast
    from matchlib.readings.writing import save_bytes
    from workbook.jobsheet import JobSheet, jobsheet_pdf

    with opened(archive) as session:
        if panel:
            recipe = session.archive.panel(panel).recipe
        else:
            recipe = Recipe.of(ground, colour, schedule, clear)
        pots = job.pots(recipe) if job.shapes else None
        tell_fit(session)
        aim = None
        if wanted.given:
            aim = passing.aim(wanted.readings(session, light, file))
        else:
            passing.without_target()
        model = session.model
        (found,) = forecast(model, [recipe], aim, tolerance=passing.order)
        coats = coat_readings(
            model, recipe, archive=session.archive.panels(), viewing=found.viewing
        )
        sheet = JobSheet(
            title=title,
            recipe=recipe,
            found=found,
            coats=coats,
            target_name=wanted.sample or wanted.reading or "",
            pot=pots,
            unit=job.unit,
            panel_code=code,
            customer=customer,
        )
    save_bytes(jobsheet_pdf(sheet, paper=paper), Path(out))
    show(f"Job sheet written to {out}.")
