"""Which panel to spray next is the one that teaches or passes."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import block_diag

from matchlib.colorimetry import Tolerance
from matchlib.colorimetry.difference import delta_e00_metric
from matchlib.correction import Belief, fresh_recipes
from matchlib.domain import CoatSchedule, Reading, Recipe
from matchlib.errors import DomainError
from matchlib.linear import linearise
from matchlib.mixing import Limits
from matchlib.next_panel import _by_second, next_for_archive, next_for_target
from matchlib.regression import FilmRegressor
from matchlib.tails import chance_words
from matchlib.target import Target
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Shop
from tests.cli_shop import demo_fit


@pytest.fixture(scope="module")
def shop() -> Shop:
    return Shop(4, n_grounds=3, n_colours=2)


@pytest.fixture(scope="module")
def model(shop: Shop) -> FilmRegressor:
    return FilmRegressor(rounds=2).fit(*to_frame(shop.young(4)))


@pytest.fixture(scope="module")
def candidates(model: FilmRegressor) -> list[Recipe]:
    return fresh_recipes(model, Limits(min_ratio=2.5, ratio_step=1.25), usual="yes")


def _slopes(model: FilmRegressor, recipes: list[Recipe]) -> np.ndarray:
    grow = np.sqrt(model.stack_.inflation[model.reach(recipes)])[:, None, None]
    near = linearise(model, recipes)
    return np.concatenate([grow * near.jacobian, near.unseen], axis=2)


def _known(model: FilmRegressor) -> np.ndarray:
    """The law's values and, each in its own step, what no panel told."""
    return block_diag(model.fitted_.covariance, np.eye(4 * len(model.words_.grounds) + 2))


def _uncertainty(model: FilmRegressor, recipes: list[Recipe], covariance: np.ndarray) -> float:
    near, slopes = linearise(model, recipes), _slopes(model, recipes)
    spread = slopes @ covariance @ slopes.transpose(0, 2, 1)
    return float(np.sqrt(np.einsum("nij,nji->n", delta_e00_metric(near.lab), spread).mean()))


def test_the_plans_uncertainty_is_that_of_the_updated_covariance(
    model: FilmRegressor, candidates: list[Recipe]
) -> None:
    some = candidates[::3]
    plan = next_for_archive(model, some, k=3)
    covariance = _known(model)
    assert plan.before == pytest.approx(_uncertainty(model, some, covariance), rel=1e-6)
    # Before any panel it is what predictions themselves say is not known.
    predicted = model.predict_each(some)
    stated = np.einsum("nij,nji->n", delta_e00_metric(predicted.lab), predicted.known).mean()
    assert plan.before == pytest.approx(np.sqrt(stated), rel=1e-6)
    for panel in plan.panels:
        slope = _slopes(model, [panel.recipe])[0]
        (own,) = model.predict_each([panel.recipe]).own
        across = slope @ covariance
        gain = np.linalg.solve(across @ slope.T + own, across).T
        covariance = covariance - gain @ across
        assert panel.after == pytest.approx(_uncertainty(model, some, covariance), rel=1e-6)


def test_each_panel_of_the_set_is_the_best_given_those_before(
    model: FilmRegressor, candidates: list[Recipe]
) -> None:
    some = candidates[::3]
    plan = next_for_archive(model, some, k=3)
    gains = [p.before**2 - p.after**2 for p in plan.panels]
    assert gains == sorted(gains, reverse=True)
    one = next_for_archive(model, some, k=1)
    assert one.panels[0].recipe == plan.panels[0].recipe
    # A set knows what it has already asked: three times the best single panel gains less.
    covariance, slope = _known(model), _slopes(model, [plan.panels[0].recipe])[0]
    (own,) = model.predict_each([plan.panels[0].recipe]).own
    across = slope @ covariance
    gain = np.linalg.solve(across @ slope.T + own / 3, across).T
    assert plan.after < _uncertainty(model, some, covariance - gain @ across)


def test_no_panel_is_advised_twice(model: FilmRegressor, candidates: list[Recipe]) -> None:
    plan = next_for_archive(model, candidates[:4], k=6)
    assert len({panel.recipe for panel in plan.panels}) == len(plan.panels) == 4


def test_it_asks_about_what_could_be_sprayed(
    shop: Shop, model: FilmRegressor, candidates: list[Recipe]
) -> None:
    for colour in shop.colours:
        some = [c for c in candidates if c.colour == colour][::5]
        plan = next_for_archive(model, some, k=1)
        assert plan.panels[0].recipe.colour == colour
        assert "ΔE00" in plan.panels[0].words
        assert f"This brings the uncertainty over {len(some)} recipes" in plan.words


def test_a_ground_never_sprayed_is_asked_about(
    shop: Shop, model: FilmRegressor, candidates: list[Recipe]
) -> None:
    bare = set(shop.grounds) - {p.recipe.ground for p in shop.young(4) if p.recipe.colour}
    assert bare
    assert bare & {p.recipe.ground for p in next_for_archive(model, candidates, k=3).panels}


