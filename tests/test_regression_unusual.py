"""Colours that no film law holds for are noticed, said, and left to the library."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from matchlib.audit import audit
from matchlib.audit.whole import beyond_the_law
from matchlib.colorimetry import GRID, delta_e00
from matchlib.domain import CoatSchedule, Colour, Panel, Reading, Recipe, Viewing
from matchlib.regression import FilmRegressor, frames_of, unusual_words
from matchlib.regression.frames import rows_of
from matchlib.regression.observe import Observations, readings_as_lab
from matchlib.regression.table import RecipeTable
from matchlib.regression.unusual import unusual_names, unusual_rows
from matchlib.regression.vocabulary import Vocabulary
from tests.benchmarks.spray import Shop

GLOW = np.exp(-(((GRID - 610.0) / 18.0) ** 2))


def neon(recipe: Recipe, bare: np.ndarray) -> np.ndarray:
    """Absorbs below 580 nm and gives part of it back at 610 nm, as Donaldson's matrices do."""
    strength = recipe.schedule.coats / 4.0
    taken = 1.0 - np.exp(-2.5 * strength / (1.0 + np.exp((GRID - 575.0) / 8.0)))
    return bare * (1.0 - taken) ** 2 + 0.9 * float(np.mean(taken * bare)) * GLOW * strength**0.3


@pytest.fixture(scope="module")
def shop_panels() -> list[Panel]:
    shop = Shop(5, n_grounds=3, n_colours=2)
    panels = list(shop.archive(30, 5, reading="spectrum"))
    grounds = {p.recipe.ground: p for p in panels if p.recipe.bare}
    rng = np.random.default_rng(5)
    for g, (ground, bare) in enumerate(grounds.items()):
        light = np.array(bare.readings[0].reflectance)
        for coats in (1, 2, 3, 4):
            recipe = Recipe(ground, Colour.parse("neon"), CoatSchedule.parse(f"{coats}@6:1"), "yes")
            seen = neon(recipe, light) * np.exp(rng.normal(0, 0.01))
            panels.append(
                Panel.of(
                    f"N{g}{coats}",
                    recipe,
                    (Reading(wavelengths=tuple(GRID), reflectance=tuple(seen)),),
                )
            )
    return panels


def test_a_colour_that_gives_light_back_is_noticed_and_left_to_the_library(shop_panels):
    left_out = [p for p in shop_panels if p.code.endswith("3") and p.code.startswith("N")]
    kept = [p for p in shop_panels if p not in left_out]
    model = FilmRegressor().fit(*frames_of(kept))
    assert set(model.unusual_) == {("colour", "neon")}
    assert "gives back more light" in unusual_words(model.unusual_)
    X, y = frames_of(left_out)
    alone = FilmRegressor(library=False).fit(*frames_of(kept))
    lab = readings_as_lab(X, y)
    ours, law = (np.median(delta_e00(m.predict(X), lab)) for m in (model, alone))
    assert ours < 0.8 * law


def test_the_audit_says_what_is_beyond_the_law(shop_panels):
    found = [f for f in audit(shop_panels) if f.kind == "beyond the law"]
    assert [f.about for f in found] == ["neon"]
    assert len(found[0].codes) == 12


def test_ordinary_colours_are_not_noticed(shop_panels):
    usual = [p for p in shop_panels if not p.code.startswith("N")]
    assert FilmRegressor(rounds=1).fit(*frames_of(usual)).unusual_ == {}


def names(X: pd.DataFrame, y: np.ndarray) -> set[tuple[str, str]]:
    """What is noticed, without a fit."""
    recipes, viewings, sources, conditions = rows_of(X)
    words = Vocabulary.of(recipes, viewings, conditions)
    table = RecipeTable.of(recipes, viewings, words, conditions)
    seen = Observations.of(X, y, viewings, sources)
    return set(unusual_names(table, seen, np.unique(X["panel"], return_inverse=True)[1], words))


