"""A job begun and sprayed by presses, as its tests do."""

from __future__ import annotations

from matchlib.domain import CoatSchedule, Colour, Ground, Recipe
from workbook.jobs.app import JobsScreen
from workbook.page import Press
from workbook.session.doing import choose

RED = "27.1 45.9 28.5"
CHERRY = Recipe(Ground.parse("silver"), Colour.parse("cherry"), CoatSchedule.parse("2@4:1"), "yes")


def press(screen: JobsScreen, do: str, value: str = "", **fields: str) -> str:
    screen.press(Press(do, value, fields))
    return screen.draw()


def begun(screen: JobsScreen, lab: str = RED, name: str = "carousel ring") -> JobsScreen:
    press(screen, "new")
    press(screen, "begin", lab=lab, name=name, customer="Fairground Works", passes="1")
    return screen


def sprayed(screen: JobsScreen) -> None:
    """Choose the likeliest recipe, lay every coat of it and clear it."""
    found, _ = screen.found(screen.job)
    row = next(r for r in found)
    screen.go(choose(screen.job, row.recipe), "spray")
    while (coat := screen.job.next_coat) is not None:
        press(screen, "coat", str(coat.number))
    press(screen, "clear")
