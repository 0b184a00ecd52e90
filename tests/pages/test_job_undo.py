"""Undo on the page of jobs beside what is done elsewhere: at the command line, by another job."""

from __future__ import annotations

from dataclasses import replace

import pytest

from matchlib.archive import Archive
from matchlib.domain import CoatSchedule
from matchlib.errors import ArchiveError
from matchlib.job import Job, Plan
from tests.pages.jobs import CHERRY, begun, press
from workbook.jobs.app import JobsScreen
from workbook.session.work import Work


def chosen(screen: JobsScreen) -> Work:
    """A job at whose plan a first coat is to be laid."""
    screen.go(begun(screen).job.choose(CHERRY), "spray")
    return screen.job


def test_what_the_command_line_changed_is_taken_back_in_its_turn(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    other = replace(CHERRY, clear=None)
    archive.keep_job(archive.job(1).planned(Plan(other)))  # as `workbook job plan`
    press(screen, "words", name="carousel rim")
    assert screen.job.undo_words == "changed its words"
    press(screen, "undo")
    assert screen.job.undo_words == "job changed"
    press(screen, "undo")
    assert archive.job(1).plan == Plan(CHERRY)
    assert screen.job.undo_words == "chose the recipe"
    press(screen, "undo")
    assert (archive.job(1).plan, screen.job.undo_words) == (None, "")


def test_what_the_history_took_back_is_not_offered_again(screen: JobsScreen) -> None:
    archive = screen.session.archive
    chosen(screen)
    choice = archive.history()[-1].number
    back = archive.undo(choice)  # as `workbook undo`
    assert screen.job.undo_words == ""
    archive.undo(back)
    assert screen.job.undo_words == "chose the recipe"
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
