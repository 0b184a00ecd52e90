"""The shop whose cards are planned and steered, its fits and a recipe of it."""

from __future__ import annotations

import pytest

from matchlib.domain import CoatSchedule, Recipe
from matchlib.regression import FilmRegressor
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Shop


@pytest.fixture(scope="package")
def shop() -> Shop:
    return Shop(0)


@pytest.fixture(scope="package")
def model(shop: Shop) -> FilmRegressor:
    return FilmRegressor().fit(*to_frame(shop.full(0)))


@pytest.fixture(scope="package")
def young(shop: Shop) -> FilmRegressor:
    """A fit of so few panels that it hardly knows its own spread."""
    return FilmRegressor().fit(*to_frame(shop.young(0)))


@pytest.fixture(scope="package")
def recipe(shop: Shop) -> Recipe:
    return Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("4@6:1"), "yes")
