"""Colorimetry against numbers printed elsewhere, at the precision printed.

Where a source could not be had itself, the note beside the number says where it was found.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest

from matchlib import colorimetry as c
from matchlib.colorimetry import make_tables
from matchlib.colorimetry.metamerism import index_of_xyz
from matchlib.domain import Viewing

# G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation notes,
# supplementary test data, and mathematical observations", Color Res. Appl. 30 (2005) 21-30,
# table 1: L*, a*, b* of two colours, ΔE00. Rows 9 to 16 lie about opposite hues.
TABLE_1 = """\
50.0000   2.6772 -79.7751 50.0000   0.0000 -82.7485  2.0425
50.0000   3.1571 -77.2803 50.0000   0.0000 -82.7485  2.8615
50.0000   2.8361 -74.0200 50.0000   0.0000 -82.7485  3.4412
50.0000  -1.3802 -84.2814 50.0000   0.0000 -82.7485  1.0000
50.0000  -1.1848 -84.8006 50.0000   0.0000 -82.7485  1.0000
50.0000  -0.9009 -85.5211 50.0000   0.0000 -82.7485  1.0000
50.0000   0.0000   0.0000 50.0000  -1.0000   2.0000  2.3669
50.0000  -1.0000   2.0000 50.0000   0.0000   0.0000  2.3669
50.0000   2.4900  -0.0010 50.0000  -2.4900   0.0009  7.1792
50.0000   2.4900  -0.0010 50.0000  -2.4900   0.0010  7.1792
50.0000   2.4900  -0.0010 50.0000  -2.4900   0.0011  7.2195
50.0000   2.4900  -0.0010 50.0000  -2.4900   0.0012  7.2195
50.0000  -0.0010   2.4900 50.0000   0.0009  -2.4900  4.8045
50.0000  -0.0010   2.4900 50.0000   0.0010  -2.4900  4.8045
50.0000  -0.0010   2.4900 50.0000   0.0011  -2.4900  4.7461
50.0000   2.5000   0.0000 50.0000   0.0000  -2.5000  4.3065
50.0000   2.5000   0.0000 73.0000  25.0000 -18.0000 27.1492
50.0000   2.5000   0.0000 61.0000  -5.0000  29.0000 22.8977
50.0000   2.5000   0.0000 56.0000 -27.0000  -3.0000 31.9030
50.0000   2.5000   0.0000 58.0000  24.0000  15.0000 19.4535
50.0000   2.5000   0.0000 50.0000   3.1736   0.5854  1.0000
50.0000   2.5000   0.0000 50.0000   3.2972   0.0000  1.0000
50.0000   2.5000   0.0000 50.0000   1.8634   0.5757  1.0000
50.0000   2.5000   0.0000 50.0000   3.2592   0.3350  1.0000
60.2574 -34.0099  36.2677 60.4626 -34.1751  39.4387  1.2644
63.0109 -31.0961  -5.8663 62.8187 -29.7946  -4.0864  1.2630
61.2901   3.7196  -5.3901 61.4292   2.2480  -4.9620  1.8731
35.0831 -44.1164   3.7933 35.0232 -40.0716   1.5901  1.8645
22.7233  20.0904 -46.6940 23.0331  14.9730 -42.5619  2.0373
36.4612  47.8580  18.3852 36.2715  50.5065  21.2231  1.4146
90.8027  -2.0831   1.4410 91.1528  -1.6435   0.0447  1.4441
90.9257  -0.5406  -0.9208 88.6381  -0.8985  -0.7239  1.5381
 6.7747  -0.2908  -2.4247  5.8714  -0.0985  -2.2286  0.6377
 2.0776   0.0795  -1.1350  0.9033  -0.0636  -0.5514  0.9082
