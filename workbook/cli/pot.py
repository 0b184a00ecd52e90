"""The commands for the pot and the paint shelf."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

from workbook.cli.common import (
    ArchiveOptions,
    CoatsOption,
    PouredOption,
    ScheduleOption,
    opened,
    show,
    show_json,
)
from workbook.cli.jobs import JobOptions
from workbook.cli.options import Option
from workbook.cli.printing import before_mixing, cup_text, wrapped

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.mixing import Third

    Mixed = tuple[Recipe, JobOptions, str]

__all__: list[str] = []


@dataclass(frozen=True, slots=True)
class MixOptions:
    """What is mixed: a panel's recipe, a schedule, or a ratio as it may be written."""

    panel: Annotated[str, Option(help="Recipe of a panel in the archive.")] = ""
    colour: Annotated[str, Option(help="Colour or blend: 'teal 2 + violet 1'.")] = ""
    schedule: ScheduleOption = ""
    ratio: Annotated[
        str,
        Option(help="With --coats: 6:1, '6:1:1 hardener', '10% added', '6:1 by weight'."),
    ] = ""
    coats: CoatsOption = None

    @property
    def given(self) -> bool:
        """Whether there is a recipe."""
        return bool(self.panel or self.schedule or self.ratio)

    def recipe(self, job: JobOptions, archive: str, *, aside: bool) -> Mixed:
        """Return the recipe, the job with what else is in its ratio, and how that was understood.

        `aside`: without a job, for which a ratio alone is enough.
        """
        from matchlib.domain import CoatSchedule, Colour, Recipe
        from matchlib.mixing import read_mix
        from workbook.session.pot import densities_of

        if self.panel:
            with opened(archive) as session:
                return session.archive.panel(self.panel).recipe, job, ""
        typed = ratio = self.ratio.strip()
        understood = ""
        if typed:
            of = Colour.parse(self.colour) if self.colour.strip() else None
            mix, third = read_mix(typed, densities=densities_of(job.density or []), colour=of)
            words = mix.words
            if third is not None:
                job = replace(job, third=_only_third(third, job.third))
                words += f", {third.text}"
            ratio = str(mix)
            understood = "" if ratio == typed else f"{typed} is {ratio}: {words}."
        coats = 1 if aside and ratio and self.coats is None else self.coats
        steps = CoatSchedule.parse(self.schedule).steps if self.schedule.strip() else ()
        # Layers say their own colours; what nobody named is called colour.
        unnamed = "" if any(step.colour for step in steps) else "colour"
        colour = self.colour.strip() or unnamed
        recipe = Recipe.of("any", colour, self.schedule, ratio=ratio, coats=coats)
        return recipe, job, understood


def _only_third(of_ratio: Third, given: str) -> str:
    """Return the third part that stands in the ratio; another one beside it is refused."""
    from matchlib.errors import DomainError
    from matchlib.mixing import Third

    text = f"{of_ratio.name} {100 * of_ratio.share:.12g}%"
    if given.strip():
        other = Third.parse(given)
        if other.name != of_ratio.name or not math.isclose(other.share, of_ratio.share):
            raise DomainError(
                "This pot has two third parts.",
                expected="reducer or hardener, in the ratio or with --third",
                got=f"{of_ratio.text}, and {other.text}",
                remedy="give one of them, and pour the other as its data sheet says.",
            )
    return text


