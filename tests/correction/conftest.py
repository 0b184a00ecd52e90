"""A shop that sprays evenly, a fit to its archive, and a recipe of it."""

from __future__ import annotations

import pytest

from matchlib.domain import CoatSchedule, Recipe
from matchlib.regression import FilmRegressor
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Noise, Shop


@pytest.fixture(scope="package")
def shop() -> Shop:
    return Shop(3, n_grounds=3, n_colours=2, noise=Noise(film=0.02, coat=0.02))


@pytest.fixture(scope="package")
def model(shop: Shop) -> FilmRegressor:
    return FilmRegressor(rounds=2).fit(*to_frame(shop.archive(36, 0)))


@pytest.fixture(scope="package")
def recipe(shop: Shop) -> Recipe:
    return Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("4@5:1"), "yes")
