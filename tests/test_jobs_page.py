"""The page of jobs without a browser: what its presses do to the archive, and what it then says."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from matchlib.domain import CoatSchedule, Colour, Ground, Reading, Recipe, Viewing
from matchlib.errors import MatchlibError
from matchlib.job import Job, Plan
from tests.cli_shop import copied
from tests.test_jobsheet import printed, squeezed
from workbook.jobs.app import JobsScreen
from workbook.jobs.board import waiting
from workbook.jobs.done import sheet_pdf
from workbook.jobs.pot import job_of, keep_typed, pot_part, pots_of, typed_of
from workbook.jobs.read import _hues
from workbook.jobs.recipe import _CARRIERS, own_recipe
from workbook.jobs.spray import booth_of
from workbook.jobs.target import of_text
from workbook.page import Press
from workbook.session import Session
from workbook.session.customer import sheet_of_job
from workbook.session.stock import stock_of
from workbook.session.work import BEFORE
from workbook.sheet_parts import lab_words

RED = "27.1 45.9 28.5"
CHERRY = Recipe(Ground.parse("silver"), Colour.parse("cherry"), CoatSchedule.parse("2@4:1"), "yes")


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
    assert 'aria-label="lighter by 1.5"' in shown
    _, ways, _ = screen.judged(screen.job)
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


def test_what_is_typed_is_harmless(screen: JobsScreen) -> None:
    begun(screen, name="<script>alert(1)</script>")
    assert "<script" not in screen.draw()
    press(screen, "jobs")
    assert "<script" not in screen.draw()


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
    shown = press(screen, "jobs")
    in_hand, finished = shown.split("1 finished job")
    assert "<h2>door</h2>" not in in_hand
    assert "given up: out of reach" in finished


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


def test_a_card_of_the_library_begins_a_job(screen: JobsScreen) -> None:
    screen.address = {"panel": "T041"}
    screen.press(Press("open"))
    assert screen.address["job"] == "new"


def test_a_target_needs_what_passes_and_weights_that_suit_it(screen: JobsScreen) -> None:
    press(screen, "new")
    two = "45as15: 60 10 5\n45as45: 40 20 10"
    wrong = (
        {"passes": "1 2"},
        {"passes": "one"},
        {"kind": "box", "passes": "1"},
        {"weights": "1 2 3"},
        {"weights": "1 -2"},
        {"weights": "much"},
        {"lab": "5 90 90", "weights": ""},
    )
    for fields in wrong:
        with pytest.raises(MatchlibError):
            screen.press(Press("begin", "", {"lab": two, "passes": "1", **fields}))
    assert screen.session.archive.jobs() == ()
    fields = {"lab": two, "kind": "box", "passes": "1 2,5 3", "weights": "2 1", "name": " ring "}
    screen.press(Press("begin", "", {**fields, "due": "2027-03-01", "notes": "by hand"}))
    (job,) = screen.session.archive.jobs()
    assert (job.name, job.due, job.notes) == ("ring", dt.date(2027, 3, 1), "by hand")
    assert (job.tolerance.box, job.weights) == ((1.0, 2.5, 3.0), (2.0, 1.0))
    at = {"version": str(job.version), "name": "", "customer": "Ann", "due": "2027-04-01"}
    screen.press(Press("words", "", {**at, "lab": "1 2 3"}))
    now = screen.job.job
    assert (now.name, now.customer, now.due) == ("ring", "Ann", dt.date(2027, 4, 1))
    assert now.target == job.target, "another target is another job"


def test_a_minus_of_a_word_processor_is_a_minus(screen: JobsScreen) -> None:
    (reading,) = of_text("40 −9,5 -40", screen.session)
    assert reading.lab == (40.0, -9.5, -40.0)


def test_a_file_is_the_sample_or_the_card_in_hand(screen: JobsScreen) -> None:
    sample = b"panel,L,a,b,illuminant,observer,geometry\nx,27.1,45.9,28.5,D65,10,45:0\n"
    press(screen, "new")
    screen.press(Press("file", "sample.csv", {"passes": "1"}, sample))
    assert screen.job.job.target[0].lab == (27.1, 45.9, 28.5)
    sprayed(screen)
    screen.press(Press("file", "card.csv", {}, sample))
    assert len(screen.session.archive.jobs()) == 1
    assert screen.job.panel.readings[0].lab == (27.1, 45.9, 28.5)


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


def test_what_holds_in_the_booth_is_kept_checked_and_noted_of_each_coat(
    screen: JobsScreen,
) -> None:
    begun(screen)
    typed = {"sprayer": "Ada", "lot": "L7", "temperature": "21,5", "humidity": "40", "flash": "10"}
    for name, wrong in (("temperature", "warm"), ("humidity", "140"), ("flash", "soon")):
        with pytest.raises(MatchlibError):
            screen.press(
                Press("booth", "", {f"booth_{n}": v for n, v in (typed | {name: wrong}).items()})
            )
    assert not any(booth_of(screen.session.archive).values()), "nothing of it was kept"
    screen.press(Press("booth", "", {f"booth_{n}": v for n, v in typed.items()}))
    sprayed(screen)
    card = screen.job.panel
    first, *_ = card.stages[-1].log
    assert (card.sprayer, card.lot, card.temperature) == ("Ada", "L7", 21.5)
    assert (first.sprayer, first.lot, first.humidity) == ("Ada", "L7", 40.0)
    assert card.customer == "Fairground Works"
    screen.address["step"] = "spray"
    assert 'data-wait="600"' in screen.draw(), "the clock counts down ten minutes"


def test_the_sheet_of_further_coats_begins_with_the_card_as_it_is(screen: JobsScreen) -> None:
    begun(screen)
    screen.go(screen.job.choose(CHERRY), "spray")
    for coat in ("1", "2"):
        press(screen, "coat", coat)
    press(screen, "clear")
    press(screen, "read", lab="40 40 20")
    (card,) = screen.job.job.panels
    on = Recipe.of("silver", "cherry", "2@4:1 1@12:1", "yes")
    screen.go(screen.job.choose(on, on=card), "spray")
    work = screen.job
    sheet = sheet_of_job(work.archive, work.job)
    assert str(sheet.recipe.schedule) == "1@12:1"
    assert sheet.whole == on
    assert len(sheet.coats.coats) == 4, "bare, two coats, and the one to come"
    text = printed(sheet_pdf(work))
    assert squeezed("as it is, 2 coats on it") in text
    assert squeezed("silver, bare") not in text
    last = lab_words(sheet.coats.coats[-1].lab)
    assert squeezed(last) in text


def test_a_pot_is_taken_off_the_shelf_once(screen: JobsScreen) -> None:
    archive = screen.session.archive
    screen.go(begun(screen).job.choose(CHERRY), "spray")
    assert "Take it off the shelf" not in screen.draw(), "no bottle is written down"
    press(screen, "stock", stock_name="cherry", stock_ml="480 ml")
    assert "Take it off the shelf" in screen.draw()
    poured = sum(
        portion.ml
        for group in pots_of(screen.job.pot_recipe, typed_of(archive)).groups
        for portion in group.pour.portions
        if portion.name == "cherry"
    )
    for _ in range(2):  # a second press of a slow page takes nothing more
        screen.press(Press("takepot"))
    assert stock_of(archive)["cherry"].stock_ml == pytest.approx(480.0 - poured)
    assert "Taken off the shelf" in screen.draw()


def test_bottles_and_the_pot_are_the_shops(screen: JobsScreen) -> None:
    archive = screen.session.archive
    screen.press(Press("stock", "", {"stock_name": "cherry", "stock_ml": "480 ml"}))
    assert stock_of(archive)["cherry"].stock_ml == 480.0
    screen.press(Press("unstock", "cherry"))
    assert stock_of(archive) == {}
    with pytest.raises(MatchlibError, match="not a number"):
        keep_typed(archive, {"pot_by": "film", "pot_solids": "a fifth"})
    assert archive.setting("card", None) is None
    keep_typed(archive, {"pot_by": "film", "pot_solids": " 20 ", "pot_dry_film": "12"})
    assert job_of(typed_of(archive)).volume_solids == 0.2
    shown = str(pot_part(archive, CHERRY, None, opened=True))
    assert 'name="pot_solids"' in shown
    assert 'name="pot_used"' not in shown


def test_a_shelf_can_become_the_shops_and_be_given_back(screen: JobsScreen) -> None:
    begun(screen)
    boxes = {"colours": "cherry\nhoney", "min_ratio": "3", "max_ratio": "8", "max_coats": "5"}
    screen.press(Press("shelf", "", {**boxes, "max_unevenness": "2", "may": "blends"}))
    limits = screen.job.limits
    assert [str(c) for c in limits.colours] == ["cherry", "honey"]
    assert (limits.min_ratio, limits.max_ratio, limits.max_coats) == (3.0, 8.0, 5)
    assert (limits.blends, limits.step_ups, limits.max_unevenness) == (True, False, 2.0)
    screen.press(Press("usual"))
    assert screen.session.limits().max_coats == 5
    screen.press(Press("unlimit"))
    assert screen.job.job.limits is None


def test_ones_own_recipe_is_where_the_sliders_stand(screen: JobsScreen) -> None:
    begun(screen)
    at = {"own_ground": "silver", "own_colour": "cherry", "own_coats": "2", "own_ratio": "0"}
    at |= {"own_more": "1", "own_second": "0"}
    work = screen.job
    one = own_recipe(work, Press("own", "", at))
    assert one.schedule.coats == 3
    (step,) = one.schedule.steps
    assert float(step.ratio.carrier) == min(_CARRIERS)
    two = own_recipe(work, Press("own", "", at | {"own_second": "3"})).schedule.steps
    assert [(s.coats, float(s.ratio.carrier)) for s in two] == [
        (2, _CARRIERS[0]),
        (1, _CARRIERS[3]),
    ]
    screen.press(Press("useown", "", at))
    assert screen.job.job.plan.recipe == one


def test_a_card_read_on_its_way_is_asked_for_and_its_next_coat_waits(screen: JobsScreen) -> None:
    begun(screen)
    screen.go(screen.job.choose(CHERRY, read_after=(1,)), "spray")
    assert screen.job.job.plan.read_after == (1,)
    with pytest.raises(MatchlibError, match="noted already"):
        screen.press(Press("coat", "2"))
    screen.press(Press("coat", "1", {"code": "  my  card "}))
    assert screen.job.due_reading == 1
    shown = screen.draw()
    assert "Next: read it" in shown
    assert "Coat 2 sprayed" not in shown
    work = screen.job.read(of_text("45 35 20", screen.session))
    assert work.panel.code == "my card"
    assert work.panel.readings[0].state == BEFORE
    assert work.due_reading == 0
    assert work.next_coat.number == 2
    again = work.read(of_text("45.2 35 20", screen.session))
    assert len(again.panel.readings) == 2
    on = again.coat_laid()
    assert [len(s.readings) for s in on.panel.stages] == [2, 0]
    assert on.begun == 1
    assert on.pot_recipe.schedule.coats == 1
    fresh = screen.job.choose(CHERRY)
    with pytest.raises(MatchlibError, match="a card my card already"):
        fresh.coat_laid(code="my card")


def test_an_aged_finish_is_typed_place_by_place(screen: JobsScreen) -> None:
    press(screen, "new")
    press(
        screen,
        "begin",
        lab="27.1 45.9 28.5\n26.5 45.0 28.0\n27.9 46.4 29.3",
        name="old door",
        passes="1",
    )
    job = screen.job.job
    (target,) = job.target
    assert target.lab == pytest.approx((27.1667, 45.7667, 28.6), abs=1e-3)
    assert job.tolerance.value > 1.0, "the finish's own spread passes"
    assert "3 places of the finish" in job.notes
    press(screen, "new")
    with pytest.raises(MatchlibError, match="several places"):
        press(screen, "begin", lab="27.1 45.9 28.5\n26.5 45.0 28.0", name="two", passes="1")


def test_troubles_and_protocol_are_at_hand_where_they_matter(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    shown = press(screen, "goto", "spray")
    assert "Tiger stripes" in shown
    assert "Before you open a tin" in shown
    assert 'href="train_on_grounds.ipynb?part=words&amp;word=word-overlap"' in shown
    assert "White tile" in press(screen, "goto", "read")


def test_a_photograph_is_a_target_and_a_reading_and_its_picture_is_kept(
    screen: JobsScreen,
) -> None:
    seen = Reading(Viewing(geometry="photo"), "photo", (28.0, 45.0, 29.0), sd=2.0)
    found = SimpleNamespace(reading=SimpleNamespace(reading=seen), picture=b"small JPEG")
    press(screen, "new")
    fields = {"name": "by phone", "passes": "1"}
    screen.use_photo(found, Press("photo_use", "", fields))
    assert screen.job.job.target == (seen,)
    sprayed(screen)
    press(screen, "goto", "read")
    screen.use_photo(found, Press("photo_use"))
    card = screen.job.panel
    (reading,) = card.stages[-1].readings
    assert (reading.source, reading.lab) == ("photo", seen.lab)
    (kept,) = screen.session.archive.attachments(card.code)
    assert reading.picture == kept.name


def test_a_reading_that_cannot_be_is_questioned_and_kept_when_it_is_so(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    asked = press(screen, "goto", "read")
    assert "was it dry?" in asked, "its last coat was laid just now"
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


def test_a_card_too_dark_is_said_to_be_lost(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    shown = press(screen, "read", lab="21.5 40.5 24.0", sure="sure")
    assert "This card is lost: too dark" in shown
    assert "Clear it for the archive, and spray the next" in shown
    _, ways, _ = screen.judged(screen.job)
    assert not ways[0].on, "a fresh card is what is offered first"
