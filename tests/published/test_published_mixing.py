"""Units, spreading rates, sieves and cups against printed values."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib import mixing


@pytest.mark.parametrize(
    ("value", "of", "to", "expected"),
    [
        # NIST Handbook 44, appendix C: 1 gal = 231 in3 (exactly), 1 in = 25.4 mm (exactly),
        # so 1 gal = 3.785 411 784 L, 1 liquid pint = 473.176 473 mL, 1 fl oz = 29.573 529 562 5 mL.
        (1, "us gal", "l", 3.785411784),
        (1, "us gal", "ml", 231 * 2.54**3),
        (1, "us pint", "ml", 473.176473),
        (1, "us fl oz", "ml", 29.5735295625),
        (1, "us gal", "us fl oz", 128),
        (1, "us pint", "us fl oz", 16),
        (1, "us gal", "us pint", 8),
        # NIST SP 811, appendix B.8: 1 ft2 = 9.290 304 E-02 m2.
        (1, "ft2", "m2", 0.09290304),
        (1, "ft2", "in2", 144),
        (1, "ft", "mm", 304.8),
    ],
)
def test_unit_definitions(value, of, to, expected):
    assert mixing.convert(value, of=of, to=to) == pytest.approx(expected, rel=1e-14)


def test_spreading_rate_of_a_gallon():
    # 231 in3 / 0.001 in / 144 in2 = 1604.17 ft2 mil, as handbooks print 1604.
    assert mixing.spreading_rate_us(1.0, volume_solids=1.0) == pytest.approx(1604.17, abs=0.005)
    # Printed example: 35 % volume solids at 2 mil is 281 ft2/gal.
    assert mixing.spreading_rate_us(2.0, volume_solids=0.35) == pytest.approx(281, abs=0.5)


def test_spreading_rate_of_a_litre():
    # Printed example: 65 % volume solids at 125 um is 5.2 m2/L.
    assert mixing.spreading_rate(125, volume_solids=0.65) == pytest.approx(5.2, abs=1e-12)


@given(st.floats(1, 500), st.floats(0.05, 1))
def test_both_spreading_rates_say_the_same(um, solids):
    litre = mixing.spreading_rate(um, volume_solids=solids)
    gallon = mixing.spreading_rate_us(mixing.mils(um), volume_solids=solids)
    as_metric = gallon * 0.09290304 / 3.785411784
    assert as_metric == pytest.approx(litre, rel=1e-12)


def test_wet_film_of_a_dry_film():
    # Wet = dry (1 + thinner) / volume solids: 2 mil dry, 50 % solids, 25 % thinner is 5 mil wet.
    assert mixing.wet_film(2.0, volume_solids=0.5, thinner=0.25) == pytest.approx(5.0, rel=1e-14)


@pytest.mark.parametrize(
    ("number", "opening"),
    # ASTM E11, nominal openings of the U.S.A. standard series.
    [(60, 250), (80, 180), (100, 150), (120, 125), (200, 75), (325, 45)],
)
def test_sieve_openings(number, opening):
    mesh = {m.number: m for m in mixing.MESHES}[number]
    assert mesh.micron_e11 == opening
    assert f"{number} mesh" in mesh.text


@pytest.mark.parametrize(
    ("number", "printed"),
    # As printed beside the number on strainers and in older tables.
    [(60, 250), (80, 177), (100, 149), (120, 125), (200, 74), (325, 44)],
)
def test_sieve_openings_as_printed_on_strainers(number, printed):
    assert {m.number: m.micron for m in mixing.MESHES}[number] == printed


@pytest.mark.parametrize(
    ("cup", "most"),
    # The upper ends printed beside the laws of ASTM D4212, for a drain time of 80 s: rounded to
    # a tenth. The lower ends are rounded too coarsely to check anything.
    [("Zahn 1", 60), ("Zahn 2", 250), ("Zahn 3", 800), ("Zahn 4", 1200), ("Zahn 5", 1800)],
)
def test_zahn_ranges(cup, most):
    assert mixing.viscosity(80, cup=cup) == pytest.approx(most, rel=0.1)


def test_cups_with_calibration_oils():
    # Printed beside the laws: an oil of 66 mm2/s drains a Zahn 2 in 33 s, one of 120 in 48 s.
    assert mixing.viscosity(33, cup="Zahn #2") == pytest.approx(66, abs=3.5 / 2)
    assert mixing.viscosity(48, cup="Zahn 2") == pytest.approx(120, abs=3.5 / 2)
    # An oil of 230 mm2/s drains a Ford 4 in 64 s (law from memory, checked by that oil).
    assert mixing.viscosity(64, cup="Ford 4") == pytest.approx(230, abs=3.85 / 2)
