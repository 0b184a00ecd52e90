"""Past the grid: continuous ratio, blend share and ground share, then back to measurable parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Viewing
from matchlib.suggest.space import Schedules, Space
from matchlib.target import Target

__all__ = ["Picks", "refine"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

_STEPS = 3
_NUDGE = 0.01
_STEPPED = 3
"""Step-ups of a blend tried around each optimum: those of the nearest strength."""


@dataclass(frozen=True)
class Picks:
    """Recipes by their places in a `Space`, n of them."""

    ground: Ints
    pot: Ints
    schedule: Ints

    def __len__(self) -> int:
        return len(self.ground)

    def take(self, rows: Ints | NDArray[np.bool_] | slice) -> Picks:
        """Return some of them."""
        return Picks(self.ground[rows], self.pot[rows], self.schedule[rows])

    def joined(self, more: Picks) -> Picks:
        """Return these and, after them, those of others that are not among them."""
        rows = [np.stack([p.ground, p.pot, p.schedule], axis=1).tolist() for p in (self, more)]
        every = dict.fromkeys(map(tuple, chain(*rows)))
        return Picks(*np.array(list(every), np.intp).reshape(-1, 3).T)

    def labs(self, space: Space, viewings: Sequence[Viewing]) -> list[Array]:
        """Return their Lab by the whole law."""
        grounds, pots = space.ground_share[self.ground], space.colour_share[self.pot]
        schedules = space.schedules.take(self.schedule)
        return [_lab(space, grounds, pots, schedules, v) for v in viewings]


def refine(
    space: Space, starts: Picks, target: Target, viewings: Sequence[Viewing]
) -> tuple[Array, Picks]:
    """Descend from the grid's best by damped Gauss-Newton steps on the whole law, then round."""
    # The differences (n,) that continuous parts would reach, and the measurable recipes around.
    walk = _Walk(space, starts, target, viewings)
    x = np.zeros((len(starts), 3))
    damping = np.full(len(starts), 1e-2)
    every = np.arange(len(starts))
    rows, ways = np.nonzero(walk.free)
    residual, best = walk.look(x, every)
    cost = (residual**2).sum(axis=1)
    for _ in range(_STEPS):
        nudged, _ = walk.look(x[rows] + _NUDGE * np.eye(3)[ways], rows)
        jacobian = np.zeros((*residual.shape, 3))
        jacobian[rows, :, ways] = (nudged - residual[rows]) / _NUDGE
        normal = np.swapaxes(jacobian, 1, 2) @ jacobian
        scale = np.trace(normal, axis1=1, axis2=2) + 1e-9
        normal += (damping * scale)[:, None, None] * np.eye(3)
        move = -np.linalg.solve(normal, np.swapaxes(jacobian, 1, 2) @ residual[:, :, None])[..., 0]
        trial = walk.inside(x + np.clip(move, -0.7, 0.7))
        residual_then, best_then = walk.look(trial, every)
        cost_then = (residual_then**2).sum(axis=1)
        better = cost_then < cost
        x[better], residual[better] = trial[better], residual_then[better]
        cost = np.minimum(cost, cost_then)
        best = np.minimum(best, best_then)
        damping = np.where(better, damping / 5.0, damping * 5.0)
    return best, walk.rounded(x)


