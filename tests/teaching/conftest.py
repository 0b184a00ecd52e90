"""Two colours of the demonstration, and their fit."""

from __future__ import annotations

import pytest

from matchlib.demo import demo_panels
from matchlib.domain import Panel
from matchlib.regression import FilmRegressor, frames_of


@pytest.fixture(scope="package")
def panels() -> tuple[Panel, ...]:
    """Two colours of the demonstration over all its grounds."""
    names = {"cherry", "lagoon"}
    return tuple(
        p for p in demo_panels() if p.recipe.colour is None or set(p.recipe.colour.names) <= names
    )


@pytest.fixture(scope="package")
def model(panels: tuple[Panel, ...]) -> FilmRegressor:
    return FilmRegressor().fit(*frames_of(panels))
