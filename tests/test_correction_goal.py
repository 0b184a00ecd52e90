"""After a test panel, by what the order names: the same judge as the search, at every angle."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.colorimetry import Tolerance, delta_e00, delta_e_cmc
from matchlib.correction import Belief, Today
from matchlib.correction.sprayed import Sprayed
from matchlib.domain import MixRatio, Reading, Viewing, three
from matchlib.errors import TargetError
from matchlib.mixing import Limits
from matchlib.next_panel import next_for_target
from matchlib.regression import FilmPredictor
from matchlib.steering import correct
from matchlib.target import Target
from tests.angle_shop import FACE, FLOP, aimed_at, angle_model, recipe_at

LIMITS = Limits(max_coats=5, min_ratio="3:1", max_ratio="7:1")
CMC = Tolerance("CMC", 1.0, 2.0, 1.0)


@pytest.fixture(scope="module")
def model() -> FilmPredictor:
    return angle_model()


def read(labs) -> tuple[Reading, Reading]:
    face, flop = (
        Reading(view, "spectrophotometer", tuple(map(float, lab)))
        for view, lab in zip((FACE, FLOP), labs, strict=True)
    )
    return face, flop


def shifted(lab, by) -> np.ndarray:
    return np.add(lab, by)


def test_chances_are_those_of_the_tolerance_that_is_named(model) -> None:
    face, _ = aimed_at("3@5:1")
    lab = shifted(face.lab, (4.0, 0.5, -0.5))
    tried = [(recipe_at("3@6:1"), read([lab, lab])[0])]
    target = Target.of_readings(face, tolerance=CMC)
    advice = correct(model, tried, target, LIMITS)
    assert advice.difference == pytest.approx(
        float(delta_e_cmc(face.lab, lab, lightness=2.0, chroma=1.0))
    )
    assert f"CMC(2:1) {advice.difference:.2f} from the target, 1 allowed" in advice.words
    best = advice.changes[0]
    predicted = advice.belief.predict_each([best.recipe], FACE)
    own = target.expected(predicted.labs, predicted.covariance, predicted.dof)
    assert best.probability == pytest.approx(float(own.probability[0]))
    other = Target.of_readings(face, tolerance=1.0)
    plain = other.expected(predicted.labs, predicted.covariance, predicted.dof)
    assert abs(best.probability - float(plain.probability[0])) > 0.02
    strict = correct(model, tried, other, LIMITS)
    assert strict.changes[0].probability != best.probability


def test_a_panel_passes_only_if_it_passes_at_every_angle(model) -> None:
    face, flop = aimed_at("3@5:1")
    target = Target.of_readings([face, flop])
    off = shifted(flop.lab, (6.0, 0.0, 0.0))
    advice = correct(model, [(recipe_at("3@6:1"), read([face.lab, off]))], target, LIMITS)
    assert advice.difference == pytest.approx(float(delta_e00(flop.lab, off)))
    assert "at its worst angle" in advice.words
    assert not advice.passes
    both = read([face.lab, flop.lab])
    assert correct(model, [(recipe_at("3@6:1"), both)], target, LIMITS).passes
    # A flop that counts little lets the same panel pass.
    light = Target.of_readings([face, flop], weights=[1.0, 0.1])
    off = read([face.lab, shifted(flop.lab, (2.0, 0.0, 0.0))])
    assert correct(model, [(recipe_at("3@6:1"), off)], light, LIMITS).passes
    assert not correct(model, [(recipe_at("3@6:1"), off)], target, LIMITS).passes


def test_a_panel_too_light_at_both_angles_is_built_on(model) -> None:
    target = Target.of_readings(aimed_at("4@6:1"), tolerance=2.0)
    light = recipe_at("3@6:1")
    expected = [model.predict_recipes([light], v)[0] for v in (FACE, FLOP)]
    seen = [shifted(lab, (0.3, 0.0, 0.0)) for lab in expected]
    advice = correct(model, [(light, read(seen))], target, LIMITS)
    assert advice.state == "go on", advice.words
    more = advice.options[0].recipe.schedule.steps[-1]
    assert more.coats == 1
    assert more.ratio > MixRatio.parse("7.5:1")


def test_two_angles_of_one_panel_are_not_two_panels(model) -> None:
    recipe = recipe_at("4@4:1")
    labs = [shifted(model.predict_recipes([recipe], v)[0], (-2.0, 0.0, 0.0)) for v in (FACE, FLOP)]
    face, flop = read(labs)
    # On one kind of day, for what tells an odd day from a usual one may widen what is believed.
    before = Belief.of(model, Today(0.08, 0.01, 0.15, odd_days=0.0))
    one = before.after([(recipe, face)])
    both = before.after([(recipe, (face, flop))])
    two = before.after([(recipe, face), (recipe, flop)])
    assert (one.panels, both.panels, two.panels) == (1, 1, 2)
    assert two.film[1] < both.film[1] <= one.film[1] + 1e-9


def test_a_panel_that_was_not_read_at_every_angle_is_refused(model) -> None:
    face, flop = aimed_at("3@5:1")
    with pytest.raises(TargetError, match="not viewed alike"):
        correct(model, [(recipe_at("3@6:1"), face)], Target.of_readings([face, flop]), LIMITS)


def test_light_and_eye_may_change_places_between_a_target_and_a_card(model) -> None:
    usual, turned = (Viewing(geometry=g) for g in ("45:0", "0:45"))
    recipe = recipe_at("4@4:1")
    lab = three(model.predict_recipes([recipe], usual)[0])
    target = Target.of_readings([Reading(usual, lab=lab)])
    for viewing in (usual, turned):
        advice = correct(model, [(recipe, Reading(viewing, lab=lab))], target, LIMITS)
        assert advice.difference == pytest.approx(0.0, abs=1e-9)


def test_planning_ahead_counts_both_angles_and_boxes(model) -> None:
    face, flop = aimed_at("3@5:1")
    recipes = [recipe_at(f"{n}@{r}:1") for n in (2, 3, 4) for r in (4, 5, 6)]
    alone = next_for_target(model, Target.of_readings(face), recipes)
    both = next_for_target(model, Target.of_readings([face, flop]), recipes)
    by = {p.recipe: p for p in alone}
    for panel in both:
        assert panel.passes_by_second >= panel.probability
        if panel.recipe in by:
            # Both are counted on 256 points of a cloud, each to some hundredths.
            assert panel.probability <= by[panel.recipe].probability + 0.04
    wide = Target.of_readings(face, tolerance=Tolerance("Lab", box=(60.0, 60.0, 60.0)))
    assert next_for_target(model, wide, recipes)[0].passes_by_second == 1.0
    slim = Target.of_readings(face, tolerance=Tolerance("LCh", box=(60.0, 60.0, 1e-3)))
    assert next_for_target(model, slim, recipes)[0].passes_by_second < 0.1


@pytest.mark.parametrize("kind", ["ΔE00", "CMC", "Lab", "LCh"])
def test_near_the_target_a_difference_is_a_length_in_its_axes(kind) -> None:
    tolerance = Tolerance(kind, box=(1.0, 2.0, 0.5))
    lab, step = np.array([40.0, 30.0, 20.0]), np.array([0.02, -0.01, 0.03])
    goal = Target.lab(*lab, tolerance=tolerance)
    along = np.abs(goal.axes[0] @ step)
    length = along.max() if tolerance.boxed else np.sqrt(np.sum(along**2))
    assert length == pytest.approx(float(tolerance.difference(lab, lab + step)), rel=0.02)
    assert goal.tolerance.value == tolerance.value


def test_a_sprayed_panel_of_several_readings_has_as_many_views() -> None:
    face, flop = aimed_at("3@5:1")
    panel = Sprayed.of((recipe_at("3@5:1"), (face, flop)))
    assert [v.viewing for v in panel.views] == [FACE, FLOP]
    assert panel.views[1].lab == pytest.approx(flop.lab)


def test_the_same_again_is_not_advised_where_all_else_comes_nearer() -> None:
    """Hardly anything passes so tight a box: what misses by far is still not nearly as likely."""
    aim = Target.of_readings(aimed_at("4@3:1"), tolerance=Tolerance("Lab", box=(0.3, 0.3, 0.3)))
    read = recipe_at("2@6:1"), aimed_at("2@6:1")
    advice = correct(angle_model(), [read], aim)
    assert advice.changes[0].probability < 0.05
    assert advice.best.recipe != read[0]
    assert advice.best.expected < 2 * advice.changes[0].expected
