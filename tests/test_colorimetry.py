"""Laws that reflectance, Lab and colour differences obey, and agreement with colour-science.

Values printed in papers and standards stand apart, in tests/published.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib import colorimetry as c
from matchlib.colorimetry import make_tables
from matchlib.colorimetry.lab import lab_jacobian
from matchlib.domain import Viewing
from matchlib.errors import DomainError
from matchlib.shipped import table
from tests.colour_draws import LAB, LIGHTS, SPECTRUM, random_lab

# The shipped file, and what follows from it


def test_the_shipped_tables_are_what_colour_science_gives() -> None:
    made = make_tables.make_tables()
    with np.load(make_tables.PLACE) as kept:
        assert set(kept.files) == set(made)
        for name in made:
            # Equal but for the last digits, which the order of a sum may move on other machines.
            np.testing.assert_allclose(kept[name], made[name], rtol=0, atol=1e-12, err_msg=name)


@pytest.mark.parametrize(("light", "field"), LIGHTS)
def test_the_perfect_diffuser_is_white(light: str, field: str) -> None:
    view = Viewing(light, field)
    np.testing.assert_allclose(c.white_point(light, field)[1], 100.0, atol=1e-9)
    for nm in (c.GRID, np.arange(360.0, 781.0, 5.0), np.arange(420.0, 701.0, 20.0)):
        lab = c.reflectance_to_lab(np.ones(nm.size), view, wavelengths=nm)
        np.testing.assert_allclose(lab, [100, 0, 0], atol=1e-9)
    np.testing.assert_allclose(c.reflectance_to_lab(np.zeros(31), view), 0.0, atol=1e-9)


def test_weights_are_shared_and_cannot_be_written() -> None:
    assert c.weights("D65", 10) is c.weights("D65", "10")
    for array in (c.weights("D65", 10), c.GRID, table("normal")):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


@pytest.mark.parametrize(("light", "field"), [("D66", "10"), ("D65", "5"), ("", "2")])
def test_unknown_lights_are_refused(light: str, field: str) -> None:
    with pytest.raises(DomainError, match="no weights for this light"):
        c.weights(light, field)
    with pytest.raises(DomainError, match="no weights for this light"):
        c.white_point(light, field)


@pytest.mark.parametrize("shape", [(), (16,), (31, 2)])
def test_reflectances_of_other_wavelengths_are_refused_in_words(shape: tuple[int, ...]) -> None:
    for told in (c.reflectance_to_lab, c.reflectance_to_xyz):
        with pytest.raises(DomainError, match=r"31 reflectances.*wavelengths"):
            told(np.full(shape, 0.4))


# Lab


@given(LAB)
def test_lab_and_back(lab: np.ndarray) -> None:
    white = c.white_point("D65", 10)
    np.testing.assert_allclose(c.xyz_to_lab(c.lab_to_xyz(lab, white), white), lab, atol=1e-9)


@given(SPECTRUM, st.sampled_from(LIGHTS))
def test_lab_jacobian_is_the_derivative(spectrum: np.ndarray, light: tuple[str, str]) -> None:
    view = Viewing(*light)
    lab, jacobian = lab_jacobian(spectrum, *light)
    np.testing.assert_allclose(lab, c.reflectance_to_lab(spectrum, view), atol=1e-10)
    xyz = c.reflectance_to_xyz(spectrum, view) / c.white_point(*light)
    # A central difference across the knee of CIELAB, or of near nothing, is no derivative.
    if np.any(np.abs(xyz - (6 / 29) ** 3) < 1e-3):
        return
    step = 1e-5
    shifted = np.stack([spectrum + step * np.eye(31), spectrum - step * np.eye(31)])
    up, down = c.reflectance_to_lab(shifted, view)
    np.testing.assert_allclose(jacobian, ((up - down) / (2 * step)).T, rtol=1e-4, atol=1e-4)


def test_jacobian_is_that_of_many_spectra_at_once() -> None:
    spectra = np.random.default_rng(1).uniform(0, 1, (4, 5, 31))
    lab, jacobian = lab_jacobian(spectra, "D65", "10")
    assert lab.shape == (4, 5, 3)
    assert jacobian.shape == (4, 5, 3, 31)
    np.testing.assert_allclose(
        jacobian[2, 3], lab_jacobian(spectra[2, 3], "D65", "10")[1], rtol=1e-12
    )


def test_black_below_nothing_still_has_a_lab() -> None:
    lab, jacobian = lab_jacobian(np.full(31, -0.005), "D65", "10")
    assert lab[0] == pytest.approx(-0.5 * (29 / 3) ** 3 / 100, rel=1e-9)
    assert np.all(np.isfinite(jacobian))


# Screen


def test_screen_white_black_and_greys() -> None:
    rgb, inside = c.to_srgb([[100.0, 0, 0], [0, 0, 0], [53.389, 0, 0]])
    np.testing.assert_allclose(rgb[0], 1, atol=1e-6)
    np.testing.assert_allclose(rgb[1], 0, atol=1e-9)
    # L* 53.389 is the middle code, 127.5 of 255 (the standard's curve: 0.5 is 0.2140 linear).
    np.testing.assert_allclose(rgb[2], 0.5, atol=1e-3)
    assert inside.all()


def test_what_a_screen_cannot_show_is_clipped_and_said() -> None:
    rgb, inside = c.to_srgb([[60.0, 120, 0], [110.0, 0, 0], [60.0, 10, 0]])
    assert inside.tolist() == [False, False, True]
    assert np.all((rgb >= 0) & (rgb <= 1))


def test_screen_colours_are_those_of_colour_science(colour: Any) -> None:
    lab = random_lab(2000) * [1, 0.4, 0.4]
    rgb, inside = c.to_srgb(lab)
    xyz = colour.Lab_to_XYZ(
        lab, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    )
    theirs = colour.XYZ_to_sRGB(xyz)
    assert inside.sum() > 200
    np.testing.assert_allclose(rgb[inside], np.clip(theirs[inside], 0, 1), atol=2e-3)
