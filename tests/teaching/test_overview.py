"""What an archive holds: coverage, reach, trends, residuals."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Recipe
from matchlib.errors import DomainError
from matchlib.overview import (
    BANDS,
    coverage,
    outliers,
    panel_lab,
    panel_residuals,
    reach,
    spreads,
    trend,
)
from matchlib.overview.within import candidates
from matchlib.regression import FilmPredictor


def test_coverage_counts_every_panel_once(panels: tuple[Panel, ...]) -> None:
    found = coverage(panels)
    strengths = found.by_strength()
    assert strengths.sum() == len(panels)
    assert found.by_colour.sum() == sum(not p.recipe.bare for p in panels)
    bare = [name for name, _ in BANDS].index("bare")
    assert strengths[:, bare].sum() == sum(p.recipe.bare for p in panels)
    assert "cherry over pale gold" in found.never
    assert "cherry over silver" not in found.never
    only = found.by_strength("lagoon")
    coloured = sum(str(p.recipe.colour) == "lagoon" for p in panels)
    assert only[:, 1:].sum() == coloured


def test_a_layered_card_stands_under_each_of_its_colours() -> None:
    layered = Panel.of("P1", Recipe.of("silver", None, "2@6:1 cherry, 1@4:1 honey"))
    found = coverage([layered, Panel.of("P2", Recipe.of("silver", "cherry", "2@6:1"))])
    assert [str(c) for c in found.colours] == ["cherry", "honey"]
    assert found.by_colour.tolist() == [[2, 1]]
    assert found.never == ()
    assert found.by_strength().sum() == 2
    assert found.by_strength("honey").sum() == 1


def test_reach_stays_with_what_was_asked(model: FilmPredictor, panels: tuple[Panel, ...]) -> None:
    found = reach(model, panels, grounds=["silver"], colours=["cherry"])
    assert {str(r.ground) for r in found.recipes} == {"silver"}
    assert {str(r.colour) for r in found.recipes} == {"cherry"}
    assert found.extent[0][:2] == ("cherry", len(found.recipes))
    light = found.lab[:, 0]
    assert found.extent[0][2:4] == pytest.approx((light.min(), light.max()))
    assert all(r.bare or str(r.colour) == "cherry" for _, r, _ in found.panels)
    assert len(candidates(panels)) > len(found.recipes)
    with pytest.raises(DomainError):
        reach(model, panels, colours=["nothing of the kind"])


def test_a_trend_is_found_and_a_wrong_panel_does_not_bend_it() -> None:
    first = dt.date(2024, 1, 1)
    rng = np.random.default_rng(4)
    points = [
        (first + dt.timedelta(days=7 * i), 2.0 * 7 * i / 365.25 + rng.normal(0, 0.1))
        for i in range(40)
    ]
    found = trend(points)
    assert found.low < 2.0 < found.high
    assert "a drift" in found.words
    bent = trend([*points, (first + dt.timedelta(days=300), 60.0)])
    assert bent.slope == pytest.approx(found.slope, abs=0.2)
    flat = trend([(d, rng.normal()) for d, _ in points])
    assert "no drift" in flat.words
    with pytest.raises(DomainError, match="too few dates"):
        trend(points[:4])


def test_misses_name_the_wrong_backs(model: FilmPredictor, panels: tuple[Panel, ...]) -> None:
    found = panel_residuals(model, panels)
    assert len(found) == len(panels)
    far = {m.panel.code for m in outliers(found, "difference")}
    assert "T077" in far  # its ground is wrong on purpose
    assert len(far) < len(panels) / 10
    groups = spreads(found, "sprayer")
    assert sum(g.panels for g in groups) == len(panels)
    for group in groups:
        if group.panels >= 5:
            assert group.low <= group.median <= group.high
    assert outliers((), "difference") == ()


def test_a_lab_reading_counts_only_under_its_own_light(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    view = model.usual_view
    other = replace(view, illuminant="A")
    of_lab = next(p for p in panels if p.readings[0].lab is not None)
    of_spectrum = next(p for p in panels if p.readings[0].spectral)
    assert panel_lab(of_lab, view) is not None
    assert panel_lab(of_lab, other) is None
    assert panel_lab(of_spectrum, other) != panel_lab(of_spectrum, view)
    photo = of_lab.having(readings=(replace(of_lab.readings[0], source="photo"),))
    assert panel_lab(photo, view) is None
    recipe = Recipe(Ground.parse("silver"), Colour.parse("cherry"), CoatSchedule.of(2, "6:1"))
    assert panel_lab(Panel.of("X", recipe), view) is None
