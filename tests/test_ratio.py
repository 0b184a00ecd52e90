"""A mix ratio: carrier first, what it is worth, how it is written."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib.domain import (
    MixRatio,
)
from matchlib.domain.parts import MAX_PARTS, format_parts, read_parts
from matchlib.errors import DomainError
from matchlib.plain import shown
from tests.trade_words import PARTS, RATIOS, refused


def test_six_to_one_is_a_seventh_of_colour() -> None:
    ratio = MixRatio.parse("6:1")
    assert (ratio.carrier, ratio.colour) == (6, 1)
    assert ratio.fraction == pytest.approx(1 / 7)
    assert ratio.words == "6 parts carrier to 1 part colour"


def test_four_parts_of_colour_at_six_to_one_take_twenty_four_of_carrier() -> None:
    # Common practice, no source: people mix these two up, and reverse them.
    ratio = MixRatio.parse("6:1")
    assert 4 * ratio.carrier / ratio.colour == 24
    assert MixRatio(24, 4) == ratio
    assert MixRatio(32, 4) == MixRatio.parse("8:1") != ratio


def test_half_the_carrier_is_twice_the_strength() -> None:
    # Common practice, no source: 6:1 made twice as strong by halving the carrier is 3:1.
    ratio = MixRatio.parse("6:1")
    stronger = MixRatio(ratio.carrier / 2, ratio.colour)
    assert stronger == MixRatio.parse("3:1")
    assert stronger > ratio
    assert stronger.fraction == pytest.approx(1 / 4)


@given(RATIOS, RATIOS)
def test_the_stronger_ratio_is_the_greater(a: MixRatio, b: MixRatio) -> None:
    assert (a < b) == (Fraction(a.colour, a.carrier) < Fraction(b.colour, b.carrier))
    assert (a == b) == (a.colour * b.carrier == b.colour * a.carrier)
    assert (a <= b) or (a > b)


@given(PARTS, PARTS)
def test_a_ratio_never_turns_round(carrier: Fraction, colour: Fraction) -> None:
    try:
        ratio = MixRatio(carrier, colour)
    except DomainError:
        # Only what could not be read back is refused.
        share = carrier / colour
        assert max(share.numerator, share.denominator) > MAX_PARTS
        return
    assert ratio.carrier / ratio.colour == carrier / colour
    assert ratio.looks_reversed == (colour > carrier)
    assert ratio.fraction == pytest.approx(float(colour / (carrier + colour)))


@given(RATIOS)
def test_a_ratio_reads_as_it_is_written(ratio: MixRatio) -> None:
    again = MixRatio.parse(str(ratio))
    assert again == ratio
    assert str(again) == str(ratio)
    carrier, colour = str(ratio).split(":")
    assert MixRatio.parse(f" {carrier} parts carrier : {colour} Colour ") == ratio
    found = shown(ratio)
    assert (found["carrier_parts"], found["colour_parts"]) == (carrier, colour)


@pytest.mark.parametrize("text", ["1 colour : 6 carrier", "1 toner:6", "1: 6 base", "1 dye : 6"])
def test_a_ratio_written_colour_first_is_refused_not_turned(text: str) -> None:
    error = refused(lambda: MixRatio.parse(text))
    assert "colour first" in error.problem
    assert "6:1" in str(error.remedy)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "6",
        "6:0",
        "0:0",
        ":1",
        "6:",
        "-6:1",
        "6:-1",
        "6:1:1",
        "6/1",
        "six:one",
        "6,5:1",
        "nan:1",
        "1e3:1",
        "06:01:00",
        "6 paint:1",
        "99999:1",
        "6:1\n7:1",
        "6" * 100 + ":1",
        None,
    ],
)
def test_what_is_no_ratio_is_refused(text: Any) -> None:
    refused(lambda: MixRatio.parse(text))


@pytest.mark.parametrize(
    "parts",
    [
        (6, 0),
        (-1, 1),
        (float("nan"), 1),
        (float("inf"), 1),
        (True, 1),
        (None, 1),
        (6, "x"),
        (MAX_PARTS + 1, 1),
    ],
)
def test_impossible_parts_are_refused(parts: tuple[Any, Any]) -> None:
    refused(lambda: MixRatio(*parts))


@given(st.floats(0.01, 0.9), st.sampled_from([0.25, 0.5, 1.0]))
def test_the_ratio_of_a_fraction_is_the_nearest_that_a_cup_shows(part: float, step: float) -> None:
    ratio = MixRatio.of_fraction(part, step=step)
    exact = 1 / part - 1
    carrier = float(ratio.carrier / ratio.colour)
    assert abs(carrier - exact) <= step / 2 + 1e-9 or carrier == step
    assert carrier / step == pytest.approx(round(carrier / step))


@pytest.mark.parametrize("fraction", [0.0, 1.0, 1.5, -0.1, float("nan")])
def test_no_ratio_of_an_impossible_fraction(fraction: float) -> None:
    refused(lambda: MixRatio.of_fraction(fraction))


@given(PARTS)
def test_parts_read_as_they_are_written(parts: Fraction) -> None:
    assert read_parts(format_parts(parts), "share") == parts
