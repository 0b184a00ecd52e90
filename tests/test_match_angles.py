"""The match's panels at several angles: which is shown, and a closer look as the order says."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.explain import explain
from matchlib.suggest import Target, Tolerance
from tests.angle_shop import FACE, FLOP, aimed_at, angle_panels, recipe_at
from tests.test_match_order import match, said, searched  # noqa: F401  a fixture is named to be used
from tests.test_match_panel import settled, words
from workbook.figures import lab_text
from workbook.match import MatchApp
from workbook.match.chart import lab_charts
from workbook.match.keeping import Tried
from workbook.session.looking import look_at

BOTH = aimed_at("3@5:1")
CMC = Tolerance("CMC", 1.0, 2.0, 1.0)


def test_the_angle_shown_turns_swatches_chart_and_closer_look(match: MatchApp) -> None:  # noqa: F811  the fixture
    match.go("limits")
    match.panels["limits"].kind.value = "cmc2:1"
    panel = searched(match)
    assert panel.angle.options == ["45as15", "45as110"]
    assert panel.angle.texts[1] == "45as110: 110° off the gloss"
    found = match.bench.found
    panel.cards.press("look:1")
    settled(match)
    panel.cards.press("compare:0")
    panel.cards.press("compare:1")
    look = look_at(
        match.bench.model, found[1].recipe, target=BOTH, aim=match.bench.work.aim,
        panels=match.bench.session.archive.panels(),
    )  # fmt: skip
    pictures = []
    for k, place in enumerate(("45as15", "45as110")):
        panel.angle.value = place
        wanted, lab = lab_text(BOTH[k].lab), lab_text(found[0].labs[k])
        assert f"Target at {place}" in said(panel.cards)
        assert wanted in panel.cards.html
        assert lab in panel.cards.html
        assert lab in panel.compared.html
        chart = lab_charts(found, (), match.bench.reach[k], angle=k)
        assert panel.chart.html == chart
        assert f"suggestions at {place}" in chart
        assert f"simulated, seen at {place}" in said(panel.closer)
        assert f"What one change would do at {place}" in said(panel.closer)
        shift = look.why.changes[0].angles[k]
        row = said(panel.closer).split("one coat more")[1].split()
        assert row[0] == f"{shift.lightness:.1f}".replace("-", "\u2212")
        pictures.append(panel.closer.html)
    assert pictures[0] != pictures[1]
    assert look.evenness in words(panel.closer)
    assert "CMC(2:1)" in look.evenness
    assert "at the worst angle" in look.evenness
    text = said(panel.closer)
    for angle, shown in zip(look.uneven.angles, look.film_angles, strict=True):
        cells = " ".join(f"{v:.1f}" for v in (*shown, angle.side_to_side))
        assert f"{angle.viewing.geometry} {cells}" in text
    whole = " ".join(f"{v:.1f}" for v in (*(v for _, v in look.by_film), look.uneven.side_to_side))
    assert f"order {whole}" in text
    assert look.why.words in words(panel.closer)
    # It is there again after a restart.
    again = settled(MatchApp(match.bench.session))
    assert searched(again).angle.value == "45as110"


def test_one_angle_leaves_nothing_to_choose(match: MatchApp) -> None:  # noqa: F811  the fixture
    panel = match.panels["target"]
    panel.way.value = "panel"
    match.bench.change("target", target=BOTH[0], angles=())
    panel = searched(match)
    assert panel.angle.layout.display == "none"
    panel.cards.press("look:0")
    settled(match)
    assert "seen at" not in said(panel.closer)
    assert "by the order" not in said(panel.closer)
    assert "±10% shows ΔE00" in said(panel.closer)


def test_a_look_judges_as_the_order_does(match: MatchApp) -> None:  # noqa: F811  the fixture
    model, recipe = match.bench.need_model(), recipe_at("3@5:1")
    aim = Target.of_readings(BOTH, weights=[1.0, 0.5], tolerance=CMC)
    look = look_at(model, recipe, target=BOTH, aim=aim, panels=angle_panels())
    each = np.array(look.film_angles)
    assert [v for _, v in look.by_film] == pytest.approx(np.max([each[0], 0.5 * each[1]], axis=0))
    assert look.why == explain(model, recipe, archive=angle_panels(), target=aim)
    plain = look_at(model, recipe, target=BOTH[0], viewing=FACE)
    assert [a.viewing for a in plain.uneven.angles] == [FACE]
    assert plain.tolerance == Tolerance()


def test_the_limit_of_unevenness_is_in_the_orders_unit_and_over_all_angles(
    match: MatchApp,  # noqa: F811  the fixture
) -> None:
    match.go("limits")
    panel = match.panels["limits"]
    assert panel.uneven.unit == "ΔE00"
    panel.kind.value = "cmc2:1"
    assert panel.uneven.unit == "CMC(2:1)"
    panel.uneven.value = 0.05
    match.go("suggestions")
    settled(match)
    assert "CMC(2:1), at the worst angle" in said(match.panels["suggestions"].said)
    match.go("limits")
    panel.kind.value = "box"
    assert panel.uneven.unit == "share of the box"


def test_a_sprayed_panel_is_charted_where_it_was_read(match: MatchApp) -> None:  # noqa: F811  the fixture
    searched(match)
    found, reach = match.bench.found, match.bench.reach
    recipe = recipe_at("3@6:1")
    both = Tried("K1", recipe, BOTH[1], more=BOTH[:1])  # its file began with the flop
    assert both.at("45as15") == BOTH[0]
    assert both.at("45as45") == BOTH[1]
    flop = Tried("K2", recipe, BOTH[1])
    face = lab_charts(found, (both, flop), reach[0], angle=0)
    assert "K1" in face
    assert "K2" not in face
    assert "K2" in lab_charts(found, (both, flop), reach[1], angle=1)
    assert [r.viewing for r in BOTH] == [FACE, FLOP]
