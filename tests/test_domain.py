"""The words of the trade: what they mean, how they are written, what cannot be built."""

from __future__ import annotations

import dataclasses
import pickle
from itertools import groupby
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from matchlib.domain import (
    CoatSchedule,
    CoatStep,
    Colour,
    Ground,
    GunSetup,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Viewing,
    lots_text,
    read_lots,
)
from matchlib.errors import DomainError
from tests.trade_words import NAMES, PARTS, SCHEDULES, refused

# Schedules


@given(SCHEDULES)
def test_a_schedule_reads_as_it_is_written(schedule: CoatSchedule) -> None:
    assert CoatSchedule.parse(str(schedule)) == schedule
    assert CoatSchedule.parse(str(schedule).replace(" ", ", then ")) == schedule
    assert schedule.coats == sum(step.coats for step in schedule.steps)
    strength = sum(step.coats * step.ratio.fraction for step in schedule.steps)
    assert schedule.strength == pytest.approx(strength)


def test_a_step_up_keeps_its_order_and_joins_equals() -> None:
    up, down = CoatSchedule.parse("2@6:1 2@3:1"), CoatSchedule.parse("2@3:1 2@6:1")
    assert up != down
    assert up.coats == 4
    assert up.strength == pytest.approx(2 / 7 + 2 / 4) == down.strength
    assert str(CoatSchedule.parse("2@6:1 1@12:2 1@3:1")) == "3@6:1 1@3:1"
    assert CoatSchedule.of(4, "6:1") == CoatSchedule.parse("4 @ 6 : 1")
    words = "2 coats of 6 parts carrier to 1 part colour (6:1), then "
    assert up.words.startswith(words)


@given(SCHEDULES, SCHEDULES)
def test_the_coats_on_top_are_those_that_were_not_there(
    earlier: CoatSchedule, more: CoatSchedule
) -> None:
    assume(earlier.coats + more.coats <= 60)  # nobody sprays more
    whole = CoatSchedule((*earlier.steps, *more.steps))
    assert whole.after(earlier) == more
    assert whole.after(whole) is None
    assert whole.after(None) == whole
    error = refused(lambda: earlier.after(whole))
    assert "do not go on" in error.problem


@pytest.mark.parametrize(
    "text",
    [
        "",
        "4",
        "4@",
        "@6:1",
        "0@6:1",
        "-2@6:1",
        "2.5@6:1",
        "61@6:1",
        "40@6:1 30@3:1",
        "4@6",
        "4x6:1",
        "4@1:6 carrier",
        None,
    ],
)
def test_what_is_no_schedule_is_refused(text: Any) -> None:
    refused(lambda: CoatSchedule.parse(text))


@pytest.mark.parametrize("coats", [0, -1, 61, 2.0, True, "3", None])
def test_impossible_coats_are_refused(coats: Any) -> None:
    refused(lambda: CoatStep(coats, MixRatio(6, 1)))


# Grounds and colours


@given(st.lists(NAMES, min_size=1, max_size=4, unique_by=str.casefold), st.data())
def test_a_blend_reads_as_it_is_written(names: list[str], data: st.DataObject) -> None:
    parts = [data.draw(PARTS) for _ in names]
    ground = Ground(tuple(zip(names, parts, strict=True)))
    again = Ground.parse(str(ground))
    assert again == ground
    assert again.names == ground.names
    assert sum(ground.shares.values()) == pytest.approx(1)
    assert ground.neat == (len(names) == 1)


def test_blends_are_compared_by_name_and_proportion() -> None:
    assert Ground.parse("Silver 6 + black 2") == Ground.parse("black 1 +  silver 3")
    assert hash(Ground.parse("SILVER")) == hash(Ground.parse("silver"))
    assert Ground.parse("silver 3 + black 1").shares == {"silver": 0.75, "black": 0.25}
    assert Ground.parse("silver 3 + black 1") != Ground.parse("silver 1 + black 3")
    assert Ground.parse("teal") != Colour.parse("teal")


@pytest.mark.parametrize(
    "text", ["", "  ", "a + b 1", "a 1 + A 2", "a 0 + b 1", "a 1 +", "x" * 81, "a@b", "a\x00b"]
)
def test_what_is_no_blend_is_refused(text: str) -> None:
    for kind in (Ground, Colour):
        error = refused(lambda kind=kind: kind.parse(text))
        assert kind.kind in error.problem or "share" in error.problem


# Recipes, panels and readings


def test_a_recipe_has_colour_and_coats_or_neither() -> None:
    ground, colour, schedule = Ground.parse("silver"), Colour.parse("teal"), "4@6:1"
    whole = Recipe(ground, colour, CoatSchedule.parse(schedule))
    assert not whole.bare
    assert "6 parts carrier to 1 part colour" in whole.words
    assert Recipe(ground).bare
    refused(lambda: Recipe(ground, colour))
    refused(lambda: Recipe(ground, None, CoatSchedule.parse(schedule)))


