"""Measures as they are typed and told: volumes, areas, lengths."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib import mixing
from matchlib.errors import DomainError


@pytest.mark.parametrize(
    ("text", "ml"),
    [("250 ml", 250), ("0.5 L", 500), ("8 fl. oz", 8 * 29.5735295625), ("1 gallon", 3785.411784),
     ("2 pints", 2 * 473.176473), (" 10cc ", 10)],
)  # fmt: skip
def test_volumes_as_typed(text, ml):
    assert mixing.parse_volume(text) == pytest.approx(ml, rel=1e-14)


@pytest.mark.parametrize(
    "text", ["250", "ml", "-3 ml", "3 imp gal", "2 m2", "", "nan ml", "1e9999 l"]
)
def test_volumes_that_are_none(text):
    with pytest.raises(DomainError):
        mixing.parse_volume(text)


def test_imperial_measures_are_named_as_other():
    with pytest.raises(DomainError, match="imperial"):
        mixing.parse_volume("1 imperial gallon")


def test_measures_are_typed_with_comma_or_point_like_all_numbers():
    assert mixing.parse_volume("25,5 ml") == 25.5
    assert mixing.parse_area("0,125 m2") == 0.125
    assert mixing.parse_length("31,8 mm") == 31.8
    for either in ("1,500 ml", "12,000 ml"):  # a decimal here, thousands there
        with pytest.raises(DomainError):
            mixing.parse_volume(either)


def test_areas_and_lengths_as_typed():
    assert mixing.parse_area("20 sq ft") == pytest.approx(1.8580608)
    assert mixing.parse_length("1 foot") == pytest.approx(304.8)


@given(st.floats(2.0, 50.0), st.sampled_from(["l", "us gal", "us pint", "us fl oz"]))
def test_a_small_volume_keeps_three_digits_in_a_large_unit(ml, unit):
    said = mixing.format_volume(ml, unit)
    assert mixing.parse_volume(said) == pytest.approx(ml, rel=0.006)


@pytest.mark.parametrize("text", ["0.5", "5", ".5", "2."])
def test_a_bare_number_is_told_that_it_lacks_its_unit(text):
    with pytest.raises(DomainError, match="no unit"):
        mixing.parse_area(text)
