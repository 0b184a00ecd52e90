"""The fast look over every recipe: the reduced law in single precision.

Its best are all worked out again by the whole fit, the library's share included, which alone
decides.
"""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Viewing
from matchlib.progress import Callback
from matchlib.suggest.reduced_law import ReducedLaw, doses
from matchlib.suggest.space import Space

__all__ = ["scan"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Single = NDArray[np.float32]

BLOCK = 1024
"""Pots and schedules worked out at a time, over every ground: they stay in a core's cache.

All of it on one core: a second one, tried, waited for the interpreter at each of the many short
calls, and took longer.
"""

PAUSE = 0.05
"""Between two calls of a callback [s]."""

SAID = "looking through every recipe"

_TO_LAB = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
_LIGHTER = np.array([16.0, 0.0, 0.0])


def scan(
    space: Space,
    viewings: Sequence[Viewing],
    labs: Sequence[Array],
    metrics: Sequence[Array],
    *,
    callback: Callback | None = None,
) -> list[tuple[Ints, Single]]:
    """For each pot, schedules it may have (m,) and squared differences (grounds, m) by the law."""
    laws = {viewing: ReducedLaw.of(space, viewing) for viewing in dict.fromkeys(viewings)}
    aims = []
    for viewing, lab, metric in zip(viewings, labs, metrics, strict=True):
        values, vectors = np.linalg.eigh(metric)
        root = np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T
        goal = (root @ (lab + _LIGHTER))[:, None]
        aims.append((laws[viewing], (root @ _TO_LAB).astype(np.float32), goal.astype(np.float32)))
    shares, (dose, rich) = space.colour_share.T.astype(np.float32), doses(space, viewings[0])
    allowed = [np.flatnonzero(space.allowed(pot)) for pot in range(len(space.colour_share))]
    count = [len(rows) for rows in allowed]
    pot, row = np.repeat(np.arange(len(count)), count), np.concatenate(allowed)
    squares = np.zeros((len(space.ground_share), len(row)), np.float32)
    reported = 0.0
    for start in range(0, len(row), BLOCK):
        if callback is not None and time.monotonic() - reported > PAUSE:
            callback(start / len(row), SAID)
            reported = time.monotonic()
        block = slice(start, start + BLOCK)
        share, whole = shares[:, pot[block]], rich[row[block]]
        # The turn of a part of the pot, tanh(x + log share), by that of all of it, tanh x.
        part = (share**2 - 1.0) / (share**2 + 1.0)
        turn = (whole + part) / (1.0 + whole * part)
        for law, to_gap, goal in aims:
            gap = to_gap @ law.roots(share * dose[row[block]], turn) - goal
            squares[:, block] += np.einsum("gcn,gcn->gn", gap, gap)
    return list(zip(allowed, np.split(squares, np.cumsum(count)[:-1], axis=1), strict=True))
