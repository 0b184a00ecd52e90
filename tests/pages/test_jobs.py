"""The page of jobs without a browser: what its presses do to the archive, and what it then says."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import pytest

from matchlib.colorimetry import delta_e00
from matchlib.domain import BEFORE_CLEAR, CoatSchedule, Panel, Reading, Recipe
from matchlib.errors import MatchlibError
from matchlib.job import Job, Plan
from matchlib.steering import SANDING
from tests.pages.jobs import CHERRY, begun, press, sprayed
from tests.pages.pressing import plain
from workbook.jobs.app import JobsScreen
from workbook.jobs.board import waiting
from workbook.jobs.read import _hues
from workbook.jobs.recipe import _compare, offers
from workbook.jobs.target import of_text
from workbook.page import Press
from workbook.page.pictures import numbers, tenths
from workbook.session.doing import choose, coat_laid, read
from workbook.session.undoing import undo_words


def test_a_card_that_misses_is_built_on_and_stays_one_card(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    card = screen.job.job.panels[0]
    shown = press(screen, "read", lab="28.6 46.3 30.1")
    assert "○ Not yet: ΔE00 1.3" in shown
    assert 'aria-label="lighter by 1.5"' in shown
    assert "Close it as matched all the same" in press(screen, "step", "done")
    press(screen, "step", "read")
    _, ways, _ = screen.judged(screen.job)
    assert ways[0].on == card
    before = screen.job.panel.recipe.schedule.coats
    press(screen, "do", ways[0].key)
    assert screen.job.pot_recipe.schedule.coats == 1, "the pot is that of the one coat"
    press(screen, "coat", str(before + 1))
    press(screen, "clear")
    assert "● Passes" in press(screen, "read", lab="27.1 45.8 28.4")
    assert "all the same" not in press(screen, "step", "done")
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
    while words := undo_words(screen.job):
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
    screen.go(choose(screen.job, key.recipe), "spray")
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


@pytest.mark.parametrize(
    ("tool", "words"),
    [
        ("own", 'aria-label="My own recipe"'),
        ("chart", "In all that the shelf reaches"),
        ("compare", 'aria-label="Compare two"'),
        ("shelf", "Colours on the shelf"),
    ],
)
def test_what_is_folded_is_drawn_when_asked(screen: JobsScreen, tool: str, words: str) -> None:
    begun(screen)
    without = screen.draw()
    unfolded = press(screen, "tool", tool)
    assert words in unfolded
    assert words not in without
    assert words not in press(screen, "tool", ""), "and folded again"


def test_a_job_is_found_by_name_customer_or_number(screen: JobsScreen) -> None:
    archive = screen.session.archive
    for name, customer in (("ring", "Fairground Works"), ("pond reed", "Ann"), ("door", "Bo")):
        archive.keep_job(Job(name, customer))
    archive.keep_job(archive.job(3).closed("given up", "out of reach"))
    for sought, found in (
        ("FAIR", {"ring"}),
        ("pond", {"pond reed"}),
        ("3", {"door"}),
        ("q", set()),
    ):
        shown = press(screen, "find", sought=f" {sought} ")
        assert {n for n in ("ring", "pond reed", "door") if f"<h2>{n}</h2>" in shown} == found
    assert "No job is called so" in press(screen, "find", sought="q")
    shown = press(screen, "jobs")
    in_hand, finished = shown.split("1 finished job")
    assert "<h2>door</h2>" not in in_hand
    assert "given up: out of reach" in finished


def test_what_is_due_first_stands_first_and_is_gone_on_with(screen: JobsScreen) -> None:
    for name, due in (("late", 3), ("early", 1), ("old", 0), ("new", 0)):
        day = dt.date(2026, 5, due) if due else None
        screen.session.archive.keep_job(Job(name, due=day))
    shown = press(screen, "jobs")
    assert re.findall(r"<h2>(.*?)</h2>", shown) == ["early", "late", "new", "old"]
    assert "early" in re.findall(r"<button[^>]*wb-go[^>]*>.*?</button>", shown, re.S)[0]


@pytest.mark.parametrize("number", ["7", "x", "²"])
def test_an_address_of_no_job_leads_to_the_list(screen: JobsScreen, number: str) -> None:
    screen.address = {"job": number}
    page = press(screen, "open")
    assert "There is no" in page
    assert "Jobs in hand" in page


def test_a_shelf_with_nothing_on_it_says_so_and_is_filled_again(screen: JobsScreen) -> None:
    begun(screen)
    shown = "\n".join(str(g) for g in screen.session.archive.grounds())
    page = press(screen, "shelf", grounds="", grounds_shown=shown)
    assert "Nothing is left on the shelf" in page
    assert "Undo: changed the shelf" in page
    assert 'data-value="silver"' in page
    page = press(screen, "shelf", grounds="silver", grounds_shown=shown)
    assert "Nothing is left" not in page
    assert "over <b>silver</b>" in page


def test_what_was_named_and_never_read_is_on_no_shelf(screen: JobsScreen) -> None:
    begun(screen)
    archive = screen.session.archive
    bare, laid = Recipe.of("slate", clear="yes"), Recipe.of("silver", "mystery", "2@6:1", "yes")
    archive.add([Panel.of("N-1", bare), Panel.of("N-2", laid)])
    page = press(screen, "tool", "shelf")
    assert 'data-value="silver"' in page
    assert 'data-value="slate"' not in page
    assert 'data-value="mystery"' not in page
    names = {"grounds_shown": "silver\nblack", "colours": "cherry\nlagoon", "max_coats": "5"}
    press(screen, "shelf", grounds="silver", **names, min_ratio="3", max_ratio="8")
    assert screen.job.limits.colours is None, "all that are known are no limit"
    assert "slate" not in {str(g) for g in screen.job.limits.grounds}
    assert "mystery" not in press(screen, "tool", "own")
    screen.go(choose(screen.job, laid), "spray")
    page = press(screen, "open")
    assert "No panel in the archive shows the colour" in page
    assert "Jobs in hand" in page, "it can be left"


def test_what_a_job_waits_for_is_said() -> None:
    on = Job("j", target=(Reading(lab=(40, 30, 20)),), plan=Plan(CHERRY), panels=("J1",))
    for job, words in (
        (Job("j"), "no target yet"),
        (replace(on, plan=None, state="recipe"), "recipe to be chosen"),
        (replace(on, state="spray"), "recipe chosen, to be sprayed"),
        (replace(on, plan=Plan(CHERRY, "J1"), state="spray"), "J1 is being sprayed"),
        (replace(on, state="read"), "J1 to be read or judged"),
        (replace(on, panels=(), state="read"), "to be read"),
    ):
        assert waiting(job) == words


@pytest.mark.parametrize(
    ("hue", "less", "more"),
    [(30, "redder", "yellower"), (120, "yellower", "greener"), (300, "bluer", "redder")],
)
def test_beside_a_hue_lie_its_neighbours(hue: float, less: str, more: str) -> None:
    # a* runs from green to red, b* from blue to yellow (ISO/CIE 11664-4, from memory).
    assert _hues(hue) == (less, more)


def test_a_job_is_given_up_with_its_reason_and_taken_up_again(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    screen.press(Press("giveup", "", {"why": "no such red"}))
    job = screen.job.job
    assert (job.open, job.outcome, job.why) == (False, "given up", "no such red")
    shown = screen.draw()
    assert "Given up: no such red" in shown
    assert "Take it up again" in shown
    screen.press(Press("reopen"))
    assert (screen.job.job.open, screen.job.job.state) == (True, "read")


def test_a_card_read_on_its_way_is_asked_for_and_its_next_coat_waits(screen: JobsScreen) -> None:
    begun(screen)
    screen.go(choose(screen.job, CHERRY, read_after=(1,)), "spray")
    assert screen.job.job.plan.read_after == (1,)
    with pytest.raises(MatchlibError, match="noted already"):
        screen.press(Press("coat", "2"))
    screen.press(Press("coat", "1", {"code": "  my  card "}))
    assert screen.job.due_reading == 1
    shown = screen.draw()
    assert "Next: read it" in shown
    assert "Coat 2 sprayed" not in shown
    work = read(screen.job, of_text("45 35 20", screen.session))
    assert work.panel.code == "my card"
    assert work.panel.readings[0].state == BEFORE_CLEAR
    assert work.due_reading == 0
    assert work.next_coat.number == 2
    again = read(work, of_text("45.2 35 20", screen.session))
    assert len(again.panel.readings) == 2
    on = coat_laid(again)
    assert [len(s.readings) for s in on.panel.stages] == [2, 0]
    assert on.begun == 1
    assert on.pot_recipe.schedule.coats == 1
    fresh = choose(screen.job, CHERRY)
    for code in ("my card", "My Card"):
        with pytest.raises(MatchlibError, match="a card my card already"):
            coat_laid(fresh, code=code)


def test_troubles_and_protocol_are_at_hand_where_they_matter(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    shown = press(screen, "step", "spray")
    assert "Tiger stripes" in shown
    assert "tell the employer and a doctor" in shown, "symptoms, where it is sprayed"
    assert "Before you open a tin" in shown
    assert 'href="train_on_grounds.ipynb?part=words&amp;word=word-overlap"' in shown
    assert "White tile" in press(screen, "step", "read")


def test_ones_own_recipe_counts_in_what_todays_cards_told(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="24.4 44.3 26.2")
    work = screen.job
    screen.go(choose(work, work.panel.recipe), "recipe")
    (told,) = (s for s in screen.job.suggestions() if s.recipe == work.panel.recipe)
    assert told.probability < 0.1
    (offer,) = (o for o in offers(screen.job.suggestions(), None) if o.suggestion == told)
    expected = f"ΔE00 {told.expected:.2f} ± {told.sd:.2f} from the target"
    shown = press(screen, "tool", "own")
    assert expected in shown
    assert tenths(offer.chance) in shown


def test_a_closed_job_takes_neither_coat_nor_reading(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="28.6 46.3 30.1")
    _, ways, _ = screen.judged(screen.job)
    press(screen, "do", ways[0].key)
    press(screen, "matched")
    card = screen.job.panel
    for do, value in (("coat", str(screen.job.next_coat.number)), ("read", ""), ("useown", "")):
        with pytest.raises(MatchlibError, match="take it up again first"):
            press(screen, do, value, lab="28.6 46.3 30.1")
    assert screen.session.archive.panel(card.code) == card
    press(screen, "reopen")
    press(screen, "coat", str(screen.job.next_coat.number))
    assert len(screen.job.panel.stages) == 2


def test_a_clear_is_sanded_where_coats_go_on_it_and_not_where_they_have_gone(
    screen: JobsScreen,
) -> None:
    sprayed(begun(screen))
    assert "Sand its clear first" in press(screen, "read", lab="28.6 46.3 30.1")
    card = screen.job.panel
    on = card.recipe.then(CoatSchedule.parse("2@30:1"), clear="yes")
    screen.go(choose(screen.job, on, on=card.code), "spray")
    (there,) = screen.job.on_top(card, [replace(on, clear=None)])
    assert "sand it before these coats" in plain(screen.draw())
    assert SANDING in screen.job.sheet().notes
    assert "sand it before" not in plain(press(screen, "coat", str(card.recipe.coats + 1)))
    assert SANDING not in screen.job.sheet().notes
    press(screen, "coat", str(card.recipe.coats + 2))
    light, red, yellow = there.lab
    page = press(screen, "read", lab=f"{light + 0.8:.1f} {red:.1f} {yellow + 0.8:.1f}")
    assert "Next: build on it" in page
    assert "Sand its clear" not in page


def test_what_a_card_would_pass_sprayed_blind_is_told_as_the_plan_believes_it_today(
    screen: JobsScreen,
) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="25.0 44.0 25.5", sure="sure")
    work = screen.job
    plans = work.plans()
    steered = [o for o in offers(work.suggestions(), plans) if o.read_after]
    assert steered
    assert {(o.recipe, o.blind) for o in steered} <= {(p.whole, p.blind) for p in plans}


def test_two_recipes_are_compared_by_what_is_sprayed(screen: JobsScreen) -> None:
    begun(screen, "45 20 5")
    work = screen.job
    found = work.suggestions()
    (read,) = (o for o in offers(found, work.plans()) if o.read_after and o.recipe.coats == 2)
    shown = _compare(work, [read, read], None)
    (lab,) = work.expected_labs([read.recipe])
    assert lab != pytest.approx(read.suggestion.lab, abs=0.1)
    assert numbers(lab) in shown
    assert f"ΔE00 {delta_e00(work.wanted, lab):.2f} from the aim" in shown


def test_a_job_with_a_card_and_no_target_asks_for_the_target(screen: JobsScreen) -> None:
    archive = screen.session.archive
    archive.keep_job(Job("bare").sprayed("T041"))
    for step in ("", "read", "done"):
        screen.address = {"job": "1", "step": step}
        assert "no sample yet" in screen.draw()
    archive.keep_job(archive.job(1).closed("given up", "no sample came"))
    assert "no sample came" in press(screen, "step", "done")
