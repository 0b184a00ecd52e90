"""What a test panel teaches of the law and of today."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from matchlib.colorimetry import delta_e00
from matchlib.correction import Belief, Today
from matchlib.correction.posterior import posterior
from matchlib.domain import CoatSchedule, Recipe, Viewing
from matchlib.regression import FilmRegressor
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Shop
from tests.cli_shop import demo_fit
from tests.correction.heavy import heavy


def test_belief_before_any_panel_predicts_as_the_model(
    model: FilmRegressor, recipe: Recipe
) -> None:
    belief = Belief.of(model)
    np.testing.assert_allclose(
        belief.predict_recipes([recipe]), model.predict_recipes([recipe]), atol=1e-9
    )
    today, ever = belief.predict_each([recipe]), model.predict_each([recipe])
    assert np.trace(today.known[0]) > np.trace(ever.known[0])  # today is not known yet
    np.testing.assert_allclose(today.spray, ever.spray)


def test_what_no_panel_told_is_doubted_by_the_belief_too(shop: Shop) -> None:
    # Of 18 panels over two of three grounds the third's scatter, and how any two blend, is not
    # known.
    young = FilmRegressor().fit(*to_frame(shop.young(0)))
    belief = Belief.of(young)
    one = young.words_.grounds[int(np.argmin(young.experience_.sprayed))]
    two = next(name for name in young.words_.grounds if name != one)
    for ground in (one, f"{one} 1 + {two} 1"):
        about = Recipe.of(ground, str(shop.colours[0]), "3@5:1", "yes")
        stated, ever = belief.predict_each([about]).known[0], young.predict_each([about]).known[0]
        assert np.trace(stated) > 0.9 * np.trace(ever)
        # And a panel of it tells what it was.
        read = belief.predict_recipes([about])[0] + [3.0, 1.0, 1.0]
        told = belief.after([(about, read)]).predict_each([about]).known[0]
        assert np.trace(told) < 0.5 * np.trace(stated)
        # What was not known moves the colour by its slope, and is what the panel then tells.
        near = belief.linear([about], Viewing())
        lab, slope = near.lab, near.jacobian
        place = slope.shape[2] - 2 - 4 * len(young.words_.grounds)
        place += int(np.abs(slope[0, :, place:]).sum(axis=0).argmax())
        moved = belief.mean + np.eye(len(belief.mean))[place]
        again = belief.linear([about], Viewing(), mean=moved).lab
        assert np.abs(slope[0, :, place]).max() > 0.1
        np.testing.assert_allclose(again[0] - lab[0], slope[0, :, place], atol=1e-9)


def test_derivatives_of_the_belief_are_those_of_its_predictions(
    model: FilmRegressor, recipe: Recipe
) -> None:
    belief = Belief.of(model)
    rng = np.random.default_rng(0)
    mean = belief.mean.copy()
    mean[belief.size] = 0.1
    near = belief.linear([recipe], mean=mean)
    step = rng.normal(size=mean.size) * 1e-5
    up = belief.linear([recipe], mean=mean + step, slopes=False).lab
    down = belief.linear([recipe], mean=mean - step, slopes=False).lab
    np.testing.assert_allclose(near.jacobian[0] @ step, (up - down)[0] / 2, atol=1e-8)
    more = belief.linear([recipe], mean=mean, film=1e-5, slopes=False).lab
    less = belief.linear([recipe], mean=mean, film=-1e-5, slopes=False).lab
    np.testing.assert_allclose(near.film[0], (more - less)[0] / 2e-5, rtol=1e-4, atol=1e-5)


@pytest.mark.parametrize("factor", [0.88, 1.15])
def test_three_panels_tell_how_heavily_somebody_sprays(
    shop: Shop, model: FilmRegressor, recipe: Recipe, factor: float
) -> None:
    other = replace(recipe, schedule=CoatSchedule.parse("3@3:1"), ground=shop.grounds[1])
    third = replace(recipe, colour=shop.colours[1])
    tried = [(r, heavy(shop, r, factor)) for r in (recipe, other, third)]
    film, sd = Belief.of(model, Today(0.08, 0.01, 0.1)).after(tried).film
    assert sd < 0.06
    assert film == pytest.approx(np.log(factor), abs=2.5 * sd)
    assert np.sign(film) == np.sign(np.log(factor))
    assert abs(film) > 0.5 * abs(np.log(factor))


def test_a_corrected_prediction_is_nearer_the_next_panel(
    shop: Shop, model: FilmRegressor, recipe: Recipe
) -> None:
    belief = Belief.of(model).after([(recipe, heavy(shop, recipe, 1.15))])
    following = [
        replace(recipe, schedule=CoatSchedule.parse("5@6:1")),
        replace(recipe, ground=shop.grounds[2]),
        replace(recipe, colour=shop.colours[1]),
    ]
    truth = np.array([heavy(shop, r, 1.15) for r in following])
    after = delta_e00(belief.predict_recipes(following), truth).mean()
    before = delta_e00(model.predict_recipes(following), truth).mean()
    assert after < 0.8 * before


def test_more_panels_never_know_less(shop: Shop, model: FilmRegressor, recipe: Recipe) -> None:
    belief = Belief.of(model)
    one = belief.after([(recipe, heavy(shop, recipe, 1.0))])
    two = one.after([(recipe, heavy(shop, recipe, 1.0))])
    for earlier, later in ((belief, one), (one, two)):
        assert np.all(np.diag(later.covariance) <= np.diag(earlier.covariance) + 1e-12)
    assert two.panels == 2


def test_posterior_of_a_linear_law_is_the_textbooks() -> None:
    # Two readings of variance 1 of one number believed 0 with variance 4: mean 4/9 of their sum.
    slope = np.ones((2, 1))
    mean, cov, left, evidence = posterior(
        np.zeros(1), np.eye(1) * 4, lambda x: (slope @ x, slope), np.array([1.0, 2.0]), np.eye(2)
    )
    assert mean[0] == pytest.approx(4 * 3 / 9)
    assert cov[0, 0] == pytest.approx(4 / 9)
    # An error of the belief before counts 1 in 9 after: two readings of 1 to one of 1/4.
    assert left[0, 0] == pytest.approx(1 / 9)
    together = stats.multivariate_normal([0, 0], [[5, 4], [4, 5]]).logpdf([1.0, 2.0])
    assert evidence == pytest.approx(together + np.log(2 * np.pi))


def test_an_angle_never_read_is_wide_until_a_card_is_read_there() -> None:
    model = demo_fit()
    card = Recipe.of("silver", "cherry", "3@6:1", "yes")
    usual, face, flop, photo = (Viewing(geometry=g) for g in ("45:0", "45as15", "45as110", "photo"))

    def wide(belief: Belief, view: Viewing) -> float:
        return float(np.sqrt(np.trace(belief.predict_each([card], view).known[0])))

    before = Belief.of(model)
    assert wide(before, face) > 10 * wide(before, usual)
    assert wide(before, photo) < 2 * wide(before, usual)
    read = before.predict_recipes([card], face)[0] * 1.2
    after = before.after([(card, read, face)])
    assert np.linalg.norm(after.predict_recipes([card], face)[0] - read) < 2.0
    assert wide(after, face) < 0.2 * wide(before, face)
    # Of the flop, and of how the card looks as usual, it tells next to nothing.
    assert wide(after, flop) > 0.9 * wide(before, flop)
    moved = after.predict_recipes([card])[0] - before.predict_recipes([card])[0]
    assert np.linalg.norm(moved) < 1.0
