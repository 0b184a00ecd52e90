"""Laws that colour differences obey, what to expect of them, and other lights."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_t

from matchlib import colorimetry as c
from matchlib.colorimetry.difference import delta_e00_metric
from matchlib.domain import Viewing
from matchlib.errors import DomainError
from tests.colour_draws import LAB, LIGHTS, random_lab

# Differences


def test_ciede2000_is_that_of_colour_science_on_random_pairs(colour: Any) -> None:
    first, far = random_lab(20_000), random_lab(20_000, seed=6)
    near = first + np.random.default_rng(7).normal(0, 0.8, first.shape)
    grey = first * [1, 0, 0]
    for second in (far, near, grey, first * [1, 1e-3, -0.9e-3]):
        theirs = colour.difference.delta_E_CIE2000(first, second)
        np.testing.assert_allclose(c.delta_e00(first, second), theirs, rtol=0, atol=1e-10)
        np.testing.assert_allclose(c.delta_e00(second, first), theirs, rtol=0, atol=1e-10)


def test_ciede2000_of_nearly_opposite_hues_is_that_of_colour_science(colour: Any) -> None:
    angle = np.random.default_rng(8).uniform(0, 2 * np.pi, 4000)
    turn = np.pi + np.repeat([-1e-2, -1e-3, -1e-5, 1e-5, 1e-3, 1e-2, 0.1, -0.1], 500)
    lab = np.stack([50 + 0 * angle, 30 * np.cos(angle), 30 * np.sin(angle)], axis=-1)
    # Opposite in a', b' of the formula, which stretches a* by the pair's mean chroma.
    other = np.stack([60 + 0 * angle, 30 * np.cos(angle + turn), 30 * np.sin(angle + turn)], -1)
    theirs = colour.difference.delta_E_CIE2000(lab, other)
    np.testing.assert_allclose(c.delta_e00(lab, other), theirs, rtol=0, atol=1e-9)


@given(LAB, LAB)
def test_ciede2000_is_symmetric_and_zero_only_for_equals(a: np.ndarray, b: np.ndarray) -> None:
    assert c.delta_e00(a, b) == pytest.approx(float(c.delta_e00(b, a)), abs=1e-9)
    assert c.delta_e00(a, a) == 0.0
    if c.delta_e76(a, b) > 1e-6:
        assert c.delta_e00(a, b) > 0.0


def test_differences_broadcast_and_do_not_depend_on_blocks() -> None:
    many, one = random_lab(20_001), np.array([50.0, 20.0, -30.0])
    together = c.delta_e00(one, many)
    assert together.shape == (20_001,)
    singly = [float(c.delta_e00(one, many[i])) for i in (0, 8191, 8192, 20_000)]
    np.testing.assert_allclose(together[[0, 8191, 8192, 20_000]], singly, rtol=1e-12)
    assert c.delta_e00(many[:6].reshape(2, 3, 3), one).shape == (2, 3)
    assert c.delta_e00(np.empty((0, 3)), one).shape == (0,)
    assert c.delta_e00(one, one).shape == ()


@given(LAB, st.floats(0, 2 * np.pi), st.floats(-1, 1))
def test_metric_is_ciede2000_of_small_differences(lab: np.ndarray, turn: float, up: float) -> None:
    way = np.array([up, np.cos(turn), np.sin(turn)])
    # Around grey CIEDE2000 has a kink: the step must be small beside the chroma.
    step = 1e-3 * way if np.hypot(lab[1], lab[2]) > 0.5 else 1e-6 * way
    if 0 < np.hypot(lab[1], lab[2]) < 1e-3:
        return
    quadratic = np.sqrt(step @ delta_e00_metric(lab) @ step)
    exact = float(c.delta_e00(lab - step / 2, lab + step / 2))
    assert exact == pytest.approx(quadratic, rel=2e-3)


def test_metric_is_symmetric_positive_and_shaped() -> None:
    metric = delta_e00_metric(random_lab(500).reshape(5, 100, 3))
    assert metric.shape == (5, 100, 3, 3)
    np.testing.assert_array_equal(metric, np.swapaxes(metric, -1, -2))
    assert np.all(np.linalg.eigvalsh(metric) > 0)
    np.testing.assert_allclose(delta_e00_metric([50.0, 0, 0]), np.diag([1, 2.25, 1]))


@pytest.mark.parametrize(("lightness", "chroma"), [(2.0, 1.0), (1.0, 1.0)])
def test_cmc_is_that_of_colour_science(colour: Any, lightness: float, chroma: float) -> None:
    first, second = random_lab(5000), random_lab(5000, seed=9)
    near = first + np.random.default_rng(3).normal(0, 1, first.shape)
    for other in (second, near):
        theirs = colour.difference.delta_E_CMC(first, other, l=lightness, c=chroma)
        ours = c.delta_e_cmc(first, other, lightness=lightness, chroma=chroma)
        np.testing.assert_allclose(ours, theirs, rtol=1e-7, atol=1e-7)


def test_cmc_takes_its_tolerance_from_the_standard() -> None:
    grey, red = [50.0, 0, 0], [50.0, 40.0, 0]
    assert c.delta_e_cmc(grey, red) > 2 * c.delta_e_cmc(red, grey)


@given(LAB, LAB)
def test_lightness_chroma_and_hue_make_up_the_whole(a: np.ndarray, b: np.ndarray) -> None:
    shift = c.delta_lch(a, b)
    whole = shift.lightness**2 + shift.chroma**2 + shift.hue**2
    assert np.sqrt(whole) == pytest.approx(float(c.delta_e76(a, b)), abs=1e-6)
    assert -180 <= shift.angle <= 180
    assert shift.hue * shift.angle >= 0


def test_hue_turns_from_red_to_yellow_as_positive() -> None:
    shift = c.delta_lch([50.0, 30, 0], [60.0, 0, 40])
    assert shift.lightness == 10
    assert shift.chroma == pytest.approx(10)
    assert shift.angle == pytest.approx(90)
    assert shift.hue == pytest.approx(2 * np.sqrt(30 * 40) * np.sin(np.pi / 4))
    assert c.delta_lch([50.0, 30, 1], [50.0, 30, -1]).hue < 0
    assert c.delta_lch([50.0, 0, 0], [50.0, 30, -1]).hue == 0


@given(LAB)
def test_lch_is_polar_lab(lab: np.ndarray) -> None:
    light, chroma, hue = c.lch(lab)
    assert light == lab[0]
    assert 0 <= hue < 360
    back = [chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))]
    np.testing.assert_allclose(back, lab[1:], atol=1e-9)


# What to expect of a difference


def test_expected_difference_is_that_of_a_great_random_sample() -> None:
    rng = np.random.default_rng(11)
    mean, target = np.array([45.0, 30, -20]), np.array([45.4, 30.5, -19.5])
    half = rng.normal(0, 0.4, (3, 3))
    cov = half @ half.T + 0.05 * np.eye(3)
    drawn = c.delta_e00(target, rng.multivariate_normal(mean, cov, 400_000))
    got = c.expected_delta_e00(target, mean, cov, tolerance=0.8)
    assert got.mean == pytest.approx(drawn.mean(), rel=0.01)
    assert got.sd == pytest.approx(drawn.std(), rel=0.03)
    assert got.probability == pytest.approx((drawn <= 0.8).mean(), abs=0.02)


@pytest.mark.parametrize("nu", [3.0, 4.0, 8.0, 25.0])
def test_expected_difference_is_that_of_a_great_random_sample_of_a_t(nu: float) -> None:
    rng = np.random.default_rng(12)
    mean, target = np.array([45.0, 30, -20]), np.array([45.4, 30.5, -19.5])
    half = rng.normal(0, 0.4, (3, 3))
    cov = half @ half.T + 0.05 * np.eye(3)
    sample = multivariate_t(loc=mean, shape=cov * (nu - 2) / nu, df=nu, seed=5).rvs(400_000)
    drawn = c.delta_e00(target, sample)
    normal = []
    for share in (0.2, 0.5, 0.8, 0.95):
        most = float(np.quantile(drawn, share))
        got = c.expected_delta_e00(target, mean, cov, tolerance=most, dof=nu)
        assert got.probability == pytest.approx(share, abs=0.045)
        assert got.mean == pytest.approx(drawn.mean(), rel=0.01)
        normal.append(float(c.expected_delta_e00(target, mean, cov, tolerance=most).probability))
    if nu == 3.0:
        # Or the test could not tell a t from a normal.
        assert max(abs(np.array(normal) - (0.2, 0.5, 0.8, 0.95))) > 0.06


def test_the_chance_of_a_t_rises_with_the_tolerance_and_tends_to_the_normals() -> None:
    lab, cov = np.array([50.0, 20, 10]), np.diag([0.3, 0.6, 0.4])
    dof = np.array([3.0, 5.0, 30.0, 1e5, np.inf])
    chances = np.array(
        [
            c.expected_delta_e00(lab, lab, cov, tolerance=t, dof=dof).probability
            for t in (0.1, 0.3, 0.6, 1.0, 2.0, 4.0)
        ]
    )
    assert np.all(np.diff(chances, axis=0) >= 0)
    # About the target itself a t of the same covariance is nearer, and so passes more often.
    assert np.all(np.diff(chances[2]) <= 0)
    assert chances[2, 0] > chances[2, -1] + 0.04
    plain = c.expected_delta_e00(lab, lab, cov, tolerance=0.6)
    asked = c.expected_delta_e00(lab, lab, cov, tolerance=0.6, dof=np.inf)
    for one, other in zip(plain, asked, strict=True):
        assert one == other
    both = c.expected_delta_e00(lab, lab, cov, tolerance=0.6, dof=dof)
    assert both.probability[-1] == plain.probability
    assert both.mean[-1] == plain.mean
    assert both.mean[-2] == pytest.approx(float(plain.mean), rel=1e-4)


def test_without_spread_the_difference_is_certain() -> None:
    mean, target = random_lab(40), random_lab(40, seed=2)
    exact = c.delta_e00(target, mean)
    got = c.expected_delta_e00(target, mean, np.zeros((3, 3)), tolerance=30.0)
    np.testing.assert_allclose(got.mean, exact, rtol=1e-12)
    np.testing.assert_allclose(got.sd, 0, atol=1e-10)
    np.testing.assert_array_equal(got.probability, exact <= 30)


def test_spread_alone_makes_a_perfect_prediction_miss() -> None:
    lab = np.array([50.0, 20, 10])
    spreads = np.array([0.1, 0.3, 1.0])
    cov = spreads[:, None, None] ** 2 * np.eye(3)
    got = c.expected_delta_e00(lab, lab, cov, tolerance=0.5)
    assert np.all(np.diff(got.mean) > 0)
    assert np.all(np.diff(got.probability) < 0)
    assert got.mean[0] > 0.05


def test_expected_difference_is_the_same_every_time_and_whatever_stands_beside() -> None:
    mean = random_lab(700).reshape(7, 100, 3)
    cov = np.broadcast_to(np.diag([0.2, 0.5, 0.1]), (7, 100, 3, 3))
    got = c.expected_delta_e00(mean[0, 0], mean, cov, tolerance=1.0)
    again = c.expected_delta_e00(mean[0, 0], mean[6, 99], cov[6, 99], tolerance=1.0)
    assert got.mean.shape == (7, 100)
    for whole, single in zip(got, again, strict=True):
        assert whole[6, 99] == pytest.approx(float(single), rel=1e-12)


def test_points_have_exactly_no_mean_and_unit_covariance() -> None:
    from matchlib.colorimetry.expected import _points

    points = _points()
    assert points.shape == (256, 3)
    np.testing.assert_allclose(points.mean(axis=0), 0, atol=1e-12)
    np.testing.assert_allclose(points.T @ points / 256, np.eye(3), atol=1e-12)


@pytest.mark.parametrize(
    "change",
    [
        {"tolerance": 0.0},
        {"tolerance": float("nan")},
        {"dof": 2.0},
        {"dof": [4.0, float("nan")]},
        {"cov": np.diag([1.0, 1.0, -0.1])},
        {"cov": np.full((3, 3), np.nan)},
    ],
)
def test_impossible_spreads_are_refused(change: dict[str, Any]) -> None:
    given_ = {"cov": np.eye(3), "tolerance": 1.0, **change}
    cov = given_.pop("cov")
    # numpy itself gives up on what is no number at all; the user must not see that.
    with pytest.raises(DomainError):
        c.expected_delta_e00([50, 0, 0], [50, 0, 0], cov, **given_)


# Metamerism


def test_the_index_is_nothing_for_equal_spectra_and_for_the_same_light() -> None:
    spectra = np.random.default_rng(4).uniform(0.05, 0.9, (2, 31))
    for light, field in LIGHTS:
        test = Viewing(light, field)
        assert c.metamerism_index(spectra[0], spectra[0], test) == 0
        # With reference equal to test the correction takes the whole difference away.
        got = c.metamerism_index(spectra[0], spectra[1], test, test)
        assert got == pytest.approx(0, abs=1e-9)


def apart_under(one: np.ndarray, two: np.ndarray, light: Viewing) -> float:
    return float(c.delta_e00(c.reflectance_to_lab(one, light), c.reflectance_to_lab(two, light)))


def test_a_metamer_shows_only_under_the_other_light() -> None:
    base = np.full(31, 0.4)
    rng = np.random.default_rng(12)
    # A black of D65/10°: what the weights do not see (Wyszecki's metameric black).
    seen = np.linalg.qr(c.weights("D65", 10))[0]
    wave = np.sin(np.linspace(0, 9, 31)) + 0.1 * rng.normal(size=31)
    other = base + 0.15 * (wave - seen @ (seen.T @ wave))
    assert apart_under(base, other, Viewing()) < 1e-9
    for light in ("A", "F11", "LED-B3"):
        index = c.metamerism_index(base, other, Viewing(light))
        assert index > 0.5
        assert index == pytest.approx(apart_under(base, other, Viewing(light)), rel=1e-9)
    assert c.metamerism_index(base, other, Viewing("D65", "2")) > 0.1


def test_a_difference_of_lightness_alone_is_no_metamerism() -> None:
    spectrum = np.linspace(0.1, 0.8, 31)
    assert apart_under(spectrum, 0.9 * spectrum, Viewing("A")) > 2
    assert c.metamerism_index(spectrum, 0.9 * spectrum, Viewing("A")) == pytest.approx(0, abs=1e-9)


def test_no_index_without_light() -> None:
    with pytest.raises(DomainError, match="light from both"):
        c.metamerism_index(np.full(31, 0.5), np.zeros(31), Viewing("A"))
