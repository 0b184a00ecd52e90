"""What is known of a sample that was itself sprayed from the shelf."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchlib import sample
from matchlib.correction import Belief
from matchlib.domain import Colour, Recipe, Viewing
from matchlib.domain.reading import ILLUMINANTS, OBSERVERS
from matchlib.linear import together
from matchlib.mixing import Limits
from matchlib.regression import FilmPredictor, FilmRegressor
from matchlib.sample import chances_of_own, origins, own_words
from matchlib.target import Aim, Target
from tests.benchmarks import spray
from tests.benchmarks.panels import to_frame

SHELF = Limits(blends=False, max_coats=8)


@pytest.fixture(scope="module")
def shop() -> spray.Shop:
    return spray.Shop(0)


@pytest.fixture(scope="module")
def young(shop) -> FilmPredictor:
    return FilmRegressor().fit(*to_frame(shop.young(0), log=True))


def _recipes(shop: spray.Shop, count: int) -> list[Recipe]:
    rng = np.random.default_rng(5)
    return [shop.random_recipe(rng, continuous=True) for _ in range(count)]


def test_what_is_shared_adds_up_to_what_is_not_known(shop, young) -> None:
    recipes, view = _recipes(shop, 6), [young.usual_view]
    for there in (together(young, recipes, view), Belief.of(young).together(recipes, view)):
        known = there.slope @ there.covariance @ there.slope.transpose(0, 2, 1)
        np.testing.assert_allclose(known, there.prediction.known, rtol=1e-3, atol=1e-3)


def test_a_sample_of_the_shelf_is_traced_to_its_pot(shop, young) -> None:
    for recipe in _recipes(shop, 6):
        found = origins(young, [recipe], Target.lab(*shop.truth_lab(recipe)), SHELF)
        assert sum(found.values()) == pytest.approx(1.0)
        own = [share for pot, share in found.items() if pot.ground == recipe.ground]
        assert max(own) > 0.3


def _drawn(belief: Belief, views: list[Viewing], recipes: list[Recipe], rng) -> tuple:
    """Readings of recipes in laws drawn from the belief: their means, and one panel of each."""
    there = belief.together(recipes, views)
    values = rng.multivariate_normal(np.zeros(len(there.covariance)), there.covariance, 40_000)
    moved = there.slope.reshape(-1, values.shape[1]) @ values.T
    lab = there.prediction.labs[0][:, :, None] + moved.reshape(len(recipes), 3, -1)
    own = [np.linalg.cholesky(c) for c in there.prediction.own]
    panel = lab + np.stack([root @ rng.normal(size=lab.shape[1:]) for root in own])
    return lab, panel, there


def test_chances_of_own_are_those_of_worlds_drawn_from_the_belief(shop, young, monkeypatch) -> None:
    # Brute force: laws drawn from the belief, a pot and a film; what each would have read weighs
    # the world, by the density of a card's own spread about it. Worlds are drawn from a normal.
    monkeypatch.setattr(sample, "dof_of_panel", lambda known, *_, **__: np.full(len(known), 1e9))
    belief, rng = Belief.of(young), np.random.default_rng(0)
    sure = replace(belief, covariance=0.3 * belief.covariance)  # so that enough worlds count
    for recipe in _recipes(shop, 3):
        wanted = sure.predict_recipes([recipe])[0] + rng.normal(0.0, 0.25, 3)
        target = Target.lab(*wanted)
        stated = chances_of_own(young, [recipe], target, SHELF, knows=sure.together)
        pots = sample._Pots.near(young, [recipe], target, SHELF)
        views = [young.usual_view]
        lab, panel, there = _drawn(sure, views, [recipe, *pots.recipes], rng)
        film = rng.normal(size=(len(pots.recipes), lab.shape[2])) * pots.film[:, None]
        read = lab[1:] + there.film[1:, :, None] * film[:, None, :]
        away = np.swapaxes(wanted[:, None] - read, 1, 2)
        own = there.prediction.own[1:]
        far = (away * np.linalg.solve(own[:, None], away[..., None])[..., 0]).sum(axis=2)
        weight = np.exp(-0.5 * far) / np.sqrt(np.linalg.det(own))[:, None]
        passes = target.difference([panel[0].T]) <= 1.0
        brute = (weight * passes).sum() / weight.sum()
        assert weight.sum() ** 2 / (weight**2).sum() > 300  # worlds that count
        assert stated[0] == pytest.approx(brute, abs=0.04)


def test_of_a_law_that_is_known_a_sample_tells_nothing(shop, young) -> None:
    belief = replace(Belief.of(young), covariance=1e-12 * Belief.of(young).covariance)
    for recipe in _recipes(shop, 3):
        target = Target.lab(*belief.predict_recipes([recipe])[0])
        there = belief.predict_together([recipe], [young.usual_view])
        supposed = target.expected(there.labs, there.covariance, there.dof).probability
        own = chances_of_own(young, [recipe], target, SHELF, knows=belief.together)
        assert own == pytest.approx(supposed, abs=1e-3)


def test_a_target_may_have_many_viewings(shop, young) -> None:
    (recipe,) = _recipes(shop, 1)
    views = [Viewing(*light) for light in product(ILLUMINANTS, OBSERVERS)]
    aims = [Aim(tuple(young.predict_recipes([recipe], view)[0]), view) for view in views]
    (chance,) = chances_of_own(young, [recipe], Target(tuple(aims)), SHELF)
    assert 0.0 <= chance <= 1.0


def test_what_no_pot_makes_is_of_no_sample_sprayed_here(shop, young) -> None:
    far = Target.lab(30.0, 10.0, -60.0)
    assert chances_of_own(young, _recipes(shop, 2), far, SHELF) is None
    assert origins(young, _recipes(shop, 2), far, SHELF) == {}


def test_a_blend_is_less_likely_to_have_made_it_than_one_pot(shop, young) -> None:
    neat = _recipes(shop, 1)[0]
    one, two = (str(c) for c in shop.colours[:2])
    blend = replace(neat, colour=Colour.parse(f"{one} 3 + {two} 1"))
    target = Target.lab(*young.predict_recipes([blend])[0])
    found = origins(young, [blend], target, SHELF)
    alone = origins(young, [neat], target, SHELF)
    assert 0.0 < found[blend] < 1.0
    # Other shares and coats of the same two are no further pots.
    more = replace(blend, colour=Colour.parse(f"{one} 4 + {two} 1"))
    assert len(origins(young, [blend, more], target, SHELF)) == len(found)
    assert blend not in alone


@settings(max_examples=30)
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0) | st.none())
def test_it_is_said_where_it_is_the_better(stated: float, own: float | None) -> None:
    said = own_words(stated, own)
    assert bool(said) == (own is not None and own > stated + sample.WORTH_SAYING)
