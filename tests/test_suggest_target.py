"""Targets: what a surface can look like, and what passes for it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_t

from matchlib.colorimetry import (
    Tolerance,
    delta_e00,
    delta_e_cmc,
    delta_lch,
    lab_to_xyz,
    reflectance_to_lab,
    white_point,
)
from matchlib.domain import Reading, Viewing
from matchlib.errors import TargetError
from matchlib.target import Aim, Target, surface_excess

LABS = st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60))


@pytest.mark.parametrize(
    "lab", [(101, 0, 0), (-1, 0, 0), (50, 150, 0), (99, 40, 0), (5, 0, -80), (np.nan, 0, 0), (1, 2)]
)
def test_a_colour_no_surface_has_is_refused(lab: tuple[float, ...]) -> None:
    with pytest.raises(TargetError):
        Aim(lab)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=31, max_size=31))
def test_every_reflectance_is_inside_the_solid_of_surfaces(values: list[float]) -> None:
    lab = reflectance_to_lab(np.array(values))
    assert surface_excess(lab, Viewing()) < 1e-9


def test_the_solid_of_surfaces_touches_its_optimal_colours() -> None:
    # Reflectance 1 between two wavelengths and 0 elsewhere is optimal (Schrödinger 1920): it lies
    # on the surface, and anything more vivid at the same lightness lies outside.
    band = np.zeros(31)
    band[12:20] = 1.0
    lab = reflectance_to_lab(band)
    assert abs(surface_excess(lab, Viewing())) < 1e-6
    assert surface_excess(lab * np.array([1.0, 1.1, 1.1]), Viewing()) > 1e-3


def test_the_solid_is_that_of_colour_science() -> None:
    # Its Rösch-MacAdam solid, from pulse waves on the same wavelengths; not its table of MacAdam
    # limits, which starts at a luminance of ten percent and misses dark colours.
    import colour

    rng = np.random.default_rng(1)
    labs = np.column_stack([rng.uniform(10, 90, 300), rng.uniform(-120, 120, (300, 2))])
    excess = np.array([surface_excess(lab, Viewing("D65", "2")) for lab in labs])
    theirs = colour.is_within_visible_spectrum(
        lab_to_xyz(labs, white_point("D65", "2")) / 100.0,
        colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
        .copy()
        .align(colour.SpectralShape(400, 700, 10)),
        colour.SDS_ILLUMINANTS["D65"],
    )
    clear = np.abs(excess) > 0.005
    assert 50 < theirs[clear].sum() < clear.sum() - 50
    assert np.array_equal(theirs[clear], excess[clear] < 0)


def test_an_aspecular_target_may_outshine_the_white() -> None:
    target = Target((Aim((130.0, 0.0, 0.0), Viewing(geometry="45as15")),))
    assert target.aims[0].lab[0] == 130.0


@settings(max_examples=40, deadline=None)
@given(LABS, st.sampled_from(["ΔE00", "CMC"]), st.tuples(*[st.floats(-1, 1)] * 3))
def test_the_axes_are_those_of_the_difference_near_the_target(
    lab: tuple[float, float, float], kind: str, step: tuple[float, float, float]
) -> None:
    tolerance = Tolerance(kind)
    d = 1e-3 * np.array(step)
    if np.hypot(lab[1], lab[2]) < 1 or np.linalg.norm(d) < 1e-5:
        return
    by_form = np.linalg.norm(tolerance.stretch(lab) @ d)
    assert by_form == pytest.approx(float(tolerance.difference(lab, lab + d)), rel=0.02, abs=1e-6)


def test_tolerances_are_what_the_order_names() -> None:
    standard, trial = np.array([50.0, 20.0, 10.0]), np.array([51.0, 21.0, 9.0])
    assert Tolerance("CMC", 1.0, 2.0, 1.0).difference(standard, trial) == pytest.approx(
        float(delta_e_cmc(standard, trial, lightness=2.0, chroma=1.0))
    )
    box = Tolerance("Lab", box=(2.0, 0.5, 4.0))
    assert box.difference(standard, trial) == pytest.approx(2.0)
    shift = delta_lch(standard, trial)
    hue = Tolerance("LCh", box=(10.0, 10.0, 0.1))
    assert hue.difference(standard, trial) == pytest.approx(abs(float(shift.hue)) / 0.1)
    assert Tolerance("dE00").kind == "ΔE00"
    for bad in (("odd", 1.0), ("ΔE00", 0.0), ("ΔE00", float("nan"))):
        with pytest.raises(TargetError):
            Tolerance(*bad)


def test_the_worst_angle_decides_with_its_weight() -> None:
    face, flop = Viewing(geometry="45as15"), Viewing(geometry="45as110")
    readings = [Reading(face, lab=(60, 0, 0)), Reading(flop, lab=(20, 0, 0))]
    target = Target.of_readings(readings, weights=[1.0, 0.5])
    near, far = np.array([[60.0, 0, 0]]), np.array([[24.0, 0, 0]])
    own = float(delta_e00([20, 0, 0], far[0]))
    assert target.difference([near, far])[0] == pytest.approx(0.5 * own)
    with pytest.raises(TargetError):
        Target.of_readings(readings, weights=[1.0])


def test_a_target_says_at_which_angle_it_is_read() -> None:
    usual = Target.lab(40, 30, 20)
    assert str(usual) == "L 40.0, a 30.0, b 20.0; ΔE00 at most 1"
    flop = Viewing(geometry="45as110")
    assert f" at {flop}" in str(Target.lab(40, 30, 20, viewing=flop))


@pytest.mark.parametrize("dof", [3.0, np.inf])
def test_the_chance_at_two_angles_is_that_of_draws(dof: float) -> None:
    # Against scipy's own draws of Student's t in six dimensions, and of the normal law.
    face, flop = Viewing(geometry="45as15"), Viewing(geometry="45as110")
    target = Target((Aim((60, 10, 5), face), Aim((40, 20, 10), flop)), Tolerance(value=2.0))
    labs = [np.array([[60.5, 10, 5]]), np.array([[40, 20.5, 10]])]
    covariance = 0.4 * np.eye(6)
    shape = covariance if np.isinf(dof) else covariance * (dof - 2) / dof  # of that covariance
    draws = multivariate_t(shape=shape, df=dof).rvs(40_000, random_state=1)
    drawn = [labs[i] + draws[:, 3 * i : 3 * i + 3] for i in range(2)]
    real = np.mean(target.difference(drawn) <= 2.0)
    found = target.expected(labs, covariance[None], dof=np.array([dof]))
    assert found.probability[0] == pytest.approx(real, abs=0.03)


def test_a_target_read_exactly_has_no_uncertainty_of_its_own() -> None:
    assert Target.lab(40, 30, 20).own_uncertainty is None
    # A lightness known to 0.5 near L* 50, where S_L is 1 (CIE 142): the mean of a half-normal.
    known = ((0.25, 0.0, 0.0), (0.0, 1e-9, 0.0), (0.0, 0.0, 1e-9))
    own = Target.of_readings([Reading(lab=(50, 0, 0), covariance=known)]).own_uncertainty
    assert own is not None
    assert own.mean[0] == pytest.approx(0.5 * np.sqrt(2 / np.pi), rel=0.02)
