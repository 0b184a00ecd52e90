"""Where films stand along strength, for the residual's kernels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib.regression.lengths import BY_AMOUNT, BY_RECIPE, WAYS, Lengths


@given(st.floats(0.1, 50.0), st.floats(0.2, 3.0))
def test_one_coat_of_six_to_one_stands_at_one_place_whatever_the_knee(knee, strength):
    lengths = Lengths(strength=strength, knee=knee)
    assert lengths.place(np.ones(1))[0] == pytest.approx(np.log(2.0) / strength)


@given(st.floats(0.1, 50.0))
def test_below_the_knee_amounts_count_and_beyond_it_their_ratio(knee):
    lengths = Lengths(knee=knee)
    weak = lengths.place(knee * np.array([0.0, 0.001, 0.002]))
    assert np.diff(weak)[1] == pytest.approx(np.diff(weak)[0], rel=2e-3)
    strong = lengths.place(knee * np.array([1e3, 2e3, 4e3]))
    assert np.diff(strong)[1] == pytest.approx(np.diff(strong)[0], rel=2e-3)


def test_more_film_stands_farther_on_in_every_way():
    strength = np.linspace(0.0, 12.0, 60)
    for way in WAYS:
        assert (np.diff(way.place(strength)) > 0).all()
    # Strong films differ less, seen from weak ones, where ratios count from the first coat.
    far = [way.place(np.array([6.0]))[0] * way.strength for way in (BY_RECIPE, BY_AMOUNT)]
    assert far[0] < far[1]
