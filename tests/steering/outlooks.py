"""What a card is expected to read, for the tests of steering."""

from __future__ import annotations

from dataclasses import replace

from matchlib.correction import Card
from matchlib.domain import CoatSchedule, Recipe, Viewing
from matchlib.regression import FilmRegressor, Prediction

__all__ = ["VIEW", "expected", "of", "outlook"]

VIEW = Viewing()


def expected(model: FilmRegressor, recipe: Recipe) -> tuple[float, float, float]:
    light, red, yellow = model.predict_recipes([recipe], VIEW)[0]
    return float(light), float(red), float(yellow)


def outlook(card: Card, recipe: Recipe) -> Prediction:
    return card.together([recipe], [VIEW]).prediction


def of(recipe: Recipe, schedule: str) -> Recipe:
    return replace(recipe, schedule=CoatSchedule.parse(schedule))