def test_what_is_said_twice_of_a_schedule_must_agree() -> None:
    assert Recipe.of("silver", "teal", "4@6:1", ratio="6:1", coats=4).schedule is not None
    refused(lambda: Recipe.of("silver", "teal", "4@6:1", ratio="3:1"))
    refused(lambda: Recipe.of("silver", "teal", "2@6:1 2@3:1", ratio="3:1"))
    refused(lambda: Recipe.of("silver", "teal", "4@6:1", coats=3))


@given(SCHEDULES, SCHEDULES, st.sampled_from([None, Colour.parse("violet")]))
def test_coats_laid_on_a_card_are_what_it_has_beyond_before(
    first: CoatSchedule, more: CoatSchedule, colour: Colour | None
) -> None:
    assume(first.coats + more.coats <= 60)
    silver, teal = Ground.parse("silver"), Colour.parse("teal")
    there = Recipe(silver, teal, first)
    whole = there.then(more, colour=colour, clear="yes")
    assert whole.after(there) == Recipe(silver, colour or teal, more, "yes")
    assert whole.after(Recipe(silver)) == whole
    assert whole.after(whole) is None
    bare, *coats = whole.coat_by_coat()
    assert bare == Recipe(silver, clear="yes")
    assert coats[-1] == whole
    assert [c.schedule and c.schedule.coats for c in coats] == list(range(1, len(coats) + 1))
    refused(lambda: whole.after(dataclasses.replace(there, ground=Ground.parse("gold"))))
    refused(lambda: Recipe(silver).after(there))


@pytest.mark.parametrize(
    ("said", "kept"),
    [("no", None), ("", None), (None, None), ("YES", "yes"), ("1", "yes"), (" matt  7 ", "matt 7")],
)
def test_clear_coat(said: str | None, kept: str | None) -> None:
    assert Recipe(Ground.parse("silver"), clear=said).clear == kept


@pytest.mark.parametrize(
    "change",
    [
        {"code": ""},
        {"code": "x" * 81},
        {"code": "a\x07"},
        {"temperature": 99.0},
        {"humidity": 101.0},
        {"humidity": float("nan")},
        {"note": "a\x00"},
    ],
)
def test_impossible_panels_are_refused(change: dict[str, Any]) -> None:
    fields = {"code": "P 1", "recipe": Recipe(Ground.parse("silver")), **change}
    refused(lambda: Panel.of(**fields))


def test_a_code_is_one_however_it_is_spaced() -> None:
    assert Panel.of(" A \t 12 ", Recipe(Ground.parse("silver"))).code == "A 12"


def test_a_state_is_one_however_it_is_written() -> None:
    assert Reading(lab=(50, 0, 0), state=" Before   CLEAR ").state == "before clear"
    refused(lambda: Reading(lab=(50, 0, 0), state="wet"))


@pytest.mark.parametrize(
    "change",
    [
        {"illuminant": "D66"},
        {"observer": "5"},
        {"observer": ""},
        {"geometry": "45:0\n"},
        {"geometry": "45as111"},
        {"geometry": "45as-21"},
        {"geometry": ""},
    ],
)
def test_impossible_viewings_are_refused(change: dict[str, str]) -> None:
    refused(lambda: Viewing(**change))


def test_a_viewing_is_known_by_its_meaning() -> None:
    assert Viewing(observer="10°") == Viewing(observer=10) == Viewing()  # type: ignore[arg-type]
    assert Viewing(geometry="45as015") == Viewing(geometry="45as15")
    assert Viewing(geometry="45as-15").aspecular == -15
    assert Viewing().aspecular is None
    assert Viewing(geometry="di:8").specular_included
    assert not Viewing(geometry="de:8").specular_included


NM = tuple(float(w) for w in range(400, 701, 10))


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"lab": (50.0, 0.0, 0.0), "wavelengths": NM, "reflectance": (0.5,) * 31},
        {"lab": (101.0, 0.0, 0.0)},
        {"lab": (-1.0, 0.0, 0.0)},
        {"lab": (50.0, 201.0, 0.0)},
        {"lab": (50.0, float("nan"), 0.0)},
        {"lab": (50.0, 0.0)},
        {"lab": (50.0, 0.0, 0.0), "source": "eye"},
        {"lab": (50.0, 0.0, 0.0), "sd": 0.0},
        {"wavelengths": NM, "reflectance": (0.5,) * 30},
        {"wavelengths": NM, "reflectance": (50.0,) * 31},
        {"wavelengths": NM, "reflectance": (-0.2,) * 31},
        {"wavelengths": NM[::-1], "reflectance": (0.5,) * 31},
        {"wavelengths": tuple(w / 1000 for w in NM), "reflectance": (0.5,) * 31},
        {"wavelengths": NM[:3], "reflectance": (0.5,) * 3},
        {"wavelengths": NM[5:26], "reflectance": (0.5,) * 21},
        {"wavelengths": (*NM[:10], *NM[13:]), "reflectance": (0.5,) * 28},
    ],
)
def test_impossible_readings_are_refused(change: dict[str, Any]) -> None:
    refused(lambda: Reading(**change))


