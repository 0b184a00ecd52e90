"""What a colour scientist meets first: names from `matchlib` itself, tables, and pictures."""

from __future__ import annotations

import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import matchlib
from matchlib import (
    Archive,
    Limits,
    Panel,
    Reading,
    Recipe,
    Target,
    correct,
    next_for_archive,
    read_file,
    suggest,
)
from matchlib.colorimetry import reflectance_to_lab
from matchlib.demo import DEMO_WRONG_BACKS, demo_panels
from matchlib.domain import Colour, Ground, MixRatio
from matchlib.lessons import coat_ladder
from matchlib.listing import Listing, items_frame
from matchlib.overview import coverage
from matchlib.readings import write_table
from matchlib.regression import FilmPredictor
from matchlib.steering import plan
from matchlib.validation import repeatability
from tests.cli_shop import demo_fit

PANELS = demo_panels()
HOSTILE = '<img src=x onerror="alert(1)">'


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("front") / "panels.db"
    with Archive.open(place, create=True) as made:
        made.add(PANELS)
    return place


@pytest.fixture(scope="module")
def model() -> FilmPredictor:
    return demo_fit()


def alone(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout


def test_every_name_of_the_front_door_loads_and_is_told_to_editors() -> None:
    assert len(matchlib.__all__) <= 18
    for name in matchlib.__all__:
        assert getattr(matchlib, name) is not None
        assert name in dir(matchlib)
    with pytest.raises(AttributeError, match="'nothing'"):
        _ = matchlib.nothing


@pytest.mark.parametrize(
    "first",
    [
        "from matchlib.suggest import Suggestions; import matchlib.audit",
        "import matchlib.suggest.many; import matchlib.audit.whole",
        "from matchlib import FilmRegressor, Archive, Target",
    ],
)
def test_functions_are_functions_whatever_was_imported_before(first: str) -> None:
    found = alone(f"{first}\nfrom matchlib import suggest, audit\nprint(suggest, audit)")
    assert found.count("<function") == 2


def test_the_front_door_costs_nothing_until_it_is_used() -> None:
    loaded = alone("import sys; before = set(sys.modules)\nimport matchlib\n"
                   "print(sorted(set(sys.modules) - before - {'types'}))")  # fmt: skip
    assert loaded.strip() == "['matchlib']"


def test_the_example_of_the_front_door(archive: Path, model: FilmPredictor) -> None:
    with Archive.open(archive) as opened:
        panels = opened.frame()
    lab, covariance = model.predict(panels, return_cov=True)
    assert model.predict(panels).shape == lab.shape == (len(panels), 3)
    assert covariance.shape == (len(panels), 3, 3)
    found = suggest(model, Target.lab(27.1, 45.9, 28.5), top=5)
    # Never sprayed in the archive, and what the sample was made with.
    assert (str(found[0].recipe.ground), str(found[0].recipe.colour)) == ("pale gold", "cherry")
    table = found.to_frame()
    assert table["probability"].tolist() == [s.probability for s in found]
    assert Recipe.of(*table.loc[0, ["ground", "colour", "schedule", "clear"]]) == found[0].recipe
    assert table.loc[0, ["L", "a", "b"]].tolist() == list(found[0].lab)
    read = Reading(lab=(28.6, 46.3, 30.1))
    advice = correct(model, [(found[0].recipe, read)], Target.lab(27.1, 45.9, 28.5))
    assert set(advice.to_frame()["changes"]) >= {0, 1}


def test_a_suggestion_is_said_in_a_line_and_drawn(model: FilmPredictor) -> None:
    found = suggest(model, Target.lab(27.1, 45.9, 28.5), top=3)
    assert repr(found[0]).count("\n") == 0
    assert len(repr(found[0])) < 120
    assert repr(found).splitlines()[1:4] == [f"  {s!r}" for s in found]
    drawn = found._repr_html_()
    HTMLParser().feed(drawn)
    assert drawn.count('role="img"') == 3
    assert "L 27.1, a 45.9, b 28.5" in drawn


def test_every_list_is_a_table(model: FilmPredictor) -> None:
    some = [p.recipe for p in PANELS if p.recipe.colour][:20]
    advised = next_for_archive(model, some, k=3)
    assert advised.to_frame()["after"].is_monotonic_decreasing
    assert items_frame(advised.panels)["schedule"].isin([str(r.schedule) for r in some]).all()
    found = matchlib.audit(PANELS)
    assert isinstance(found, Listing)
    assert set(found.to_frame()["codes"]) >= set(DEMO_WRONG_BACKS) - {"T098"}
    rungs = coat_ladder(
        model, PANELS, ground=Ground.parse("silver"), colour=Colour.parse("cherry"),
        ratio=MixRatio.parse("6:1"), most=3,
    ).to_frame()  # fmt: skip
    assert rungs["coats"].tolist() == [0, 1, 2, 3]
    assert rungs["L"].is_monotonic_decreasing
    counts = coverage(PANELS).to_frame()
    assert counts.to_numpy().sum() == len(PANELS)
    assert counts.loc["pale gold", "cherry"] == 0
    parts = repeatability(PANELS, model).to_frame().set_index("name")
    assert (parts["low"] < parts["sd"]).all()
    plans = plan(model, Target.lab(27.1, 45.9, 28.5), Limits(blends=False), readings=0, top=2)
    assert plans.to_frame()["blind"].tolist() == [p.blind for p in plans]


def test_a_table_has_no_column_of_what_some_items_hold_elsewhere(model: FilmPredictor) -> None:
    findings = matchlib.audit(PANELS, model)
    found = findings.to_frame()
    assert found["others"].tolist() == ["; ".join(map(str, f.others)) for f in findings]
    assert found["others"].any()
    assert found["proposed schedule"].isna().sum() == 1  # drift proposes no recipe
    assert not {"proposed", "evidence"} & set(found.columns)
    plans = plan(model, Target.lab(27.1, 45.9, 28.5), Limits(grounds=("pale gold",)))
    assert [bool(p.likely) for p in plans] == [True, False]
    assert not {"likely", "planned_readings"} & set(plans.to_frame().columns)


def test_names_cannot_write_into_the_picture() -> None:
    recipe = Recipe.of("silver", "cherry", "4@6:1", clear="<b>bold</b>")
    step = matchlib.next_panel.ArchivePanel(recipe, 1.0, 0.5, HOSTILE)
    drawn = Listing([step])._repr_html_()
    assert "<img" not in drawn
    assert "<b>" not in drawn
    assert "&lt;img" in drawn


def test_a_file_becomes_the_table_that_an_archive_gives(tmp_path: Path, archive: Path) -> None:
    write_table(PANELS, tmp_path / "panels.csv")
    with Archive.open(archive) as opened:
        kept = opened.frame()
    read = read_file(tmp_path / "panels.csv").frame()
    pd.testing.assert_frame_equal(read, kept)
    spectra = read["400"].notna()
    assert 0 < spectra.sum() < len(read)
    lab = reflectance_to_lab(read.loc[spectra, "400":"700"].to_numpy(float))
    np.testing.assert_allclose(read.loc[spectra, ["L", "a", "b"]], lab, atol=1e-9)


def test_a_recipe_is_read_as_it_is_written() -> None:
    recipe = Recipe.of("silver 3 + black 1", "cherry", "2@6:1 2@3:1", clear="satin")
    assert Panel.of("A", recipe).recipe == recipe
    assert str(recipe) == "cherry over silver 3 + black 1, 2@6:1 2@3:1"
    assert Recipe.of("silver").bare
    assert Recipe.of("silver", "", " ") == Recipe.of("silver")
    with pytest.raises(ValueError, match="coats without a colour"):
        Recipe.of("silver", None, "2@6:1")
