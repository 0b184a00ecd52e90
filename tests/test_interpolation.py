"""Spectra between and beyond their measured wavelengths."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib import colorimetry as c
from matchlib.errors import DomainError
from tests.colour_draws import SPECTRUM


def test_sprague_is_that_of_colour_science(colour: Any) -> None:
    nm = np.arange(380.0, 741.0, 20.0)
    values = np.random.default_rng(1).uniform(0, 1, (3, nm.size))
    got = c.interpolate_reflectance(nm, values)
    for row, ours in zip(values, got, strict=True):
        theirs = colour.SpragueInterpolator(nm, row)(c.GRID)
        np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-12)


@given(st.lists(st.floats(-1, 1), min_size=5, max_size=5), st.sampled_from([5, 8, 10, 15, 20]))
def test_sprague_is_exact_for_smooth_curves(powers: list[float], step: int) -> None:
    curve = np.polynomial.Polynomial(powers, domain=[300, 800], window=[-1, 1])
    nm = np.arange(400.0 - 2 * step, 701.0 + 3 * step, step)
    np.testing.assert_allclose(c.interpolate_reflectance(nm, curve(nm)), curve(c.GRID), atol=1e-9)
    nm, line = np.arange(400.0, 701.0, step), np.polynomial.Polynomial(powers[:2])
    inside = np.arange(400.0, nm[-1] + 0.1, 2.5)
    found = c.interpolate_reflectance(nm, line(nm / 500), inside)
    np.testing.assert_allclose(found, line(inside / 500), atol=1e-9)


@given(SPECTRUM)
def test_measured_points_stay_as_measured(spectrum: np.ndarray) -> None:
    got = c.interpolate_reflectance(c.GRID, spectrum)
    np.testing.assert_array_equal(got, spectrum)
    fine = c.interpolate_reflectance(c.GRID, spectrum, np.arange(400.0, 701.0, 5.0))
    np.testing.assert_array_equal(fine[::2], spectrum)


@given(SPECTRUM)
def test_uneven_wavelengths_stay_between_their_neighbours(spectrum: np.ndarray) -> None:
    keep = np.ones(31, dtype=bool)
    keep[[3, 10, 20]] = False
    got = c.interpolate_reflectance(c.GRID[keep], spectrum[keep])
    np.testing.assert_allclose(got[keep], spectrum[keep], atol=1e-12)
    for i in (3, 10, 20):
        low, high = sorted((spectrum[i - 1], spectrum[i + 1]))
        assert low - 1e-12 <= got[i] <= high + 1e-12


def test_one_missing_interval_is_held() -> None:
    nm = np.arange(410.0, 691.0, 10.0)
    got = c.interpolate_reflectance(nm, np.linspace(0.2, 0.6, nm.size))
    assert got[0] == pytest.approx(0.2)
    assert got[-1] == pytest.approx(0.6)


@pytest.mark.parametrize(
    "nm",
    [
        np.arange(420.0, 701.0, 10.0),
        np.arange(400.0, 681.0, 10.0),
        np.arange(400.0, 701.0, 25.0),
        np.concatenate([np.arange(400.0, 500.0, 10.0), np.arange(540.0, 701.0, 10.0)]),
        np.arange(700.0, 399.0, -10.0),
        np.repeat(c.GRID, 2),
        np.array([550.0]),
    ],
)
def test_spectra_with_gaps_are_refused(nm: np.ndarray) -> None:
    with pytest.raises(DomainError) as refused:
        c.interpolate_reflectance(nm, np.full(nm.size, 0.5))
    assert refused.value.expected
    assert refused.value.got
    assert refused.value.remedy


def test_missing_numbers_are_refused() -> None:
    values = np.full(31, 0.5)
    values[4] = np.nan
    with pytest.raises(DomainError, match="not whole"):
        c.interpolate_reflectance(c.GRID, values)
    with pytest.raises(DomainError, match="not whole"):
        c.interpolate_reflectance(c.GRID, values[:30])
