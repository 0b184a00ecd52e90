"""Commands for the back of a panel: add one, print its label."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import click

from matchlib.plural import counted
from workbook.cli.common import (
    ArchiveOption,
    CoatsOption,
    FileOptions,
    LabOption,
    LightOptions,
    PouredOption,
    RatioOption,
    ScheduleOption,
    SignedOptions,
    note,
    opened,
    show,
    show_json,
)
from workbook.cli.options import Argument, Option
from workbook.cli.printing import cup_text, wrapped

if TYPE_CHECKING:
    from matchlib.domain import Panel, Recipe

__all__: list[str] = []


@dataclass(frozen=True, slots=True)
class PanelOptions:
    """A panel to be kept: its code, and what was sprayed on it."""

    panel: Annotated[str, Option(help="The panel's own code.")] = ""
    ground: Annotated[str, Option(help="Ground, or blend: 'silver 3 + black 1'.")] = ""
    colour: Annotated[str, Option(help="Colour or blend; leave out for a bare ground.")] = ""
    schedule: ScheduleOption = ""
    ratio: RatioOption = ""
    coats: CoatsOption = None
    clear: Annotated[str, Option(help="yes, no, or the clear coat's name.")] = "no"
    on_top: Annotated[
        bool, Option(help="These coats go on a panel of the archive: its next stage.")
    ] = False

    def completed(self) -> PanelOptions:
        """Return the same with what was not given asked for."""
        ask = partial(click.prompt, err=True)
        panel = self.panel or ask("Panel code")
        ground, colour, schedule = self.ground, self.colour, self.schedule
        if not ground and not self.on_top:
            ground = ask("Ground")
            colour = colour or ask(
                "Colour (empty for a bare ground)", default="", show_default=False
            )
        if colour and not schedule and not self.ratio:
            schedule = ask("Coats, such as 4@6:1 (carrier first)")
        return replace(self, panel=panel, ground=ground, colour=colour, schedule=schedule)

    def recipe(self, before: Recipe | None) -> Recipe:
        """Return what was typed; `before` is what the panel carries already."""
        from matchlib.domain import Recipe

        ground, colour = self.ground, self.colour
        if before is not None:
            if not (self.schedule or self.ratio):
                raise click.BadParameter("--on-top needs the coats that were added: --schedule")
            ground = str(before.ground)
            colour = colour or next(map(str, before.colours[-1:]), "")
        return Recipe.of(
            ground, colour, self.schedule, self.clear, ratio=self.ratio, coats=self.coats
        )


@dataclass(frozen=True, slots=True)
class BackOptions:
    """What else stands on the back of a card, much of which repeats it.

    `clear_coats`: coats of clear.
    """

    date: Annotated[str, Option(help="Sprayed on, year-month-day.")] = ""
    sprayer: Annotated[str, Option(help="Who sprayed.")] = ""
    lot: Annotated[str, Option(help="Lot of the colour.")] = ""
    note_: Annotated[str, Option(help="A note.")] = ""
    customer: Annotated[str, Option(help="Left out of exports unless asked for.")] = ""
    temperature: Annotated[float | None, Option(help="Booth air, °C.")] = None
    humidity: Annotated[float | None, Option(help="Booth relative humidity, %.")] = None
    batch: Annotated[str, Option(help="Batch of the ground.")] = ""
    gun: Annotated[str, Option(help="Which gun.")] = ""
    tip: Annotated[float | None, Option(help="Its tip, mm.")] = None
    pressure: Annotated[float | None, Option(help="Air at the gun, bar.")] = None
    fan: Annotated[float | None, Option(help="Width of the fan, mm.")] = None
    distance: Annotated[float | None, Option(help="From gun to work, mm.")] = None
    overlap: Annotated[float | None, Option(help="Of the strokes, %; 75 is usual.")] = None
    lots: Annotated[str, Option(help="Of the other bottles: 'carrier: 12; honey: 4'.")] = ""
    clear_coats: Annotated[int | None, Option(help="Coats of clear.")] = None
    drawer: Annotated[str, Option(help="Where the card is kept.")] = ""
    poured: PouredOption = None

    def parsed(self) -> dict[str, Any]:
        """Return them as `draft_panel` takes them."""
        from matchlib.domain import GunSetup, read_lots
        from workbook.session.back import date_of

        given = asdict(self)
        gun = [given.pop(n) for n in ("gun", "tip", "pressure", "fan", "distance", "overlap")]
        return given | {
            "date": date_of(self.date),
            "note": given.pop("note_"),
            "lots": read_lots(self.lots),
            "setup": GunSetup(*gun),
        }


def _add(
    *,
    card: PanelOptions,
    lab: LabOption = None,
    reading: Annotated[
        str | None, Option(help="File with the panel's reading or readings, or a photograph.")
    ] = None,
    source: Annotated[str, Option(help="How --lab was read.")] = "spectrophotometer",
    before_clear: Annotated[bool, Option(help="It was read before its clear coat was on.")] = False,
    light: LightOptions,
    file: FileOptions,
    back: BackOptions,
    yes: Annotated[bool, Option(help="Keep it without asking.")] = False,
    asked: SignedOptions,
) -> None:
    """Add one panel: shows its ratio back in words and as a drawing, and asks before keeping it.

    What is not given is asked for, unless --yes is given. A ratio that looks the wrong way round
    is questioned.
    """
    from matchlib.domain import Reading
    from matchlib.readings import read_target
    from workbook.session.back import draft_panel
    from workbook.session.doing import note_sprayed

    with asked.opened(write=True) as session:
        if not yes:
            card = card.completed()
        there = session.archive.panel(card.panel) if card.on_top else None
        recipe = card.recipe(None if there is None else there.recipe)
        read = tuple(read_target(reading, **file.declared)) if reading else ()
        own = () if lab is None else (Reading(light.viewing, source, lab),)
        draft = draft_panel(
            code=card.panel,
            recipe=recipe,
            readings=own + read,
            before_clear=before_clear,
            **back.parsed(),
        )
        whole = None if there is None else _built_on(there.recipe, draft.panel.recipe, card.clear)
        _read_back(draft, note if asked.json_ else show)
        if not yes:
            _confirm(doubtful=draft.doubtful)
        if there is None or whole is None:
            result = session.archive.add([draft.panel], who=asked.who)
            added, words = list(result.added), result.words
        else:
            new = draft.panel.stages[0]
            done = {f.name: getattr(new, f.name) for f in fields(new) if f.name != "recipe"}
            session.archive.build_on(card.panel, whole, who=asked.who, **done)
            if of_card := _of_card(there, draft.panel):
                session.archive.amend(card.panel, who=asked.who, **of_card)
            added, words = [], f"Panel {card.panel} was built on: {whole.words}."
            for job in note_sprayed(session.archive, card.panel, who=asked.who):
                words += f" Job {job.number}, {job.name}, now waits for its reading."
    if asked.json_:
        from matchlib.plain import shown

        show_json({**shown(draft), "added": added, "words": words})
    else:
        show(words)


def _built_on(before: Recipe, added: Recipe, clear: str) -> Recipe:
    """The whole of what a panel carries with more coats on it."""
    for colour, coats in added.layers:
        before = before.then(coats, colour=colour, clear=clear)
    return before


def _of_card(there: Panel, said: Panel) -> dict[str, Any]:
    """What was said of a card as a whole while it was built on; a note stands after an earlier."""
    found = {name: getattr(said, name) for name in ("batch", "customer", "drawer")}
    found["note"] = "; ".join(filter(None, (there.note, said.note))) if said.note else ""
    return {name: text for name, text in found.items() if text}


def _confirm(*, doubtful: bool) -> None:
    """Go on only if the panel shall be kept."""
    question = (
        "Is it right as written all the same, and shall it be kept?"
        if doubtful
        else "Keep this panel?"
    )
    if not click.confirm(question, default=False, err=True):
        note("Nothing was kept.")
        raise click.exceptions.Exit(1)


def _label(
    *,
    panels: Annotated[list[str], Argument(help="Codes of panels in the archive.")],
    out: Annotated[str, Option(help="The PDF to write.")] = "labels.pdf",
    sheet: Annotated[str, Option(help="A4, Letter, or A5 down to A7.")] = "A4",
    first: Annotated[
        int, Option(help="Label to begin with, counted along the rows: uses up a sheet.")
    ] = 1,
    cut_lines: Annotated[bool, Option(help="Draw the edges, for plain paper.")] = False,
    archive: ArchiveOption = "panels.db",
) -> None:
    """Print labels for the backs of panels: recipe in words, date, sprayer, code to scan."""
    from matchlib.readings.writing import save_bytes
    from workbook.label import label_pdf

    with opened(archive) as session:
        found = [session.archive.panel(code) for code in panels]
    file = Path(out)
    save_bytes(label_pdf(found, sheet=sheet, first=first, cut_lines=cut_lines), file)
    show(f"{counted(len(panels), 'label')} written to {file}.")


def _read_back(draft: Any, tell: Any) -> None:
    from workbook.cup import cups_of

    tell(wrapped(draft.text))
    for ratio, colour in cups_of(draft.panel.recipe):
        tell(f"\nIn the cup at {ratio}, from the bottom up:")
        tell(cup_text(ratio, colour))