def test_flake_may_outshine_white_at_an_aspecular_angle_only() -> None:
    Reading(Viewing(geometry="45as15"), lab=(150.0, 0.0, 0.0))
    refused(lambda: Reading(lab=(150.0, 0.0, 0.0)))
    assert Reading(wavelengths=NM, reflectance=(0.5,) * 31).spectral


def everything() -> Panel:
    recipe = Recipe(
        Ground.parse("silver 3 + black 1"), Colour.parse("teal"), CoatSchedule.parse("2@6:1 2@3:1")
    )
    return Panel.of(
        "P 1", recipe, (Reading(lab=(50.0, 1.0, 2.0)),), sprayer="one", extra=(("k", "v"),)
    )


def test_all_is_frozen_hashable_and_travels() -> None:
    panel = everything()
    assert hash(panel) == hash(everything())
    assert pickle.loads(pickle.dumps(panel)) == panel  # noqa: S301  our own bytes
    schedule = panel.recipe.schedule
    assert schedule is not None
    parts = [panel, panel.recipe, panel.recipe.ground, schedule, schedule.steps[0]]
    for thing in [*parts, schedule.steps[0].ratio, panel.readings[0], Viewing()]:
        name = dataclasses.fields(thing)[0].name  # type: ignore[arg-type]
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(thing, name, None)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    for read in (MixRatio.parse, CoatSchedule.parse, Ground.parse, Colour.parse):
        remedy = None
        try:
            thing = read(text)
        except DomainError as error:
            remedy = error.remedy
            thing = None
        assert remedy or read(str(thing)) == thing


def test_what_repeats_a_panel_is_said_and_checked():
    setup = GunSetup(" big  gun ", tip=1.3, pressure=2.0, fan=250, distance=180, overlap=75)
    assert setup.words == (
        "big gun, tip 1.3 mm, pressure 2 bar, fan 250 mm, distance 180 mm, overlap 75%"
    )
    assert GunSetup().words == ""
    with pytest.raises(DomainError, match="pressure of the gun") as caught:
        GunSetup(pressure=29)
    assert "29 psi" in str(caught.value)
    with pytest.raises(DomainError, match="overlap"):
        GunSetup(overlap=100)


def test_lots_of_a_pots_bottles_are_read_back():
    lots = read_lots("carrier: 12;  honey : 4/7 ;")
    assert lots == (("carrier", "12"), ("honey", "4/7"))
    assert read_lots(lots_text(lots)) == lots
    assert read_lots("") == ()
    for wrong in ("carrier", "carrier:", ": 4", "carrier: 1; carrier: 2", "a b: 1; a  b: 2"):
        with pytest.raises(DomainError, match="lots of a pot"):
            read_lots(wrong)


def test_coats_of_clear_need_a_clear_coat():
    cleared = Recipe(Ground.parse("silver"), clear="yes")
    assert Panel.of("A", cleared, clear_coats=2).stages[0].clear_coats == 2
    with pytest.raises(DomainError, match="coats of clear"):
        Panel.of("A", Recipe(Ground.parse("silver")), clear_coats=2)
    with pytest.raises(DomainError, match="coats of clear"):
        Panel.of("A", cleared, clear_coats=40)


@pytest.mark.parametrize("name", ["dye", "Base", "clear", "rust, dark", "one over two"])
def test_a_name_that_a_schedule_cannot_hold_stands_in_neat_recipes_alone(name: str) -> None:
    two, one = CoatSchedule.parse("2@6:1"), CoatSchedule.parse("1@8:1")
    neat = Recipe(Ground.parse("silver"), Colour.parse(name), two)
    more = neat.then(one)
    assert Recipe.of(**more.cells) == more
    assert Panel.of("A", neat).built_on(more).recipe == more
    with pytest.raises(DomainError, match="schedule of several colours"):
        neat.then(one, colour=Colour.parse("violet"))


@pytest.mark.parametrize(
    ("colour", "schedule", "colours"),
    [
        ("cherry", "2@6:1 1@3:1 over mid", ["cherry"]),
        ("cherry", "2@6:1 cherry, 1@8:1 violet, 1@3:1 cherry", ["cherry", "violet", "cherry"]),
        (None, None, []),
    ],
)
def test_steps_say_their_colours_and_make_the_recipe_again(colour, schedule, colours) -> None:
    whole = Recipe.of("silver", colour, schedule, "mat")
    assert [str(c) for c in whole.colours] == colours
    assert [colour for colour, _ in groupby(s.colour for s in whole.steps)] == [*whole.colours]
    assert whole.with_steps(whole.steps) == whole
    assert whole.with_steps([]) == Recipe.of("silver", clear="mat")
