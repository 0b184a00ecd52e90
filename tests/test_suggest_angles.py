"""The chance at face and flop together, against the same model drawn again and again."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import multivariate_t

from matchlib.colorimetry import Tolerance, reflectance_to_lab
from matchlib.domain import Recipe, Viewing
from matchlib.linear import level_columns, values_covariance
from matchlib.regression import FilmRegressor
from matchlib.regression.residuals import THIRDS
from matchlib.regression.table import RecipeTable
from matchlib.suggest.search import _floor
from matchlib.tails import PANELS
from matchlib.target import Aim, Target
from tests.angle_shop import FACE, FLOP, angle_panels, recipe_at
from tests.benchmarks.panels import to_frame

VIEWS = (FACE, FLOP)
DRAWS, SMALL = 3000, 0.05


@cache
def model() -> FilmRegressor:
    return FilmRegressor().fit(*to_frame(angle_panels()))


@cache
def drawn(recipe: Recipe, size: float) -> np.ndarray:
    """Readings of so many next panels (draws, 6) by the whole law, nothing made linear.

    Everything that varies is drawn `size` times as wide as the model believes: at a twentieth the
    law is so nearly a plane that what is left of a disagreement would be a mistake.
    """
    m, rng = model(), np.random.default_rng(3)
    fit, law = m.fitted_, m.fitted_.law
    values, axes = np.linalg.eigh(values_covariance(m, [recipe]))
    root = axes * np.sqrt(np.maximum(values, 0))
    columns, sd = level_columns(m)
    wide = m.stack_.spread[m.reach([recipe])[0]]
    film, ground, stray = np.sqrt(wide) * fit.sizes.effects
    mottle, reading = m.noise_split_
    tables = [RecipeTable.of([recipe], [v], m.words_) for v in VIEWS]
    seen = np.empty((DRAWS, len(VIEWS), 3))
    for i in range(DRAWS):
        z = fit.z + size * (root @ rng.normal(size=len(values)))
        z[columns] += size * ground * rng.normal() / sd
        thick = np.exp(size * film * rng.normal())
        veil = size * THIRDS @ (stray * rng.normal(size=3))
        for j, (table, view) in enumerate(zip(tables, VIEWS, strict=True)):
            light = law.evaluate(z, replace(table, path=table.path * thick)).reflectance[0] + veil
            seen[i, j] = reflectance_to_lab(light, view)
    noise = size * np.sqrt(wide * mottle + reading["spectrophotometer"])
    return np.asarray((seen + noise * rng.normal(size=seen.shape)).reshape(DRAWS, 6))


@pytest.mark.parametrize("schedule", ["3@6:1", "4@4:1"])
def test_the_joint_covariance_is_that_of_panels_drawn(schedule: str) -> None:
    recipe = recipe_at(schedule)
    stated = model().predict_together([recipe], VIEWS).covariance[0]
    found = np.cov(drawn(recipe, SMALL).T) / SMALL**2
    unit = np.sqrt(np.outer(np.diag(stated), np.diag(stated)))
    np.testing.assert_allclose(found / unit, stated / unit, atol=0.08)
    assert np.abs(stated / unit)[:3, 3:].max() > 0.5  # or there were nothing to get wrong


def test_its_blocks_are_those_of_each_angle_alone() -> None:
    recipes = [recipe_at("3@6:1"), recipe_at("4@4:1", 1)]
    joint = model().predict_together(recipes, VIEWS)
    for i, view in enumerate(VIEWS):
        alone, part = model().predict_each(recipes, view), slice(3 * i, 3 * i + 3)
        np.testing.assert_allclose(joint.labs[i], alone.lab)
        for name in ("known", "spray", "reading"):
            both, one = getattr(joint, name), getattr(alone, name)
            np.testing.assert_allclose(both[:, part, part], one, atol=1e-12)
    assert np.all(joint.reading[:, :3, 3:] == 0)  # each angle's reading has its own noise
    assert np.abs(joint.known[:, :3, 3:]).max() > 0
    first, alone = joint.first, model().predict_each(recipes, VIEWS[0])
    np.testing.assert_allclose(first.covariance, alone.covariance, atol=1e-12)
    np.testing.assert_allclose(first.dof, alone.dof)


def test_one_reading_judged_in_two_lights_has_one_noise() -> None:
    lamps = (Viewing(geometry="45as15"), Viewing("A", "10", geometry="45as15"))
    reading = model().predict_together([recipe_at("3@6:1")], lamps).reading
    np.testing.assert_allclose(reading[0, :3, 3:], reading[0, :3, :3])


@pytest.mark.parametrize("weight", [1.0, 0.5])
@pytest.mark.parametrize("kind", ["ΔE00", "Lab"])
@pytest.mark.parametrize("off", [0.0, 0.3])
def test_the_chance_at_all_angles_is_that_of_panels_drawn(
    weight: float, kind: str, off: float
) -> None:
    recipe = recipe_at("3@6:1")
    predicted = model().predict_together([recipe], VIEWS)
    labs = predicted.labs
    aims = tuple(
        Aim(tuple(lab[0] + [off, 0, 0]), v, w)
        for lab, v, w in zip(labs, VIEWS, (1.0, weight), strict=True)
    )
    seen = [drawn(recipe, SMALL)[:, 3 * i : 3 * i + 3] for i in range(2)]
    gaps = Target(aims, Tolerance(kind, box=(1, 1, 1))).difference(seen)
    # The most telling tolerance is one that half of the panels keep.
    middle = float(np.median(gaps))
    limits = Tolerance("Lab", box=(middle,) * 3) if kind == "Lab" else Tolerance(value=middle)
    target = Target(aims, limits)
    assert np.mean(target.difference(seen) <= limits.value) == pytest.approx(0.5, abs=0.01)
    hope = target.expected(labs, SMALL**2 * predicted.covariance)
    assert hope.probability[0] == pytest.approx(0.5, abs=0.04)
    assert hope.mean[0] == pytest.approx(target.difference(seen).mean(), rel=0.04)


@pytest.mark.parametrize("nu", [3.5, 6.0, 40.0])
@pytest.mark.parametrize("kind", ["ΔE00", "LCh"])
def test_the_chance_at_all_angles_is_that_of_a_t_of_all_of_them(nu: float, kind: str) -> None:
    recipe = recipe_at("3@6:1")
    predicted = model().predict_together([recipe], VIEWS)
    labs, joint = predicted.labs, predicted.covariance
    sample = multivariate_t(shape=joint[0] * (nu - 2) / nu, df=nu, seed=4).rvs(100_000)
    seen = [labs[i, 0] + sample[:, 3 * i : 3 * i + 3] for i in range(2)]
    aims = tuple(Aim(tuple(lab[0] + [0.2, 0, 0]), v) for lab, v in zip(labs, VIEWS, strict=True))
    gaps = Target(aims, Tolerance(kind, box=(1, 1, 1))).difference(seen)
    for share in (0.3, 0.6, 0.9):
        most = float(np.quantile(gaps, share))
        limits = Tolerance(kind, box=(most,) * 3) if kind == "LCh" else Tolerance(value=most)
        hope = Target(aims, limits).expected(labs, joint, nu)
        assert hope.probability[0] == pytest.approx(share, abs=0.02)
        unit = most if kind == "LCh" else 1.0
        assert hope.mean[0] * unit == pytest.approx(gaps.mean(), rel=0.02)
    plain = Target(aims).expected(labs, joint)
    same = Target(aims).expected(labs, joint, np.array([np.inf]))
    assert plain.probability[0] == same.probability[0]


def test_the_search_states_the_chance_of_readings_as_few_grounds_tell_them() -> None:
    recipes = [recipe_at("3@6:1"), recipe_at("4@4:1", 1)]
    predicted = model().predict_together(recipes, VIEWS)
    labs, total = predicted.labs, predicted.covariance
    share = np.trace(np.linalg.solve(total, predicted.known), axis1=1, axis2=2) / 6
    groups = model().stack_.dof[model().reach(recipes)]
    dof = 1.0 / (share**2 / groups + (1.0 - share) ** 2 / PANELS)
    target = Target(tuple(Aim(tuple(lab[0]), v) for lab, v in zip(labs, VIEWS, strict=True)))
    hope = target.hope(predicted)
    np.testing.assert_allclose(hope.mean, target.expected(labs, total, dof).mean)
    assert hope.mean[0] < target.expected(labs, total).mean[0]
    # Nobody's panels come out better than spray and reading let them, and these are known well.
    goals = np.broadcast_to(labs[:, :1], labs.shape)
    np.testing.assert_allclose(
        _floor(predicted, target), target.expected(goals, predicted.own).mean
    )


def test_the_search_states_the_chance_at_all_angles() -> None:
    recipe = recipe_at("3@6:1")
    predicted = model().predict_together([recipe], VIEWS)
    aims = zip(predicted.labs, VIEWS, strict=True)
    target = Target(tuple(Aim(tuple(lab[0]), v) for lab, v in aims))
    seen = [drawn(recipe, 1.0)[:, 3 * i : 3 * i + 3] for i in range(2)]
    passed = np.mean(target.difference(seen) <= 1.0)
    # At full width the law bends a little, which a plane does not tell.
    assert target.hope(predicted).probability[0] == pytest.approx(passed, abs=0.06)


def test_angles_that_move_together_pass_together_more_often_than_apart() -> None:
    recipe = recipe_at("3@6:1")
    predicted = model().predict_together([recipe], VIEWS)
    labs, joint = predicted.labs, predicted.covariance
    target = Target(tuple(Aim(tuple(lab[0]), v) for lab, v in zip(labs, VIEWS, strict=True)))
    apart = joint.copy()
    apart[:, :3, 3:] = apart[:, 3:, :3] = 0.0
    both = target.expected(labs, joint).probability[0]
    assert both > target.expected(labs, apart).probability[0] + 0.01
    alone = [Target((aim,)) for aim in target.aims]
    least = min(
        t.expected(labs[i : i + 1], joint[:, 3 * i : 3 * i + 3, 3 * i : 3 * i + 3]).probability[0]
        for i, t in enumerate(alone)
    )
    assert both <= least + 0.02
