"""Readers and statistics against published files and worked numbers."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest

from matchlib.colorimetry import delta_e00, reflectance_to_lab
from matchlib.domain import Reading, Viewing
from matchlib.readings import read_target
from matchlib.readings.cxf import read_cxf
from matchlib.readings.repeats import mean_reading
from matchlib.trade.protocol import readings_needed

SAMPLE = files("colour_cxf").joinpath("tests/resources/sample.cxf")


def test_the_144_objects_of_colour_cxfs_sample():
    # colour-cxf (BSD-3-Clause), colour_cxf/tests/resources/sample.cxf: its first and last Lab
    assert len(read_cxf(SAMPLE.read_bytes()).rows) == 144
    path = str(SAMPLE)
    (first,), (last,) = read_target(path, panel="1"), read_target(path, panel="144")
    assert first.lab == (17.64167, 1.076669, 0.3338588)
    assert last.lab == (50.6829, 28.19667, -24.02345)
    assert first.viewing == Viewing("D50", "2", "45:0")


def test_the_spectra_of_the_sample_give_its_own_lab():
    # The file's spectra end at 680 nm, so its Lab rests on them and on an end value held to 700;
    # read so, wavelength and scale are right when every object agrees with its own Lab.
    table = read_cxf(SAMPLE.read_bytes())
    at = {name: i for i, name in enumerate(table.header)}
    nm = np.arange(380.0, 681.0, 10.0)
    cells = [row for _, row in table.rows]
    spectra = np.array([[row[at[f"{w:g}"]] for w in nm] for row in cells], dtype=float)
    held = np.column_stack([spectra[:, 2:], spectra[:, -1], spectra[:, -1]])
    lab = np.array([[row[at[n]] for n in "Lab"] for row in cells], dtype=float)
    difference = delta_e00(reflectance_to_lab(held, Viewing("D50", "2")), lab)
    assert np.median(difference) < 0.06
    assert difference.max() < 0.16


@pytest.mark.parametrize(
    ("sd", "error", "confidence", "wanted"),
    [
        # n = (z s / e)^2, ASTM E1345; z = 1.960 at 95 %, 2.576 at 99 % (normal tables)
        (0.5, 0.5, 0.95, 4),  # 3.84
        (0.5, 0.3, 0.90, 8),  # 7.5, z = 1.645
        (0.3, 0.1, 0.95, 35),  # 34.57
        (1.0, 0.5, 0.99, 27),  # 26.54
        (0.1, 1.0, 0.95, 3),  # 1 by the formula; the three places of the protocol are the least
    ],
)
def test_number_of_readings(sd, error, confidence, wanted):
    assert readings_needed(sd, within=error, confidence=confidence) == wanted


def test_the_stray_of_a_textbook_sample():
    # Iglewicz, Hoaglin (1993): modified z = 0.6745 (x - median) / MAD, stray above 3.5. Distances
    # from the median reading here are 0.3, 0.2, 0.1, 0, 0.1, 0.2, 4 in L* at a grey where one unit
    # of L* is near ΔE00 1: median 0.2, MAD 0.1, so 4 scores 26 and 0.3 scores 0.7.
    lightness = [49.7, 49.8, 49.9, 50.0, 50.1, 50.2, 54.0]
    readings = [Reading(lab=(v, 0.0, 0.0)) for v in lightness]
    assert mean_reading(readings).lab == mean_reading(readings[:6]).lab
