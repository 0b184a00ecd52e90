"""Recipes as arrays: who is in them, how many coats, how strong, how viewed, under what conditions.

A `RecipeTable` is a table of recipes written in a `Vocabulary`, one row a reading, ready for the
film law. Text is read once for each distinct recipe, not once a row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Colour, Conditions, Ground, Recipe, Viewing
from matchlib.film import path_factor
from matchlib.regression.vocabulary import Vocabulary, shared_by

__all__ = ["REFERENCE_FRACTION", "RecipeTable"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

REFERENCE_FRACTION = 1.0 / 7.0
"""Colour fraction of 6:1, at which one coat counts as dose 1 [-]."""


@dataclass(frozen=True)
class RecipeTable:
    """Rows of recipes as arrays; n rows, g grounds, c colours, s steps at most."""

    ground_share: Array  # (n, g), by volume [-]
    colour_share: Array  # (n, s, c), of each step's colour by volume [-]; 0 for a bare ground
    coats: Array  # (n, s), of each step
    first: Array  # (n, s), 1 where the step holds the first coat
    bend: Array  # (n, s), logarithm of the colour fraction over that of 6:1
    cleared: NDArray[np.bool_]  # (n,), under clear coat
    geometry: Ints  # (n,), place in the vocabulary's geometries; under 0 one never read
    path: Array  # (n,), way through the film relative to 45:0 [-]
    aspecular: NDArray[np.bool_]  # (n,), whether the geometry is
    glossy: NDArray[np.bool_]  # (n,), whether the gloss is included
    shared: Array  # (n, e), 1 for each thing in the vocabulary that a row shares with others
    time: Array  # (n,), days since the first over those from first to last, NaN where not known

    def __len__(self) -> int:
        return len(self.path)

    def take(self, rows: Ints | NDArray[np.bool_] | slice) -> RecipeTable:
        """Return some of the rows."""
        return RecipeTable(**{k: v[rows] for k, v in self.__dict__.items()})

    @property
    def strength(self) -> Array:
        """Colour fraction times coats over that of one coat of 6:1, by colour, shape (n, c)."""
        laid = self.coats * np.exp(self.bend)
        return np.asarray(np.einsum("nsc,ns->nc", self.colour_share, laid), float)

    @property
    def turn(self) -> Array:
        """How far each step's mix turns each colour's hue from that of 6:1, -1 to 1, (n, s, c)."""
        # Of a blend each colour gathers with its own.
        share = self.colour_share
        own = np.log(share, out=np.zeros(share.shape), where=share > 0)
        return np.asarray(np.tanh(self.bend[:, :, None] + own))

    @property
    def colours(self) -> NDArray[np.bool_]:
        """Which colours are on each row's panel, shape (n, c)."""
        return np.asarray((self.colour_share > 0).any(axis=1), np.bool_)

    @property
    def shown(self) -> NDArray[np.bool_]:
        """Which grounds and colours are, in the order of `Vocabulary.names`, shape (n, g + c)."""
        return np.hstack([self.ground_share > 0, self.colours])

    @classmethod
    def of(
        cls,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing],
        words: Vocabulary,
        conditions: Conditions | Sequence[Conditions] | None = None,
    ) -> RecipeTable:
        """Write recipes in a vocabulary."""
        # One object is read once; comparing equal recipes would take longer than reading them.
        distinct = {id(r): r for r in recipes}
        place = {key: i for i, key in enumerate(distinct)}
        index = np.array([place[id(r)] for r in recipes], np.intp)
        depth = max([len(r.schedule.steps) for r in distinct.values() if r.schedule] or [1])
        count = len(distinct)
        ground = np.zeros((count, len(words.grounds)))
        colour = np.zeros((count, depth, len(words.colours)))
        coats, first, bend = (np.zeros((count, depth)) for _ in range(3))
        shares: dict[int, Array] = {}

        def share(blend: Ground | Colour) -> Array:
            if id(blend) not in shares:
                shares[id(blend)] = words.shares(blend)
            return shares[id(blend)]

        for i, recipe in enumerate(distinct.values()):
            ground[i] = share(recipe.ground)
            if recipe.colour is None or recipe.schedule is None:
                continue
            before, colour[i] = 0, share(recipe.colour)
            for j, step in enumerate(recipe.schedule.steps):
                coats[i, j], first[i, j] = step.coats, before == 0
                bend[i, j] = np.log(step.ratio.fraction / REFERENCE_FRACTION)
                if step.colour is not None:
                    colour[i, j] = share(step.colour)
                before += step.coats
        groups = [v.canonical.geometry for v in viewings]
        angle = {g: i for i, g in enumerate(words.geometries)}
        length = {g: path_factor(g) / path_factor("45:0") for g in set(groups)}
        if conditions is None or isinstance(conditions, Conditions):
            conditions = [conditions or Conditions()] * len(recipes)
        pairs = [(id(c), r.clear) for c, r in zip(conditions, recipes, strict=True)]
        under = dict(zip(pairs, conditions, strict=True))
        known = {key: i for i, key in enumerate(under)}
        of = np.array([known[pair] for pair in pairs], np.intp)
        column = {key: i for i, key in enumerate(words.shared)}
        shared = np.zeros((len(known), len(column)))
        for i, ((_, clear), said) in enumerate(under.items()):
            keys = [*shared_by(said), ("clear", clear or "")]
            shared[i, [column[key] for key in keys if key in column]] = 1.0
        return cls(
            ground[index],
            colour[index],
            coats[index],
            first[index],
            bend[index],
            np.array([r.clear is not None for r in recipes], bool),
            np.array([angle.get(g, _never_read(g)) for g in groups], np.intp),
            np.array([length[g] for g in groups], float),
            np.array([v.aspecular is not None for v in viewings], bool),
            np.array([v.specular_included for v in viewings], bool),
            shared[of],
            np.array([_time(words.days, said) for said in under.values()], float)[of],
        )


def _never_read(geometry: str) -> int:
    """What stands for a geometry that no panel was read at: -1, -2 or -3; -4 for a photograph."""
    if geometry == "photo":
        return -4
    if geometry.startswith("45as"):
        return -1 if float(geometry[4:]) < 45.0 else -2
    return -1 if geometry == "45:0" else -3


def _time(days: tuple[int, ...], conditions: Conditions) -> float:
    if not days or conditions.date is None:
        return float("nan")
    return (conditions.date.toordinal() - days[0]) / (days[1] - days[0])
