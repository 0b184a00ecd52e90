"""Undo and Next on the page of jobs: beside what is done elsewhere, and where nothing passes."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest

from matchlib.archive import Archive
from matchlib.domain import CoatSchedule, Panel, Recipe
from matchlib.errors import ArchiveError
from matchlib.job import Job, Plan
from tests.cli_shop import json_of, run
from tests.pages.jobs import CHERRY, begun, press
from tests.pages.pressing import plain
from workbook.jobs.app import JobsScreen
from workbook.jobs.board import waiting
from workbook.library.app import LibraryScreen
from workbook.session.doing import choose
from workbook.session.undoing import undo_words
from workbook.session.work import Work


def chosen(screen: JobsScreen) -> Work:
    """A job at whose plan a first coat is to be laid."""
    screen.go(choose(begun(screen).job, CHERRY), "spray")
    return screen.job


def test_what_the_command_line_changed_is_taken_back_in_its_turn(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    other = replace(CHERRY, clear=None)
    archive.keep_job(archive.job(1).planned(Plan(other)))  # as `workbook job plan`
    press(screen, "words", name="carousel rim")
    assert undo_words(screen.job) == "changed its words"
    press(screen, "undo")
    assert undo_words(screen.job) == "job changed"
    press(screen, "undo")
    assert archive.job(1).plan == Plan(CHERRY)
    assert undo_words(screen.job) == "chose the recipe"
    press(screen, "undo")
    assert (archive.job(1).plan, undo_words(screen.job)) == (None, "")


def test_what_the_history_took_back_is_not_offered_again(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    choice = archive.history()[-1].number
    back = archive.undo(choice)  # as `workbook undo`
    assert undo_words(screen.job) == ""
    archive.undo(back)
    assert undo_words(screen.job) == "chose the recipe"
    press(screen, "undo")
    assert archive.job(1).plan is None


def test_a_step_that_cannot_be_taken_back_stays_whole(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    press(screen, "coat", "1")
    press(screen, "coat", "2")
    code = screen.job.panel.code
    three = replace(CHERRY, schedule=CoatSchedule.parse("3@4:1"))
    archive.amend(code, recipe=three)  # somebody wrote another back for the card
    before = (archive.job(1), archive.panel(code))
    with pytest.raises(ArchiveError, match="changed again since"):
        press(screen, "undo")
    assert (archive.job(1), archive.panel(code)) == before


def test_other_pages_take_back_no_half_of_a_jobs_step(screen: JobsScreen) -> None:
    archive: Archive = screen.session.archive
    archive.amend("T045", note="a run")
    library = LibraryScreen(screen.session)
    assert library.undo_words == "amended T045"
    chosen(screen)
    press(screen, "coat", "1")
    assert library.undo_words == "amended T045", "the card's adding would be refused"
    press(screen, "coat", "2")
    press(screen, "clear")
    assert library.undo_words == "amended T045"
    press(screen, "undo")
    press(screen, "undo")
    press(screen, "undo")
    assert archive.job(1).panels == ()
    assert library.undo_words == "amended T045"


def test_the_card_of_another_job_too_is_not_put_aside(screen: JobsScreen) -> None:
    archive: Archive = screen.session.archive
    chosen(screen)
    press(screen, "coat", "1")
    code = screen.job.panel.code
    two = archive.keep_job(Job("the same ring", target=archive.job(1).target).sprayed(code))
    press(screen, "undo")
    assert archive.job(1).panels == ()
    assert code not in archive.deleted()
    assert archive.job(two.number).panels == (code,)


def test_a_card_that_was_there_before_the_job_is_not_put_aside(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    press(screen, "coat", "1")
    code = screen.job.panel.code
    archive.add([Panel.of("X1", CHERRY)])
    for card in (code, "X1"):  # from another job, and from the booth: neither was read yet
        archive.keep_job(archive.job(1).without(code))
        archive.keep_job(archive.job(1).sprayed(card))  # as `workbook job sprayed`
        press(screen, "undo")
        assert archive.job(1).panels == ()
        assert archive.deleted() == ()
        press(screen, "undo")


def test_of_a_card_read_twice_one_reading_is_taken_back_at_a_time(screen: JobsScreen) -> None:
    chosen(screen)
    for do in ("coat 1", "coat 2", "clear"):
        press(screen, *do.split())
    for light in (28.6, 28.8):
        press(screen, "read", lab=f"{light} 40 15")
    for left in (1, 0):
        assert undo_words(screen.job) == "J1-1 read"
        press(screen, "undo")
        assert len(screen.job.panel.readings) == left
    assert undo_words(screen.job) == "clear coat laid"


def test_a_job_given_up_amid_its_coats_is_taken_up_again_there(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    press(screen, "coat", "1")
    for again in ("page", "command"):
        press(screen, "giveup", why="the customer is away")
        if again == "page":
            press(screen, "reopen")
        else:
            assert run("job", "reopen", 1, "--archive", archive.label).exit_code == 0
        assert waiting(archive.job(1)) == "J1-1 is being sprayed"
        assert "Next: coat 2 sprayed" in press(screen, "job", "1")
    assert json_of("job", "reopen", 1, "--archive", archive.label)["state"] == "spray"


def test_coats_on_a_cleared_card_that_nobody_read_leave_that_clear_where_it_is(
    screen: JobsScreen,
) -> None:
    chosen(screen)
    for do in ("coat 1", "coat 2", "clear"):
        press(screen, *do.split())
    on = CHERRY.then(CoatSchedule.parse("2@8:1"), clear="yes")
    screen.go(choose(screen.job, on, on="J1-1"), "spray")
    assert "sand it before these coats" in plain(screen.draw())
    assert screen.job.added == screen.job.pot_recipe
    for coat in ("3", "4"):
        assert "Pot for 2 more coats" in screen.draw()
        press(screen, "coat", coat)
    first, second = screen.session.archive.panel("J1-1").stages
    assert (first.recipe, second.recipe) == (CHERRY, replace(on, clear=None))
    assert [[entry.coat for entry in stage.log] for stage in (first, second)] == [[1, 2], [3, 4]]


def test_a_card_whose_back_was_set_right_is_gone_on_with_as_it_is(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    press(screen, "coat", "1")
    code = screen.job.panel.code
    archive.amend(code, schedule="1@5:1", ground="pale gold")  # it was another pot and ground
    press(screen, "coat", "2")
    assert str(archive.panel(code).recipe) == "cherry over pale gold, 1@5:1 1@4:1"
    press(screen, "undo")
    assert str(archive.panel(code).recipe) == "cherry over pale gold, 1@5:1"


def test_a_layer_is_laid_over_its_mid_coat(screen: JobsScreen) -> None:
    plan = Recipe.of("silver", None, "1@6:1 cherry, 1@8:1 lagoon over clear", "yes")
    screen.go(choose(begun(screen).job, plan), "spray")
    for coat in ("1", "2"):
        press(screen, "coat", coat)
    press(screen, "clear")
    assert screen.job.panel.recipe == plan


def test_a_card_with_more_coats_than_planned_leaves_none_to_lay(screen: JobsScreen) -> None:
    chosen(screen)
    for coat in ("1", "2"):
        press(screen, "coat", coat)
    press(screen, "clear")
    screen.session.archive.amend(screen.job.panel.code, schedule="3@4:1")
    press(screen, "read", lab="27.1 45.8 28.4", sure="sure")
    assert "Pot for 0 more coats" in press(screen, "step", "spray")
    assert forward(screen) == ("step", "read")


def test_a_bare_ground_that_was_planned_leads_on_to_another_recipe(screen: JobsScreen) -> None:
    screen.go(choose(begun(screen).job, replace(CHERRY, colour=None, schedule=None)), "spray")
    assert forward(screen) == ("step", "recipe"), "there is no card to be read yet"


def test_where_nothing_on_the_shelf_passes_next_leads_to_another_recipe(screen: JobsScreen) -> None:
    screen.go(choose(begun(screen, "60 0 60").job, CHERRY), "spray")
    for coat in ("1", "2"):
        assert 'data-do="step" data-value="spray"' in press(screen, "step", "recipe"), (
            "not laid yet"
        )
        press(screen, "coat", coat)
    press(screen, "clear")
    press(screen, "step", "recipe")
    assert forward(screen) == ("step", "spray"), "not read yet"
    press(screen, "step", "read")
    lab = "{:.1f} {:.1f} {:.1f}".format(*screen.job.expected_labs([CHERRY])[0])
    shown = press(screen, "read", lab=lab)
    assert "Nothing within this shelf is likely to pass" in shown
    assert forward(screen) == ("step", "recipe")
    press(screen, "step", "recipe")
    do, key = forward(screen)
    assert do == "use"
    press(screen, "use", key)
    assert screen.job.job.plan.on == ""
    assert "Spray card J1-2" in screen.draw()


def forward(screen: JobsScreen) -> tuple[str, str]:
    """What the press that goes on does."""
    last = re.findall(r'data-do="([^"]*)" data-value="([^"]*)"', screen.draw())[-1]
    return last[0], html.unescape(last[1])
