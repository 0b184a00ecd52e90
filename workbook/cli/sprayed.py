"""What was sprayed for a target, as the command line takes it: panels, and the one just read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import click

from matchlib.domain import BEFORE_CLEAR
from matchlib.errors import DomainError
from workbook.cli.common import FileOptions, LightOptions, named_numbers
from workbook.cli.options import Option
from workbook.cli.wanted import labs_at

if TYPE_CHECKING:
    from matchlib.domain import Reading, Recipe, Viewing
    from workbook.session import Session

    Typed = tuple[Recipe, tuple[Reading, ...]]

__all__ = ["CardOptions", "NewPanelOptions", "SprayedOption", "TriedOption"]

TriedOption = Annotated[
    list[str] | None,
    Option(help="Panel of the archive sprayed for it; again for the next.", metavar="CODE"),
]
SprayedOption = Annotated[
    str | None, Option(help="Table of panels sprayed for it.", metavar="FILE")
]


@dataclass(frozen=True, slots=True)
class NewPanelOptions:
    """The panel just sprayed, where it is no panel of the archive."""

    ground: Annotated[str, Option(help="The panel just sprayed: its ground.")] = ""
    colour: Annotated[str, Option(help="Its colour.")] = ""
    schedule: Annotated[str, Option(help="Its coats, such as 4@6:1.")] = ""
    clear: Annotated[str, Option(help="Its clear coat, on it or to come: yes, no or a name.")] = (
        "yes"
    )
    read: Annotated[
        tuple[float, float, float] | None, Option(help="Its reading.", metavar="L a b")
    ] = None
    read_at: Annotated[
        list[str] | None,
        Option(
            help="Its reading at one angle: 45as15=40,-20,10; again for the next.",
            metavar="ANGLE=L,a,b",
        ),
    ] = None
    read_file: Annotated[
        str | None,
        Option(
            help="Its reading in a file, at several angles too, or a photograph.", metavar="FILE"
        ),
    ] = None
    before_clear: Annotated[bool, Option(help="It was read before its clear coat was on.")] = False

    def panels(self, viewing: Viewing, light: LightOptions, file: FileOptions) -> list[Typed]:
        """Return its recipe with its readings, or nothing where none was given.

        `viewing`: how --read was read.
        """
        if not (self.ground or self.read is not None or self.read_at or self.read_file is not None):
            return []
        from matchlib.domain import Recipe

        recipe = Recipe.of(self.ground, self.colour, self.schedule, self.clear)
        return [(recipe, tuple(map(self.as_read, self._readings(viewing, light, file))))]

    def as_read(self, reading: Reading) -> Reading:
        """Return the reading as one from before the clear coat, if it is."""
        return replace(reading, state=BEFORE_CLEAR) if self.before_clear else reading

    def _readings(
        self, viewing: Viewing, light: LightOptions, file: FileOptions
    ) -> tuple[Reading, ...]:
        from workbook.session.targets import angles_of_file, reading_of_lab

        if (self.read is not None) + bool(self.read_at) + (self.read_file is not None) != 1:
            raise click.BadParameter(
                "give the panel's reading with --read L a b, --read-at ANGLE=L,a,b or "
                "--read-file FILE"
            )
        if self.read is not None:
            return (reading_of_lab(self.read, viewing),)
        if self.read_at:
            return labs_at(self.read_at, light)
        return angles_of_file(str(self.read_file), **file.declared)


@dataclass(frozen=True, slots=True)
class CardOptions:
    """A card still in the booth: its readings on the way, and what is left in its cup."""

    readings_left: Annotated[
        int | None,
        Option(
            "--looks",
            type=click.IntRange(0, 3),
            help="The panel is still in the booth, and may be read so often again: say what to lay "
            "on it next.",
        ),
    ] = None
    stage: Annotated[
        list[str] | None,
        Option(
            help="An earlier reading of that card: all coats then, and L,a,b, such as "
            "2@9:1=40,20,10; again for the next.",
            metavar="COATS=L,a,b",
        ),
    ] = None
    minutes: Annotated[float | None, Option(help="From its last coat to its reading.")] = None
    cup_ml: Annotated[
        float | None, Option(type=click.FloatRange(1.0), help="What is left in its cup.")
    ] = None
    sure: Annotated[bool, Option(help="Its readings were taken again, and are so.")] = False

    def __post_init__(self) -> None:
        given = self.stage or self.cup_ml is not None or self.minutes is not None or self.sure
        if self.readings_left is None and given:
            raise click.BadParameter(
                "--stage, --minutes, --cup-ml and --sure are of a card in progress: give --looks "
                "too"
            )
        if self.minutes is not None and not self.minutes >= 0.0:  # nan is no number of minutes
            raise click.BadParameter(f"--minutes is 0 or more, not {self.minutes:g}")

    def of_archive(self, session: Session, code: str, clear: str) -> Sequence[Typed]:
        """Return a panel of the archive as such a card, one recipe with its readings a stage.

        `clear`: which it is to have, as of `NewPanelOptions`; where it says yes, the usual one.
        """
        from workbook.session.targets import stages_read

        usual, panel = session.clear if clear == "yes" else clear, session.archive.panel(code)
        rows = stages_read(panel, usual)
        if rows and rows[-1][0].schedule != panel.recipe.schedule:
            raise DomainError(
                f"Coats were laid on card {panel.code} since it was read.",
                expected=f"its reading after {panel.recipe.schedule}",
                got=f"one after {rows[-1][0].schedule or 'no coat'}",
                remedy="let it dry, read it, and add the reading to it.",
            )
        return rows

    def of_panel(self, panel: NewPanelOptions, typed: list[Typed]) -> Sequence[Typed]:
        """Return the panel just sprayed as such a card, with its earlier readings."""
        from matchlib.domain import CoatSchedule
        from workbook.session.targets import reading_of_lab

        if not typed:
            raise click.BadParameter(
                "say which card is in progress: --ground, --colour, --schedule and --read, or "
                "--tried CODE"
            )
        recipe, last = typed[-1]
        earlier = []
        for text in self.stage or []:
            such = "an earlier reading is such as 2@9:1=40,20,10"
            schedule, lab = named_numbers(text, 3, such)
            read = panel.as_read(reading_of_lab(lab, last[0].viewing))
            earlier.append((replace(recipe, schedule=CoatSchedule.parse(schedule)), (read,)))
        return [*earlier, (recipe, last)]
