"""Mixes and quantities as painters say them: which side is which is asked, never assumed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib import mixing
from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.stated import ratio_of
from tests.trade_words import MIXES


@pytest.mark.parametrize(
    ("said", "carrier", "share"),
    [
        ("6:1", 6, None),
        ("6:1:1 reducer", 6, 1 / 7),
        ("12:2:1 hardener", 6, 1 / 14),
        ("6 carrier : 1 colour : 1 hardener", 6, 1 / 7),
        ("10% added", 10, None),
        ("10 % colour to the carrier", 10, None),
        ("10% in the pot", 9, None),
        # By weight: 6/0.8 to 1/1.2 is 9 to 1.
        ("6:1 by weight", 9, None),
        ("10% added by weight", 15, None),
        ("6:1:1 reducer by weight", 9, (1 / 0.5) / (6 / 0.8 + 1 / 1.2)),
    ],
)
def test_a_mix_as_a_painter_says_it(said, carrier, share):
    densities = {"carrier": 0.8, "colour": 1.2, "reducer": 0.5}
    ratio, third = mixing.read_mix(said, densities=densities)
    assert ratio == MixRatio(carrier, 1)
    assert (third is None) == (share is None)
    if share is not None:
        assert third.share == pytest.approx(share)
        assert third.name in said


@pytest.mark.parametrize(
    ("said", "asks"),
    [
        ("10%", "9:1"),
        ("6:1:1", "reducer"),
        ("6:1:1 tea", "hardener"),
        ("6:1 by weight", "density"),
        ("0% added", "10:1"),
        ("a lot", "carrier : colour"),
    ],
)
def test_what_is_half_said_is_asked_about(said, asks):
    with pytest.raises(DomainError) as caught:
        mixing.read_mix(said)
    assert asks in str(caught.value)


def test_a_mix_by_weight_takes_the_colour_by_its_own_names():
    weights = {"carrier": 0.8, "Rust": 1.4, "teal": 0.8}
    blend = Colour.parse("rust 2 + teal 1")  # 1.2 g/ml
    ratio, _ = mixing.read_mix("6:1 by weight", densities=weights, colour=blend)
    assert ratio == MixRatio(9, 1)
    with pytest.raises(DomainError, match="density of the colour"):
        mixing.read_mix("6:1 by weight", densities=weights, colour=Colour.parse("plum"))


def test_a_bottle_of_four_makes_twenty_eight():
    assert mixing.bottle_makes(4, MixRatio(6, 1)) == (24, 4)
    assert mixing.bottle_makes(24, MixRatio(6, 1), of="carrier") == (24, 4)


def test_a_bottle_of_something_else():
    with pytest.raises(DomainError):
        mixing.bottle_makes(4, MixRatio(6, 1), of="thinner")
    with pytest.raises(DomainError):
        mixing.bottle_makes(4, MixRatio(0, 1), of="carrier")


def test_four_into_thirty_two_is_eight_to_one():
    check = mixing.check_stated(MixRatio(6, 1), carrier=32, colour=4)
    assert check.poured == MixRatio(8, 1)
    assert not check.agree
    assert "is 8:1" in check.text
    assert "not 6:1" in check.text
    assert "weaker" in check.text
    assert mixing.check_stated(MixRatio(8, 1), carrier=32, colour=4).agree


def test_quantities_the_wrong_way_round_are_asked_about():
    check = mixing.check_stated(MixRatio(6, 1), carrier=4, colour=24)
    assert check.question.code == "quantities-reversed"
    assert "exchanged" in check.text


@given(st.integers(0, 400), st.integers(1, 400))
def test_ratio_of_whole_quantities_is_exact(carrier, colour):
    assert ratio_of(carrier_volume=carrier, colour_volume=colour) == MixRatio(carrier, colour)


@given(st.floats(0.1, 900), st.floats(0.1, 900))
def test_ratio_of_any_quantities_keeps_sides(carrier, colour):
    ratio = ratio_of(carrier_volume=carrier, colour_volume=colour)
    assert ratio.fraction == pytest.approx(colour / (carrier + colour), abs=1e-3)


@given(MIXES)
def test_only_more_colour_than_carrier_is_questioned(ratio):
    asked = mixing.ratio_questions([ratio, ratio])
    assert len(asked) == (ratio.colour > ratio.carrier)
    for question in asked:
        if question.other is not None:
            assert question.other == MixRatio(ratio.colour, ratio.carrier)
            assert question.other.words in question.text