"""
PAIRS = np.loadtxt(TABLE_1.splitlines())


def test_ciede2000_of_sharma_wu_dalal() -> None:
    first, second, printed = PAIRS[:, :3], PAIRS[:, 3:6], PAIRS[:, 6]
    assert len(printed) == 34
    np.testing.assert_allclose(c.delta_e00(first, second), printed, rtol=0, atol=0.5001e-4)
    np.testing.assert_allclose(c.delta_e00(second, first), printed, rtol=0, atol=0.5001e-4)


# White points of ASTM E308, table 5 (the values are reprinted in many libraries; read there, not
# in the standard). D65 and A at one unit of the last digit printed: A at 10° is 111.1434 by CIE's
# formula, and printed as 111.144. F2 and F11 are tabulated by CIE every 5 nm, and the standard does
# not say how it came to 1 nm: Sprague's polynomial meets its sums within 0.005. The range
# 400-700 nm changes no white point, since E308 moves the weights of what is not measured to the
# ends.
WHITES = [
    ("D65", "2", (95.047, 100.0, 108.883), 0.001),
    ("D65", "10", (94.811, 100.0, 107.304), 0.001),
    ("A", "2", (109.850, 100.0, 35.585), 0.001),
    ("A", "10", (111.144, 100.0, 35.200), 0.001),
    ("F2", "2", (99.186, 100.0, 67.393), 0.005),
    ("F2", "10", (103.279, 100.0, 69.027), 0.005),
    ("F11", "2", (100.962, 100.0, 64.350), 0.005),
    ("F11", "10", (103.863, 100.0, 65.607), 0.005),
    # CIE has published D50 anew in CIE 15:2018; the printed values are those of the older table.
    ("D50", "2", (96.422, 100.0, 82.521), 0.013),
    ("D50", "10", (96.720, 100.0, 81.427), 0.013),
]


@pytest.mark.parametrize(("light", "field", "printed", "within"), WHITES)
def test_white_points_of_astm_e308(
    light: str, field: str, printed: tuple[float, float, float], within: float
) -> None:
    np.testing.assert_allclose(c.white_point(light, field), printed, rtol=0, atol=within)


def test_white_of_the_led_is_its_chromaticity_of_cie_15(colour: Any) -> None:
    # CIE 15:2018, table 12: chromaticity of LED-B3, as colour-science carries it.
    for field, name in make_tables.OBSERVER_NAMES.items():
        x, y = colour.CCS_ILLUMINANTS[name]["LED-B3"]
        white = c.white_point("LED-B3", field)
        np.testing.assert_allclose(white[:2] / white.sum(), (x, y), rtol=0, atol=6e-5)


# ASTM E308's own kind of sample, 20 nm from 400 to 700, D65: XYZ printed in the documentation of
# colour-science for its E308 method, 2° observer, in percent.
E308_SAMPLE = [
    *(0.0641, 0.0645, 0.0562, 0.0537, 0.0559, 0.0651, 0.0705, 0.0772),
    *(0.0870, 0.1128, 0.1360, 0.1511, 0.1688, 0.1996, 0.2397, 0.2852),
]


def test_sample_of_20_nm_printed_for_colour_science() -> None:
    # To 10 nm as the standard does (7.3.2.1): a cubic through four neighbours, a parabola at ends.
    view, seen = Viewing("D65", "2"), np.array(E308_SAMPLE)
    below, above = (3 * e[0] - 3 * e[1] + e[2] for e in (seen, seen[::-1]))
    padded = np.concatenate([[below], seen, [above]])
    tens = np.empty(31)
    tens[::2] = seen
    tens[1::2] = (9 * (padded[1:-2] + padded[2:-1]) - padded[:-3] - padded[3:]) / 16
    printed = [10.8401953, 9.6841740, 6.2158913]
    np.testing.assert_allclose(c.reflectance_to_xyz(tens, view), printed, rtol=0, atol=1e-7)
    # Ours is the polynomial of CIE 167, for a series of any even interval.
    lab = c.reflectance_to_lab(seen, view, wavelengths=np.arange(400.0, 701.0, 20.0))
    assert c.delta_e00(lab, c.xyz_to_lab(printed, c.white_point("D65", "2"))) < 0.01


@pytest.mark.parametrize("viewing", [("D65", "10"), ("D65", "2"), ("A", "10"), ("F11", "2")])
@pytest.mark.parametrize("chart", ["BabelColor Average", "ISO 17321-1"])
def test_measured_chart_spectra_as_colour_science_has_them(
    colour: Any, chart: str, viewing: tuple[str, str]
) -> None:
    light, field = viewing
    # Measured spectra of a colour chart, carried by colour-science. Against its own result on
    # the same wavelengths, and, for the whole of the instrument's range, how little 400 to 700 nm
    # lose.
    samples = colour.SDS_COLOURCHECKERS[chart]
    names = {"A": "A", "D65": "D65", "F11": "FL11"}
    # Its own spectra of the lights, but for A, which it tabulates every 5 nm and CIE by formula.
    own = colour.SDS_ILLUMINANTS[names[light]]
    if light == "A":
        own = make_tables.illuminant("A")
    # Straight lines between the 5 nm of F11 are what differs, and by no more than this in XYZ.
    within = 0.1 if light == "F11" else 1e-9
    view = Viewing(light, field)
    grey = {}
    for name, sample in samples.items():
        nm, values = sample.wavelengths, sample.values
        ours = c.interpolate_reflectance(nm, values)
        wide = np.arange(380.0, 731.0, 10.0)
        tens = c.interpolate_reflectance(nm, values, wide)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs, whole = (
                colour.sd_to_XYZ(
                    colour.SpectralDistribution(curve, grid),
                    cmfs=make_tables.observer(field),
                    illuminant=own,
                    method="ASTM E308",
                )
                for curve, grid in ((ours, c.GRID), (tens, wide))
            )
        np.testing.assert_allclose(
            c.reflectance_to_xyz(values, view, wavelengths=nm),
            theirs,
            rtol=0,
            atol=within,
            err_msg=name,
        )
        full = c.xyz_to_lab(whole, c.white_point(light, field))
        grey[name] = float(c.delta_e00(full, c.reflectance_to_lab(ours, view)))
    assert len(grey) == 24
    assert max(grey.values()) < 0.35, grey


def test_chart_lab_is_that_of_a_sum_over_1_nm(colour: Any) -> None:
    # CIE 15's own way, the sum over 1 nm, worked out here from colour-science's tables alone.
    cmfs, light = make_tables.observer("10"), make_tables.illuminant("D65")
    product = cmfs.values * light.values[:, None]
    product *= 100 / product[:, 1].sum()
    worst = 0.0
    for sample in colour.SDS_COLOURCHECKERS["BabelColor Average"].values():
        nm = np.clip(cmfs.wavelengths, sample.wavelengths[0], sample.wavelengths[-1])
        fine = colour.SpragueInterpolator(sample.wavelengths, sample.values)(nm)
        lab = c.xyz_to_lab(fine @ product, product.sum(axis=0))
        tens = c.interpolate_reflectance(sample.wavelengths, sample.values)
        worst = max(worst, float(c.delta_e00(lab, c.reflectance_to_lab(tens))))
    assert worst < 0.05


# CMC(2:1), printed in the documentation and tests of colour-science (delta_E_CMC).
CMC = [
    (
        (48.99183622, -0.10561667, 400.65619925),
        (50.65907324, -0.11671910, 402.82235718),
        2,
        0.8996999,
    ),
    ((100.0, 21.57210357, 272.22819350), (100.0, 426.67945353, 72.39590835), 2, 172.70477129),
    ((100.0, 21.57210357, 272.22819350), (100.0, 74.05216981, 276.45318193), 1, 20.59732717),
]


@pytest.mark.parametrize(("standard", "trial", "lightness", "printed"), CMC)
def test_cmc(
    standard: tuple[float, ...], trial: tuple[float, ...], lightness: float, printed: float
) -> None:
    found = c.delta_e_cmc(standard, trial, lightness=lightness, chroma=1.0)
    assert found == pytest.approx(printed, abs=1e-7)


def test_metamerism_index_printed_for_colour_science() -> None:
    # ISO 18314-4's way, multiplicative in XYZ, ΔE*ab, light A and 10°; XYZ and the index printed in
    # the documentation of colour-science (XYZ_to_metamerism_index). Its white is built from a
    # chromaticity of five digits, ours from the weights: the index agrees to three decimals.
    found = index_of_xyz(
        [8.96442, 10.1878, 1.6663],
        [8.56438, 10.0324, 1.9315],
        [7.6576, 10.7116, 5.0731],
        [7.6933, 10.5616, 5.54474],
        c.white_point("A", 10),
        difference=c.delta_e76,
    )
    assert found == pytest.approx(3.7906989, abs=5e-4)


def test_metamerism_index_of_spectra_worked_out_apart(colour: Any) -> None:
    # The definition (CIE 15:2018) step by step with colour-science's own XYZ, Lab and ΔE*ab.
    chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    standard, trial = (
        c.interpolate_reflectance(chart[name].wavelengths, chart[name].values)
        for name in ("neutral 5 (.70 D)", "purplish blue")
    )

    def xyz(spectrum: np.ndarray, light: str) -> np.ndarray:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return colour.sd_to_XYZ(
                colour.SpectralDistribution(spectrum, c.GRID),
                cmfs=make_tables.observer("10"),
                illuminant=make_tables.illuminant(light),
                method="ASTM E308",
            )

    trial = 0.9 * standard + 0.1 * trial
    for light in ("A", "F11", "LED-B3"):
        white = xyz(np.ones(31), light)
        factor = xyz(standard, "D65") / xyz(trial, "D65")
        xy = colour.XYZ_to_xy(white / 100)
        labs = [
            colour.XYZ_to_Lab(v / 100, xy)
            for v in (xyz(standard, light), xyz(trial, light) * factor)
        ]
        expected = float(np.linalg.norm(labs[0] - labs[1]))
        found = c.metamerism_index(standard, trial, Viewing(light), difference=c.delta_e76)
        assert expected > 0.1
        assert found == pytest.approx(expected, abs=1e-6)


# IEC 61966-2-1: the corners of sRGB and their Lab under D65/2°; Lab to two decimals as printed by
# many tables of sRGB primaries (from memory: red 53.24 80.09 67.20, blue 32.30 79.19 -107.86).
@pytest.mark.parametrize(
    ("lab", "rgb"),
    [
        ((53.24, 80.09, 67.20), (1, 0, 0)),
        ((87.73, -86.18, 83.18), (0, 1, 0)),
        ((32.30, 79.19, -107.86), (0, 0, 1)),
    ],
)
def test_corners_of_srgb(lab: tuple[float, ...], rgb: tuple[int, ...]) -> None:
    linear_step = 0.02  # two decimals of Lab move a channel that is 0 by up to this much
    np.testing.assert_allclose(c.to_srgb(lab)[0], rgb, rtol=0, atol=linear_step)
