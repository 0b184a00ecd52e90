"""How law and library are weighed, and how wide regions must be, by readings left out."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.regression.library import library_share
from matchlib.regression.stacking import _growth, _Missed, _shared


def left_out(width: float, groups: int = 40, seed: int = 0) -> _Missed:
    """Readings whose misses are so many times as wide as is said of them."""
    count = 4 * groups
    miss = width * np.random.default_rng(seed).normal(size=(count, 3))
    none, unit = np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1))
    return _Missed(
        group=np.repeat(np.arange(groups), 4),
        lab=miss,
        law=none,
        known=0.5 * unit,
        own=0.5 * unit,
        library=none,
        spread=none,
        worth=np.ones(count),
    )


def test_regions_grow_as_much_as_what_was_left_out_lies_farther_out() -> None:
    m = left_out(np.sqrt(1.8))
    assert _growth(m, m.known, dof=np.inf) == pytest.approx(1.8, rel=0.2)


def test_regions_never_shrink_and_few_readings_hardly_move_them() -> None:
    narrow, few = left_out(0.5), left_out(2.0, groups=1)
    assert _growth(narrow, narrow.known, dof=np.inf) == 1.0
    many = left_out(2.0)
    found = [_growth(m, m.known, dof=np.inf) for m in (few, many)]
    assert 1.0 < found[0] < 0.8 * found[1]


def test_two_guesses_are_weighed_by_their_precision() -> None:
    # The weights of least variance of two independent forecasts (Bates and Granger 1969, eq. 1).
    law, library = np.array([4.0, 1.0, 9.0]), np.array([1.0, 1.0, 3.0])
    np.testing.assert_allclose(library_share(law, library, np.ones(3)), [0.8, 0.5, 0.75])
    np.testing.assert_array_equal(library_share(law, library, np.full(3, np.inf)), 0.0)
    np.testing.assert_array_equal(library_share(law, library, np.zeros(3)), 1.0)


@pytest.mark.parametrize(("law", "library", "taken"), [(5.0, 20.0, False), (20.0, 5.0, True)])
def test_no_share_is_taken_that_lies_farther_off(law: float, library: float, taken: bool) -> None:
    # The law says that it is far surer than it is, so that by density alone the library has the
    # more of it, however far it lies.
    n = 60
    lab, off = np.tile([50.0, 10.0, 10.0], (n, 1)), np.random.default_rng(3).normal(size=(n, 3))
    m = _Missed(
        np.arange(n),
        lab,
        lab + law * off,
        np.tile(0.1 * np.eye(3), (n, 1, 1)),
        np.tile(0.1 * np.eye(3), (n, 1, 1)),
        lab + library * off,
        np.full((n, 3), library**2),
        np.ones(n),
    )
    doubt, share = _shared(m, np.tile(0.3 * np.eye(3), (n, 1, 1)))
    assert bool(np.isfinite(doubt)) == taken
    assert bool(share.max() > 0.0) == taken
