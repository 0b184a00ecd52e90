"""Out of reach is a probability: of what the shelf can make, whatever luck a panel has."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from matchlib.domain import Reading, Recipe, Viewing
from matchlib.linear import linearise
from matchlib.mixing import Limits
from matchlib.regression import FilmRegressor
from matchlib.suggest import reach, suggest
from matchlib.suggest.reach import DOUBTFUL, OUT_OF_REACH, Reachability, reach_of
from matchlib.target import Target
from tests.suggest_shop import COLOURS, archive_of, model_of, recipe

VIEWS = (Viewing(),)
LIMITS = Limits(grounds=("graphite",), colours=(COLOURS[0],))  # type: ignore[arg-type]  # Limits parses


@pytest.fixture(scope="module")
def unsure() -> FilmRegressor:
    """A fit whose doubt is normal, the same for every recipe, and some ΔE00 wide."""
    model = copy(model_of())
    k = len(model.stack_.weight)
    model.stack_ = replace(
        model.stack_, weight=np.zeros(k), inflation=np.full(k, 9.0), dof=np.full(k, np.inf)
    )
    return model


def asked(model: FilmRegressor, recipes: list[Recipe], target: Target) -> Reachability:
    return reach_of(model, recipes, target, VIEWS)


def test_the_chance_is_the_share_of_laws_under_which_some_recipe_passes(
    unsure: FilmRegressor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reach, "ODDS", 1.0)  # whatever is asked for
    recipes = [recipe(g, COLOURS[0], s) for g in ("silver", "gold") for s in ("3@5:1", "4@4:1")]
    # Little enough is open for the law to be as good as linear.
    model, fit = copy(unsure), unsure.fitted_
    model.stack_ = replace(unsure.stack_, inflation=np.full(len(unsure.stack_.weight), 0.25))
    draw = np.random.default_rng(5)
    laws = draw.multivariate_normal(fit.z, 0.25 * fit.covariance, 600)
    made = np.array([linearise(model, recipes, VIEWS[0], z=z, slopes=False).lab for z in laws])
    middle = model.predict_recipes(recipes)
    chances = []
    for away in (0.0, 0.1, 0.2, 0.4):
        target = Target.lab(*(middle[0] + [away, 0.0, away]), tolerance=0.2)
        passed = (target.difference([made]) <= 0.2).any(axis=1).mean()
        chances.append(asked(model, recipes, target).chance)
        assert chances[-1] == pytest.approx(passed, abs=0.08)
    assert chances == sorted(chances, reverse=True)
    assert chances[0] - chances[-1] > 0.2


def test_what_is_asked_for_is_likelier_within_reach(
    unsure: FilmRegressor, monkeypatch: pytest.MonkeyPatch
) -> None:
    recipes = [recipe("silver", COLOURS[0], "3@5:1")]
    target = Target.lab(*(unsure.predict_recipes(recipes)[0] + 1.0), tolerance=1.0)
    odds = []
    for prior in (1.0, 15.0):
        monkeypatch.setattr(reach, "ODDS", prior)
        chance = asked(unsure, recipes, target).chance
        odds.append(chance / (1.0 - chance))
    assert odds[1] == pytest.approx(15.0 * odds[0])


def test_luck_of_a_panel_makes_nothing_reachable(unsure: FilmRegressor) -> None:
    recipes = [recipe("silver", COLOURS[0], "3@5:1")]
    lab = unsure.predict_recipes(recipes)[0]
    sure = copy(unsure)
    sure.stack_ = replace(unsure.stack_, inflation=np.full(len(unsure.stack_.weight), 1e-9))
    for away, chance in ((0.5, 1.0), (2.0, 0.0)):
        target = Target.lab(*(lab + np.array([away, 0, 0])), tolerance=1.0)
        assert asked(sure, recipes, target).chance == chance
        there = sure.predict_together(recipes, VIEWS)
        assert 0.0 < target.hope(there).probability[0] < 1.0


def test_the_panel_that_tells_is_of_what_the_target_needs(unsure: FilmRegressor) -> None:
    recipes = [recipe("silver", COLOURS[1], "2@8:1"), recipe("silver", COLOURS[0], "4@4:1")]
    lab = unsure.predict_recipes(recipes)[1]
    target = Target.lab(*(lab + np.array([0.8, 0, 0])), tolerance=1.0)
    assert asked(unsure, recipes, target).telling == recipes[1]


def test_from_reachable_over_doubtful_to_out_of_reach() -> None:
    # Lighter and lighter than one colour over one ground can be.
    start = np.array(suggest(model_of(), Target.lab(92, 0, 2), LIMITS, top=1)[0].lab)
    found = [
        suggest(
            model_of(),
            Target.lab(*(start + np.array([d, 0, 0]))),
            LIMITS,
            archive=archive_of(),
        )
        for d in np.arange(0.0, 5.1, 0.25)
    ]
    chances = np.array([f.reach for f in found])
    assert chances[0] > 0.9
    assert chances[-1] < 0.01
    assert (np.diff(chances) <= 0.02).all()
    for f in found:
        assert f.reachable == (f.reach >= OUT_OF_REACH)
        kind = "" if f.reach >= DOUBTFUL else "Doubtful" if f.reachable else "Out of reach"
        assert f.why_not.startswith(kind)
        assert bool(f.why_not) == bool(kind)
        if kind == "Doubtful":
            assert "graphite" in f.why_not.split("would tell most:")[1]


def test_a_target_that_is_hardly_known_may_lie_within_reach() -> None:
    start = np.array(suggest(model_of(), Target.lab(92, 0, 2), LIMITS, top=1)[0].lab)
    lab = tuple((start + np.array([2.0, 0, 0])).tolist())
    exact = suggest(model_of(), Target.lab(*lab), LIMITS)
    vague = Target.of_readings(Reading(Viewing(), lab=lab, sd=1.0))
    assert suggest(model_of(), vague, LIMITS).reach > exact.reach + 0.05
