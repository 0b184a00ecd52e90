"""Units, spreading rates, sieves and cups against printed values."""

import pytest

from matchlib import mixing
from matchlib.cautions import BOOTH_PROMPTS


@pytest.mark.parametrize(
    ("read", "text", "expected"),
    [
        # NIST Handbook 44, appendix C: 1 gal = 231 in3 (exactly), 1 in = 25.4 mm (exactly),
        # so 1 gal = 3.785 411 784 L, 1 liquid pint = 473.176 473 mL, 1 fl oz = 29.573 529 562 5 mL.
        (mixing.parse_volume, "1 us gal", 3785.411784),
        (mixing.parse_volume, "1 us gal", 231 * 2.54**3),
        (mixing.parse_volume, "1 us pint", 473.176473),
        (mixing.parse_volume, "1 us fl oz", 29.5735295625),
        (mixing.parse_volume, "128 us fl oz", 3785.411784),
        # NIST SP 811, appendix B.8: 1 ft2 = 9.290 304 E-02 m2.
        (mixing.parse_area, "1 ft2", 0.09290304),
        (mixing.parse_area, "144 in2", 0.09290304),
        (mixing.parse_length, "1 ft", 304.8),
    ],
)
def test_unit_definitions(read, text, expected):
    assert read(text) == pytest.approx(expected, rel=1e-14)


def us(square_metres_a_litre):
    """Square feet a US gallon covers."""
    return square_metres_a_litre * 3.785411784 / 0.09290304


def test_spreading_rate_of_a_gallon():
    # 231 in3 / 0.001 in / 144 in2 = 1604.17 ft2 mil, as handbooks print 1604.
    assert us(mixing.spreading_rate(25.4, volume_solids=1.0)) == pytest.approx(1604.17, abs=0.005)
    # Printed example: 35 % volume solids at 2 mil is 281 ft2/gal.
    assert us(mixing.spreading_rate(50.8, volume_solids=0.35)) == pytest.approx(281, abs=0.5)


def test_spreading_rate_of_a_litre():
    # Printed example: 65 % volume solids at 125 um is 5.2 m2/L.
    assert mixing.spreading_rate(125, volume_solids=0.65) == pytest.approx(5.2, abs=1e-12)


def test_wet_film_of_a_dry_film():
    # Wet = dry (1 + thinner) / volume solids: 2 mil dry, 50 % solids, 25 % thinner is 5 mil wet.
    wet = mixing.wet_film(50.8, volume_solids=0.5, thinner=0.25)
    assert wet == pytest.approx(127, rel=1e-14)


@pytest.mark.parametrize(
    ("number", "opening"),
    # ASTM E11, nominal openings of the U.S.A. standard series.
    [(120, 125), (200, 75)],
)
def test_sieve_openings_that_the_booth_sheet_prints(number, opening):
    strain = next(p for p in BOOTH_PROMPTS if p.key == "strain")
    assert f"{number} mesh is {opening} µm" in strain.text


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
