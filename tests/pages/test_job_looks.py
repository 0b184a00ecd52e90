"""What a painter would stumble over on a job's page: what is recommended, or misplaced."""

from __future__ import annotations

import datetime as dt
import re
from types import SimpleNamespace

import pytest

from matchlib.job import Job
from tests.pages.jobs import CHERRY, RED, begun, sprayed
from tests.pages.pressing import plain, press
from workbook.jobs.app import JobsScreen
from workbook.jobs.board import due_words
from workbook.page import Press
from workbook.session import Session
from workbook.session.doing import choose
from workbook.session.undoing import undo


def test_what_is_out_of_reach_is_not_recommended_and_can_be_given_up(screen: JobsScreen) -> None:
    page = begun(screen, "60 75 30").draw()
    assert "Out of reach" in page
    assert "−" in plain(page).partition("than the sample")[0], "a minus is no hyphen"
    assert "wb-go" not in page, "nothing that hardly any card passes by is recommended"
    assert "Spray the nearest all the same" in page
    page = press(screen, "step", "done")
    assert "No card was sprayed for it" in page
    assert "Close it as matched" not in page
    assert "Back to the recipes" in page
    assert "Given up: no such red" in press(screen, "giveup", why="no such red")


def test_the_way_that_is_shown_passes_no_less_often_than_those_folded(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    page = press(screen, "read", lab="28.6 46.3 30.1")
    tens = [int(n) for n in re.findall(r"<b>(\d+) of 10</b>", page)]
    fresh = tens[1:]
    assert tens[0] == max(tens)
    assert fresh == sorted(fresh, reverse=True)
    assert "or a fresh pot" in page, "the pot that is reckoned next is a fresh one"


def test_a_cup_let_down_keeps_its_share_of_hardener_and_its_clock(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    page = plain(press(screen, "read", lab="28.6 46.3 30.1"))
    (carrier,) = {float(v) for v in re.findall(r"From the cup, ([\d.]+) ml carrier to each", page)}
    screen.press(Press("pot", "", {"pot_shape": "area", "pot_third": "hardener 25%"}))
    page = plain(press(screen, "step", "read"))
    more = r"From the cup, while its pot life lasts, ([\d.]+) ml carrier \+ ([\d.]+) ml hardener to"
    ((thinned, hardener),) = {*re.findall(more, page)}
    # To 100 ml in all, a fifth of them hardener, so much more in all; a fifth of that too.
    assert float(thinned) == pytest.approx(0.8 * carrier, abs=0.6)
    assert float(hardener) == pytest.approx(0.2 * carrier, abs=0.1)
    screen.press(Press("pot", "", {"pot_shape": "area", "pot_third": "some of it"}))
    assert "From the cup, " in plain(press(screen, "step", "read")), "wrong as it is typed"


def test_only_a_reading_can_be_sworn_to(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "step", "read")
    for nothing in ("", "green"):
        page = press(screen, "read", lab=nothing)
        assert "wb-wrong" in page
        assert "I read it again" not in page
    assert "I read it again: it is so" in press(screen, "read", lab="95 0 0")


def test_what_is_wrong_with_what_passes_is_said_where_that_is_typed(screen: JobsScreen) -> None:
    press(screen, "new")
    page = press(screen, "begin", lab=RED, passes="1 2")
    sample, _, passes = page.partition("<details")
    assert "wb-wrong" not in sample
    assert "This is not what passes" in passes
    assert '-passes1" open' in page, "unfolded, so that it is seen"
    assert 'value="1 2"' in passes, "with what was typed"
    sample, _, passes = press(screen, "begin", lab="green", passes="1 2").partition("<details")
    assert "A colour is three numbers" in sample
    assert "wb-wrong" not in passes


@pytest.mark.parametrize(("days", "words"), [(-3, "overdue since "), (0, "due "), (400, "due ")])
def test_a_job_whose_day_is_past_says_so(days: int, words: str) -> None:
    day = dt.date.today() + dt.timedelta(days)
    said = due_words(Job("gate", due=day))
    assert said.startswith(f"{words}{day:%A} {day.day} ")
    assert (str(day.year) in said) == (day.year != dt.date.today().year)
    assert due_words(Job("gate")) == ""


def test_beside_the_aim_stands_the_plan_and_then_the_card_by_name_and_number(
    screen: JobsScreen,
) -> None:
    begun(screen)
    screen.go(choose(screen.job, CHERRY), "spray")
    assert re.search(r"aim 27.1 45.9 28.5<br>plan \d", screen.draw())
    screen.go(undo(screen.job), "recipe")
    sprayed(screen)
    assert "<br>J1-1 27.2 46.0 28.4" in press(screen, "read", lab="27.2 46.0 28.4")


def test_the_shelf_says_what_its_rows_are_and_what_its_presses_do(screen: JobsScreen) -> None:
    begun(screen)
    page = press(screen, "tool", "shelf")
    for words in ("Mixed grounds on the shelf", "Colours on the shelf", "Also allowed"):
        assert f'<span class="wb-legend" aria-hidden="true">{words}</span>' in page
    assert "Close the shelf" in page
    assert "Change the shelf" not in page
    assert "Kept: jobs without a shelf" in press(screen, "usual")
    assert "Close the shelf" not in press(screen, "tool", "")


def test_a_job_in_a_shop_without_cards_leads_to_its_first_ones(nothing: Session) -> None:
    screen = JobsScreen(nothing)
    assert "no cards yet: begin here" in screen.draw()
    page = begun(screen).draw()
    assert "Recipes for carousel ring" in page
    assert 'href="browse_the_library.ipynb?part=begin"' in page
    assert "wb-wrong" not in page


def test_a_swatch_that_a_screen_cannot_show_is_explained(screen: JobsScreen) -> None:
    begun(screen)
    assert "White corner" not in press(screen, "jobs")
    begun(screen, "60 75 30")
    assert "White corner: outside what a screen" in press(screen, "jobs")


def test_a_photograph_and_the_page_do_not_both_say_what_is_next(screen: JobsScreen) -> None:
    press(screen, "new")
    screen.address["photo"] = "1"
    screen._photo = SimpleNamespace(shots=[], error=None, draw=lambda: "")
    assert "wb-go" in screen.draw()
    screen._photo.shots.append("a picture")
    assert "wb-go" not in screen.draw(), "its reading is used first"
    sprayed(begun(screen))
    press(screen, "step", "read")
    screen.address["photo"] = "1"
    assert "wb-go" not in screen.draw()


def test_a_closed_job_offers_nothing_that_it_would_refuse(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="28.6 46.3 30.1")
    press(screen, "giveup", why="the customer took another colour")
    page = press(screen, "step", "read")
    assert "○ Not yet" in page
    assert "Next: done" in page
    for offer in ("Do this", "Read it again", "Finish the job"):
        assert offer not in page
