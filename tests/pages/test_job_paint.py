"""What a job takes: its shelf, pot, bottles, booth, sheet and label."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from matchlib.domain import CoatSchedule, Panel, Reading, Recipe, Stage
from matchlib.errors import MatchlibError
from matchlib.mixing import Limits
from tests.pages.jobs import CHERRY, begun, press, sprayed
from tests.pages.pressing import plain
from tests.printed import printed, squeezed
from workbook.jobs.app import JobsScreen
from workbook.jobs.done import label_of, sheet_pdf
from workbook.jobs.pot import keep_typed, pot_part, pots_of, request_of, typed_of
from workbook.jobs.recipe import _CARRIERS, own_recipe
from workbook.jobs.spray import booth_of
from workbook.page import Press
from workbook.page.pictures import coats_words
from workbook.session.doing import choose, keep
from workbook.session.stock import stock_of
from workbook.sheet_parts import lab_words


def test_a_shelf_is_the_jobs_own(screen: JobsScreen) -> None:
    begun(screen)
    neat = ["silver", "graphite"]
    shown = "\n".join(str(g) for g in screen.session.archive.grounds())
    press(screen, "shelf", grounds="\n".join(neat), grounds_shown=shown)
    assert {str(g) for g in screen.job.limits.grounds} == set(neat)
    assert {str(s.recipe.ground) for s in screen.job.suggestions()} <= set(neat)
    assert screen.session.limits().grounds is None


def test_a_mixed_ground_out_of_sight_goes_and_comes_with_what_it_is_mixed_of(
    screen: JobsScreen,
) -> None:
    begun(screen)
    mixed = Recipe.of("silver 3 + graphite 1", "cherry", "3@4:1", "yes")
    read = (Reading(lab=(30, 30, 15)),)
    screen.session.archive.add([Panel("M-1", (Stage(mixed, readings=read),))])
    every = [str(g) for g in screen.job.known(screen.session.archive.grounds())]
    neat = [g for g in every if "+" not in g]
    assert str(mixed.ground) in every
    assert "Nothing is left on the shelf" in press(
        screen, "shelf", grounds="", grounds_shown="\n".join(neat)
    )
    press(screen, "shelf", grounds="graphite", grounds_shown="\n".join(neat))
    assert [str(g) for g in screen.job.limits.grounds] == ["graphite"]
    press(screen, "shelf", grounds="\n".join(neat), grounds_shown="\n".join(neat))
    assert screen.job.limits.grounds is None
    # One that stands ready may be ticked alone where it is shown, and then stays.
    press(screen, "shelf", grounds=str(mixed.ground), grounds_shown="\n".join(every))
    press(screen, "shelf", grounds="", grounds_shown="\n".join(neat))
    assert screen.job.limits.grounds == (mixed.ground,)


def test_the_shops_shelf_changed_on_another_tablet_is_searched(screen: JobsScreen) -> None:
    begun(screen)
    assert {r.recipe.ground for r in screen.found(screen.job)[0]} != {CHERRY.ground}
    other = begun(JobsScreen(screen.session), name="another ring")
    shown = "\n".join(str(g) for g in screen.session.archive.grounds())
    press(other, "shelf", grounds="silver", grounds_shown=shown)
    press(other, "usual")
    assert {r.recipe.ground for r in screen.found(screen.job)[0]} == {CHERRY.ground}


def test_the_sheet_and_the_label_are_made_when_asked(screen: JobsScreen) -> None:
    sprayed(begun(screen))
    assert sheet_pdf(screen.job).startswith(b"%PDF")
    sprayed(screen)
    press(screen, "read", lab="27.2 46.1 28.4")
    assert sheet_pdf(screen.job).startswith(b"%PDF"), "of a card that is finished too"
    assert label_of(screen.job, screen.job.job.panels[0]).startswith(b"%PDF")


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


def test_a_card_read_before_its_clear_keeps_who_sprayed_it_and_from_what(
    screen: JobsScreen,
) -> None:
    begun(screen)
    press(screen, "booth", booth_sprayer="Ada", booth_lot="L7", booth_temperature="21")
    screen.go(choose(screen.job, CHERRY), "spray")
    for coat in ("1", "2"):
        press(screen, "coat", coat)
    press(screen, "read", lab="33.4 34.7 10.7")
    press(screen, "booth", booth_sprayer="Bo", booth_lot="honey 4")  # at another card by now
    press(screen, "clear")
    card = screen.job.panel
    assert [s.recipe.clear for s in card.stages] == [None, "yes"]
    assert (card.sprayer, card.lot, card.temperature) == ("Ada", "L7", 21.0)
    assert "Ada" in printed(label_of(screen.job, card.code))


def test_the_sheet_of_further_coats_begins_with_the_card_as_it_is(screen: JobsScreen) -> None:
    begun(screen)
    screen.go(choose(screen.job, CHERRY), "spray")
    for coat in ("1", "2"):
        press(screen, "coat", coat)
    press(screen, "clear")
    press(screen, "read", lab="40 40 20")
    (card,) = screen.job.job.panels
    on = Recipe.of("silver", "cherry", "2@4:1 1@12:1", "yes")
    screen.go(choose(screen.job, on, on=card), "spray")
    work = screen.job
    sheet = work.sheet()
    assert str(sheet.recipe.schedule) == "1@12:1"
    assert sheet.whole == on
    assert len(sheet.coats.coats) == 4, "bare, two coats, and the one to come"
    text = printed(sheet_pdf(work))
    assert squeezed("as it is, 2 coats on it") in text
    assert squeezed("silver, bare") not in text
    last = lab_words(sheet.coats.coats[-1].lab)
    assert squeezed(last) in text


def test_the_pot_of_a_card_that_nobody_read_is_of_the_coats_to_add(screen: JobsScreen) -> None:
    begun(screen)
    archive = screen.session.archive
    archive.add([Panel.of("U1", Recipe.of("silver", "cherry", "2@6:1"))])
    on = Recipe.of("silver", "cherry", "2@6:1 2@10:1", "yes")
    screen.go(choose(screen.job, on, on="U1"), "spray")
    assert screen.job.added == screen.job.pot_recipe
    for coat in ("3", "4"):
        assert (screen.job.begun, str(screen.job.pot_recipe.schedule)) == (2, "2@10:1")
        assert "Pot for 2 more coats" in screen.draw()
        assert squeezed("These coats go on panel U1") in printed(sheet_pdf(screen.job))
        press(screen, "coat", coat)
    assert "Next: clear laid" in screen.draw()
    assert "Pot for 2 more coats" in screen.draw()


def test_a_pot_is_taken_off_the_shelf_once(screen: JobsScreen) -> None:
    archive = screen.session.archive
    screen.go(choose(begun(screen).job, CHERRY), "spray")
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
    press(screen, "stock", stock_name="Cherry", stock_bottle="500 ml", stock_price="42,50")
    (kept,) = stock_of(archive).values()
    assert kept.stock_ml == pytest.approx(480.0 - poured), "what was not said stays"
    assert (kept.bottle_ml, kept.price) == (500.0, 42.5)
    assert "Taken off the shelf" in screen.draw()
    begun(screen, "30 40 20", "pond reed")
    screen.go(choose(screen.job, CHERRY), "spray")
    screen.press(Press("takepot"))
    left = stock_of(archive)["Cherry"].stock_ml
    press(screen, "job", "1")
    assert "Taken off the shelf" in screen.draw(), "though another job's pot was taken since"
    screen.press(Press("takepot"))
    assert stock_of(archive)["Cherry"].stock_ml == left
    archive.set_setting("pot taken off the shelf", screen.job.pot_words)
    assert "Taken off the shelf" in screen.draw(), "one alone, as it was kept before"


def test_a_pot_stays_taken_whatever_the_card_is_called_and_the_next_is_another(
    screen: JobsScreen,
) -> None:
    screen.go(choose(begun(screen).job, CHERRY), "spray")
    press(screen, "stock", stock_name="cherry", stock_ml="480 ml")
    screen.press(Press("takepot"))
    press(screen, "coat", "1", code="tank lid")
    assert "Taken off the shelf" in screen.draw(), "of the same pot, now that its card has a code"
    press(screen, "coat", "2")
    assert "Taken off the shelf" in screen.draw()
    more = CoatSchedule.parse("1@8:1")
    for _ in range(2):  # the same coat on top, twice: two pots
        press(screen, "step", "read")
        press(screen, "read", lab="40 45 28", sure="sure")
        screen.go(choose(screen.job, screen.job.panel.recipe.then(more), on="tank lid"), "spray")
        assert "Take it off the shelf" in screen.draw()
        screen.press(Press("takepot"))
        assert "Taken off the shelf" in screen.draw()
        press(screen, "coat", str(screen.job.next_coat.number))
        assert "Taken off the shelf" in screen.draw()


def test_of_two_layers_each_coat_and_cup_names_its_own_colour(screen: JobsScreen) -> None:
    begun(screen)
    layered = Recipe.of("silver", None, "1@6:1 lagoon, 1@4:1 cherry", "yes")
    screen.go(choose(screen.job, layered), "spray")
    page = plain(screen.draw())
    assert "1 · lagoon at 6 : 1" in page
    assert "2 · cherry at 4 : 1" in page
    assert "1 part colour (cherry)" in page
    screen.go(choose(screen.job, CHERRY), "spray")
    assert "2 · 4 : 1" in plain(screen.draw())


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
    assert request_of(typed_of(archive)).volume_solids == 0.2
    with pytest.raises(MatchlibError, match="not a whole number"):
        keep_typed(archive, {"pot_by": "used", "pot_used_coats": "2.5"})
    shown = str(pot_part(archive, CHERRY, None, opened=True))
    assert 'name="pot_solids"' in shown
    assert 'name="pot_used"' not in shown


def test_the_shops_densities_hold_for_whatever_is_mixed(screen: JobsScreen) -> None:
    archive = screen.session.archive
    start = {"pot_by": "used", "pot_used": "25 ml", "pot_used_area": "0.09 m2"}
    start |= {"pot_shape": "area", "pot_area": "1 m2", "pot_used_coats": "1"}
    keep_typed(archive, start | {"pot_densities": "carrier=0.87, cherry=0.95, reducer=0.8"})
    by_scale = str(pot_part(archive, CHERRY, None, opened=True))
    assert "colour (cherry) to" in by_scale
    other = Recipe.of("silver", "lagoon", "3@6:1", "yes")
    page = str(pot_part(archive, other, None, opened=True))
    assert "ml lagoon" in page, "though the density of cherry is on the list"
    assert "By weight" not in page
    with pytest.raises(MatchlibError, match=r"does not know\..*chery"):
        keep_typed(archive, start | {"pot_densities": "chery=0.95"})


def test_what_was_poured_is_said_of_its_own_pot_alone(screen: JobsScreen) -> None:
    begun(screen)
    screen.go(choose(screen.job, CHERRY), "spray")
    press(screen, "pot", pot_poured="32, 4", pot_bottle="120 ml")
    page = plain(screen.draw())
    assert "4 of colour into 32 of carrier is 8:1" in page
    assert "120 ml of colour left in the bottle" in page
    steps = Recipe.of("silver", "cherry", "2@6:1 1@3:1", "yes")
    screen.go(choose(screen.job, steps), "spray")
    page = plain(screen.draw())
    assert "ml cherry, then into the rest" in page
    assert "of colour into 32" not in page
    press(screen, "pot", pot_poured="32, 4")
    page = plain(screen.draw())
    assert "one ratio only" in page
    assert "ml cherry, then into the rest" in page, "what is poured stays"


def test_a_shelf_can_become_the_shops_and_be_given_back(screen: JobsScreen) -> None:
    layered = Recipe.of("silver", None, "2@6:1 lagoon, 2@4:1 cherry", "yes")
    lab = screen.session.model.predict_recipes([layered])[0]
    begun(screen, " ".join(f"{v:.1f}" for v in lab))
    boxes = {"colours": "cherry\nlagoon", "min_ratio": "3", "max_ratio": "8", "max_coats": "5"}
    screen.press(Press("shelf", "", {**boxes, "max_unevenness": "2", "may": "blends\nlayers"}))
    limits = screen.job.limits
    assert limits.colours is None, "all that there are is no limit"
    assert (limits.min_ratio, limits.max_ratio, limits.max_coats) == (3.0, 8.0, 5)
    assert (limits.blends, limits.step_ups, limits.max_unevenness) == (True, False, 2.0)
    assert limits.layers
    assert any(len(s.recipe.layers) > 1 for s in screen.job.suggestions())
    screen.press(Press("shelf", "", boxes | {"colours": "cherry"}))
    assert [str(c) for c in screen.job.limits.colours] == ["cherry"]
    screen.press(Press("usual"))
    assert screen.session.limits().max_coats == 5
    screen.press(Press("unlimit"))
    assert screen.job.job.limits is None


def test_a_shelf_set_elsewhere_is_shown_as_it_is_and_kept(screen: JobsScreen) -> None:
    begun(screen)
    ready = "lagoon 2 + cherry 1"
    wide = Limits(max_coats=14, colours=("cherry", ready), max_unevenness=1.2, grounds=("silver",))
    screen.go(keep(screen.job, replace(screen.job.job, limits=wide), "changed the shelf"), "recipe")
    page = press(screen, "tool", "shelf")
    sent = dict(re.findall(r'<select id="wb-(\w+)".*?<option value="([^"]*)" selected>', page))
    assert (sent["max_coats"], sent["max_unevenness"]) == ("14", "1.2")
    boxes = re.findall(r'name="colours" value="([^"]*)" checked', page)
    assert boxes == ["cherry", ready]
    fields = {n: sent[n] for n in ("min_ratio", "max_ratio", "max_coats", "max_unevenness")}
    may = "blends\nstep_ups\nground_blends"
    press(screen, "shelf", grounds="silver", grounds_shown="silver", may=may,
          colours="\n".join(boxes), **fields)  # fmt: skip
    assert screen.job.limits == wide, "a press that changes nothing changes nothing"
    press(screen, "shelf", grounds="silver", grounds_shown="silver", may=may, colours="cherry",
          **fields)  # fmt: skip
    assert [str(c) for c in screen.job.limits.colours] == ["cherry"]


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
    screen.go(choose(screen.job, Recipe.of("silver", clear="yes")), "recipe")
    likeliest = screen.job.suggestions(top=1)[0].recipe
    assert own_recipe(screen.job, None) == likeliest, "a bare ground has no coats to slide"
    assert "My own recipe" in press(screen, "tool", "own")


@pytest.mark.parametrize(
    "schedule",
    ["1@6:1 lagoon, 1@4:1 cherry", "1@10:1 2@6:1 1@3:1", "3@25:1", "12@14:1", "2@9:1 8@6:1"],
)
def test_what_the_sliders_cannot_say_is_not_shown_beside_them(
    screen: JobsScreen, schedule: str
) -> None:
    begun(screen)
    colour = None if "," in schedule else "cherry"
    screen.go(choose(screen.job, Recipe.of("silver", colour, schedule, "satin")), "recipe")
    page = press(screen, "tool", "own")
    sent = dict(re.findall(r'<select id="wb-(\w+)".*?<option value="([^"]*)" selected>', page))
    for tag in re.findall(r'<input[^>]*type="range"[^>]*>', page):
        name, low, high, value = (
            re.search(rf' {a}="([^"]*)"', tag)[1] for a in ("name", "min", "max", "value")
        )
        assert int(low) <= int(value) <= int(high), "else a browser would send another"
        sent[name] = value
    shown = own_recipe(screen.job, None)
    assert plain(coats_words(shown)) in plain(page)
    press(screen, "useown", **sent)
    assert screen.job.job.plan.recipe == shown
