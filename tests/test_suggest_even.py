"""A match that must lie evenly: kept to, looked for widely, and not promised more."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from matchlib.evenness import film_tolerance
from matchlib.mixing import Limits
from matchlib.suggest import suggest
from matchlib.target import Target
from tests.suggest_shop import archive_of, model_of, recipe, shop


def goal() -> Target:
    return Target.lab(
        *model_of().predict_recipes([recipe("gold", str(shop().colours[0]), "3@5:1")])[0]
    )


def shows(recipes) -> np.ndarray:
    return film_tolerance(model_of(), recipes, changes=(0.1,))[:, 0]


@pytest.mark.parametrize("share", [0.9, 0.7])
def test_what_lies_evenly_is_found_though_all_near_recipes_do_not(share: float) -> None:
    free = suggest(model_of(), goal(), archive=archive_of())
    most = share * float(shows([s.recipe for s in free]).min())
    words = model_of().words_
    ratios = [f"{parts / 2:g}:1" for parts in range(4, 21)]
    every = [
        recipe(ground, colour, f"{coats}@{ratio}")
        for ground, colour in product(words.grounds, words.colours)
        for coats, ratio in product(range(1, 7), ratios)
    ]
    far = goal().difference([model_of().predict_recipes(every)])
    kept = suggest(model_of(), goal(), Limits(max_unevenness=most), archive=archive_of())
    assert min(s.delta_e00 for s in kept) <= far[shows(every) <= most].min() + 0.1
    # A finer cup would reach the target, but not evenly.
    assert not kept.reachable
    assert "Finer parts" not in kept.why_not