def _mix(
    *,
    mixed: MixOptions,
    job: JobOptions,
    bottle: Annotated[str, Option(help="What is left in an opened bottle: '120 ml'.")] = "",
    bottle_of: Annotated[str, Option(help="What is in it: colour or carrier.")] = "colour",
    drain: Annotated[
        str, Option(help="The data sheet's drain time, told for other cups: '22 s Ford 4'.")
    ] = "",
    poured: PouredOption = None,
    buy: Annotated[bool, Option(help="What to buy, by the shelf; the cost.")] = False,
    take: Annotated[bool, Option(help="Take the job off the shelf.")] = False,
    asked: ArchiveOptions,
) -> None:
    """Work out the pots of a job: what to pour for each coat group, and in all.

    Give the recipe (--schedule, or --ratio and --coats, or --panel) and the job (--area, --work,
    --sheet, --tube or --sphere, with --dry-film and --solids, or with --used). A second ratio is
    made from what is left of the first. With --bottle it says how far an opened bottle goes, with
    --poured whether what was poured is the ratio; both go without a job.
    """
    from matchlib.mixing import drain_words
    from workbook.session.back import check_poured
    from workbook.session.pot import bottle_words, labour_of, time_words
    from workbook.session.stock import bill_of, take_off

    flow = drain_words(drain) if drain else ""
    if flow and not (mixed.given or bottle or poured or job.shapes):
        asked.answer({"drain": flow}, wrapped(flow))
        return
    aside = bool(bottle or poured or drain) and not job.shapes
    recipe, job, understood = mixed.recipe(job, asked.archive, aside=aside)
    pots = None if aside else job.pots(recipe)
    reach = bottle_words(recipe, bottle, of=bottle_of, unit=job.unit) if bottle else ()
    stated = check_poured(recipe, poured) if poured else None
    costs = None
    if pots is not None and (buy or take):
        with asked.opened(write=take) as session:
            costs = bill_of(session.archive, pots, labour_of(job))
            if take:
                take_off(session.archive, costs)
    if asked.json_:
        show_json(
            {
                "recipe": str(recipe.schedule),
                "words": recipe.schedule.words if recipe.schedule else "",
                "pot": pots,
                "bottle": list(reach),
                "drain": flow,
                "stated": stated,
                "bill": costs,
            }
        )
        return
    lines = [
        understood,
        "" if pots is None else pots.words(job.unit),
        time_words(job, pots) if costs is None and pots is not None else "",
        "" if costs is None else costs.words(job.unit),
        "Taken off the shelf." if take and costs is not None else "",
        *reach,
        flow,
        "" if stated is None else f"{stated.text[0].upper()}{stated.text[1:]}",
    ]
    _tell(recipe, lines, question=pots is None)


def _tell(recipe: Recipe, lines: list[str], *, question: bool) -> None:
    """Draw the cups of a recipe; then what was worked out, and the cautions."""
    from matchlib.mixing import ratio_questions
    from workbook.cup import cups_of

    cups = cups_of(recipe)
    for ratio, colour in cups:
        # A colour that nobody named is called colour, which the drawing says of every colour.
        named = None if str(colour) == "colour" else colour
        show(f"In the cup at {ratio}, from the bottom up:\n{cup_text(ratio, named)}\n")
    if question:
        lines += [f"Ask first: {q.text}" for q in ratio_questions(ratio for ratio, _ in cups)]
    lines.append(before_mixing())
    show(wrapped("\n".join(words for words in lines if words)))


def _stock(
    *,
    name: Annotated[
        str, Option(help="carrier, a colour, reducer or hardener; all are listed without.")
    ] = "",
    have: Annotated[str, Option(help="What is on the shelf: '300 ml'.")] = "",
    bottle: Annotated[str, Option(help="What a full bottle holds: '500 ml'.")] = "",
    price: Annotated[float | None, Option(help="Of a full bottle, in your money.")] = None,
    forget: Annotated[bool, Option(help="Take it from the list.")] = False,
    asked: ArchiveOptions,
) -> None:
    """List what is on the paint shelf, or write down what there is of one thing.

    What is not given stays as it was. `mix --buy` counts against this list, `mix --take` takes a
    job off it.
    """
    from matchlib.mixing import format_volume
    from workbook.session.stock import keep_stock, stock_of, write_down

    with asked.opened(write=bool(name)) as session:
        if name:
            if forget:
                keep_stock(session.archive, name, None)
            else:
                write_down(session.archive, name, have=have, bottle=bottle, price=price)
        shelf = stock_of(session.archive)
    lines = []
    for each, supply in shelf.items():
        size = "" if supply.bottle_ml is None else f", bottles of {format_volume(supply.bottle_ml)}"
        cost = "" if supply.price is None else f" at {supply.price:.2f}"
        lines.append(f"{each}: {format_volume(supply.stock_ml)}{size}{cost}")
    none = "The shelf is not written down: workbook stock --name teal --have '300 ml'."
    asked.answer(shelf, "\n".join(lines) or none)
