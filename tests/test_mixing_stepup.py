"""From one pot to the next: nothing is lost, and what cannot be done is said."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.pour import Remainder, by_marks, most_kept, pour

RATIOS = st.builds(
    MixRatio, st.fractions(1, 50, max_denominator=8), st.fractions("1/8", 5, max_denominator=8)
)
BLEND = Colour.parse("teal 2 + violet 1")


@given(st.floats(1, 5000), st.floats(0, 1), RATIOS, RATIOS)
def test_adding_makes_the_pot_and_loses_nothing(total, share, now, then):
    most = most_kept(total, then, now)
    kept = Remainder(share * most, now)
    pot = pour(total, then, colour=BLEND, kept=kept)
    assert all(p.ml >= 0 for p in pot.portions)
    assert kept.ml + sum(p.ml for p in pot.portions) == pytest.approx(total, rel=1e-9)
    colour = kept.ml * now.fraction + pot.ml("colour")
    assert colour / total == pytest.approx(then.fraction, rel=1e-9)


@given(st.floats(1, 5000), RATIOS, RATIOS)
def test_the_most_kept_leaves_one_of_the_two_in_its_bottle(total, now, then):
    kept = Remainder(most_kept(total, then, now), now)
    pot = pour(total, then, kept=kept)
    assert min(pot.ml("carrier"), pot.ml("colour")) == pytest.approx(0, abs=1e-9 * total)


def test_six_to_one_into_three_to_one():
    # 70 ml at 6:1 holds 60 carrier and 10 colour; at 3:1 60 carrier wants 20 colour.
    assert most_kept(80, MixRatio(3, 1), MixRatio(6, 1)) == pytest.approx(70)
    pot = pour(80, MixRatio(3, 1), kept=Remainder(70, MixRatio(6, 1)))
    assert (pot.ml("carrier"), pot.ml("colour")) == (pytest.approx(0), pytest.approx(10))
    assert "70 ml left at 6:1 + 10 ml colour = 80 ml" in pot.words()


def test_letting_down_a_pot_too_strong():
    pot = pour(70, MixRatio(6, 1), kept=Remainder(40, MixRatio(3, 1)))
    assert (pot.ml("carrier"), pot.ml("colour")) == (pytest.approx(30), pytest.approx(0))


def test_too_much_kept_says_what_to_pour_off():
    with pytest.raises(DomainError, match="Adding cannot") as caught:
        pour(40, MixRatio(3, 1), kept=Remainder(70, MixRatio(6, 1)))
    assert "pour off 35 ml" in caught.value.remedy
    assert most_kept(40, MixRatio(0, 1), MixRatio(6, 1)) == 0


@given(st.floats(30, 800), st.floats(0, 400), RATIOS, RATIOS, st.sampled_from([1.0, 5.0]))
def test_a_step_by_marks_is_whole_marks_of_the_ratio(total, left, now, then, mark):
    kept = Remainder(left, now) if left > 0 else None
    try:
        pot = by_marks(total, then, mark_ml=mark, colour=BLEND, kept=kept)
    except DomainError as error:
        assert "coarse" in str(error)  # noqa: PT017 - the one refusal that is right here
        return
    assert pot.total_ml >= total - 1e-6
    assert pot.kept_ml <= left + 1e-9
    assert pot.kept_ml + sum(p.ml for p in pot.portions) == pytest.approx(pot.total_ml)
    colour = pot.kept_ml * now.fraction + pot.ml("colour")
    assert abs(colour / pot.total_ml / then.fraction - 1) <= pot.error + 1e-9
