"""Regions hold what they state, and clouds are drawn out to a t with the mean and spread kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, multivariate_t, norm

from matchlib.colorimetry.expected import _points
from matchlib.errors import DomainError
from matchlib.tails import FEWEST, dof_of, drawn_out, normal_cloud, region, symmetric_root

LEVELS = np.array([0.5, 0.8, 0.9, 0.95])


def some_covariance(dimension: int, seed: int = 0) -> np.ndarray:
    half = np.random.default_rng(seed).normal(0, 0.5, (dimension, dimension))
    return half @ half.T + 0.05 * np.eye(dimension)


@pytest.mark.parametrize(("nu", "dimension"), [(3.0, 3), (4.0, 3), (9.5, 3), (5.0, 6), (4.0, 1)])
def test_regions_hold_their_share_of_a_t_of_that_covariance(nu: float, dimension: int) -> None:
    cov = some_covariance(dimension)
    drawn = multivariate_t(shape=cov * (nu - 2) / nu, df=nu, seed=3).rvs(200_000)
    drawn = drawn.reshape(-1, dimension)
    squared = np.einsum("ni,ij,nj->n", drawn, np.linalg.inv(cov), drawn)
    inside = np.mean(squared[:, None] <= region(LEVELS, nu, dimension=dimension), axis=0)
    np.testing.assert_allclose(inside, LEVELS, atol=0.004)


def test_few_grounds_draw_the_middle_in_and_the_edge_out() -> None:
    few, many = region(0.5, [3.0, 6.0, 30.0]), region(0.99, [4.0, 6.0, 30.0])
    assert np.all(np.diff([*few, region(0.5)]) > 0)
    assert np.all(np.diff([*many, region(0.99)]) < 0)
    np.testing.assert_allclose(region(LEVELS, 1e5), chi2.ppf(LEVELS, 3), rtol=1e-4)


@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99), st.floats(FEWEST, 1e4) | st.just(float("inf")))
def test_a_greater_share_has_a_greater_region(one: float, two: float, nu: float) -> None:
    low, high = sorted((one, two))
    # Shares a rounding apart may come out a rounding the other way.
    assert 0 < region(low, nu) <= region(high, nu) * (1 + 1e-12)


@given(st.just(0.0) | st.floats(1e-100, 1.0), st.floats(FEWEST, 50.0), st.integers(1, 6))
def test_freedom_is_that_of_the_share(share: float, groups: float, dimension: int) -> None:
    total = some_covariance(dimension, dimension)
    found = dof_of(share * total, total, known_dof=groups)
    wanted = groups / share**2 if share else np.inf
    assert float(found) == pytest.approx(wanted, rel=1e-6)


def test_freedom_does_not_depend_on_the_axes_and_has_a_floor() -> None:
    rng = np.random.default_rng(5)
    known = np.stack([some_covariance(3, s) for s in range(8)])
    total = known + np.stack([some_covariance(3, s) for s in range(20, 28)])
    turn = rng.normal(size=(3, 3))
    found = dof_of(known, total, known_dof=4.0)
    turned = dof_of(turn @ known @ turn.T, turn @ total @ turn.T, known_dof=4.0)
    np.testing.assert_allclose(found, turned, rtol=1e-8)
    assert np.all(found > 4.0)
    assert dof_of(np.eye(3), np.eye(3), known_dof=1.0) == FEWEST
    assert dof_of(np.eye(3), np.eye(3), known_dof=float("inf")) == np.inf


CLOUDS = {
    "256 in Lab": _points(),
    "1024 in Lab": normal_cloud(1024, 3),
    "at three angles": normal_cloud(1024, 9),
}


@pytest.mark.parametrize("name", CLOUDS)
def test_a_cloud_is_drawn_out_to_the_quantiles_of_a_t(name: str) -> None:
    cloud = CLOUDS[name]
    count, width = cloud.shape
    dof = np.array([3.0, 3.3, 5.0, 11.7, 60.0, 1000.0])
    factors = drawn_out(cloud, dof)
    points = factors[:, :, None] * cloud
    np.testing.assert_allclose(points.mean(axis=1), 0, atol=1e-12)
    # Its own lengths are as good as the cloud's: nine in ten lie within the region of nine in ten.
    lengths = np.sum(points**2, axis=2)
    for level in LEVELS:
        inside = np.mean(lengths <= region(level, dof, dimension=width)[:, None], axis=1)
        np.testing.assert_allclose(inside, level, atol=8.0 / count + 0.01)
    # Between the steps it is as exact as at them.
    length = np.sum(cloud[: count // 2] ** 2, axis=1)
    share = (np.argsort(np.argsort(length)) + 0.5) / (count // 2)
    wide = region(share, dof[:, None], dimension=width) / region(share, dimension=width)
    np.testing.assert_allclose(factors[:, : count // 2] ** 2, wide, rtol=2e-3)


@pytest.mark.parametrize(("nu", "near"), [(6.0, 0.12), (12.0, 0.04), (40.0, 0.02)])
def test_a_drawn_out_cloud_keeps_its_covariance(nu: float, near: float) -> None:
    # With few degrees of freedom much of a t's covariance is in tails beyond any 1024 points.
    cloud = normal_cloud(1024, 3)
    points = drawn_out(cloud, nu)[0][:, None] * cloud
    np.testing.assert_allclose(points.T @ points / len(points), np.eye(3), atol=near)


def test_what_is_known_is_left_as_it_is() -> None:
    cloud = _points()
    np.testing.assert_array_equal(drawn_out(cloud, [np.inf]), 1.0)
    beside = drawn_out(cloud, [4.0, np.inf, 9.0])
    np.testing.assert_array_equal(beside[1], 1.0)
    np.testing.assert_array_equal(beside[2], drawn_out(cloud, 9.0)[0])


@pytest.mark.parametrize(
    ("level", "nu"), [(1.2, 5.0), (-0.1, 5.0), (0.5, 2.0), (0.5, np.nan), (np.nan, 5.0)]
)
def test_impossible_regions_are_refused(level: float, nu: float) -> None:
    with pytest.raises(DomainError, match="region"):
        region(level, nu)


@pytest.mark.parametrize("nu", [2.0, 0.0, np.nan])
def test_impossible_freedoms_are_refused(nu: float) -> None:
    with pytest.raises(DomainError, match="so few"):
        drawn_out(_points(), [5.0, nu])


@pytest.mark.parametrize(
    ("points", "width"), [(1024, 9), (256, 90), (64, 6), (10, 3), (5, 3), (3, 3)]
)
def test_a_cloud_stands_for_the_normal_distribution(points: int, width: int) -> None:
    cloud = normal_cloud(points, width)
    np.testing.assert_allclose(cloud.mean(axis=0), 0.0, atol=1e-12)
    if points > 3:  # three points span no space
        np.testing.assert_allclose(cloud.T @ cloud / points, np.eye(width), atol=1e-9)
    if points == 1024:  # random points stray from the upper quartile by 0.035 on average
        assert np.abs(np.quantile(cloud, 0.75, axis=0) - norm.ppf(0.75)).mean() < 0.02


@given(st.integers(0, 30))
def test_a_root_times_itself_is_the_covariance(seed: int) -> None:
    cov = np.stack([[some_covariance(4, seed), some_covariance(4, seed + 99)]] * 3)
    root, back = symmetric_root(cov), symmetric_root(cov, inverse=True)
    np.testing.assert_allclose(root @ root, cov, atol=1e-12)
    identity = np.broadcast_to(np.eye(4), cov.shape)
    np.testing.assert_allclose(back @ cov @ back, identity, atol=1e-8)
