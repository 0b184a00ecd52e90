"""A job's card read and judged on the page: what it should read, what is asked, what it told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from matchlib.domain import CoatSchedule, Reading, Viewing
from matchlib.errors import MatchlibError
from tests.pages.jobs import CHERRY, RED, begun, press, sprayed
from workbook.jobs.app import JobsScreen
from workbook.page import Press
from workbook.page.pictures import numbers
from workbook.session.doing import choose, read


def test_what_a_card_should_read_follows_from_what_it_read(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="28.6 46.3 30.1")
    assert "on the card" in press(screen, "step", "spray"), "the coats can be looked at again"
    _, ways, _ = screen.judged(screen.job)
    way = next(w for w in ways if w.on)
    shown = press(screen, "do", way.key)
    card = screen.job.panel
    under = screen.job.on_top(card, [way.recipe])[0].lab
    assert numbers(under) in shown
    assert numbers(screen.job.expected_labs([way.recipe])[0]) not in shown, (
        "the fit alone expects another"
    )
    sheet = screen.job.sheet()
    assert sheet.coats.cleared.lab == pytest.approx(under, abs=0.3)


def test_a_card_may_be_read_with_light_and_eye_in_each_others_places(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    assert screen.job.job.target[0].viewing == Viewing(geometry="45:0")
    turned = Reading(Viewing(geometry="0:45"), lab=(27.1, 45.8, 28.4))
    job = read(screen.job, [turned])
    assert job.panel.stages[-1].readings[0].viewing == turned.viewing, "kept as it was read"
    screen.go(job, "read")
    assert "● Passes" in screen.draw()


def test_a_reading_that_cannot_be_is_questioned_and_kept_when_it_is_so(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    asked = press(screen, "step", "read")
    assert "wait until it is dry" in asked, "its last coat was laid just now"
    assert "I read it again" not in asked
    with pytest.raises(MatchlibError, match="lighter than its bare ground") as questioned:
        press(screen, "read", lab="95 0 0")
    screen.error = questioned.value
    assert "I read it again: it is so" in screen.draw()
    assert not screen.job.panel.stages[-1].readings
    press(screen, "read", lab="95 0 0", sure="sure")
    assert len(screen.job.panel.stages[-1].readings) == 1
    # A second reading that gainsays the first is questioned too.
    with pytest.raises(MatchlibError, match="differ by more than reading does"):
        press(screen, "read", lab="27.1 45.8 28.4")
    assert len(screen.job.panel.stages[-1].readings) == 1


@pytest.mark.parametrize(
    ("lab", "words"),
    [
        (
            "24.4 44.3 26.2",
            ("This card is lost: too dark", "Keep it for the archive", "Next: a fresh card"),
        ),
        ("27.0 45.0 3.0", ("This does not fit", "b* 30.0 instead", "Next: read it again")),
    ],
)
def test_a_card_that_is_lost_or_does_not_fit_is_not_built_on(
    screen: JobsScreen, lab: str, words: tuple[str, ...]
) -> None:
    sprayed(begun(screen))
    shown = press(screen, "read", lab=lab, sure="sure")
    assert [w for w in words if w not in shown] == []
    _, ways, _ = screen.judged(screen.job)
    assert not ways[0].on, "a fresh card is what is offered first"
    again = press(screen, "read", lab=lab, sure="sure")
    assert words[0] in again
    assert "Next: a fresh card" in again, "it reads so all the same"


def test_what_a_card_told_of_the_day_holds_for_the_next(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="24.4 44.3 26.2")
    first = screen.job
    heavy = first.learnt().film[0]
    assert heavy > 0.03
    assert first.learnt(but=first.panel.code) is first.model, "not from itself"
    same = [s.probability for s in first.suggestions() if s.recipe == first.panel.recipe]
    assert max(same, default=0.0) < 0.1, "it would come out too dark again"
    sprayed(screen)
    press(screen, "read", lab="26.0 45.0 27.5")
    second = screen.job
    assert second.job.panels[0] == first.panel.code
    assert second.steering(second.panel).card.before.film[0] == pytest.approx(heavy)


def test_what_a_card_read_before_its_clear_should_read_follows_from_that(
    screen: JobsScreen,
) -> None:
    begun(screen)
    screen.go(choose(screen.job, CHERRY), "spray")
    for coat in ("1", "2"):
        press(screen, "coat", coat)
    light, red, yellow = screen.job.expected_labs([replace(CHERRY, clear=None)])[0]
    press(screen, "read", lab=f"{light - 1.2:.1f} {red:.1f} {yellow:.1f}")
    work = screen.job
    under = work.on_top(work.panel, [CHERRY])[0].lab
    assert under[0] < work.expected_labs([CHERRY])[0][0] - 0.5
    assert work.ahead == [under]
    assert numbers(under) in press(screen, "step", "spray")


def test_a_card_is_typed_in_the_light_and_geometry_of_its_target(screen: JobsScreen) -> None:
    table = b"panel,illuminant,observer,geometry,L,a,b\nS1,D50,2,di:8,27.1,45.9,28.5\n"
    press(screen, "new")
    screen.press(Press("file", "s.csv", {"name": "ring", "passes": "1"}, table))
    sprayed(screen)
    light, red, yellow = screen.job.expected_labs([screen.job.panel.recipe])[0]
    press(screen, "read", lab=f"{light:.1f} {red:.1f} {yellow:.1f}")
    press(screen, "read", lab=f"di:8: {light:.1f} {red:.1f} {yellow:.1f}")
    card = screen.job.panel
    assert {str(r.viewing) for r in card.readings} == {"D50/2° di:8"}
    assert len(card.readings) == 2


def test_a_box_of_lab_is_drawn_by_its_own_axes(screen: JobsScreen) -> None:
    press(screen, "new")
    press(screen, "begin", lab=RED, name="ring", kind="box", passes="2 0.5 1")
    sprayed(screen)
    shown = press(screen, "read", lab="27.6 45.2 29.9", sure="sure")
    for words in ("lighter by 0.5", "greener by 0.7", "yellower by 1.4"):
        assert f'aria-label="{words}"' in shown


def test_a_card_taken_up_again_is_judged_by_its_own_reading(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="28.6 46.3 30.1")
    first = screen.job.panel
    sprayed(screen)
    press(screen, "read", lab="24.4 44.3 26.2", sure="sure")
    assert len(screen.job.job.panels) == 2
    on = first.recipe.then(CoatSchedule.parse("1@12:1"), clear="yes")
    screen.go(choose(screen.job, on, on=first.code), "spray")
    press(screen, "coat", str(on.coats))
    press(screen, "clear")
    assert "● Passes" in press(screen, "read", lab="27.0 46.0 28.6")


def test_a_fresh_card_that_is_not_begun_cannot_be_read(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    press(screen, "read", lab="28.6 46.3 30.1")
    screen.go(choose(screen.job, CHERRY), "spray")
    assert "Spray card J1-2" in press(screen, "step", "read")
    press(screen, "coat", "1")
    assert "Read it dry" in press(screen, "step", "read")
    press(screen, "undo")
    press(screen, "giveup", why="no such red")
    press(screen, "reopen")
    assert "Spray card J1-2" in press(screen, "step", "spray")


def test_angles_of_a_card_are_held_against_their_own_whatever_their_order(
    screen: JobsScreen,
) -> None:
    begun(screen, "45as15: 33 50 30\n45as110: 25 42 25")
    sprayed(screen)
    angles = "45as110: 25.2 42 25\n45as45: 30 45 28\n45as15: 33.4 50 30"
    shown = press(screen, "read", lab=angles, sure="sure")
    for words in (
        "45as15: aim 33.0 50.0 30.0 · 33.4 50.0 30.0",
        "45as110: aim 25.0 42.0 25.0 · 25.2 42.0 25.0",
        "aim 33.0 50.0 30.0 · J1-1 33.4 50.0 30.0",
        'aria-label="lighter by 0.4"',
    ):
        assert words in shown
    assert "reads 33.4 50.0 30.0" in press(screen, "step", "done")
