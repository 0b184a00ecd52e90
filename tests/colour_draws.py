"""Colours and spectra drawn at random, and every light that there are weights for."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from matchlib.domain.reading import ILLUMINANTS, OBSERVERS

__all__ = ["LAB", "LIGHTS", "SPECTRUM", "random_lab"]

LIGHTS = [(i, o) for i in ILLUMINANTS for o in OBSERVERS]
LAB = hnp.arrays(np.float64, (3,), elements=st.floats(-128, 128, allow_subnormal=False)).map(
    lambda v: np.array([abs(v[0]) % 100, v[1], v[2]])
)
# Five digits, as instruments print: numbers near nothing are no readings.
SPECTRUM = hnp.arrays(np.float64, (31,), elements=st.integers(0, 120_000).map(lambda v: v / 1e5))


def random_lab(n: int, seed: int = 5) -> np.ndarray:
    return np.random.default_rng(seed).uniform([0, -110, -110], [100, 110, 110], (n, 3))
