"""The page of jobs without a browser: what its presses do to the archive, and what it then says."""

from __future__ import annotations

from pathlib import Path

import pytest

from matchlib.errors import MatchlibError
from tests.cli_shop import copied
from workbook.jobs.app import JobsScreen
from workbook.jobs.target import of_text
from workbook.page import Press
from workbook.session import Session

RED = "27.1 45.9 28.5"


@pytest.fixture
def screen(tmp_path: Path) -> JobsScreen:
    return JobsScreen(Session.open(copied(tmp_path)))


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
    screen.go(screen.job.choose(row.recipe), "spray")
    while (coat := screen.job.next_coat) is not None:
        press(screen, "coat", str(coat.number))
    press(screen, "clear")


@pytest.mark.parametrize(
    "typed",
    [
        *("27.1 45.9 28.5", "27,1 45,9 28,5", "27,1; 45,9; 28,5", "L* 27.1, a* 45.9, b* 28.5"),
        *(
            "27.1,45.9,28.5",
            "CIE L*a*b* 27.1 45.9 28.5",
            "L=27.1 a=45.9 b=28.5",
            "27.1\t45.9\t28.5",
        ),
    ],
)
def test_a_target_is_read_as_people_write_it(screen: JobsScreen, typed: str) -> None:
    (reading,) = of_text(typed, screen.session)
    assert reading.lab == (27.1, 45.9, 28.5)


def test_a_target_may_be_a_panel_or_angles_and_nothing_else(screen: JobsScreen) -> None:
    (own,) = of_text("t041", screen.session)
    assert own.lab == pytest.approx((41.175, -13.91, -48.785), abs=0.01)
    several = of_text("45as15: 60 10 5\n45as45: 40 20 10", screen.session)
    assert [r.viewing.geometry for r in several] == ["45as15", "45as45"]
    for wrong in ("", "27 45", "green", "27 45 28 9", "500 0 0", "nan 1 2"):
        with pytest.raises(MatchlibError):
            of_text(wrong, screen.session)


def test_a_card_that_misses_is_built_on_and_stays_one_card(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    card = screen.job.job.panels[0]
    shown = press(screen, "read", lab="28.6 46.3 30.1")
    assert "○ Not yet: ΔE00 1.3" in shown
    _, ways = screen.judged(screen.job)
    assert ways[0].on == card
    before = screen.job.panel.recipe.schedule.coats
    press(screen, "do", ways[0].key)
    assert screen.job.pot_recipe.schedule.coats == 1, "the pot is that of the one coat"
    press(screen, "coat", str(before + 1))
    press(screen, "clear")
    assert "● Passes" in press(screen, "read", lab="27.1 45.8 28.4")
    panel = screen.session.archive.panel(card)
    assert [len(s.readings) for s in panel.stages] == [1, 1]
    assert screen.job.job.panels == (card,)
    press(screen, "matched")
    assert screen.job.job.outcome == "matched"


def test_every_step_is_taken_back_to_the_target(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    card = screen.job.job.panels[0]
    press(screen, "read", lab="28.6 46.3 30.1")
    taken = []
    while words := screen.job.undo_words:
        taken.append(words)
        press(screen, "undo")
    assert taken[0] == f"{card} read"
    assert taken[1] == "clear coat laid"
    assert taken[-1].startswith("chose ")
    job = screen.job.job
    assert (job.plan, job.panels, job.state) == (None, (), "recipe")
    assert card in screen.session.archive.deleted()


def test_a_press_on_a_page_that_is_behind_does_nothing(screen: JobsScreen) -> None:
    begun(screen)
    version = str(screen.job.job.version)
    key = screen.found(screen.job)[0][0]
    screen.go(screen.job.choose(key.recipe), "spray")
    with pytest.raises(MatchlibError, match="changed elsewhere"):
        press(screen, "coat", "1", version=version)
    assert screen.job.job.panels == ()


def test_a_green_job_has_nothing_of_the_red_one(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "jobs")
    begun(screen, "34 -30 20", "pond reed")
    shown = screen.draw()
    assert "carousel" not in shown
    assert screen.job.job.plan is None
    assert screen.job.job.panels == ()


def test_a_shelf_is_the_jobs_own(screen: JobsScreen) -> None:
    begun(screen)
    neat = ["silver", "graphite"]
    shown = "\n".join(str(g) for g in screen.session.archive.grounds())
    press(screen, "shelf", grounds="\n".join(neat), grounds_shown=shown)
    assert {str(g) for g in screen.job.limits.grounds} == set(neat)
    assert {str(s.recipe.ground) for s in screen.job.suggestions()} <= set(neat)
    assert screen.session.limits().grounds is None


def test_the_sheet_and_the_label_are_made_when_asked(screen: JobsScreen) -> None:
    from workbook.jobs.done import label_of, sheet_pdf

    sprayed(begun(screen))
    assert sheet_pdf(screen.job).startswith(b"%PDF")
    sprayed(screen)
    press(screen, "read", lab="27.2 46.1 28.4")
    assert sheet_pdf(screen.job).startswith(b"%PDF"), "of a card that is finished too"
    assert label_of(screen.job, screen.job.job.panels[0]).startswith(b"%PDF")


@pytest.mark.parametrize("tool", ["own", "chart", "compare", "shelf"])
def test_what_is_folded_is_drawn_when_asked(screen: JobsScreen, tool: str) -> None:
    begun(screen)
    assert len(press(screen, "tool", tool)) > 1000
    assert screen.error is None


def test_what_is_typed_is_harmless(screen: JobsScreen) -> None:
    begun(screen, name="<script>alert(1)</script>")
    assert "<script" not in screen.draw()
    press(screen, "jobs")
    assert "<script" not in screen.draw()
