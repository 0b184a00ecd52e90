"""The film regression with correction: after every panel the model learns what today is like."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from matchlib.correction import Belief, learn
from matchlib.correction.scoring import best_of, scored
from matchlib.domain import Panel, Recipe
from matchlib.regression import FilmRegressor
from tests.benchmarks.lightlab import Array
from tests.benchmarks.panels import to_frame
from tests.benchmarks.strategies import Tried, shelf_recipes

__all__ = ["Corrected", "fitted"]


@lru_cache(maxsize=8)  # several ways are tried on one archive
def fitted(archive: tuple[Panel, ...]) -> FilmRegressor:
    """The film regression of an archive."""
    return FilmRegressor().fit(*to_frame(archive))


class Corrected:
    """Sprays what is likeliest to pass, and corrects by every panel's reading.

    As at the bench: what comes first is the search's, by the archive alone; what today is like is
    asked only once a panel of today has been read.
    """

    def __init__(self) -> None:
        self._archive: Sequence[Panel] | None = None

    def _see(self, archive: Sequence[Panel]) -> None:
        if archive is self._archive:
            return
        self._archive = archive
        self.recipes = shelf_recipes(archive)
        model = fitted(tuple(archive))
        self.belief = Belief.of(model)

    def propose(self, archive: Sequence[Panel], target: Array, tried: Tried) -> Recipe:
        """Return the recipe likeliest to be within 1.0."""
        self._see(archive)
        seen = [(recipe, tuple(lab)) for recipe, lab in tried]
        knows = learn(self.belief, seen)[0] if seen else self.belief.model
        best = best_of(scored(knows, self.recipes, target))
        assert best is not None
        return best.recipe
