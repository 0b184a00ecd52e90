"""A panel that its recipe does not make, with more film or less, is told and not corrected."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matchlib.correction import Belief, Booth, Sprayed, aside_words, correct, learn
from matchlib.correction.weighing import weigh
from matchlib.domain import CoatSchedule, Colour, Recipe
from matchlib.regression import FilmRegressor
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Shop

SHOP = Shop(3, n_grounds=4, n_colours=3)


@pytest.fixture(scope="module")
def model() -> FilmRegressor:
    return FilmRegressor(rounds=2).fit(*to_frame(SHOP.archive(60, 3)))


@pytest.fixture(scope="module")
def recipe() -> Recipe:
    return Recipe(SHOP.grounds[0], Colour.parse(SHOP.colours[0]), CoatSchedule.parse("3@4:1"))


def _read(recipe: Recipe, *, heavy: float = 1.0, seed: int = 0) -> tuple[float, float, float]:
    panel = SHOP.spray(recipe, np.random.default_rng(seed), heavy=heavy, reading="lab")
    lab = panel.readings[0].lab
    assert lab is not None
    return lab


def _wrong(model: FilmRegressor, recipe: Recipe, lab: tuple[float, float, float]) -> float:
    return weigh(Belief.of(model, recipes=[recipe]), Sprayed.of((recipe, lab)), Booth()).wrong


@pytest.mark.parametrize("heavy", [0.85, 0.95, 1.0, 1.05, 1.18])
def test_what_film_explains_fits(model: FilmRegressor, recipe: Recipe, heavy: float) -> None:
    aim = _read(recipe)
    advice = correct(model, [(recipe, _read(recipe, heavy=heavy, seed=5))], aim)
    assert advice.fits
    assert advice.fits_words == ""
    assert advice.film[0] == pytest.approx(np.log(heavy), abs=0.12)


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        ({"ground": SHOP.grounds[1]}, "wrong ground"),
        ({"colour": Colour.parse(SHOP.colours[1])}, "wrong colour"),
        ({"schedule": CoatSchedule.parse("3@1:4")}, None),
    ],
)
def test_another_ground_or_pot_does_not_fit(
    model: FilmRegressor, recipe: Recipe, change: dict[str, object], kind: str | None
) -> None:
    sprayed = replace(recipe, **change)  # type: ignore[arg-type]  # each of its own field
    verdict = weigh(
        Belief.of(model, recipes=[recipe]), Sprayed.of((recipe, _read(sprayed))), Booth()
    )
    assert verdict.wrong > 0.95
    if kind is not None:
        assert verdict.best is not None
        assert verdict.kinds[verdict.best] == kind
        assert verdict.recipes[verdict.best] == sprayed


def test_a_sign_typed_wrong_is_told_as_that(model: FilmRegressor, recipe: Recipe) -> None:
    light, red, yellow = _read(recipe)
    advice = correct(model, [(recipe, (light, red, -yellow))], (light, red, yellow))
    assert not advice.fits
    assert f"b* {yellow:.1f} instead of {-yellow:.1f}" in advice.fits_words
    assert advice.changes == ()
    assert advice.rescue.options == ()


def test_nothing_is_learnt_from_what_does_not_fit(model: FilmRegressor, recipe: Recipe) -> None:
    good, bad = _read(recipe, heavy=1.1), _read(replace(recipe, ground=SHOP.grounds[1]))
    before = Belief.of(model, recipes=[recipe])
    believed, unfitting = learn(before, [(recipe, bad), (recipe, good)])
    assert [row.lab for row in unfitting] == [bad]
    np.testing.assert_allclose(believed.mean, before.after([(recipe, good)]).mean)
    advice = correct(model, [(recipe, bad), (recipe, good)], good)
    assert advice.fits
    assert str(recipe) in advice.film_words
    assert aside_words([]) == ""


@pytest.mark.parametrize("seed", range(12))
def test_no_reading_makes_film_incredible(model: FilmRegressor, recipe: Recipe, seed: int) -> None:
    lab = np.random.default_rng(seed).uniform((5, -70, -70), (95, 70, 70))
    advice = correct(model, [(recipe, tuple(lab))], (40.0, 20.0, 20.0))
    assert abs(np.expm1(advice.film[0])) < 0.5


def test_a_panel_weighed_agrees_with_its_chances(model: FilmRegressor, recipe: Recipe) -> None:
    right = [_wrong(model, recipe, _read(recipe, seed=s)) for s in range(8)]
    assert max(right) < 0.5
    far = tuple(np.add(_read(recipe), [0.0, 25.0, -25.0]))
    assert _wrong(model, recipe, far) > 0.99
