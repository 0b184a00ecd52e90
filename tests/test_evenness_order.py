"""Evenness by what an order names: at every angle, weighted as a match is, in its difference."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.colorimetry import Tolerance, delta_e00, delta_e_cmc
from matchlib.errors import DomainError
from matchlib.evenness import film_tolerance, spray_panel
from matchlib.evenness.film import film_tolerance_by_angle, lab_by_film
from matchlib.mixing import Limits
from matchlib.regression import FilmPredictor
from matchlib.suggest import suggest
from matchlib.target import Target
from tests.angle_shop import FACE, FLOP, aimed_at, angle_model, angle_panels, recipe_at

BOTH = aimed_at("3@5:1")
CMC = Tolerance("CMC", 1.0, 2.0, 1.0)
RECIPE = recipe_at("3@5:1")


@pytest.fixture(scope="module")
def model() -> FilmPredictor:
    return angle_model()


def order(*weights: float, tolerance: Tolerance | float = 1.0) -> Target:
    return Target.of_readings(BOTH, weights=weights or None, tolerance=tolerance)


def test_each_angle_is_as_if_judged_alone_and_the_worst_is_the_orders(model: FilmPredictor) -> None:
    both = spray_panel(model, RECIPE, panels=3, order=order())
    alone = [spray_panel(model, RECIPE, panels=3, order=Target.of_readings(r)) for r in BOTH]
    assert [a.viewing for a in both.angles] == [FACE, FLOP]
    for angle, one in zip(both.angles, alone, strict=True):
        assert angle.side_to_side == pytest.approx(one.side_to_side)
    # The law alone makes the difference: one film, another way through it.
    assert alone[0].film_sd == alone[1].film_sd
    assert abs(alone[0].side_to_side / alone[1].side_to_side - 1) > 0.1
    most = max(a.side_to_side for a in both.angles)
    assert most <= both.side_to_side < sum(a.side_to_side for a in both.angles)
    assert both.worst.side_to_side == most


def test_weights_count_as_in_a_match(model: FilmPredictor) -> None:
    plain = spray_panel(model, RECIPE, panels=3, order=order())
    less = spray_panel(model, RECIPE, panels=3, order=order(1.0, 0.01))
    more = spray_panel(model, RECIPE, panels=3, order=order(0.01, 3.0))
    assert less.angles[1].side_to_side == plain.angles[1].side_to_side
    assert less.side_to_side == pytest.approx(plain.angles[0].side_to_side)
    assert more.side_to_side == pytest.approx(3 * plain.angles[1].side_to_side)
    assert (less.worst.viewing, more.worst.viewing) == (FACE, FLOP)
    assert "(which counts 3 times)" in more.words
    assert "most at 45as110" in more.words
    shown = film_tolerance_by_angle(model, [RECIPE], order=order(1.0, 3.0))[:, 0]
    whole = film_tolerance(model, RECIPE, order=order(1.0, 3.0))
    assert whole == pytest.approx(np.maximum(shown[0], 3.0 * shown[1]))


@pytest.mark.parametrize(
    ("tolerance", "own"),
    [
        (CMC, lambda one, two: delta_e_cmc(one, two, lightness=2.0, chroma=1.0)),
        (
            Tolerance("Lab", box=(2.0, 0.5, 1.0)),
            lambda one, two: np.max(np.abs(two - one) / np.array([2.0, 0.5, 1.0]), axis=-1),
        ),
    ],
)
def test_the_difference_is_the_one_that_the_order_names(
    model: FilmPredictor, tolerance: Tolerance, own: object
) -> None:
    judged = order(tolerance=tolerance)
    shown = film_tolerance_by_angle(model, [RECIPE], changes=(0.1,), order=judged)[:, 0, 0]
    for view, value in zip((FACE, FLOP), shown, strict=True):
        usual, more, less = lab_by_film(model, [RECIPE], [1.0, 1.1, 0.9], viewing=view)[0]
        assert value == pytest.approx(max(float(own(usual, x)) for x in (more, less)))  # type: ignore[operator]  # as parametrized
    u = spray_panel(model, RECIPE, panels=2, order=judged)
    assert u.tolerance == tolerance
    digits = 2 if tolerance.boxed else 1
    assert tolerance.with_unit(u.side_to_side, digits) in u.words
    plain = spray_panel(model, RECIPE, panels=2, order=order())
    assert u.side_to_side != pytest.approx(plain.side_to_side, rel=0.02)
    # Whether an eye sees it does not hang on the order.
    assert [a.delta_e00 for a in u.angles] == [a.side_to_side for a in plain.angles]


def test_an_angle_left_to_the_archive_is_its_own(model: FilmPredictor) -> None:
    usual = model.usual_view
    u = spray_panel(model, RECIPE, panels=1)
    assert [a.viewing for a in u.angles] == [usual]
    assert "at 45as" not in u.words


def test_a_match_that_must_be_even_is_even_at_every_angle(model: FilmPredictor) -> None:
    judged, past = order(tolerance=CMC), angle_panels()
    free = suggest(model, judged, archive=past, top=8)
    each = film_tolerance_by_angle(model, [s.recipe for s in free], changes=(0.1,), order=judged)
    worst = each[:, :, 0].max(axis=0)
    most = float(np.median(worst))
    kept = suggest(model, judged, Limits(max_unevenness=most), archive=past, top=8)
    recipes = [s.recipe for s in kept]
    shown = film_tolerance_by_angle(model, recipes, changes=(0.1,), order=judged)[:, :, 0]
    assert shown.max() <= most
    assert {s.recipe for s in free} - set(recipes)
    # The flop alone, in ΔE00, would let through what the order does not.
    flop = Target.of_readings(BOTH[1])
    flop_alone = film_tolerance(model, [s.recipe for s in free], changes=(0.1,), order=flop)[:, 0]
    assert (flop_alone[worst > most] <= most).any()
    with pytest.raises(DomainError, match=r"CMC\(2:1\), at the worst angle"):
        suggest(model, judged, Limits(max_unevenness=1e-6), archive=past)


def test_without_an_order_it_is_delta_e00(model: FilmPredictor) -> None:
    view = model.usual_view
    usual, more, less = lab_by_film(model, [RECIPE], [1.0, 1.2, 0.8], viewing=view)[0]
    own = max(float(delta_e00(usual, x)) for x in (more, less))
    assert film_tolerance(model, RECIPE, changes=(0.2,))[0] == pytest.approx(own)
