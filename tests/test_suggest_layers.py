"""One colour over another, each from a pot of its own: found when asked for, and only then."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import pytest

from matchlib.domain import Recipe
from matchlib.mixing import CoatUse, JobArea, Limits
from matchlib.steering import plan
from matchlib.suggest import suggest
from matchlib.target import Target
from tests.suggest_shop import archive_of, goal_of, model_of

MODEL, PAST = model_of(), archive_of()
COLOURS = MODEL.words_.colours[:2]
GROUND = "silver"
CUP = {"min_ratio": 3, "max_ratio": 9, "ratio_step": 1.0, "max_coats": 4}
BOTH = Limits(grounds=(GROUND,), colours=COLOURS, blends=False, layers=True, **CUP)  # type: ignore[arg-type]  # names


def every() -> list[Recipe]:
    """All that `BOTH` allows of two layers."""
    ratios = [str(r) for r in BOTH.ratios()]
    counts = [(n, m) for n, m in product((1, 2, 3), repeat=2) if n + m <= 4]
    return [
        Recipe.of(GROUND, None, f"{n}@{r} {one}, {m}@{s} {two}", "yes")
        for one, two in permutations(COLOURS)
        for n, m in counts
        for r, s in product(ratios, repeat=2)
    ]


@pytest.mark.parametrize("number", [17, 130, 411])
def test_the_nearest_of_all_layered_recipes_is_found(number: int) -> None:
    recipes = every()
    lab = MODEL.predict_recipes([recipes[number]])[0] + (0.4, -0.3, 0.3)
    target = Target.lab(*lab)
    nearest = float(target.difference([MODEL.predict_recipes(recipes)]).min())
    found = suggest(MODEL, target, BOTH, archive=PAST, top=5)
    layered = [s for s in found if len(s.recipe.layers) == 2]
    assert layered
    assert all(str(s.recipe) in set(map(str, recipes)) for s in layered)
    # Two starts of each pair: not surely the best of all, but as good to one panel's spread.
    assert min(s.delta_e00 for s in layered) <= nearest + 0.1


def test_layers_are_searched_only_when_asked_for_and_cost_nothing_else() -> None:
    target = goal_of(every()[130])
    plain = Limits(grounds=(GROUND,), colours=COLOURS, blends=False, **CUP)  # type: ignore[arg-type]  # names
    without, both = (suggest(MODEL, target, limits, archive=PAST) for limits in (plain, BOTH))
    assert {len(s.recipe.layers) for s in without} == {1}
    assert both[0].expected < without[0].expected
    # Both orders, six ways to part the coats, five of the seven ratios for each pot.
    assert both.searched == without.searched + 2 * 6 * 5**2


def test_it_says_what_is_laid_over_what_and_what_is_new() -> None:
    wanted = every()[130]
    one, two = (str(colour) for colour, _ in wanted.layers)
    best = next(
        s for s in suggest(MODEL, goal_of(wanted), BOTH, archive=PAST) if len(s.recipe.layers) == 2
    )
    assert best.combination == f"{GROUND} under {one}, then {two}"
    assert f"{two} over {one} over {GROUND}: " in best.why
    assert f" of {two} at " in best.why
    assert f"{two} never sprayed over {one}" in best.never_sprayed
    again = suggest(MODEL, goal_of(wanted), BOTH, archive=[*PAST, wanted])
    same = next(s for s in again if s.combination == best.combination)
    assert f"{two} never sprayed over {one}" not in same.never_sprayed


def test_stock_holds_for_either_pot() -> None:
    wanted = every()[130]
    scarce = str(wanted.layers[1][0])
    limits = replace(
        BOTH,
        stock={scarce: 0.5},
        area=JobArea.flat(1.0),
        use=CoatUse.of_panel(100.0, area_m2=1.0, coats=1),
    )
    found = suggest(MODEL, goal_of(wanted), limits, archive=PAST)
    assert all(scarce not in [str(c) for c, _ in s.recipe.layers] for s in found)


def test_one_coat_is_no_two_layers() -> None:
    limits = Limits(grounds=(GROUND,), colours=COLOURS, layers=True, **{**CUP, "max_coats": 1})  # type: ignore[arg-type]  # names
    found = suggest(MODEL, goal_of(every()[130]), limits, archive=PAST)
    assert {len(s.recipe.layers) for s in found} == {1}


def test_a_card_of_two_layers_is_sprayed_blind_beside_those_read_on_the_way() -> None:
    plans = plan(MODEL, goal_of(every()[130]), BOTH, readings=1, top=3, archive=PAST)
    assert all(len(p.whole.layers) == 1 for p in plans if p.planned_readings)
    recipes = [item.recipe for item in plans.ranked(8)]
    assert any(len(r.layers) == 2 for r in recipes)
    assert len(set(recipes)) == len(recipes)


def test_cards_read_on_the_way_are_no_worse_where_layers_are_allowed_too() -> None:
    free = replace(BOTH, grounds=None, colours=None, blends=True)
    goal = goal_of(every()[136])
    alone, beside = (
        plan(MODEL, goal, replace(free, layers=layers), readings=1, top=1, archive=PAST)[0]
        for layers in (False, True)
    )
    assert beside.steered >= alone.steered
