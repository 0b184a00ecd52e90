"""Ratios, names and schedules drawn at random, and how a refusal is looked at."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import strategies as st

from matchlib.domain import (
    CoatSchedule,
    CoatStep,
    MixRatio,
)
from matchlib.errors import DomainError

PARTS = st.one_of(
    st.integers(1, 60).map(Fraction),
    st.integers(1, 6000).map(lambda n: Fraction(n, 100)),
    st.fractions(Fraction(1, 50), 100, max_denominator=50),
)
CUP = st.integers(1, 6000).map(lambda n: Fraction(n, 100))
RATIOS = st.builds(MixRatio, CUP, CUP)
MIXES = st.builds(
    MixRatio, st.fractions(0, 50, max_denominator=8), st.fractions("1/8", 10, max_denominator=8)
)
"""Ratios as they are mixed, no colour or all of it among them."""
NAMES = (
    st.text(
        st.characters(categories=["L", "N", "P", "Zs"], exclude_characters="+@"),
        min_size=1,
        max_size=40,
    )
    .map(lambda text: " ".join(text.split()))
    .filter(lambda t: len(t) > 0 and t.isprintable())
)
SCHEDULES = st.lists(st.builds(CoatStep, st.integers(1, 9), RATIOS), min_size=1, max_size=5).map(
    lambda steps: CoatSchedule(tuple(steps))
)


def refused(build: Callable[[], object]) -> DomainError:
    with pytest.raises(DomainError) as caught:
        build()
    error = caught.value
    assert error.problem, error
    assert error.expected, error
    assert error.got, error
    assert error.remedy, error
    return error
