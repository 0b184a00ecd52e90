"""Colours that no film law holds for are noticed, said, and left to the library."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from matchlib.audit import audit
from matchlib.colorimetry import GRID, delta_e00
from matchlib.domain import CoatSchedule, Colour, Panel, Reading, Recipe, Viewing
from matchlib.regression import FilmRegressor, frames_of, unusual_words
from tests.benchmarks.panels import to_frame
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
    assert set(model.unusual_) == {"neon"}
    assert "gives back more light" in unusual_words(model.unusual_)
    X, y = frames_of(left_out)
    truth = FilmRegressor().fit(*frames_of(shop_panels)).fitted_  # fits whatever it is given
    assert np.isfinite(truth.z).all()
    alone = FilmRegressor(library=False).fit(*frames_of(kept))
    from matchlib.regression.observe import Observations

    lab = Observations.of(y, [Viewing()] * 3, ["spectrophotometer"] * 3, np.full(3, np.nan)).lab
    ours, law = (np.median(delta_e00(m.predict(X), lab)) for m in (model, alone))
    assert ours < 0.7 * law


def test_the_audit_says_what_is_beyond_the_law(shop_panels):
    found = [f for f in audit(shop_panels) if f.kind == "beyond the law"]
    assert [f.about for f in found] == ["neon"]
    assert len(found[0].codes) == 12


def test_ordinary_colours_are_not_noticed(shop_panels):
    usual = [p for p in shop_panels if not p.code.startswith("N")]
    assert FilmRegressor(rounds=1).fit(*frames_of(usual)).unusual_ == {}


@pytest.mark.parametrize(("travel", "noticed"), [(70.0, True), (15.0, False)])
def test_a_ground_whose_hue_travels_with_the_angle_is_noticed(travel, noticed):
    X, y = to_frame(Shop(6, n_grounds=2, n_colours=1).archive(12, 6))
    angles = ("45as15", "45as45", "45as110")
    rows = [{"panel": "pearl", "ground": "shifting", "geometry": g, "clear": "yes"} for g in angles]
    hue = np.radians(40.0 + np.linspace(0.0, travel, 3))
    seen = np.column_stack([np.linspace(80, 40, 3), 25 * np.cos(hue), 25 * np.sin(hue)])
    X = pd.concat([X, pd.DataFrame(rows)], ignore_index=True)
    if isinstance(y, pd.DataFrame):
        y = pd.concat([y, pd.DataFrame(seen, columns=["L", "a", "b"])], ignore_index=True)
    else:
        y = np.vstack([y, seen])
    model = FilmRegressor(rounds=1, library=False).fit(X, y)
    assert ("shifting" in model.unusual_) == noticed
    assert not noticed or "hue travels" in unusual_words(model.unusual_)