@pytest.mark.parametrize(
    ("travel", "chroma", "noticed"),
    [(70.0, 25.0, True), (45.0, 25.0, True), (35.0, 25.0, False), (70.0, 7.0, False)],
)
def test_a_ground_whose_hue_travels_with_the_angle_is_noticed(travel, chroma, noticed):
    angles = ("45as15", "45as45", "45as110")
    rows = [{"panel": "pearl", "ground": "shifting", "geometry": g, "clear": "yes"} for g in angles]
    coats = [{**row, "colour": "teal", "schedule": "2@6:1"} for row in rows]
    rows += [{**row, "panel": code} for code in ("coat 1", "coat 2") for row in coats]
    rows += [{**row, "panel": "plain", "ground": "silver"} for row in rows[:3]]
    hue = np.radians(40.0 + np.tile(np.linspace(0.0, travel, 3), 3))
    seen = np.column_stack([np.tile([80, 60, 40], 3), chroma * np.cos(hue), chroma * np.sin(hue)])
    plain = [[70, 0, 1], [50, 0, 1], [30, 0, 1]]
    # What a colour shows over such a ground is the ground's doing.
    found = names(pd.DataFrame(rows), np.vstack([seen, plain]))
    assert found == ({("ground", "shifting")} if noticed else set())


@pytest.mark.parametrize(
    ("gain", "wrong", "noticed"), [(6.0, 0, True), (3.0, 0, False), (6.0, 5, False)]
)
def test_a_colour_is_bright_by_more_than_a_batch_and_on_more_than_a_wrong_back(
    gain, wrong, noticed
):
    rows = [{"panel": "bare", "ground": "white", "clear": "yes"}]
    rows += [
        {"panel": f"p{i}", "ground": "white", "colour": "neon", "schedule": f"{i + 1}@6:1"}
        for i in range(2 + wrong)
    ]
    light = [70.0, *[70.0 + gain] * 2, *[60.0] * wrong]
    seen = np.column_stack([light, np.full(len(rows), 40.0), np.zeros(len(rows))])
    assert (names(pd.DataFrame(rows), seen) == {("colour", "neon")}) == noticed


def test_a_ground_is_not_unusual_for_a_colour_that_is_called_as_it_is():
    """Nor the other way round; there is gold to be mixed as well as to be sprayed over."""
    rows = [{"panel": g, "ground": g, "clear": "yes"} for g in ("white", "gold")]
    for code, ground, colour in (("a", "white", "gold"), ("b", "white", "gold"), ("c", "gold", "")):
        coats = "2@6:1" if colour else ""
        rows.append({"panel": code, "ground": ground, "colour": colour, "schedule": coats})
    seen = [[70.0, 2, 2], [60, 5, 30], [80, 5, 30], [80, 5, 30], [60, 5, 30]]
    X = pd.DataFrame(rows)
    assert names(X, np.array(seen)) == {("colour", "gold")}
    recipes, viewings, _, _ = rows_of(X)
    words = Vocabulary.of(recipes, [Viewing()])
    table = RecipeTable.of(recipes, viewings, words)
    odd = unusual_rows({("colour", "gold"): "why"}, table, words)
    assert odd.tolist() == [False, False, True, True, False]


def test_a_ground_that_travels_is_noticed_under_a_colour_called_as_it_is():
    angles = ("45as15", "45as45", "45as110")
    rows = [{"panel": "p", "ground": "gold", "geometry": g, "clear": "yes"} for g in angles]
    coats = {"colour": "gold", "schedule": "2@6:1"}
    rows += [{**row, **coats, "panel": code} for code in ("a", "b") for row in rows[:3]]
    hue = np.radians(40.0 + np.tile([0.0, 35.0, 70.0], 3))
    seen = np.column_stack([np.tile([80, 60, 40], 3), 25 * np.cos(hue), 25 * np.sin(hue)])
    assert names(pd.DataFrame(rows), seen) == {("ground", "gold")}


def test_a_panel_shows_what_is_sprayed_on_top_as_well():
    over = Panel.of("two", Recipe.of("silver", None, "2@6:1 cherry, 2@6:1 neon", "yes"))
    (found,) = beyond_the_law({("colour", "neon"): "it glows"}, [over])
    assert found.codes == ("two",)
