"""Panels that are laid heavier than in the archive."""

from __future__ import annotations

import numpy as np

from matchlib.domain import Recipe
from tests.benchmarks.panels import labs
from tests.benchmarks.spray import Shop

__all__ = ["heavy"]


def heavy(shop: Shop, recipe: Recipe, factor: float) -> tuple[float, float, float]:
    """Return what a recipe reads on average, laid so many times as heavily."""
    lab = np.mean(
        [labs([shop.spray(recipe, np.random.default_rng(i), heavy=factor)])[0] for i in range(12)],
        axis=0,
    )
    return (float(lab[0]), float(lab[1]), float(lab[2]))
