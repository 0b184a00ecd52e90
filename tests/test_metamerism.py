"""How a match holds: one number where spectra are known, a range where they are not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from matchlib.colorimetry import metamerism_index, reflectance_to_lab
from matchlib.domain import Reading, Viewing
from matchlib.errors import TargetError
from matchlib.metamerism import LIGHTS, metamerism, plausible_reflectances
from matchlib.target import Aim, Target
from tests.suggest_shop import model_of, recipe, shop

NM = tuple(np.arange(400.0, 701.0, 10.0))
RECIPE = recipe("gold", str(shop().colours[0]), "3@5:1")
TABLE = pd.DataFrame([RECIPE.cells])


def sample() -> Reading:
    values = shop().truth_reflectance(RECIPE)
    return Reading(wavelengths=NM, reflectance=tuple(float(v) for v in values))


def test_two_known_spectra_give_the_published_index() -> None:
    model = model_of("spectrum")
    target = Target.of_readings(sample())
    found = metamerism(model, RECIPE, target)
    assert found.spectral_sample
    assert found.spectral_recipe
    assert [h.light for h in found.lights] == list(LIGHTS)
    own = np.asarray(model.predict_spectrum(TABLE))[0]
    for held, view in zip(found.lights, LIGHTS.values(), strict=True):
        index = float(metamerism_index(target.spectrum, own, view))
        assert held.low == held.middle == held.high == pytest.approx(index, abs=1e-6)


def test_the_same_spectrum_holds_everywhere() -> None:
    model = model_of("spectrum")
    own = np.asarray(model.predict_spectrum(TABLE))[0]
    reading = Reading(wavelengths=NM, reflectance=tuple(float(v) for v in own))
    found = metamerism(model, RECIPE, Target.of_readings(reading))
    assert max(h.high for h in found.lights) < 1e-6
    assert "holds under every light" in found.words


def test_lab_alone_gives_a_range_that_a_spectrum_narrows() -> None:
    lab = tuple(model_of().predict_recipes([RECIPE])[0])
    both = metamerism(model_of(), RECIPE, Target.lab(*lab))
    half = metamerism(model_of(), RECIPE, Target.of_readings(sample()))
    for wide, narrow in zip(both.lights, half.lights, strict=True):
        assert wide.low < wide.middle < wide.high
        assert narrow.high - narrow.low < wide.high - wide.low
    assert "Lab alone" in both.words
    assert both == metamerism(model_of(), RECIPE, Target.lab(*lab))


def test_the_range_holds_the_truth() -> None:
    # The sample is the recipe itself, whose true spectrum the regression from Lab never saw.
    lab = tuple(model_of().predict_recipes([RECIPE])[0])
    truth = shop().truth_reflectance(RECIPE)
    own = model_of("spectrum")
    trial = np.asarray(own.predict_spectrum(TABLE))[0]
    found = metamerism(model_of(), RECIPE, Target.lab(*lab))
    for held, view in zip(found.lights, LIGHTS.values(), strict=True):
        assert float(metamerism_index(truth, trial, view)) <= held.high


@pytest.mark.parametrize("lab", [(50, 20, 30), (20, 0, -20), (80, -5, 40), (8, 1, 1)])
def test_plausible_spectra_have_the_lab_and_are_smooth(lab: tuple[float, float, float]) -> None:
    spectra = plausible_reflectances(np.array(lab, float), Viewing(), 40, np.random.default_rng(0))
    assert spectra.shape == (40, 31)
    assert np.all((spectra > 0) & (spectra <= 1))
    assert reflectance_to_lab(spectra) == pytest.approx(np.tile(lab, (40, 1)), abs=0.05)
    assert np.abs(np.diff(np.log(spectra), 2, axis=1)).max() < 1.5
    assert spectra.std(axis=0).max() > 1e-3


def test_an_angle_with_flake_is_refused() -> None:
    target = Target((Aim((60.0, 0.0, 0.0), Viewing(geometry="45as15")),))
    with pytest.raises(TargetError):
        metamerism(model_of(), RECIPE, target)


def test_a_spectrum_of_another_angle_is_not_the_sample_at_this_one() -> None:
    lab = tuple(model_of().predict_recipes([RECIPE])[0])
    flake = replace(sample(), viewing=Viewing(geometry="45as15"))
    both = Target.of_readings([Reading(lab=lab), flake])
    assert both.spectrum is None
    assert not metamerism(model_of(), RECIPE, both).spectral_sample
    assert Target.of_readings([Reading(lab=lab), sample()]).spectrum is not None