def test_a_panel_for_a_target_counts_the_one_after_it(
    shop: Shop, model: FilmRegressor, candidates: list[Recipe]
) -> None:
    recipe = Recipe(shop.grounds[2], shop.colours[0], CoatSchedule.parse("4@5:1"), "yes")
    target = shop.truth_lab(recipe)
    found = next_for_target(model, Target.lab(*target), candidates)
    # Those that pass as often, to a thousandth, stand by what is expected of them.
    assert found[0].passes_by_second > max(f.passes_by_second for f in found) - 0.001
    for panel in found:
        assert 0.0 <= panel.probability <= panel.passes_by_second + 0.03
        for chance in (panel.probability, panel.passes_by_second):
            assert chance_words(chance) in panel.words


@pytest.mark.parametrize("tolerance", [Tolerance(), Tolerance("Lab", box=(0.8, 1.0, 1.2))])
def test_the_second_panel_is_chosen_by_what_the_first_one_read(
    model: FilmRegressor, candidates: list[Recipe], tolerance: Tolerance
) -> None:
    normal = copy(model)
    normal.stack_ = replace(model.stack_, dof=np.full(len(model.stack_.dof), np.inf))
    belief, some = Belief.of(normal), candidates[::5]
    aim = belief.predict_recipes([candidates[70]])[0] + [0.5, 0.5, 0.0]
    target = Target.lab(*aim, tolerance=tolerance)
    (first,) = next_for_target(belief, target, some, shown=1)
    predicted, chances = belief.predict_each([first.recipe]), []
    draw = np.random.default_rng(3)
    for read in draw.multivariate_normal(predicted.lab[0], predicted.covariance[0], 80):
        after = belief.after([(first.recipe, tuple(read))])
        then = after.predict_together(some, target.viewings)
        if target.difference([read[None]])[0] > target.tolerance.value:
            chances.append(target.expected(then.labs, then.covariance).probability.max())
    both = first.probability + (1.0 - first.probability) * np.mean(chances)
    assert first.passes_by_second == pytest.approx(both, abs=0.05)  # it is known to 0.03


def test_no_panel_is_planned_that_teaches_nothing(
    model: FilmRegressor, candidates: list[Recipe]
) -> None:
    known = copy(model)
    known.fitted_ = model.fitted_._replace(covariance=0.0 * model.fitted_.covariance)
    known.experience_ = replace(model.experience_, pairs=model.experience_.pairs | True)
    plan = next_for_archive(known, candidates[::9], k=2)
    assert (plan.panels, plan.before, plan.after) == ((), 0.0, 0.0)


def test_nothing_is_learnt_where_nothing_is_unknown(
    shop: Shop, model: FilmRegressor, candidates: list[Recipe]
) -> None:
    target = shop.truth_lab(candidates[40])
    belief = Belief.of(model)
    sure = replace(belief, covariance=belief.covariance * 1e-9)
    for panel in next_for_target(sure, Target.lab(*target), candidates, shown=1):
        # Two tries of the same chance, one after the other, when a panel teaches nothing.
        both = 1 - (1 - panel.probability) ** 2
        assert panel.passes_by_second == pytest.approx(both, abs=0.12)


def test_chances_have_the_tails_of_what_few_grounds_taught(
    shop: Shop, model: FilmRegressor, candidates: list[Recipe]
) -> None:
    belief = Belief.of(model)
    goal = Target.lab(*shop.truth_lab(candidates[40]))
    for panel in next_for_target(belief, goal, candidates, shown=3):
        predicted = belief.predict_together([panel.recipe], goal.viewings)
        hope = goal.expected(predicted.labs, predicted.covariance, predicted.dof)
        assert panel.probability == hope.probability[0]
    some = candidates[30:50]
    known = belief.together(some, goal.viewings)
    predicted = known.prediction

    def by_second(first: float, then: np.ndarray) -> np.ndarray:
        found = replace(predicted, known_dof=then)
        found.__dict__["dof"] = np.full(len(some), first)  # as if it had been worked out
        about = known._replace(prediction=found)
        return np.array([_by_second(i, about, goal) for i in range(len(some))])

    # What this panel may read and what the next one may: each is a t.
    sure = np.full(len(some), np.inf)
    normal = by_second(np.inf, sure)
    for other in (by_second(3.0, sure), by_second(np.inf, predicted.known_dof)):
        assert 0.002 < np.abs(other - normal).max() < 0.2


def test_nothing_to_choose_from_is_refused(model: FilmRegressor, candidates: list[Recipe]) -> None:
    with pytest.raises(DomainError, match="choose from"):
        next_for_target(model, Target.lab(50, 0, 0), [])
    with pytest.raises(DomainError, match="plan panels for"):
        next_for_archive(model, candidates, k=0)


@pytest.mark.parametrize("sd", [0.5, 1.0, 5.0])
def test_a_second_panel_does_not_make_a_doubtful_target_surer(sd: float) -> None:
    fit = demo_fit()
    could = fresh_recipes(fit, Limits(grounds=("pale gold",), colours=("cherry",)), usual="yes")
    target = Target.of_readings(Reading(lab=(27.1, 45.9, 28.5), sd=sd))
    found = next_for_target(fit, target, could)
    # Both are judged by the one colour that is truly wanted.
    (most,) = target.own_uncertainty.probability
    for panel in found:
        assert panel.probability <= panel.passes_by_second + 0.02
        assert panel.passes_by_second <= most + 0.1
