"""A panel that its recipe does not make, with more film or less, is told and not corrected."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, multivariate_t

from matchlib.audit.backs import finding_of
from matchlib.correction import Belief, Sprayed, Today, aside_words, learn
from matchlib.correction.weighing import _students, _TriedPanel, unfitting_words, weigh
from matchlib.domain import CoatSchedule, Colour, Recipe, Viewing
from matchlib.mixing import Limits
from matchlib.regression import FilmRegressor
from matchlib.steering import correct
from matchlib.target import Target
from tests.angle_shop import aimed_at, angle_model, recipe_at
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
    return weigh(Belief.of(model, recipes=[recipe]), Sprayed.of((recipe, lab)), Limits()).wrong


@pytest.mark.parametrize("heavy", [0.85, 0.95, 1.0, 1.05, 1.18])
def test_what_film_explains_fits(model: FilmRegressor, recipe: Recipe, heavy: float) -> None:
    aim = _read(recipe)
    advice = correct(model, [(recipe, _read(recipe, heavy=heavy, seed=5))], Target.lab(*aim))
    assert advice.unfitting == ""
    assert advice.belief.film[0] == pytest.approx(np.log(heavy), abs=0.12)


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
        Belief.of(model, recipes=[recipe]), Sprayed.of((recipe, _read(sprayed))), Limits()
    )
    assert verdict.wrong > 0.95
    if kind is not None:
        assert verdict.best is not None
        assert verdict.slips[verdict.best].kind == kind
        assert verdict.slips[verdict.best].recipe == sprayed


def test_a_sign_typed_wrong_is_told_as_that(model: FilmRegressor, recipe: Recipe) -> None:
    light, red, yellow = _read(recipe)
    advice = correct(model, [(recipe, (light, red, -yellow))], Target.lab(light, red, yellow))
    assert advice.unfitting
    assert f"b* {yellow:.1f} instead of {-yellow:.1f}" in advice.unfitting
    assert advice.changes == ()
    assert advice.options == ()


def test_a_card_read_at_several_angles_is_weighed_by_all_of_them() -> None:
    belief = Belief.of(angle_model(), recipes=[recipe_at("3@6:1")])
    right = Sprayed.of((recipe_at("3@6:1"), aimed_at("3@6:1")))
    assert weigh(belief, right, Limits()).wrong < 0.1
    (flop,) = right.also
    light, red, yellow = flop.lab
    slip = replace(right, also=(replace(flop, lab=(light, -red, yellow)),))
    verdict = weigh(belief, slip, Limits())
    assert verdict.wrong > 0.99
    assert f"a* {red:.1f} instead of {-red:.1f} at 45as110" in unfitting_words(verdict)
    # Of one reading seen under two lights the second says nothing new.
    lamp = replace(right, viewing=Viewing("A", "10", "45as15"))
    assert _TriedPanel(belief, replace(right, also=(lamp, flop))).lab.shape == (1, 6)


def test_nothing_is_learnt_from_what_does_not_fit(model: FilmRegressor, recipe: Recipe) -> None:
    good, bad = _read(recipe, heavy=1.1), _read(replace(recipe, ground=SHOP.grounds[1]))
    before = Belief.of(model, recipes=[recipe])
    believed, unfitting = learn(before, [(recipe, bad), (recipe, good)])
    assert [row.lab for row in unfitting] == [bad]
    np.testing.assert_allclose(believed.mean, before.after([(recipe, good)]).mean)
    advice = correct(model, [(recipe, bad), (recipe, good)], Target.lab(*good))
    assert not advice.unfitting
    assert str(recipe) in advice.film_words
    assert aside_words([]) == ""


@pytest.mark.parametrize("seed", range(12))
def test_no_reading_makes_film_incredible(model: FilmRegressor, recipe: Recipe, seed: int) -> None:
    lab = np.random.default_rng(seed).uniform((5, -70, -70), (95, 70, 70))
    advice = correct(model, [(recipe, tuple(lab))], Target.lab(40.0, 20.0, 20.0))
    assert abs(np.expm1(advice.belief.film[0])) < 0.5


def test_a_panel_weighed_agrees_with_its_chances(model: FilmRegressor, recipe: Recipe) -> None:
    right = [_wrong(model, recipe, _read(recipe, seed=s)) for s in range(8)]
    assert max(right) < 0.5
    far = tuple(np.add(_read(recipe), [0.0, 25.0, -25.0]))
    assert _wrong(model, recipe, far) > 0.99


def test_a_reading_is_weighed_over_all_that_film_and_law_may_be(
    model: FilmRegressor, recipe: Recipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("matchlib.tails.PANELS", np.inf)
    normal = copy(model)
    normal.stack_ = replace(model.stack_, dof=np.full(len(model.stack_.dof), np.inf))
    other = replace(recipe, schedule=CoatSchedule.parse("2@6:1"))
    before = Belief.of(normal, Today(film=0.01, ground=0.01, bias=0.1, odd=0.03, odd_days=0.3))
    p, small = before.size, before.covariance.copy()
    small[:p, :p] *= 0.02  # so that the kinds of day count
    before = replace(before, covariance=small)
    # After panels of today its film and the law are known together.
    after = before.after([(other, _read(other, heavy=1.1)), (recipe, _read(recipe))])
    for belief in (before, after):
        predicted = belief.predict_each([recipe])
        slope = belief.linear([recipe]).jacobian
        for away in ([0, 0, 0], [1, 0.5, -0.5], [-2, 1, 1], [0, -1.5, 1.5]):
            card = _TriedPanel(belief, Sprayed.of((recipe, tuple(predicted.lab[0] + away))))
            # So little film is open that the law is as good as straight: a sum of normals.
            each = [
                np.log(share)
                + multivariate_normal(
                    cov=(slope @ start @ slope.transpose(0, 2, 1) + predicted.own)[0]
                ).logpdf(np.array(away, float))
                for share, start in belief.days()
            ]
            assert card.likelihood()[0] == pytest.approx(logsumexp(each), rel=0.01, abs=0.001)


def test_a_density_is_that_of_students_t() -> None:
    away, cov = np.array([0.3, -2.0, 1.5]), np.array([[2, 0.5, 0], [0.5, 1, 0.2], [0, 0.2, 3]])
    for dof in (3.0, 8.0):
        # Of covariance `cov`, not of shape `cov`.
        usual = multivariate_t(shape=cov * (dof - 2) / dof, df=dof).logpdf(away)
        found = _students(away[None, None], cov[None], np.array([dof]))
        assert found[0, 0] == pytest.approx(usual)


def test_a_reading_that_is_hardly_known_speaks_against_no_back(
    model: FilmRegressor, recipe: Recipe
) -> None:
    belief = Belief.of(model, recipes=[recipe])
    far = Sprayed.of((recipe, tuple(np.add(_read(recipe), [0.0, 12.0, -12.0]))))
    vague = replace(far, covariance=64.0 * np.eye(3))
    assert weigh(belief, far, Limits()).wrong > 0.95
    assert weigh(belief, vague, Limits()).wrong < 0.1
    card = _TriedPanel(belief, far)
    assert card.likelihood(wider=3.0) > card.likelihood() + 5.0


def test_no_recipe_known_only_widely_is_said_to_make_what_it_does_not() -> None:
    # Of one recipe alone, other counts of coats may read almost anything; not a red as green.
    once = [
        ("B", "silver", "", "", 63.4, -0.1, 0.9),
        *(
            (f"P{i}", "silver", "rose", "3@6:1", 30.8 + 0.2 * i, 39.0 - 0.2 * i, 14.0 - 0.1 * i)
            for i in range(-3, 4)
        ),
    ]
    table = pd.DataFrame(once, columns=["panel", "ground", "colour", "schedule", "L", "a", "b"])
    table["clear"] = "yes"
    model = FilmRegressor(rounds=2).fit(table, table[["L", "a", "b"]])
    recipe = Recipe.of("silver", "rose", "3@6:1", "yes")
    verdict = weigh(Belief.of(model), Sprayed.of((recipe, (32.3, -40.7, -12.8))), Limits())
    assert verdict.wrong > 0.99
    assert "No slip of the back explains it" in unfitting_words(verdict)
    assert finding_of(verdict).kind == "impossible reading"  # type: ignore[union-attr]
