"""The summary of a fit, beside what the invented workshop truly does."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from matchlib.regression import FilmPredictor, load_fit, save_fit
from matchlib.regression.reach import KINDS
from tests.cli_shop import demo_fit


@pytest.fixture(scope="module")
def model() -> FilmPredictor:
    """The fit of the demonstration, one of whose sprayers has a name that a page must escape."""
    fit = copy(demo_fit())
    law, names = fit.fitted_.law, {("sprayer", "apprentice"): ("sprayer", "<b>apprentice")}
    words = replace(law.words, shared=tuple(names.get(key, key) for key in law.words.shared))
    fit.fitted_ = fit.fitted_._replace(law=replace(law, words=words))
    return fit


def test_the_summary_finds_what_the_workshop_does(model):
    # What the invented workshop does stands in matchlib/demo.py.
    table = model.report().to_frame().set_index(["part", "name"])
    first = table.loc[("coats", "first")]
    assert abs(first["value"] - 0.82) < 2.0 * first["sd"]
    film = table.loc["sprayer"]
    heavier = film["value"]["evening bench"] - film["value"]["<b>apprentice"]
    assert heavier == pytest.approx(5.0, abs=2.5)
    # Of a panel 3.5 %, and of three to five coats 4.5 % each.
    assert table["value"]["from panel to panel", "film"] == pytest.approx(4.2, abs=1.0)
    peaks = [n for p, n in table.index if p == "strength of a coat of 6:1"]
    bands = {"cherry": 520, "honey": 428, "lagoon": 645, "violet": 565}
    for peak in peaks:
        name, place = peak.removesuffix(" nm").split(", at ")
        assert abs(float(place) - bands[name]) <= 20


def test_the_summary_tells_what_panels_left_out_told(model):
    reached = model.report().reached.to_frame().set_index("reach")
    assert reached.index.tolist() == list(KINDS)
    np.testing.assert_array_equal(reached["both"], model.stack_.both)
    assert (reached["groups"] > 1).all()
    # Of three of the four colours what is above half of the strongest, and a quarter below it.
    assert reached["groups"]["beyond"] == 6
    assert reached["both"].between(0.1, 1.5).all()


def test_the_summary_is_read_as_text_and_as_a_page_and_is_kept(model, tmp_path):
    text = str(model.report())
    assert text.startswith("Film regression of 133 panels, 4 of them doubted\n")
    assert max(map(len, text.splitlines())) < 100
    drawn = model.report()._repr_html_()
    assert drawn.count("<table>") == 2
    assert "<b>" not in drawn
    assert "&lt;b&gt;apprentice" in drawn
    save_fit(tmp_path / "fit.npz", model, content_hash="")
    assert str(load_fit(tmp_path / "fit.npz").report()) == text
