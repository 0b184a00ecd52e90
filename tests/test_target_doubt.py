"""A target or panel that is only known so far makes every chance less; a photograph above all."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from matchlib.colorimetry import Tolerance, delta_e00
from matchlib.correction.sprayed import Sprayed
from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Reading, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.regression import FilmRegressor, frames_of
from matchlib.target import Target
from workbook.session.order import aim_words

LAB = (38.0, 34.0, 21.0)
OWN = 0.3**2 * np.eye(3)
SPREAD = np.array([[9.0, -3.0, 0.0], [-3.0, 4.0, 1.0], [0.0, 1.0, 16.0]])


def photographed(covariance: np.ndarray = SPREAD) -> Reading:
    rows = tuple(tuple(float(v) for v in row) for row in covariance)
    return Reading(Viewing(geometry="photo"), "photo", LAB, covariance=rows)  # type: ignore[arg-type]  # three of three


def simulated(covariance: np.ndarray, within: float) -> float:
    draws = np.random.default_rng(3).multivariate_normal(LAB, covariance, 100_000)
    return float(np.mean(delta_e00(np.array(LAB), draws) <= within))


@pytest.mark.parametrize("kind", ["ΔE00", "CMC"])
def test_an_exact_hit_on_a_doubtful_target_passes_as_seldom_as_it_is_simulated_to(
    kind: str,
) -> None:
    target = Target.of_readings(photographed(), tolerance=Tolerance(kind=kind, value=1.0))
    draws = np.random.default_rng(3).multivariate_normal(LAB, SPREAD + OWN, 100_000)
    gaps = target.tolerance.difference(np.array(LAB), draws)
    hope = target.expected(np.array(LAB)[None, None], OWN[None])
    assert hope.probability[0] == pytest.approx(np.mean(gaps <= 1.0), abs=0.02)
    sure = Target.lab(*LAB).expected(np.array(LAB)[None, None], OWN[None])
    assert hope.probability[0] < 0.3 * sure.probability[0]


def test_a_target_with_an_sd_alone_counts_it_on_every_axis() -> None:
    target = Target.of_readings(Reading(Viewing(), "photo", LAB, sd=4.0))
    hope = target.expected(np.array(LAB)[None, None], OWN[None])
    assert hope.probability[0] == pytest.approx(simulated(16.0 * np.eye(3) + OWN, 1.0), abs=0.01)
    assert hope.probability[0] < 0.05


def test_a_photograph_that_states_no_uncertainty_is_not_taken_as_exact() -> None:
    typed = Reading(lab=(27.0, 46.0, 28.5), source="photo")
    assert Target.of_readings(typed).covariance == pytest.approx(25.0 * np.eye(3))
    assert not Target.of_readings(Reading(lab=(27.0, 46.0, 28.5))).covariance.any()
    assert Target.of_readings(replace(typed, sd=2.0)).covariance == pytest.approx(4.0 * np.eye(3))


@pytest.mark.parametrize(("sd", "said"), [(0.06, False), (4.0, True)])
def test_a_targets_doubt_is_told_where_it_takes_some_of_the_chance(sd: float, said: bool) -> None:
    knows = SimpleNamespace(words_=SimpleNamespace(geometries=("45:0",)))
    aim = Target.of_readings(Reading(Viewing(), "spectrophotometer", LAB, sd=sd))
    assert ("take that doubt away" in aim_words(knows, aim)) is said  # type: ignore[arg-type]  # its names alone are asked


def test_a_panels_covariance_reaches_the_belief() -> None:
    recipe = Recipe(Ground.parse("silver"), Colour.parse("red"), CoatSchedule.parse("4@6:1"))
    panel = Sprayed.of((recipe, photographed()))
    np.testing.assert_allclose(panel.covariance, SPREAD)
    assert panel.viewing.geometry == "photo"
    plain = Sprayed.of((recipe, Reading(Viewing(), "photo", LAB, sd=2.0)))
    np.testing.assert_allclose(plain.covariance, 4.0 * np.eye(3))


def test_the_sd_of_a_covariance_is_its_root_mean_square() -> None:
    assert photographed().sd == pytest.approx(np.sqrt(np.trace(SPREAD) / 3.0))


@pytest.mark.parametrize(
    "bad",
    [
        -np.eye(3),
        np.array([[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        np.array([[1.0, 0.5, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        np.full((3, 3), np.nan),
    ],
    ids=["negative", "correlated past one", "not symmetric", "no numbers"],
)
def test_what_is_no_covariance_is_refused(bad: np.ndarray) -> None:
    with pytest.raises(DomainError, match="covariance"):
        photographed(bad)


def test_a_fit_believes_each_reading_along_the_axes_it_is_sure_of() -> None:
    # Aitken 1935: of readings with unlike errors, the mean weighted by their inverse covariances.
    spreads = np.array([np.diag([0.01, 25.0, 25.0]), np.diag([25.0, 0.01, 0.01])])
    labs = np.array([[60.0, 4.0, 9.0], [56.0, 1.0, 3.0]])
    weights = np.linalg.inv(spreads)
    best = np.linalg.solve(weights.sum(axis=0), np.einsum("nij,nj->i", weights, labs))
    coloured = Recipe(Ground.parse("silver"), Colour.parse("red"), CoatSchedule.parse("4@6:1"))
    seen = Reading(Viewing(geometry="photo"), "photo", (40.0, 40.0, 20.0), sd=0.5)
    panels = [Panel.of("C", coloured, (seen,))]
    for code, lab, spread in zip("AB", labs, spreads, strict=True):
        reading = replace(photographed(spread), lab=tuple(float(v) for v in lab))
        panels.append(Panel.of(code, Recipe(Ground.parse("silver")), (reading,)))
    model = FilmRegressor(robust=False, library=False).fit(*frames_of(panels))
    (found,) = model.predict_recipes([Recipe(Ground.parse("silver"))], Viewing(geometry="photo"))
    np.testing.assert_allclose(found, best, atol=0.3)
    alike = frames_of(panels)[0].drop(columns="covariance")
    plain = FilmRegressor(robust=False, library=False).fit(alike, frames_of(panels)[1])
    (middle,) = plain.predict_recipes([Recipe(Ground.parse("silver"))], Viewing(geometry="photo"))
    assert np.abs(middle - best).max() > 1.0
