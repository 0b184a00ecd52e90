"""The law and the evidence: derivatives against differences, where a fit begins, what it costs."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.colorimetry import delta_e00
from matchlib.domain import CoatSchedule, Colour, Ground, Recipe, Viewing
from matchlib.regression import FilmRegressor
from matchlib.regression.evidence import Linearised, Sizes
from matchlib.regression.law import FilmLaw
from matchlib.regression.misses import price_of
from matchlib.regression.observe import lab_of, tone_of
from matchlib.regression.priors import Priors
from matchlib.regression.residual import Residual
from matchlib.regression.start import starting_values
from matchlib.regression.table import RecipeTable, Vocabulary, geometry_group, rows_of
from tests.benchmarks.spray import Noise, Shop, to_frame

ROWS = [
    ("silver", None, None, None, "45:0"),
    ("gold", None, None, "yes", "45as15"),
    ("silver", "teal", "4@6:1", "yes", "45:0"),
    ("gold", "teal 2 + violet 1", "2@6:1 2@3:1", "yes", "45as15"),
    ("silver 3 + black 1", "violet", "6@10:1", None, "45:0"),
    ("silver 1 + black 1", "teal", "1@2:1", "yes", "di:8"),
    ("gold", "violet", "3@4:1 1@8:1 2@2:1", "yes", "45as110"),
]


@pytest.fixture(scope="module")
def case():
    recipes = [
        Recipe(
            Ground.parse(g),
            Colour.parse(c) if c else None,
            CoatSchedule.parse(s) if s else None,
            k,
        )
        for g, c, s, k, _ in ROWS
    ]
    views = [Viewing(geometry=v) for *_, v in ROWS]
    sprayers = ["Ada", "", "Bo", "Ada", "Bo", "", "Ada"]
    words = Vocabulary.of(recipes, [v.geometry for v in views], sprayers)
    table = RecipeTable.of(recipes, views, words, sprayers)
    law = FilmLaw(words, Priors(), Residual.of(table, np.eye(len(words.grounds))))
    z = 0.4 * np.random.default_rng(0).normal(size=law.size)
    for part in law.residual.parts:
        z[law.slices[part.name]] *= 0.05  # no field is cut off
    return law, table, z


@pytest.mark.parametrize("observe", [lambda r: lab_of(r, "D65", "10"), tone_of])
def test_every_derivative_agrees_with_differences(case, observe):
    law, table, z = case
    state = law.evaluate(z, table)
    _, by_r = observe(state.reflectance)
    jacobian, effects = law.jacobian(state, z, table, by_r)
    step = 1e-5
    numeric = np.empty_like(jacobian)
    for i in range(law.size):
        move = np.zeros(law.size)
        move[i] = step
        up, down = (observe(law.evaluate(z + s * move, table).reflectance)[0] for s in (1, -1))
        numeric[:, :, i] = (up - down) / (2 * step)
    np.testing.assert_allclose(jacobian, numeric, atol=2e-5, rtol=1e-6)
    np.testing.assert_allclose(effects, law.effects(state, by_r))
    # Every part of the law is exercised: none of its columns is idle.
    for name, part in law.slices.items():
        assert np.abs(numeric[:, :, part]).max() > 1e-4, name


@pytest.mark.parametrize("present", [(0, 1, 2), (1, 3)])
def test_the_gradient_of_the_evidence_agrees_with_differences(present):
    rng = np.random.default_rng(3)
    m, p, panels = 60, 6, 12
    linear = Linearised(
        jacobian=rng.normal(size=(m, p)),
        target=rng.normal(size=m),
        effects=rng.normal(size=(m, 5)),
        family=rng.choice(present, m),
        panel=np.sort(rng.integers(0, panels, m)),
        trust=rng.uniform(0.2, 1.0, panels),
        group_of=np.array([0, 0, 1, 1, 1, 2]),
        families=4,
    )
    sizes = Sizes(rng.uniform(0.3, 1, 3), rng.uniform(0.5, 1, 4), rng.uniform(0.5, 2, 3))
    vector = sizes.vector()
    _, gradient = linear.evidence(sizes)
    for i in range(len(vector)):
        move = np.zeros(len(vector))
        move[i] = 1e-5
        up, down = (linear.evidence(sizes.replaced(vector + s * move))[0] for s in (1, -1))
        assert gradient[i] == pytest.approx((up - down) / 2e-5, abs=1e-5)


@pytest.mark.parametrize("present", [(0, 1), (1, 3)])
def test_the_evidence_is_the_normal_density_of_the_readings(present):
    # Against the plain formula: y ~ N(0, J S J' + U E U' + N), with nothing summed out cleverly.
    rng = np.random.default_rng(4)
    m, p = 14, 3
    j, y, u = rng.normal(size=(m, p)), rng.normal(size=m), rng.normal(size=(m, 5))
    panel = np.repeat([0, 1, 2, 3], [4, 3, 4, 3])
    family = rng.choice(present, m)
    sizes = [
        Sizes(rng.uniform(0.3, 1, 3), rng.uniform(0.5, 1, 4), rng.uniform(0.5, 2, 2))
        for _ in range(2)
    ]
    group_of = np.array([0, 1, 1])
    linear = Linearised(
        jacobian=j,
        target=y,
        effects=u,
        family=family,
        panel=panel,
        trust=np.ones(4),
        group_of=group_of,
        families=4,
    )

    def plain(s: Sizes) -> float:
        scaled = u * s.effect_sds
        cov = scaled @ scaled.T * (panel[:, None] == panel[None])
        cov += np.diag(s.noise[family] ** 2) + j @ np.diag(s.groups[group_of] ** 2) @ j.T
        return float(-0.5 * (y @ np.linalg.solve(cov, y) + np.linalg.slogdet(cov)[1]))

    ours = linear.evidence(sizes[0])[0] - linear.evidence(sizes[1])[0]
    assert ours == pytest.approx(plain(sizes[0]) - plain(sizes[1]), abs=1e-8)


def test_light_and_eye_may_change_places():
    assert geometry_group("0:45") == geometry_group("45:0")
    assert geometry_group("8:de") == "de:8"


def test_a_law_made_plain_is_the_film_alone(case):
    law, table, z = case
    alone, values = law.plain(z)
    assert not alone.residual.parts
    film = alone.evaluate(values, table).reflectance
    # Nothing else is lost: with empty fields, and next to nothing left bare, the law is the same.
    empty = z.copy()
    for part in law.residual.parts:
        empty[law.slices[part.name]] = 0.0
    (part,) = (p for p in law.residual.parts if p.name == "bare colour")
    coloured = table.colour_share.sum(axis=1) > 0
    weights, *_ = np.linalg.lstsq(part.features(table)[coloured], np.full(coloured.sum(), -12.0))
    empty[law.slices[part.name]] = weights
    assert law.residual.bare(empty, law.slices, table)[0][coloured].max() < 1e-6
    np.testing.assert_allclose(law.evaluate(empty, table).reflectance, film, rtol=1e-3)
    assert np.abs(law.evaluate(z, table).reflectance - film).max() > 1e-3


def test_to_distrust_a_panel_has_its_price():
    assert price_of(np.ones(9)) == 0.0
    # One panel: the odds of a wrong back, 3 to 97, and three observations 12 times as wide.
    assert price_of(np.array([1.0, 0.0])) == pytest.approx(np.log(3 / 97) - 3 * np.log(12))


def test_the_fit_begins_nearer_to_the_readings_than_from_nothing():
    shop = Shop(3)
    X, y = to_frame(shop.archive(60, 3))
    recipes, views, _, sprayers = rows_of(X)
    words = Vocabulary.of(recipes, [v.geometry for v in views], sprayers)
    table = RecipeTable.of(recipes, views, words, sprayers)
    law = FilmLaw(words, Priors(), Residual())
    lab = np.asarray(y)

    def away(z):
        seen, _ = lab_of(law.evaluate(z, table).reflectance, "D65", "10")
        return np.median(delta_e00(seen, lab))

    assert away(starting_values(law, table, lab)) < 0.5 * away(np.zeros(law.size))


def test_where_readings_repeat_finely_a_small_miss_is_no_wrong_back():
    # Nothing varies but one panel, by a quarter of a unit: no wrong recipe moves so little.
    still = Noise(**dict.fromkeys(Noise.__dataclass_fields__, 0.0))
    shop = Shop(3, n_grounds=3, n_colours=2, noise=still)
    X, lab = to_frame(shop.archive(40, 3))
    lab = np.array(lab, float)
    lab[20] += 0.25
    assert FilmRegressor(residual=False).fit(X, lab).trust_.min() > 0.9
    lab[20] += 12.0
    trust = FilmRegressor(residual=False).fit(X, lab).trust_
    assert trust.argmin() == 20
    assert trust.min() < 0.1
