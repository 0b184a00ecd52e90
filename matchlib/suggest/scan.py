"""The fast look over every recipe: the film law by a short series instead of its exponentials.

In the reduced law (`matchlib.suggest.reduced_law`) a recipe's colour over one ground depends on the
dose of its pot and on the mix ratio, by which hues turn a little: over all schedules two numbers.
The cube roots of X, Y and Z, of which Lab consists, are analytic in the ratio's and in the square
root of the dose: from twelve points of that by three of the other follow the thousand or more
schedules of a pot, over every ground and from every angle, within 0.01 ΔE*ab
(`matchlib.suggest.series`; tests hold it to 0.03). A pot of few schedules is worked out recipe by
recipe.

Its best are all worked out again by the whole fit, the library's share included, which alone
decides.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Viewing
from matchlib.progress import Callback
from matchlib.suggest.reduced_law import ReducedLaw, doses
from matchlib.suggest.series import Series
from matchlib.suggest.space import Space

__all__ = ["scan"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Single = NDArray[np.float32]

WITHIN = 3e-5
"""Greatest coefficient of a series' last degree, in units of `HEIGHT`: 1 of L* is about 0.01."""

POINTS = (12, 3)
"""Points to begin with in the root of the dose, and in the ratio."""

POTS, PART = 32, 128 * 1024
"""Pots of one series, and pots times schedules, at most: what is done between two steps.

All of it on one core: a second one, tried, waited for the interpreter at each of the many short
calls, and took longer.
"""

CELLS = 120 * 1024
"""Recipes times coordinates of their colours worked out at a time: they stay in a core's cache."""

PAUSE = 0.05
"""Between two calls of a step [s]."""

SAID = "looking through every recipe"

KNEE = 6.0 / 29.0
"""Cube root of X/Xn under which Lab goes on in a straight line of X/Xn."""

HEIGHT = 1.0 / (KNEE * math.sqrt(24.0))
"""Unit of a cube root r over the knee k, z = HEIGHT (r - k), in which that line is simplest.

Under the knee Lab has r³ / 3k² + 2k / 3 instead of r, which is more by (r - k)² (r + 2k) / 3k².
With u = z - |z|, that is 2 z under the knee and 0 over it, this is u² (u + √1.5) in this unit.
"""


def scan(
    space: Space,
    viewings: Sequence[Viewing],
    labs: Sequence[Array],
    metrics: Sequence[Array],
    *,
    callback: Callback | None = None,
) -> list[tuple[Ints, Single]]:
    """For each pot, schedules it may have (m,) and squared differences (grounds, m) by the law."""
    desk = _Desk(space, viewings, labs, metrics)
    allowed = _allowed(space)
    parts = _parts(space.colour_share, allowed)
    found = dict.fromkeys(range(len(allowed)), np.empty((len(space.ground_share), 0), np.float32))
    reported = 0.0
    for done, part in enumerate(parts):
        if callback is not None and time.monotonic() - reported > PAUSE:
            callback(done / len(parts), SAID)
            reported = time.monotonic()
        squares = desk.work(part)
        for place, pot in enumerate(part.pots):
            every = len(allowed[pot]) == len(part.rows)
            at = slice(None) if every else np.searchsorted(part.rows, allowed[pot])
            found[pot] = squares[:, place, at]
    return [(rows, found[pot]) for pot, rows in enumerate(allowed)]


def _allowed(space: Space) -> list[Ints]:
    """The schedules of each pot; without a stock they are those of all pots of its kind."""
    of_kind: dict[int, Ints] = {}
    kinds = range(len(space.neat)) if space.limits.stock else space.neat.tolist()
    for pot, kind in enumerate(kinds):
        if kind not in of_kind:
            of_kind[kind] = np.flatnonzero(space.allowed(pot))
    return [of_kind[kind] for kind in kinds]


class _Part(NamedTuple):
    """Pots of the same colours, and all the schedules that any of them may have."""

    used: Ints
    pots: list[int]
    rows: Ints


def _parts(shares: Array, allowed: Sequence[Ints]) -> list[_Part]:
    alike: dict[tuple[bool, ...], list[int]] = {}
    for pot, held in enumerate((shares > 0.0).tolist()):
        alike.setdefault(tuple(held), []).append(pot)
    parts = []
    for held, pots in alike.items():
        kinds = list({id(allowed[p]): allowed[p] for p in pots}.values())
        rows = kinds[0] if len(kinds) == 1 else np.unique(np.concatenate(kinds))
        if len(rows):
            at, each = np.flatnonzero(held), max(1, min(POTS, PART // len(rows)))
            parts += [_Part(at, pots[i : i + each], rows) for i in range(0, len(pots), each)]
    return parts


class _Desk:
    """What all parts share: the laws of all aims, the doses and the differences."""

    def __init__(
        self,
        space: Space,
        viewings: Sequence[Viewing],
        labs: Sequence[Array],
        metrics: Sequence[Array],
    ) -> None:
        briefs = {v: ReducedLaw.of(space, v) for v in dict.fromkeys(viewings)}
        self.laws = [briefs[v] for v in viewings]
        self.share = space.colour_share.T.astype(np.float32)
        self.dose, self.rich = doses(space, viewings[0])
        to_lab = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
        knots, goals = [], []
        for lab, metric in zip(labs, metrics, strict=True):
            values, vectors = np.linalg.eigh(metric)
            root = np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T
            knots.append(root @ to_lab / HEIGHT)
            goals.append(root @ (lab + np.array([16.0, 0.0, 0.0]) - KNEE * to_lab.sum(axis=1)))
        self.knots = np.stack(knots)[:, None].astype(np.float32)
        self.goals = np.stack(goals)[:, None, :, None].astype(np.float32)

    def work(self, part: _Part) -> Single:
        """Squared difference over each ground, of each pot, by each schedule."""
        used = part.used[:, None]
        share = self.share[used, part.pots][:, :, None]
        part_turn = (share**2 - 1.0) / (share**2 + 1.0)
        at = np.stack([np.sqrt(self.dose[part.rows]), self.rich[part.rows]])

        def heights(at: NDArray[np.floating]) -> Single:
            root, rich = at.astype(np.float32)
            # The turn of a part of the pot, tanh(x + log share), by that of all of it, tanh x.
            turn = (rich + part_turn) / (1.0 + rich * part_turn)
            dose, turn = (x.reshape(len(part.used), -1) for x in (share * root**2, turn))
            seen = np.concatenate([law.roots(dose, turn, part.used) for law in self.laws])
            seen -= KNEE
            seen *= HEIGHT
            return seen.reshape(-1, at.shape[1])

        series = Series.of(
            heights,
            (at.min(axis=1).astype(float), at.max(axis=1).astype(float)),
            POINTS,
            within=WITHIN,
            most=at.shape[1] // 2,
        )
        k, p, s = len(self.laws[0].ground), len(part.pots), len(part.rows)
        squares = np.empty((k, p, s), np.float32)
        block = max(1, CELLS // (3 * k * len(self.laws) * p))
        for i in range(0, s, block):
            values = (series or heights)(at[:, i : i + block])
            self._square(values.reshape(-1, k, 3, p, values.shape[1]), squares[:, :, i : i + block])
        return squares

    def _square(self, height: Single, out: Single) -> None:
        if height.min() < 0.0:
            under = height - np.abs(height)
            bend = under * under
            under += np.float32(np.sqrt(1.5))
            bend *= under
            height += bend
        gap = self.knots @ height.reshape(*height.shape[:3], -1)
        gap -= self.goals
        out[:] = np.einsum("agcn,agcn->gn", gap, gap).reshape(out.shape)
