"""A card coat by coat: before clear, as the law has it, and what the clear does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matchlib.domain import CoatSchedule, Recipe
from matchlib.explain import coat_readings
from tests.suggest_shop import model_of, recipe, shop

COLOUR = str(shop().colours[0])


def test_each_coat_is_the_law_without_clear() -> None:
    r = recipe("silver", COLOUR, "2@6:1 1@3:1")
    found = coat_readings(model_of(), r)
    assert [c.coats for c in found.coats] == [0, 1, 2, 3]
    for schedule, one in zip(("1@6:1", "2@6:1", "2@6:1 1@3:1"), found.coats[1:], strict=True):
        plain = replace(r, schedule=CoatSchedule.parse(schedule), clear=None)
        np.testing.assert_allclose(one.lab, model_of().predict_recipes([plain])[0])
        assert one.spread > 0
    np.testing.assert_allclose(
        found.coats[0].lab, model_of().predict_recipes([Recipe(r.ground)])[0]
    )
    np.testing.assert_allclose(found.cleared.lab, model_of().predict_recipes([r])[0])
    assert f"{abs(found.cleared.lab[0] - found.coats[-1].lab[0]):.1f} L*" in found.clear_words


def test_without_cards_read_before_clear_it_is_called_a_guess() -> None:
    r = recipe("silver", COLOUR, "2@6:1")
    assert "guess" in coat_readings(model_of(), r).clear_words
    assert coat_readings(model_of(), replace(r, clear=None)).clear_words == ""
    bare = coat_readings(model_of(), Recipe(r.ground, clear="yes"))
    assert len(bare.coats) == 1
    assert bare.clear_words


@pytest.mark.parametrize("schedule", ["1@6:1", "5@4:1"])
def test_coats_darken_a_bright_ground(schedule: str) -> None:
    found = coat_readings(model_of(), recipe("silver", COLOUR, schedule))
    light = [c.lab[0] for c in found.coats]
    assert light == sorted(light, reverse=True)
