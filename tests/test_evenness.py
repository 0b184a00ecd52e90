"""Evenness: film tolerance from the law, and the gun that lays the film."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchlib.colorimetry import delta_e00
from matchlib.domain import Recipe
from matchlib.errors import DomainError
from matchlib.evenness import alternative_words, alternatives, film_tolerance, gun, spray_panel
from matchlib.evenness.film import coat_shares, lab_by_film
from matchlib.evenness.gun import coat_film, stroke_profile
from tests.suggest_shop import COLOURS, model_of, recipe


def test_film_as_meant_is_the_prediction() -> None:
    r = recipe("silver", COLOURS[0], "2@6:1 2@3:1")
    (lab,) = lab_by_film(model_of(), [r], [1.0], viewing=model_of().usual_view)
    assert lab == pytest.approx(model_of().predict_recipes([r]))


def test_no_film_is_nearly_the_bare_ground() -> None:
    r = recipe("gold", COLOURS[1], "4@6:1")
    bare = model_of().predict_recipes([Recipe(r.ground, clear="yes")])[0]
    none = lab_by_film(model_of(), [r], [0.0], viewing=model_of().usual_view)[0, 0]
    # The residual field knows the recipe and not the film, so a little of it is left.
    assert delta_e00(bare, none) < 1.5


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(COLOURS), st.integers(2, 5), st.sampled_from(["8:1", "6:1", "4:1"]))
def test_brighter_grounds_show_more(colour: str, coats: int, ratio: str) -> None:
    # Common practice, no source; nothing in the code puts it in.
    shown = film_tolerance(
        model_of(),
        [recipe(g, colour, f"{coats}@{ratio}")
         for g in ("graphite", "silver")],
        changes=(0.1,),
    )[:, 0]  # fmt: skip
    assert shown[0] < shown[1]


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(COLOURS), st.integers(1, 6))
def test_more_change_shows_more(colour: str, coats: int) -> None:
    shown = film_tolerance(model_of(), recipe("silver", colour, f"{coats}@6:1"))
    assert shown.shape == (3,)
    assert 0 < shown[0] < shown[1] < shown[2]


@pytest.mark.parametrize("changes", [(), (0.0,), (1.0,), (-0.1,)])
def test_a_change_that_is_none_is_refused(changes: tuple[float, ...]) -> None:
    with pytest.raises(DomainError):
        film_tolerance(model_of(), recipe("silver", COLOURS[0], "3@6:1"), changes=changes)


def test_a_stroke_is_the_fan_integrated_along_the_travel() -> None:
    # The fan's elliptical double beta, summed over y by brute force.
    beta1, beta2, x = gun.BETA, 2.5, np.array([0.0, 0.3, 0.6, 0.9])
    y = np.linspace(-1, 1, 400001)
    inner = 1 - x[:, None] ** 2
    lip = np.maximum(1 - y**2 / inner, 0.0)
    summed = (inner ** (beta1 - 1) * lip ** (beta2 - 1)).sum(axis=1)
    ours = stroke_profile(x)
    assert ours / ours[0] == pytest.approx(summed / summed[0], rel=1e-4)
    assert stroke_profile([1.0, 1.5]) == pytest.approx([0.0, 0.0])


def test_a_perfect_hand_with_much_overlap_lays_even_film(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gun, "HAND_SD", 0.0)
    monkeypatch.setattr(gun, "LINE_SD_MM", 0.0)
    film = coat_film((80, 120), np.random.default_rng(0), shift=0.3)
    assert film.mean() == pytest.approx(1.0, abs=0.01)
    u = spray_panel(model_of(), recipe("silver", COLOURS[0], "4@6:1"), panels=2)
    assert u.film_sd < 0.01


def test_the_roads_to_a_colour_end_there_and_more_coats_forgive_more() -> None:
    r = recipe("silver", COLOURS[0], "2@3:1")
    found = alternatives(model_of(), r)
    own = next(one for one in found if one.recipe == r)
    assert own.off == 0
    assert len(found) > 2
    want = model_of().predict_recipes([r])[0]
    for one in found:
        assert float(delta_e00(model_of().predict_recipes([one.recipe])[0], want)) <= 0.5 + 1e-6
        assert one.recipe.ground == r.ground
        assert one.recipe.schedule.coats <= 8
    assert found[0].recipe.schedule.coats > 2
    assert found[0].side_to_side < 0.9 * own.side_to_side
    assert "most forgiving" in alternative_words(found, r)
    assert [x.side_to_side for x in found] == sorted(x.side_to_side for x in found)
    assert alternatives(model_of(), Recipe(r.ground)) == ()
    assert alternative_words((), r) == ""


def test_coats_share_the_film() -> None:
    up = coat_shares(model_of(), recipe("silver", COLOURS[0], "2@6:1 2@3:1"))
    down = coat_shares(model_of(), recipe("silver", COLOURS[0], "2@3:1 2@6:1"))
    assert up.sum() == pytest.approx(1)
    assert up[2:].sum() > 0.5 > down[2:].sum()


def test_more_overlap_is_more_even(monkeypatch: pytest.MonkeyPatch) -> None:
    r = recipe("silver", COLOURS[0], "4@6:1")
    more = spray_panel(model_of(), r)
    assert more.words.startswith("With 75% overlap")
    monkeypatch.setattr(gun, "OVERLAP", 0.5)
    assert more.side_to_side < spray_panel(model_of(), r).side_to_side


def test_more_coats_average_out() -> None:
    one = spray_panel(model_of(), recipe("silver", COLOURS[0], "1@4:1"))
    five = spray_panel(model_of(), recipe("silver", COLOURS[0], "5@4:1"))
    assert five.film_sd < 0.6 * one.film_sd


def test_a_panel_is_drawn_alike_every_time() -> None:
    r = recipe("silver", COLOURS[0], "3@6:1")
    assert spray_panel(model_of(), r, panels=1) == spray_panel(model_of(), r, panels=1)


def test_a_bare_ground_has_no_unevenness() -> None:
    bare = Recipe(recipe("gold", COLOURS[0], "1@6:1").ground, clear="yes")
    assert spray_panel(model_of(), bare, panels=1).side_to_side == 0.0


def test_words_carry_the_number() -> None:
    u = spray_panel(model_of(), recipe("gold", COLOURS[0], "1@4:1"), panels=2)
    assert f"{u.side_to_side:.1f}" in u.words


@pytest.mark.parametrize("panels", [0, 501])
def test_a_number_of_panels_that_cannot_be_drawn_is_refused(panels: int) -> None:
    with pytest.raises(DomainError):
        spray_panel(model_of(), recipe("gold", COLOURS[0], "1@4:1"), panels=panels)
