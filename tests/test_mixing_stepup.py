"""From one pot to the next: nothing is lost, and what cannot be done is said."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from matchlib import mixing
from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError

RATIOS = st.builds(
    MixRatio, st.fractions(1, 50, max_denominator=8), st.fractions("1/8", 5, max_denominator=8)
)
BLEND = Colour.parse("teal 2 + violet 1")


@given(st.floats(0.5, 5000), RATIOS, RATIOS, st.one_of(st.none(), st.floats(1, 30000)))
def test_a_step_conserves_every_part(left, now, then, want):
    try:
        step = mixing.step_pot(left, now=now, then=then, want_ml=want, colour=BLEND)
    except DomainError as error:
        assert want is not None
        assert "pour off" in error.remedy  # noqa: PT017 - the one refusal that is right here
        return
    assert step.add.carrier_ml >= -1e-9
    assert step.add.colour_ml >= -1e-9
    close = {"rel": 1e-9, "abs": 1e-9}
    carrier = step.before.carrier_ml + step.add.carrier_ml
    assert carrier == pytest.approx(step.after.carrier_ml, **close)
    for (_, before), (_, add), (_, after) in zip(
        step.before.colours, step.add.colours, step.after.colours, strict=True
    ):
        assert before + add == pytest.approx(after, **close)
    assert step.after.colour_ml / step.after.total_ml == pytest.approx(then.fraction, rel=1e-9)
    if want is None:
        # The least addition: one of the two stays in the bottle.
        assert min(step.add.carrier_ml, step.add.colour_ml) == pytest.approx(0, abs=1e-9)


def test_six_to_one_into_three_to_one():
    # 70 ml at 6:1 holds 60 carrier and 10 colour; at 3:1 60 carrier wants 20 colour.
    step = mixing.step_pot(70, now=MixRatio(6, 1), then=MixRatio(3, 1))
    assert step.kind == "stronger"
    assert (step.add.carrier_ml, step.add.colour_ml) == (0, pytest.approx(10))
    assert "add 10 ml colour: 80 ml from 6:1 to 3:1" in step.text


def test_letting_down_a_pot_too_strong():
    step = mixing.step_pot(40, now=MixRatio(3, 1), then=MixRatio(6, 1))
    assert step.kind == "let down"
    assert (step.add.carrier_ml, step.add.colour_ml) == (pytest.approx(30), 0)
    assert "30 ml carrier" in step.text
    assert "colour (" not in step.text


@given(st.floats(0, 3000), st.floats(1, 500), RATIOS)
def test_making_up_for_a_panel(left, used, ratio):
    step = mixing.top_up(used, volume_left_ml=left, ratio=ratio)
    assert step.kind == "top up"
    assert step.after.total_ml == pytest.approx(left + used)
    assert step.add.colour_ml == pytest.approx(used * ratio.fraction, rel=1e-6, abs=1e-9)


@given(st.floats(1, 3000), RATIOS, RATIOS)
def test_there_and_back_is_the_ratio_of_before(left, now, then):
    assume(now != then)
    step = mixing.step_pot(left, now=now, then=then)
    back = mixing.step_pot(step.after.total_ml, now=then, then=now)
    assert back.after.ratio == now
    assert back.after.total_ml >= left * (1 - 1e-9)
    assert {step.kind, back.kind} == {"stronger", "let down"}


def test_neat_colour_from_a_mixed_pot_is_refused():
    with pytest.raises(DomainError, match="neat colour") as caught:
        mixing.step_pot(50, now=MixRatio(6, 1), then=MixRatio(0, 1))
    assert caught.value.remedy
    assert mixing.step_pot(50, now=MixRatio(0, 1), then=MixRatio(1, 1)).add.carrier_ml == 50


def test_too_small_a_pot_says_what_to_pour_off():
    with pytest.raises(DomainError, match="larger") as caught:
        mixing.step_pot(70, now=MixRatio(6, 1), then=MixRatio(3, 1), want_ml=40)
    assert "pour off 35 ml" in caught.value.remedy
    kept = mixing.step_pot(35, now=MixRatio(6, 1), then=MixRatio(3, 1), want_ml=40)
    assert kept.after.total_ml == pytest.approx(40)


def test_the_pot_does_not_run_over():
    with pytest.raises(DomainError, match="run over") as caught:
        mixing.step_pot(70, now=MixRatio(6, 1), then=MixRatio(12, 1), room_ml=100)
    assert "keep only" in caught.value.remedy


def test_plain_data_names_both_sides():
    data = mixing.step_pot(70, now=MixRatio(6, 1), then=MixRatio(3, 1), colour=BLEND).as_dict()
    assert data["now"]["carrier_parts"] == "6"
    assert data["next"]["colour_parts"] == "1"
    assert data["add_carrier_ml"] == 0
    assert data["add_colour_ml"] == pytest.approx(10)
