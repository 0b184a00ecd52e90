"""Repeat readings, outliers among them, and tiles that show an instrument drifting."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from matchlib.colorimetry import (
    delta_e00,
    lab_to_xyz,
    reflectance_to_lab,
    white_point,
    xyz_to_lab,
)
from matchlib.domain import Reading, Viewing
from matchlib.errors import FileError
from matchlib.readings.drift import drift_words
from matchlib.readings.repeats import mean_reading
from tests.declared import read_file

GRID = tuple(float(w) for w in range(400, 701, 10))


def test_spectra_are_averaged_in_reflectance():
    low, high = (0.1,) * 31, (0.5,) * 31
    mean = mean_reading([Reading(wavelengths=GRID, reflectance=v) for v in (low, high)])
    assert mean.reflectance == pytest.approx((0.3,) * 31, abs=1e-15)
    # Lab averaged as Lab would be L* 56.5; light adds up: Y = 30 is L* 61.65
    lab = reflectance_to_lab(mean.reflectance, wavelengths=GRID)
    assert lab[0] == pytest.approx(116 * 0.3 ** (1 / 3) - 16, abs=1e-6)


def test_lab_is_averaged_through_xyz():
    mean = mean_reading([Reading(lab=(20, 0, 0)), Reading(lab=(80, 0, 0))])
    white = white_point("D65", "10")
    wanted = xyz_to_lab(lab_to_xyz(np.array([[20, 0, 0], [80, 0, 0]]), white).mean(0), white)
    assert mean.lab == pytest.approx(tuple(wanted), abs=1e-9)
    assert mean.lab[0] > 55


def test_the_mean_of_an_instruments_repeats_is_surer_by_the_root_of_their_number():
    labs = [(50, 0, 0), (50.3, 0, 0), (49.7, 0, 0)]
    one_axis_of_three_varies = 0.3 / math.sqrt(3)
    mean = mean_reading([Reading(lab=v) for v in labs])
    assert mean.sd == pytest.approx(one_axis_of_three_varies / math.sqrt(3), rel=1e-12)
    stated = mean_reading([Reading(lab=v, sd=0.6) for v in labs])
    assert stated.sd == pytest.approx(0.6 / math.sqrt(3), rel=1e-12)


def test_the_mean_of_photographs_is_no_surer_than_one_of_them():
    covariance = ((9.0, 1.0, 0.0), (1.0, 16.0, 2.0), (0.0, 2.0, 25.0))
    photos = [
        Reading(source="photo", lab=(50.0, 10.0 + i / 10, 5.0), covariance=covariance)
        for i in range(8)
    ]
    assert np.array(mean_reading(photos).covariance) == pytest.approx(np.array(covariance))
    typed = mean_reading([Reading(source="photo", lab=(50.0, i, 5.0)) for i in (10, 11, 12)])
    assert typed.sd == pytest.approx(1 / math.sqrt(3))


def test_a_single_reading_stays_as_it_is():
    reading = Reading(lab=(50, 0, 0), sd=0.4)
    assert mean_reading([reading]) == reading


def test_an_outlier_among_five_is_left_out():
    labs = [(50, 0, 0), (50.1, 0.1, 0), (49.9, 0, 0.1), (55, 3, 0), (50, 0.1, 0.1)]
    readings = [Reading(lab=v) for v in labs]
    assert mean_reading(readings) == mean_reading(readings[:3] + readings[4:])
    assert mean_reading(readings).lab[0] == pytest.approx(50, abs=0.05)


def test_four_readings_are_too_few_to_call_one_an_outlier():
    labs = [(50, 0, 0), (50.1, 0, 0), (49.9, 0, 0), (55, 3, 0)]
    assert mean_reading([Reading(lab=v) for v in labs]).lab[0] > 51


@pytest.mark.parametrize("seed", range(20))
def test_honest_noise_is_no_outlier(seed):
    rng = np.random.default_rng(seed)
    labs = np.array([50, 20, -10]) + rng.normal(0, 0.05, (6, 3))
    white = white_point("D65", "10")
    wanted = xyz_to_lab(lab_to_xyz(labs, white).mean(0), white)
    assert mean_reading([Reading(lab=tuple(v)) for v in labs]).lab == pytest.approx(tuple(wanted))


def test_unlike_readings_are_not_averaged():
    one = Reading(lab=(50, 0, 0))
    for other in (
        Reading(Viewing(geometry="di:8"), lab=(50, 0, 0)),
        Reading(source="photo", lab=(50, 0, 0)),
        Reading(wavelengths=GRID, reflectance=(0.2,) * 31),
    ):
        with pytest.raises(FileError, match="cannot be averaged"):
            mean_reading([one, other])
    with pytest.raises(FileError, match="no reading"):
        mean_reading([])


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
    (drift,) = drift_words(report.tiles)
    apart = float(delta_e00((93, 0, 3), (95, 0, 1)))
    assert apart > 2
    assert drift.startswith(
        f"The white tile read ΔE00 {apart:.2f} from its first reading on 2025-01-04: calibrate"
    )
    assert drift in report.text()
    path.write_text(path.read_text().replace(",2025-01-03", ",").replace("95.1", "94"))
    first, second = drift_words(read_file(path).tiles)
    assert " first reading in row 3: " in first, "the first in the file, where a day is missing"
    assert " first reading on 2025-01-04: " in second
    path.write_text(re.sub(r",2025-.*", ",", path.read_text()))
    _, drift = drift_words(read_file(path).tiles)
    assert " first reading in row 4: " in drift
