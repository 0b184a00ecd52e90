"""Spectra in a table: their scale is declared, their columns found, their gaps stated."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from matchlib.colorimetry import delta_e00, interpolate_reflectance, reflectance_to_lab
from matchlib.domain import Viewing
from matchlib.readings._twice import Pair, StatedTwice, lab_from_xyz
from matchlib.readings.questions import Asking
from tests.declared import read_file, refusal

SPECTRAL = ",".join(str(w) for w in range(400, 701, 20))
VALUES = ",".join("0.25" for _ in range(400, 701, 20))


def spectral(scale_column="", head=SPECTRAL, values=VALUES):
    named, declared = (",scale", f",{scale_column}") if scale_column else ("", "")
    return f"panel,ground{named},{head}\nP,silver{declared},{values}\n"


def test_the_scale_of_reflectances_is_never_guessed(table):
    words = refusal(table(spectral()))
    assert "[scale] Are the reflectances of this file percent, or 0-1?" in words
    assert "row 2: at most 25.000% of the light comes back" in words
    assert "row 2: at most 0.250% of the light comes back" in words
    report = read_file(table(spectral()), answers={"scale": "percent"})
    assert set(report.panels[0].readings[0].reflectance) == {0.0025}


@pytest.mark.parametrize("how", ["argument", "column", "header"])
@pytest.mark.parametrize("scale", ["unit", "percent"])
def test_the_scale_is_declared_in_one_of_three_ways(table, how, scale):
    values = VALUES if scale == "unit" else VALUES.replace("0.25", "25")
    if how == "header":
        mark = "%" if scale == "percent" else " nm (0-1)"
        path = table(
            spectral(head=",".join(f"{w}{mark}" for w in range(400, 701, 20)), values=values)
        )
        report = read_file(path)
    elif how == "column":
        report = read_file(table(spectral("0-1" if scale == "unit" else "percent", values=values)))
    else:
        report = read_file(table(spectral(values=values)), scale=scale)
    (reading,) = report.panels[0].readings
    assert reading.wavelengths == tuple(range(400, 701, 20))
    assert set(reading.reflectance) == {0.25}


@pytest.mark.parametrize(
    "spelling",
    ["{}", "{}nm", "{} nm", "R{}", "nm{}", "NM_{}", "SPECTRAL_NM{}", "SPECTRAL_{}", "R_{}"],
)
def test_spectral_columns_in_common_spellings(table, spelling):
    head = ",".join(spelling.format(w) for w in range(700, 399, -20))
    values = ",".join(f"{w / 1000}" for w in range(700, 399, -20))
    (reading,) = read_file(table(spectral("0-1", head, values))).panels[0].readings
    assert reading.wavelengths == tuple(float(w) for w in range(400, 701, 20))
    assert reading.reflectance == tuple(w / 1000 for w in range(400, 701, 20))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (
            spectral("0-1", values=VALUES.replace("0.25", "25")),
            "most of its spectra are far above 1",
        ),
        (spectral("percent"), "none is above 1.5%"),
        (spectral("0-1", head=",".join(f"{w / 1000:g}" for w in range(400, 701, 20))), "not in nm"),
        (spectral("0-1", head=",".join(f"{w * 10}" for w in range(400, 701, 20))), "not in nm"),
        (
            spectral("0-1", head=",".join(f"{w / 1000:g} µm" for w in range(400, 701, 20))),
            "not in nm",
        ),
        (spectral("maybe"), "not known"),
        (spectral("0-1", head=SPECTRAL.replace("400", "400%")), "another reflectance scale"),
        (
            spectral("0-1", head=SPECTRAL.replace("400", "400%").replace("420", "420(0-1)")),
            "one scale",
        ),
        (spectral("0-1", head=SPECTRAL.replace("400", "420 nm")), "Two columns have one name"),
        (spectral("0-1", values=VALUES.replace("0.25", "-0.5", 1)), "impossible reflectance"),
        (spectral("0-1", values=VALUES.replace("0.25", "nan", 1)), "not a number"),
        (spectral("0-1", values=",,,0.25,0.25" + ",0.25" * 11), "does not reach far enough"),
        (
            spectral("0-1", values=VALUES.replace("0.25,0.25,0.25,0.25", "0.25,,,0.25", 1)),
            "gap",
        ),
    ],
)
def test_spectra_that_contradict_their_declaration(table, content, words):
    assert words in refusal(table(content))


def test_one_spectrum_in_percent_among_many_is_refused_by_row(table):
    row = "P{},silver,0-1," + VALUES + "\n"
    text = f"panel,ground,scale,{SPECTRAL}\n" + "".join(row.format(i) for i in range(5))
    path = table(text + f"Q,silver,0-1,{VALUES.replace('0.25', '25')}\n")
    report = read_file(path, keep_good=True)
    assert [r.row for r in report.refused] == [7]
    assert "looks like percent" in report.refused[0].reason


def test_a_scale_declared_against_the_file_is_refused(table):
    assert "declared twice" in refusal(
        table(spectral(head=SPECTRAL.replace("400", "400%"))), scale="unit"
    )


def test_gaps_and_short_spectra_are_stated(table):
    grid = range(410, 701, 10)
    values = ",".join("" if w == 450 else "0.25" for w in grid)
    report = read_file(table(spectral("0-1", ",".join(map(str, grid)), values)))
    text = report.text()
    assert "nothing between 440 and 460 nm" in text
    assert "covers 410 to 700 nm" in text
    assert 450 not in report.panels[0].readings[0].wavelengths


def test_what_import_takes_colorimetry_can_use(table):
    for start in (400, 410, 420):
        grid = range(start, 721, 20)
        report = read_file(
            table(spectral("0-1", ",".join(map(str, grid)), ",".join("0.25" for _ in grid)))
        )
        (reading,) = report.panels[0].readings
        assert interpolate_reflectance(reading.wavelengths, reading.reflectance) == pytest.approx(
            0.25
        )


def test_lab_for_another_light_than_its_spectrum_is_pointed_out(table):
    red = [0.02 if w < 600 else 0.6 for w in range(400, 701, 20)]
    under_a = reflectance_to_lab(red, Viewing("A", "2"), wavelengths=list(range(400, 701, 20)))
    text = (
        f"panel,ground,L,a,b,scale,{SPECTRAL}\n"
        f"P,silver,{','.join(map(str, under_a))},0-1,{','.join(map(str, red))}\n"
    )
    assert "another light" in read_file(table(text)).text()
    assert "another light" not in read_file(table(text), viewing=Viewing("A", "2")).text()


@pytest.mark.parametrize("light", ["C,2", "D75,10", "D65,4"])
def test_a_spectrum_stated_for_another_light_than_is_known_is_taken(table, light):
    text = f"panel,ground,illuminant,observer,scale,{SPECTRAL}\nP,silver,{light},0-1,{VALUES}\n"
    report = read_file(table(text))
    assert report.panels[0].readings[0].viewing == Viewing()
    assert "is no light known here; a spectrum holds under any" in " ".join(report.text().split())
    lab = refusal(table(f"panel,ground,illuminant,observer,L,a,b\nP,silver,{light},50,0,0\n"))
    assert "is not known" in lab or "light and observer" in lab


def test_a_row_with_lab_and_spectrum_keeps_the_spectrum(table):
    report = read_file(
        table(f"panel,ground,L,a,b,scale,{SPECTRAL}\nP,silver,50,0,0,0-1,{VALUES}\n")
    )
    assert report.panels[0].readings[0].spectral
    assert "the spectrum was taken" in report.text()


def test_an_impossible_lab_beside_a_spectrum_is_refused(table):
    text = f"panel,ground,L,a,b,scale,{SPECTRAL}\nP,silver,50,1e308,0,0-1,{VALUES}\n"
    assert "not a possible Lab" in refusal(table(text))


def test_lab_rows_and_spectral_rows_in_one_table(table):
    text = f"panel,ground,L,a,b,scale,{SPECTRAL}\nP,silver,,,,0-1,{VALUES}\nP,silver,50,0,0,,\n"
    first, second = read_file(table(text)).panels[0].readings
    assert first.spectral
    assert second.lab == (50.0, 0.0, 0.0)


def test_wavelengths_in_rows(table):
    rows = "".join(f"{w},0.2,0.3\n" for w in range(380, 731, 10))
    text = "wavelength (nm),P1,P2\nground,silver,gold\ncolour,,red\nschedule,,4@6:1\n" + rows
    report = read_file(table(text), scale="unit")
    assert [p.code for p in report.panels] == ["P1", "P2"]
    assert report.panels[1].recipe.words.startswith("red over gold")
    assert report.panels[1].readings[0].wavelengths[0] == 380
    assert set(report.panels[1].readings[0].reflectance) == {0.3}
    words = refusal(table(text.replace("gold", "")), scale="unit")
    assert "column 3" in words


def stated_under_d65(gap: float, *, lighter: float = 0.0) -> tuple[StatedTwice, Asking, Any]:
    """Lab between what a spectrum gives under D65/10 and D50/2, nearer the latter by so much."""
    nm = tuple(float(w) for w in range(400, 701, 10))
    apart, ramp = 1.6, np.linspace(-1, 1, 31)

    def both(slope: float) -> tuple[np.ndarray, np.ndarray]:
        spectrum = 0.3 + slope * ramp
        d65, d50 = Viewing("D65", "10"), Viewing("D50", "2")
        return reflectance_to_lab(spectrum, d65), reflectance_to_lab(spectrum, d50)

    slope = brentq(lambda s: float(delta_e00(*both(s))) - apart, 1e-3, 0.25)
    one, two = both(slope)
    lab = one + (1 + gap / apart) / 2 * (two - one) + [lighter, 0, 0]
    pair = Pair(7, nm, tuple(0.3 + slope * ramp), tuple(map(float, lab)))
    found = StatedTwice([pair], ("D65", "10"))
    asking = Asking()
    return found, asking, found.answer(asking, None, needed=False)


def test_another_light_is_spoken_of_where_lab_fits_far_better_under_it():
    # Rounding alone moves a colour by less than the half that is asked for here.
    assert stated_under_d65(0.4)[2] is None
    found, asking, answer = stated_under_d65(0.6)
    assert answer == "stated", "as the file says, unless it is answered"
    (question,) = asking.questions
    assert question.choices[0].key == "D50/2"
    assert "spectra far better under D50, 2°" in question.text
    assert found.far == [7]
    # What fits neither tells nothing of the light.
    assert stated_under_d65(0.6, lighter=4.0)[2] is None
    assert stated_under_d65(-0.6)[0].far == [], "within rounding of its spectrum"


def test_tristimulus_values_become_lab_by_their_white():
    # L* of Y = 18.4187 is 50 (CIE 15:2018, 8.2.1); the white of D65/10 is ASTM E308's.
    white, grey = (94.811, 100.0, 107.304), 0.184187
    x, y, z = (grey * v for v in white)
    assert lab_from_xyz((x, y, z), Viewing()) == pytest.approx((50, 0, 0), abs=0.02)
    redder = 500 * (np.cbrt(1.2 * grey) - np.cbrt(grey))
    assert lab_from_xyz((1.2 * x, y, z), Viewing()) == pytest.approx((50, redder, 0), abs=0.02)
    bluer = 200 * (np.cbrt(grey) - np.cbrt(1.2 * grey))
    assert lab_from_xyz((x, y, 1.2 * z), Viewing()) == pytest.approx((50, 0, bluer), abs=0.02)
