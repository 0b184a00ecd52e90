"""What a sprayer can change of a recipe, and which change is the least trouble."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from matchlib.correction.moves import moves
from matchlib.correction.scoring import Scored, best_of
from matchlib.domain import CoatSchedule, Colour, Recipe
from matchlib.mixing import Limits
from tests.benchmarks.spray import Noise, Shop


@pytest.fixture(scope="module")
def shop() -> Shop:
    return Shop(3, n_grounds=3, n_colours=2, noise=Noise(film=0.02, coat=0.02))


@pytest.fixture(scope="module")
def recipe(shop: Shop) -> Recipe:
    return Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("4@5:1"), "yes")


def test_moves_are_what_a_sprayer_can_do(recipe: Recipe, shop: Shop) -> None:
    found = moves(recipe, Limits(), shop.grounds)
    schedules = {str(m.recipe.schedule) for m in found}
    assert {"5@5:1", "3@5:1", "4@5.5:1", "3@5:1 1@8:1", "2@5:1 2@8:1"} <= schedules
    assert len({m.recipe for m in found}) == len(found)
    assert any("over" in m.words and "instead of" in m.words for m in found)
    cut = next(m for m in found if str(m.recipe.schedule) == "2@5:1 2@8:1")
    assert cut.words == "cut the last two coats to 8:1 (8 parts carrier to 1 part colour)"
    blend = replace(recipe, colour=Colour.parse("ruby 2 + moss 1"))
    colours = {m.recipe.colour for m in moves(blend, Limits(), ()) if m.recipe.colour}
    # Of at most 8 parts, those that are a twentieth or two more of one, or nearest to that.
    shifted = ("ruby 2 + moss 1", "ruby 5 + moss 2", "ruby 3 + moss 1", "ruby 5 + moss 3")
    assert {*map(Colour.parse, shifted)} < colours
    assert len(colours) == 5
    halves = {m.recipe.colour for m in moves(blend, Limits(blend_parts=2), ())}
    assert halves == {Colour.parse("ruby 2 + moss 1"), Colour.parse("ruby 1 + moss 1")}


def test_moves_of_a_layered_card_leave_each_layer_its_colour(recipe: Recipe) -> None:
    layered = replace(recipe, colour=None, schedule=CoatSchedule.parse("2@6:1 ruby, 3@5:1 moss"))
    blended = replace(
        recipe, colour=None, schedule=CoatSchedule.parse("2@6:1 ruby, 3@5:1 teal 2 + moss 1")
    )
    shares = {m.recipe.layers[1][0] for m in moves(blended, Limits(), ()) if m.recipe.layers[1:]}
    assert Colour.parse("teal 5 + moss 2") in shares
    for move in moves(layered, Limits(), ()):
        colours = [str(step.colour) for step in move.recipe.schedule.steps]
        assert colours[0] == "ruby"
        assert set(colours[1:]) == {"moss"}, move.words


def test_moves_stay_within_the_limits(recipe: Recipe) -> None:
    limits = Limits(min_ratio=5, max_ratio=6, ratio_step=1, max_coats=4)
    for move in moves(recipe, limits, ()):
        assert move.recipe.schedule is not None
        assert move.recipe.schedule.coats <= 4
        assert {s.ratio for s in move.recipe.schedule.steps} <= set(limits.ratios())


def test_moves_step_up_and_leave_coats_out_only_where_that_is_allowed(recipe: Recipe) -> None:
    limits = Limits(step_ups=False, min_coats=4)
    for move in moves(recipe, limits, ()):
        ratios = [step.ratio for step in move.recipe.steps]
        assert ratios == sorted(ratios, reverse=True), move.words
        assert move.recipe.coats >= 4, move.words


def test_one_thing_less_changed_is_worth_two_in_a_hundred(recipe: Recipe) -> None:
    def one(chance: float, changes: int) -> Scored:
        about = (recipe, (0.0, 0.0, 0.0), np.eye(3), np.inf, 1.0, 0.5, chance)
        return Scored(*about, words="", changes=changes)

    assert best_of([one(0.50, 2), one(0.47, 0)]).changes == 0
    assert best_of([one(0.50, 2), one(0.45, 0)]).changes == 2
    assert best_of([]) is None


def test_the_words_of_a_move_say_which_way_it_goes(recipe: Recipe) -> None:
    found = set()
    for move in moves(recipe, Limits(), ())[1:]:
        assert move.recipe.schedule is not None
        assert recipe.schedule is not None
        more = move.recipe.schedule.coats - recipe.schedule.coats
        last = move.recipe.schedule.steps[-1].ratio.fraction
        first = re.split(r",| at ", move.words)[0]
        for word, holds in (
            ("more", more > 0),
            ("fewer", more < 0),
            ("stronger", last > recipe.schedule.steps[-1].ratio.fraction),
            ("strengthen", last > recipe.schedule.steps[-1].ratio.fraction),
            ("weaker", last < recipe.schedule.steps[-1].ratio.fraction),
            ("cut", last < recipe.schedule.steps[-1].ratio.fraction),
        ):
            if word in first.split():
                assert holds, move.words
                found.add(word)
    assert found == {"more", "fewer", "stronger", "strengthen", "weaker", "cut"}
