"""Repeat readings, strays among them, and tiles that show an instrument drifting."""

from __future__ import annotations

import math

import numpy as np
import pytest

from matchlib.colorimetry import lab_to_xyz, reflectance_to_lab, white_point, xyz_to_lab
from matchlib.domain import Reading, Viewing
from matchlib.errors import FileError
from matchlib.readings.drift import find_drift
from matchlib.readings.repeats import combine_repeats
from tests.declared import read_file

GRID = tuple(float(w) for w in range(400, 701, 10))


def test_spectra_are_averaged_in_reflectance():
    low, high = (0.1,) * 31, (0.5,) * 31
    summary = combine_repeats([Reading(wavelengths=GRID, reflectance=v) for v in (low, high)])
    assert summary.mean.reflectance == pytest.approx((0.3,) * 31, abs=1e-15)
    # Lab averaged as Lab would be L* 56.5; light adds up: Y = 30 is L* 61.65
    lab = reflectance_to_lab(summary.mean.reflectance, wavelengths=GRID)
    assert lab[0] == pytest.approx(116 * 0.3 ** (1 / 3) - 16, abs=1e-6)


def test_lab_is_averaged_through_xyz():
    summary = combine_repeats([Reading(lab=(20, 0, 0)), Reading(lab=(80, 0, 0))])
    white = white_point("D65", "10")
    wanted = xyz_to_lab(lab_to_xyz(np.array([[20, 0, 0], [80, 0, 0]]), white).mean(0), white)
    assert summary.mean.lab == pytest.approx(tuple(wanted), abs=1e-9)
    assert summary.mean.lab[0] > 55


def test_spread_and_standard_error_are_kept():
    labs = [(50, 0, 0), (50.3, 0, 0), (49.7, 0, 0)]
    summary = combine_repeats([Reading(lab=v) for v in labs])
    assert summary.n == 3
    assert summary.sd == pytest.approx(0.3 / math.sqrt(3), rel=1e-12)  # one axis of three varies
    assert summary.mean.sd == pytest.approx(summary.sd / math.sqrt(3), rel=1e-12)
    assert 0.2 < summary.spread < 0.31


def test_a_single_reading_keeps_its_own_uncertainty():
    summary = combine_repeats([Reading(lab=(50, 0, 0), sd=0.4)])
    assert (summary.mean.sd, summary.n) == (0.4, 1)
    assert math.isnan(summary.sd)


def test_a_stray_among_five_is_named_and_left_out():
    labs = [(50, 0, 0), (50.1, 0.1, 0), (49.9, 0, 0.1), (55, 3, 0), (50, 0.1, 0.1)]
    summary = combine_repeats([Reading(lab=v) for v in labs])
    assert summary.outliers == (3,)
    assert summary.n == 4
    assert summary.mean.lab[0] == pytest.approx(50, abs=0.05)
    assert combine_repeats([Reading(lab=v) for v in labs], drop_outliers=False).n == 5


def test_four_readings_are_too_few_to_call_one_a_stray():
    labs = [(50, 0, 0), (50.1, 0, 0), (49.9, 0, 0), (55, 3, 0)]
    assert combine_repeats([Reading(lab=v) for v in labs]).outliers == ()


@pytest.mark.parametrize("seed", range(20))
def test_honest_noise_is_no_stray(seed):
    rng = np.random.default_rng(seed)
    labs = np.array([50, 20, -10]) + rng.normal(0, 0.05, (6, 3))
    assert combine_repeats([Reading(lab=tuple(v)) for v in labs]).outliers == ()


def test_unlike_readings_are_not_averaged():
    one = Reading(lab=(50, 0, 0))
    for other in (
        Reading(Viewing(geometry="di:8"), lab=(50, 0, 0)),
        Reading(source="photo", lab=(50, 0, 0)),
        Reading(wavelengths=GRID, reflectance=(0.2,) * 31),
    ):
        with pytest.raises(FileError, match="cannot be averaged"):
            combine_repeats([one, other])
    with pytest.raises(FileError, match="no reading"):
        combine_repeats([])


def test_tiles_show_the_day_on_which_the_instrument_drifted(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text(
        "panel,ground,tile,L,a,b,date\n"
        ",,white,95,0,1,2025-01-02\n"
        ",,white,95.1,0,1,2025-01-03\n"
        ",,white,93,0,3,2025-01-04\n"
        ",,check,50,10,1,2025-01-04\n"
        "P,silver,,80,0,1,2025-01-04\n"
    )
    report = read_file(path)
    (drift,) = find_drift(report.tiles)
    assert (drift.tile, str(drift.date), drift.rows) == ("white", "2025-01-04", (4,))
    assert drift.delta_e00 > 2
    assert drift.words in report.text()
    assert find_drift(report.tiles, limit=5) == ()
    reference = {"check": Reading(lab=(52, 10, 1))}
    assert {d.tile for d in find_drift(report.tiles, references=reference)} == {"white", "check"}
