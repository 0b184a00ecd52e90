"""The invented workshop has what a demonstration and its training need."""

from collections import Counter

import numpy as np
import pytest

from matchlib.colorimetry import delta_e00, reflectance_to_lab
from matchlib.demo import DEMO_WRONG_BACKS, demo_panels, demo_targets, demo_truth
from matchlib.domain import CoatSchedule, Colour, Ground, Recipe


def lab_of(reading):
    if reading.lab is not None:
        return np.array(reading.lab)
    return reflectance_to_lab(np.array(reading.reflectance))


def recipe(ground, colour, schedule):
    return Recipe(Ground.parse(ground), Colour.parse(colour), CoatSchedule.parse(schedule), "yes")


@pytest.fixture(scope="module")
def panels():
    return demo_panels()


def test_there_is_enough_of_everything(panels):
    recipes = [p.recipe for p in panels]
    assert len(panels) >= 120
    assert len({p.code for p in panels}) == len(panels)
    assert len({r.ground for r in recipes if r.ground.neat}) >= 5
    assert len({r.colour for r in recipes if r.colour and r.colour.neat}) >= 4
    assert any(r.colour and not r.colour.neat for r in recipes)
    assert any(r.schedule and len(r.schedule.steps) > 1 for r in recipes)
    assert sum(not r.ground.neat and r.bare for r in recipes) >= 3
    assert any(not r.ground.neat and not r.bare for r in recipes)
    assert {r.clear for r in recipes} == {None, "yes"}
    assert max(Counter(map(repr, recipes)).values()) >= 3
    kinds = Counter(p.readings[0].spectral for p in panels)
    assert min(kinds[True], kinds[False]) >= 40
    assert any(len(p.readings) > 1 for p in panels)
    assert len({p.sprayer for p in panels}) >= 3
    assert len({p.lot for p in panels}) >= 3
    assert all(p.date and p.temperature and p.humidity for p in panels)


def test_every_ground_with_colour_on_it_is_known_bare(panels):
    bare = {p.recipe.ground for p in panels if p.recipe.bare}
    assert {p.recipe.ground for p in panels} <= bare


def test_same_seed_same_workshop_other_seed_other_readings(panels):
    assert demo_panels() == panels
    other = demo_panels(5)
    assert [p.recipe for p in other] == [p.recipe for p in panels]
    assert all(a.readings != b.readings for a, b in zip(other, panels, strict=True))


def test_spread_of_panels_is_that_of_a_booth(panels):
    right = [p for p in panels if p.code not in DEMO_WRONG_BACKS and not p.recipe.bare]
    errors = delta_e00(
        np.array([lab_of(p.readings[0]) for p in right]),
        np.array([demo_truth(p.recipe) for p in right]),
    )
    assert 0.3 < np.median(errors) < 0.7
    assert errors.max() < 4


def test_the_wrong_backs_and_no_others_are_wrong(panels):
    # Far outside what a booth does: the reading belongs to another recipe.
    far = {
        p.code
        for p in panels
        if float(delta_e00(lab_of(p.readings[0]), np.array(demo_truth(p.recipe)))) > 5
    }
    assert far == set(DEMO_WRONG_BACKS)


def test_grounds_order_as_the_trade_has_them():
    # Common practice, no source: lightness over one colour and schedule, and gold is warmer.
    over = {
        ground: demo_truth(recipe(ground, "lagoon", "4@6:1"))
        for ground in ("graphite", "silver", "pale gold", "coarse silver")
    }
    lightness = [lab[0] for lab in over.values()]
    assert lightness == sorted(lightness)
    assert over["pale gold"][2] > over["silver"][2] + 5


def test_a_ladder_darkens_in_steps_and_not_by_the_mean_of_its_ends():
    rungs = [
        demo_truth(Recipe(Ground.parse(g), clear="yes"))[0]
        for g in (
            "silver",
            "silver 9 + black 1",
            "silver 3 + black 1",
            "silver 1 + black 1",
            "black",
        )
    ]
    assert rungs == sorted(rungs, reverse=True)
    assert rungs[3] < (rungs[0] + rungs[4]) / 2 - 3


def test_strength_bends_so_that_half_the_coats_at_twice_the_mix_is_not_the_same():
    thin = demo_truth(recipe("silver", "violet", "6@5:1"))
    rich = demo_truth(recipe("silver", "violet", "3@2:1"))  # the same strength, 1.0
    assert float(delta_e00(np.array(thin), np.array(rich))) > 1


def test_targets_are_what_they_say(panels):
    targets = demo_targets()
    assert set(targets) == {"carousel ring", "signal flag", "pond reed"}
    assert targets["pond reed"].spectral
    nearest = {
        name: min(
            float(delta_e00(lab_of(reading), lab_of(p.readings[0])))
            for p in panels
            if p.code not in DEMO_WRONG_BACKS
        )
        for name, reading in targets.items()
    }
    assert nearest["carousel ring"] > 1  # no panel of the archive is it already
    assert nearest["signal flag"] > 15
    ring = np.array(demo_truth(recipe("pale gold", "cherry", "4@4.5:1")))
    assert float(delta_e00(lab_of(targets["carousel ring"]), ring)) < 0.3
    assert not any(str(p.recipe).startswith("cherry over pale gold") for p in panels)
    grounds = {p.recipe.ground for p in panels if p.recipe.ground.neat}
    colours = {p.recipe.colour for p in panels if p.recipe.colour and p.recipe.colour.neat}
    # No neat colour over any ground, however many coats of whatever mix, is the reed's green.
    neat = [
        demo_truth(Recipe(g, c, CoatSchedule.of(n, f"{r}:1"), "yes"))
        for g in grounds
        for c in colours
        for n in (1, 2, 3, 4, 6, 8)
        for r in (2, 4, 8)
    ]
    assert delta_e00(np.array(neat), lab_of(targets["pond reed"])).min() > 8
