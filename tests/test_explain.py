"""Why the model says so: changes, neighbours, where the doubt comes from."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from matchlib.colorimetry import Tolerance, delta_e00
from matchlib.domain import Panel, Reading, Recipe
from matchlib.explain import explain
from matchlib.plain import shown
from matchlib.regression import FilmPredictor
from matchlib.target import Target
from tests.angle_shop import FACE, FLOP, aimed_at, angle_model, angle_panels, recipe_at
from tests.suggest_shop import COLOURS, archive_of, ladder_model, model_of, recipe, shop


def test_changes_are_the_models_own_predictions() -> None:
    r = recipe("silver", COLOURS[0], "3@6:1")
    found = explain(model_of(), r, archive=archive_of())
    names = [c.name for c in found.changes]
    assert names[:2] == ["one coat more", "one coat less"]
    assert any("stronger (5:1)" in n for n in names)
    assert any("weaker (7:1)" in n for n in names)
    assert sum(n.startswith("over ") for n in names) == len(shop().grounds) - 1
    own = model_of().predict_recipes([r])[0]
    after = model_of().predict_recipes([c.recipe for c in found.changes])
    for change, lab in zip(found.changes, after, strict=True):
        assert change.delta_e00 == pytest.approx(float(delta_e00(own, lab)))
        assert change.angles[0].lightness == pytest.approx(lab[0] - own[0])
    more, less = found.changes[:2]
    assert more.angles[0].lightness < 0 < less.angles[0].lightness


def test_a_single_coat_cannot_lose_one_and_a_step_up_turns_every_step() -> None:
    one = explain(model_of(), recipe("silver", COLOURS[0], "1@6:1"))
    assert "one coat less" not in [c.name for c in one.changes]
    two = explain(model_of(), recipe("silver", COLOURS[0], "2@6:1 1@3:1"))
    assert str(two.changes[1].recipe.schedule) == "2@6:1"
    assert any("5:1, 2:1" in c.name for c in two.changes)


def test_a_change_of_one_layer_leaves_the_colours_of_all() -> None:
    under, top = COLOURS[:2]
    layered = Recipe.of("silver", None, f"2@6:1 {under}, 2@4:1 {top}", "yes")
    found = {c.name: str(c.recipe.schedule) for c in explain(model_of(), layered).changes}
    assert found["one coat more"] == f"2@6:1 {under}, 3@4:1 {top}"
    assert found["one coat less"] == f"2@6:1 {under}, 1@4:1 {top}"
    assert found["one step of ratio stronger (5:1, 3:1)"] == f"2@5:1 {under}, 2@3:1 {top}"


def test_the_nearest_panels_are_of_the_same_colour_and_ground() -> None:
    panels = archive_of()
    r = next(p for p in panels if not p.recipe.bare).recipe
    found = explain(model_of(), r, archive=panels)
    assert len(found.near) == 3
    assert found.near[0].away == pytest.approx(0.0, abs=1e-9)
    assert all(n.recipe.colour == r.colour and n.recipe.ground == r.ground for n in found.near)
    assert found.near[0].residual < 3.0


def test_a_card_read_in_three_places_is_near_by_their_mean() -> None:
    one = next(p for p in archive_of() if not p.recipe.bare)
    (light, a, b), view = one.readings[0].lab, one.readings[0].viewing
    read = [Reading(view, "spectrophotometer", (light + d, a, b)) for d in (-0.9, 0.3, 0.3)]
    found = explain(model_of(), one.recipe, archive=[one.having(readings=tuple(read))])
    assert found.near[0].lab == pytest.approx((light - 0.1, a, b))


def test_light_and_eye_may_have_changed_places() -> None:
    def turned(panel: Panel) -> Panel:
        view = replace(panel.readings[0].viewing, geometry="0:45")
        return panel.having(readings=(replace(panel.readings[0], viewing=view),))

    panels = [p for p in archive_of() if p.readings]
    usual, other = (
        explain(model_of(), panels[-1].recipe, archive=some)
        for some in (panels, [turned(p) for p in panels])
    )
    assert [n.code for n in other.near] == [n.code for n in usual.near]


def test_of_layers_every_colour_counts_for_what_is_near() -> None:
    under, top = COLOURS[:2]
    two, close = (
        Recipe.of("silver", None, f"2@6:1 {under}, {n} {top}") for n in ("1@20:1", "4@3:1")
    )
    panels = [
        Panel.of(code, r, readings=(Reading(lab=(40, 9, 9)),))
        for code, r in (("ONE", Recipe.of("silver", under, "2@6:1")), ("TWO", close))
    ]
    near = explain(model_of(), two, archive=panels).near
    assert [n.code for n in near] == ["TWO", "ONE"]
    assert near[0].away > near[1].away


def test_shares_of_the_doubt_are_whole_and_panels_lessen_theirs() -> None:
    r = recipe("silver", COLOURS[0], "3@5:1")
    full = explain(model_of(), r)
    few = explain(ladder_model()[0], r)
    for found in (full, few):
        assert sum(found.shares.values()) == pytest.approx(1.0)
        assert min(found.shares.values()) > 0
        assert f"{found.spread:.1f}" in found.words
    known = [f.shares["panels"] * f.spread**2 for f in (full, few)]
    assert known[1] > 2 * known[0]


def test_extrapolation_is_named() -> None:
    panels = archive_of()
    inside = explain(model_of(), recipe("silver", COLOURS[0], "3@5:1"), archive=panels)
    assert inside.beyond == ()
    no_black = [p for p in panels if str(p.recipe.ground) != "solid black"]
    far = explain(model_of(), recipe("graphite", COLOURS[0], "12@1:1"), archive=no_black)
    text = "; ".join(far.beyond)
    assert "more coats than ever sprayed (12, so far 6)" in text
    assert "richer ratio than ever sprayed (1:1, so far 2:1)" in text
    assert "darker than any reading" in text
    assert text in far.words
    # Deep colours all read alike, so what tells is how much of the spread more panels would remove.
    assert far.shares["panels"] > 2 * inside.shares["panels"]


def test_a_bare_ground_is_explained_by_the_other_grounds() -> None:
    found = explain(model_of(), Recipe(shop().grounds[0], clear="yes"), archive=archive_of())
    assert all(c.name.startswith("over ") for c in found.changes)
    assert np.isfinite(found.spread)
    assert json.loads(json.dumps(shown(found)))["recipe"] == str(found.recipe)


BOTH = aimed_at("3@5:1")


@pytest.fixture(scope="module")
def faces() -> FilmPredictor:
    return angle_model()


@pytest.mark.parametrize(
    "tolerance",
    [Tolerance(), Tolerance("CMC", 1.0, 2.0, 1.0), Tolerance("LCh", box=(2.0, 1.0, 0.5))],
)
def test_an_order_is_explained_by_its_own_difference_at_every_angle(
    faces: FilmPredictor, tolerance: Tolerance
) -> None:
    r, weights = recipe_at("3@5:1"), (1.0, 0.5)
    target = Target.of_readings(BOTH, weights=weights, tolerance=tolerance)
    panels = angle_panels()
    found = explain(faces, r, archive=panels, target=target)
    assert found.viewings == (FACE, FLOP)
    own = [faces.predict_recipes([r], v)[0] for v in (FACE, FLOP)]
    assert np.array(found.labs) == pytest.approx(np.array(own))
    for change in found.changes:
        after = [faces.predict_recipes([change.recipe], v)[0] for v in (FACE, FLOP)]
        each = [float(tolerance.difference(o, a)) for o, a in zip(own, after, strict=True)]
        assert [s.difference for s in change.angles] == pytest.approx(each)
        assert change.difference == pytest.approx(max(np.array(weights) * each))
        assert change.delta_e00 == pytest.approx(float(delta_e00(own[0], after[0])))
        assert change.angles[1].lightness == pytest.approx(after[1][0] - own[1][0])
    assert "at the worst angle" in found.words
    assert found.tolerance == tolerance
    nearest = found.near[0]
    panel = next(p for p in panels if p.code == nearest.code)
    assert nearest.seen == ("45as15", "45as110")
    predicted = [faces.predict_recipes([panel.recipe], v)[0] for v in (FACE, FLOP)]
    away = [float(tolerance.difference(o, t)) for o, t in zip(own, predicted, strict=True)]
    assert nearest.away == pytest.approx(max(np.array(weights) * away))
    residual = [float(tolerance.difference(t, reading.lab))
            for t, reading in zip(predicted, panel.readings, strict=True)]  # fmt: skip
    assert nearest.residual == pytest.approx(max(np.array(weights) * residual))


def test_what_is_expected_of_a_panel_is_as_the_match_counts_it(faces: FilmPredictor) -> None:
    r = recipe_at("3@5:1")
    target = Target.of_readings(BOTH, tolerance=Tolerance("CMC", 1.0, 2.0, 1.0))
    both = explain(faces, r, target=target)
    predicted = faces.predict_together([r], [FACE, FLOP])
    labs, draw = predicted.labs, np.random.default_rng(0)
    cloud = draw.multivariate_normal(labs[:, 0].ravel(), predicted.covariance[0], 40_000)
    gaps = [target.tolerance.difference(labs[i, 0], cloud[:, 3 * i : 3 * i + 3]) for i in (0, 1)]
    assert both.spread == pytest.approx(np.sqrt(np.mean(np.max(gaps, axis=0) ** 2)), rel=0.03)
    assert sum(both.shares.values()) == pytest.approx(1.0)
    face = explain(faces, r, target=Target.of_readings(BOTH[0], tolerance=target.tolerance))
    assert face.spread <= both.spread


def test_a_panel_read_at_one_of_the_angles_is_near_by_what_was_read(faces: FilmPredictor) -> None:
    panels = [
        p.having(readings=tuple(r for r in p.readings if r.viewing == FLOP)) for p in angle_panels()
    ]
    target = Target.of_readings(BOTH)
    found = explain(faces, recipe_at("3@5:1"), archive=panels, target=target)
    assert {n.seen for n in found.near} == {("45as110",)}
    panel = next(p for p in panels if p.code == found.near[0].code)
    assert found.near[0].lab == panel.readings[0].lab
    none = explain(faces, recipe_at("3@5:1"), archive=panels, target=Target.of_readings(BOTH[0]))
    assert none.near == ()
