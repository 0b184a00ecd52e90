"""A simulated shop, its archive and the regression fitted to it, shared by the tests of advice."""

from __future__ import annotations

from functools import cache

import numpy as np

from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Recipe
from matchlib.regression import FilmRegressor
from matchlib.suggest.refine import Picks
from matchlib.suggest.space import Space
from matchlib.target import Target
from tests.benchmarks.spray import Shop, to_frame

__all__ = [
    "COLOURS",
    "archive_of",
    "every",
    "goal_of",
    "ladder_model",
    "model_of",
    "recipe",
    "shop",
]


@cache
def shop() -> Shop:
    return Shop(3)


COLOURS = [str(c) for c in shop().colours]


@cache
def archive_of(reading: str = "lab") -> tuple[Panel, ...]:
    return shop().full(1, reading=reading)


@cache
def model_of(reading: str = "lab") -> FilmRegressor:
    return FilmRegressor().fit(*to_frame(archive_of(reading)))


@cache
def ladder_model() -> tuple[FilmRegressor, tuple[Panel, ...]]:
    """A few panels, among them silver and graphite blended three to one."""
    rng = np.random.default_rng(4)
    blend = Ground.parse("silver 3 + graphite 1")
    recipes = [*shop().bare(), Recipe(blend, clear="yes")]
    colour = str(shop().colours[0])
    recipes += [recipe(g, colour, s) for g in ("silver", "graphite", "silver 3 + graphite 1")
                for s in ("3@6:1", "4@4:1")]  # fmt: skip
    panels = tuple(shop().spray(r, rng, code=f"B{i}") for i, r in enumerate(recipes))
    return FilmRegressor(library=False, rounds=1).fit(*to_frame(panels)), panels


def recipe(ground: str, colour: str, schedule: str, clear: str = "yes") -> Recipe:
    return Recipe(Ground.parse(ground), Colour.parse(colour), CoatSchedule.parse(schedule), clear)


def goal_of(r: Recipe) -> Target:
    lab = model_of().predict_recipes([r])[0]
    return Target.lab(*lab)


def every(space: Space) -> Picks:
    """All that a search chooses from."""
    rows = [
        (g, p, int(s))
        for p in range(len(space.colour_share))
        for g in range(len(space.ground_share))
        for s in np.flatnonzero(space.allowed(p))
    ]
    return Picks(*np.array(rows, np.intp).T)
