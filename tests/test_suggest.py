"""Suggestions: limits kept, roads spread, the neat colour preferred, and the search exact."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import strategies as st

from matchlib.colorimetry import (
    Tolerance,
    delta_e00,
    reflectance_to_lab,
)
from matchlib.demo import demo_model, demo_panels
from matchlib.domain import Recipe, Viewing
from matchlib.mixing import Limits
from matchlib.suggest import suggest
from matchlib.suggest.ingredients import Ingredients
from matchlib.suggest.scan import ReducedLaw
from matchlib.suggest.space import Space
from matchlib.suggest.words import PastRecipes, believed, direction
from matchlib.target import Aim, Target
from tests.suggest_shop import (
    COLOURS,
    archive_of,
    goal_of,
    ladder_model,
    model_of,
    recipe,
    shop,
)

LABS = st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60))


def test_the_law_in_brief_reads_the_surface_off_the_law() -> None:
    space = Space.of(model_of(), Limits(), [])
    brief = ReducedLaw.of(space, Viewing())
    bare = [Recipe(g, clear="yes") for g in space.shelf.grounds]
    inner, kept = brief.ground, brief.k2[:, None] * brief.ground
    seen = brief.lift[:, None] + brief.gain[:, None] * (inner - kept) / (1 - kept)
    assert reflectance_to_lab(seen) == pytest.approx(model_of().predict_recipes(bare), abs=1e-6)


def test_a_target_from_a_known_recipe_is_found_within_repeatability() -> None:
    rng = np.random.default_rng(8)
    recipes = [shop().random_recipe(rng, continuous=True) for _ in range(8)]
    floor = shop().repeatability(recipes, times=6)
    errors = []
    for r in recipes:
        lab = shop().truth_lab(r)
        found = suggest(model_of(), Target.lab(*lab), archive=archive_of(), top=1)
        assert found.reachable, str(r)
        assert found.why_not == ""
        errors.append(float(delta_e00(shop().truth_lab(found[0].recipe), lab)))
    assert np.median(errors) < 1.25 * floor


def test_the_chance_is_of_the_next_panel_sprayed() -> None:
    # Sprayed again and again, the share of panels within the tolerance is the chance stated.
    rng = np.random.default_rng(5)
    stated, passed = [], []
    for _ in range(14):
        lab = shop().truth_lab(shop().random_recipe(rng, continuous=True))
        s = suggest(model_of(), Target.lab(*lab, tolerance=0.7), top=1)[0]
        panels = [shop().spray(s.recipe, rng).readings[0].lab for _ in range(12)]
        stated.append(s.probability)
        passed.append(np.mean(delta_e00(lab, np.array(panels)) <= 0.7))
    assert abs(np.mean(stated) - np.mean(passed)) < 0.15
    assert np.corrcoef(stated, passed)[0, 1] > 0.4


def test_the_neat_colour_comes_before_a_blend_that_is_no_better() -> None:
    rng = np.random.default_rng(2)
    for _ in range(4):
        r = shop().random_recipe(rng)
        found = suggest(model_of(), goal_of(r), archive=archive_of())
        assert found[0].recipe.colour is not None
        assert found[0].recipe.colour.neat
        assert found[0].why.startswith("Neat ")
        assert "part" in found[0].why  # the ratio in words


def test_fewer_coats_come_first_between_equals() -> None:
    # Four coats at one ratio, or more at a weaker: both reach it, and the shorter way is first.
    found = suggest(
        model_of(),
        goal_of(recipe("silver", COLOURS[0], "3@4:1")),
        Limits(step_ups=False, blends=False, grounds=("silver",), colours=(COLOURS[0],)),  # type: ignore[arg-type]
        archive=archive_of(),
    )
    first = found[0]
    assert first.recipe.schedule is not None
    for other in found[1:]:
        assert other.recipe.schedule is not None
        if abs(other.expected - first.expected) < 0.005:
            assert first.recipe.schedule.coats <= max(3, other.recipe.schedule.coats)


def test_suggestions_take_different_roads() -> None:
    # A dark neutral of two complementary colours: every ground offers a road of its own.
    found = suggest(model_of(), Target.lab(25, 2, 8), archive=archive_of(), top=5)
    assert len({s.combination for s in found}) >= 3
    ranks = [(str(s.recipe)) for s in found]
    assert len(set(ranks)) == len(ranks)


def test_out_of_reach_says_so_and_which_way_it_misses() -> None:
    found = suggest(
        model_of(),
        Target.lab(92, 0, 2),
        Limits(grounds=("graphite",), colours=(COLOURS[0],)),  # type: ignore[arg-type]
        archive=archive_of(),
    )
    assert not found.reachable
    assert "darker" in found.why_not
    assert found[0].probability < 1e-3
    assert found[0].lab[0] < 92


@pytest.mark.parametrize(
    ("standard", "trial", "word"),
    [
        ((50, 30, 0), (60, 30, 0), "lighter"),
        ((50, 30, 0), (40, 30, 0), "darker"),
        ((50, 30, 0), (50, 20, 0), "duller"),
        ((50, 30, 0), (50, 40, 0), "more vivid"),
        ((50, 30, 10), (50, 26, 18), "yellower"),
        ((50, 26, 18), (50, 30, 10), "redder"),
        ((50, -20, 20), (50, -26, 12), "greener"),
        ((50, -26, -12), (50, -20, -20), "bluer"),
        ((50, 20, -20), (50, 26, -12), "redder"),
        ((50, 26, -12), (50, 20, -20), "bluer"),
        # Past an axis it is named by the one beyond: the trial has left the first.
        ((50, 2, 40), (50, -6, 40), "greener"),
        ((50, -2, 40), (50, 6, 40), "redder"),
        ((50, 40, -2), (50, 40, 6), "yellower"),
        ((20, -12, -20), (20, 25, 3), "redder"),
        ((37, -11, 41), (37, 45, 17), "redder"),
    ],
)
def test_directions_are_said_as_painters_say_them(
    standard: tuple[float, ...], trial: tuple[float, ...], word: str
) -> None:
    assert direction(standard, trial)[0].startswith(word)


def test_rounding_costs_what_it_says() -> None:
    found = suggest(
        model_of(),
        goal_of(recipe("silver", COLOURS[1], "3@5.27:1")),
        Limits(ratio_step=2.0, min_ratio=4, max_ratio=8, step_ups=False, blends=False, min_coats=3,
               max_coats=3, grounds=("silver",), colours=(COLOURS[1],)),  # type: ignore[arg-type]
        archive=archive_of(),
    )  # fmt: skip
    nearest = min(found, key=lambda s: s.delta_e00)
    # Unrounded, the recipe itself is within reach: all that is left is rounding.
    assert nearest.rounding_loss == pytest.approx(nearest.delta_e00, abs=0.02)
    assert nearest.rounding_loss > 0.3


def test_a_share_never_mixed_is_marked() -> None:
    model, panels = ladder_model()
    between = recipe("silver 1 + graphite 1", COLOURS[0], "3@5:1")
    lab = model.predict_recipes([between])[0]
    limits = Limits(grounds=("silver", "graphite"), blends=False)  # type: ignore[arg-type]
    found = suggest(model, Target.lab(*lab), limits, archive=panels, top=8)
    mixed = [s for s in found if not s.recipe.ground.neat]
    assert mixed
    for s in mixed:
        ready = s.recipe.ground.key == recipe("silver 3 + graphite 1", "x", "1@6:1").ground.key
        assert ready != any("never mixed" in text for text in s.never_sprayed)
    closed = Limits(grounds=("silver", "graphite"), blends=False, ground_blends=False)  # type: ignore[arg-type]
    found = suggest(model, Target.lab(*lab), closed, archive=panels)
    assert all(s.recipe.ground.neat for s in found)


def test_what_was_never_sprayed_is_said() -> None:
    seen = PastRecipes([recipe("silver", "teal", "3@6:1"), recipe("gold", "violet", "4@4:1")])
    assert seen.new(recipe("silver", "teal", "3@6:1")) == []
    assert "never sprayed over" in seen.new(recipe("gold", "teal", "3@6:1"))[0]
    assert "more coats" in seen.new(recipe("silver", "teal", "5@6:1"))[0]
    assert "richer" in seen.new(recipe("silver", "teal", "3@4:1"))[0]
    assert "never mixed" in seen.new(recipe("silver", "teal 1 + violet 1", "3@6:1"))[0]


def test_a_back_that_the_fit_takes_for_wrong_is_no_experience() -> None:
    # T029 says honey 4@1:5, and is left out of the fit: nobody ever sprayed so rich a honey.
    rich = recipe("silver", "honey", "3@1:1")
    assert PastRecipes(p.recipe for p in demo_panels()).new(rich) == []
    (new,) = PastRecipes(believed(demo_model(), demo_panels())).new(rich)
    assert new.startswith("richer ratio than ever sprayed (1:1, so far 3:1)")
    limits = Limits(("silver",), ("honey",), "1:1", "1.5:1", blends=False)  # type: ignore[arg-type]
    told = suggest(demo_model(), Target.lab(30.0, 20.0, 40.0), limits, archive=demo_panels())
    assert all(any("richer" in n for n in s.never_sprayed) for s in told)


def test_a_layer_counts_as_sprayed_with_its_own_coats_alone() -> None:
    both = Recipe.of("Silver", None, "2@6:1 Teal, 3@6:1 Violet", "yes")
    seen = PastRecipes([both])
    assert "more coats" in seen.new(recipe("silver", "teal", "4@6:1"))[0]
    assert seen.new(recipe("silver", "violet", "3@6:1")) == []
    assert "richer" in seen.new(recipe("silver", "violet", "3@3:1"))[0]
    shelf = Ingredients.of(Limits(blends=False), ("silver",), ("teal", "violet"), (), [both])
    assert [str(colour) for colour in shelf.colours] == ["Teal", "Violet"]


def test_a_ground_is_spelled_as_its_owner_spells_it() -> None:
    past = [recipe("Nº 5", "teal", "3@6:1")]
    shelf = Ingredients.of(Limits(), ("no 5",), ("teal",), (), past)
    assert [str(ground) for ground in shelf.grounds] == ["Nº 5"]


def test_a_blend_is_no_nearer_than_neat_colours_that_are_not_on_the_shelf() -> None:
    ready = f"{COLOURS[0]} 2 + {COLOURS[1]} 1"
    for colours, said in (((ready,), False), ((ready, COLOURS[2]), True)):
        limits = Limits(grounds=("silver",), colours=colours, blends=False)  # type: ignore[arg-type]
        goal = goal_of(recipe("silver", ready, "3@6:1"))
        (best,) = suggest(model_of(), goal, limits, top=1, archive=archive_of())
        assert str(best.recipe.colour) == ready
        assert ("any neat one" in best.why) is said


@pytest.mark.parametrize(
    "tolerance",
    [Tolerance("CMC", 1.0), Tolerance("Lab", box=(1, 1, 1)), Tolerance("LCh", box=(1, 1, 1))],
)
def test_other_tolerances_rank_and_pass_by_their_own_difference(tolerance: Tolerance) -> None:
    r = recipe("gold", COLOURS[0], "3@5:1")
    lab = tuple(model_of().predict_recipes([r])[0])
    found = suggest(model_of(), Target.lab(*lab, tolerance=tolerance), archive=archive_of())
    assert found.reachable
    assert float(tolerance.difference(lab, found[0].lab)) <= 1.0
    assert 0.05 < found[0].probability < 1.0


def test_two_lights_are_matched_together() -> None:
    r = recipe("gold", COLOURS[0], "3@5:1")
    views = [Viewing(), Viewing("A", "10")]
    labs = [tuple(model_of().predict_recipes([r], v)[0]) for v in views]
    target = Target(tuple(Aim(lab, v) for lab, v in zip(labs, views, strict=True)))
    found = suggest(model_of(), target, archive=archive_of())
    assert found.reachable
    assert len(found[0].labs) == 2
    one = suggest(model_of(), Target((target.aims[0],)), archive=archive_of())
    same = [s for s in one if s.recipe == found[0].recipe]
    assert all(found[0].probability <= s.probability + 0.03 for s in same)