class _Walk:
    """Shifts from each start: log fraction, logit of the pot's share, logit of the ground's."""

    def __init__(
        self, space: Space, starts: Picks, target: Target, viewings: Sequence[Viewing]
    ) -> None:
        self.space, self.starts, self.viewings, self.target = space, starts, viewings, target
        self.schedules = space.schedules.take(starts.schedule)
        self.stepped: dict[int, Ints] = {}
        self.pots = space.colour_share[starts.pot]
        self.grounds = space.ground_share[starts.ground]
        mixed = np.array([not g.neat for g in space.shelf.grounds])
        # A blend that stands ready mixed on the shelf has the parts that it has.
        open_ = np.array([space.limits.ground_blends] * len(mixed)) & mixed
        blend = ~space.neat[starts.pot] & (np.count_nonzero(self.pots, axis=1) == 2)
        two = np.count_nonzero(self.grounds, axis=1) == 2
        self.free = np.stack(
            [np.ones(len(starts), bool), blend, open_[starts.ground] & two], axis=1
        )
        low, high = space.limits.carrier
        fractions = 1.0 / (1.0 + self.schedules.carrier)
        self.shift_low = np.log(1.0 / (1.0 + high)) - np.log(fractions.min(axis=1))
        self.shift_high = np.log(1.0 / (1.0 + low)) - np.log(fractions.max(axis=1))
        self.edge_pot = np.log(max(space.limits.blend_parts - 1, 1))
        self.edge_ground = np.log(max(space.limits.ground_parts - 1, 1))

    def _share(self, shares: Array, shift: Array) -> Array:
        # The first of the two gains odds by exp(shift); shares of one thing stay as they are.
        first = np.argmax(shares > 0, axis=1)
        odds = shares.copy()
        rows = np.arange(len(shares))
        odds[rows, first] *= np.exp(shift)
        result: Array = odds / odds.sum(axis=1, keepdims=True)
        return result

    def _logit(self, shares: Array) -> Array:
        first = shares[np.arange(len(shares)), np.argmax(shares > 0, axis=1)]
        safe = np.clip(first, 1e-3, 1.0 - 1e-3)
        result: Array = np.log(safe / (1.0 - safe))
        return result

    def inside(self, x: Array) -> Array:
        """Keep shifts within the limits."""
        x = x * self.free
        x[:, 0] = np.clip(x[:, 0], self.shift_low, np.maximum(self.shift_high, self.shift_low))
        for column, shares, edge in (
            (1, self.pots, self.edge_pot),
            (2, self.grounds, self.edge_ground),
        ):
            at = self._logit(shares)
            moved = np.clip(at + x[:, column], -edge, edge) - at
            x[:, column] = np.where(self.free[:, column], moved, 0.0)
        return x

    def _parts(self, x: Array, rows: Ints) -> tuple[Array, Array, Schedules]:
        schedules = self.schedules.take(rows)
        fraction = np.exp(x[:, :1]) / (1.0 + schedules.carrier)
        carrier = 1.0 / np.minimum(fraction, 1.0) - 1.0
        pots = self._share(self.pots[rows], x[:, 1])
        grounds = self._share(self.grounds[rows], x[:, 2])
        return grounds, pots, Schedules(schedules.coats, carrier)

    def look(self, x: Array, rows: Ints) -> tuple[Array, Array]:
        """Return residuals of some starts in the tolerance's metric, and the difference itself."""
        grounds, pots, schedules = self._parts(x, rows)
        residuals, labs = [], []
        for view, wanted, axes in zip(
            self.viewings, self.target.labs, self.target.axes, strict=True
        ):
            lab = _lab(self.space, grounds, pots, schedules, view)
            labs.append(lab)
            residuals.append((lab - wanted) @ axes.T)
        # What the stock has not enough for is passed on the way, and no recipe that could be had.
        enough = self.space.enough(pots, schedules)
        away = np.where(enough, self.target.difference(labs), np.inf)
        return np.concatenate(residuals, axis=1), away

    def rounded(self, x: Array) -> Picks:
        """Return the measurable recipes around the optima."""
        grounds, pots, schedules = self._parts(x, np.arange(len(x)))
        space = self.space
        found: set[tuple[int, int, int]] = set()
        single = np.flatnonzero(space.schedules.single)
        coats = space.schedules.total[single]
        logs = np.log1p(space.schedules.carrier[single, 0])
        for i in range(len(self.starts)):
            own = int(self.starts.schedule[i])
            near_pots = self._near(space.colour_share, pots[i], self.pots[i], self.starts.pot[i], 3)
            near_grounds = self._near(
                space.ground_share, grounds[i], self.grounds[i], self.starts.ground[i], 2
            )
            lines = [own]
            if space.schedules.coats[own, 1] == 0:
                same = np.flatnonzero(coats == space.schedules.total[own])
                gaps = np.abs(logs[same] - np.log1p(schedules.carrier[i, 0]))
                lines = [int(s) for s in single[same[np.argsort(gaps, kind="stable")[:3]]]]
            found |= {(g, p, s) for g in near_grounds for p in near_pots for s in lines}
            if not space.neat[self.starts.pot[i]]:
                # The same pot let down twice lies between two ratios of the cup.
                wanted = schedules.coats[i].sum() / (1.0 + schedules.carrier[i, 0])
                between = self._between(int(space.schedules.total[own]), wanted)
                found |= {(g, near_pots[0], s) for g in near_grounds for s in between}
        places = np.array(sorted(found), np.intp).reshape(-1, 3)
        allowed = {p: space.allowed(p, stepped=True) for p in set(places[:, 1].tolist())}
        kept = np.array([allowed[p][s] for _, p, s in places.tolist()], bool)
        return Picks(*places[kept].T)

    def _between(self, coats: int, strength: float) -> list[int]:
        """Step-ups of so many coats whose two ratios are neighbours, nearest in strength."""
        s = self.space.schedules
        if coats not in self.stepped:
            rows = np.flatnonzero(~s.single & (s.total == coats))
            apart = np.diff(s.carrier[rows], axis=1)[:, 0]
            if len(rows):
                rows = rows[np.abs(apart) <= np.abs(apart).min() * 2.0 + 1e-9]
            self.stepped[coats] = np.asarray(rows, np.intp)
        rows = self.stepped[coats]
        gaps = np.abs(s.take(rows).strength - strength)
        return [int(r) for r in rows[np.argsort(gaps, kind="stable")[:_STEPPED]]]

    @staticmethod
    def _near(shelf: Array, wanted: Array, start: Array, own: int, count: int) -> list[int]:
        alike = np.flatnonzero(((shelf > 0) == (start > 0)).all(axis=1))
        if len(alike) < 2:
            return [int(own)]
        gaps = np.abs(shelf[alike] - wanted).sum(axis=1)
        return [int(p) for p in alike[np.argsort(gaps, kind="stable")[:count]]]


def _lab(space: Space, grounds: Array, pots: Array, schedules: Schedules, view: Viewing) -> Array:
    table = space.table(grounds, pots, schedules, view)
    return space.model.predict_rows(table, view)
