"""Repairs and fades: a finish is matched as near as it is to itself; strips are the law's."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchlib.colorimetry import delta_e00
from matchlib.domain import Ground, Reading, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.repair import aged_finish, blend_in, fade
from tests.cli_shop import copied, json_of, refused, run
from tests.suggest_shop import model_of, recipe, shop

ONE, TWO = (str(c) for c in list(shop().colours)[:2])


def places(rng: np.random.Generator, count: int) -> list[Reading]:
    return [Reading(lab=(50 + 0.4 * rng.normal(), 0.0, 0.0)) for _ in range(count)]


def test_a_finish_is_its_places_and_their_spread() -> None:
    found = aged_finish([Reading(lab=(40.0 + d, 30.0, 10.0)) for d in (-1.0, 0.0, 1.0)])
    assert found.lab == pytest.approx((40, 30, 10))
    assert found.places == 3
    assert found.farthest[0] in (39.0, 41.0)
    assert "3 places" in found.words
    for wrong in (
        [Reading(lab=(40.0, 0.0, 0.0))] * 2,
        [Reading(lab=(40.0, 0.0, 0.0), viewing=Viewing(v)) for v in ("D65", "A", "D65")],
    ):
        with pytest.raises(DomainError, match="several places"):
            aged_finish(wrong)


def test_places_that_read_alike_leave_a_tolerance_that_can_be_asked_for() -> None:
    found = aged_finish([Reading(lab=(40.0, 20.0, 10.0))] * 3)
    assert found.tolerance == pytest.approx(0.1)


def test_a_finish_is_matched_as_it_was_read(tmp_path) -> None:
    car = tmp_path / "car.csv"
    rows = "".join(f"{light},di:8,A,2\n" for light in ("40,-20,10", "40.3,-20,10", "39.7,-20,10"))
    car.write_text(f"L,a,b,geometry,illuminant,observer\n{rows}")
    said = " ".join(run("aged", "--reading", car).stdout.split())
    asked = said[said.index("workbook match") :].split()[1:]
    assert asked[:-2] == [
        *("match", "--lab-at", "di:8=40.00,-20.00,10.00", "--illuminant", "A", "--observer", "2")
    ]
    archive = copied(tmp_path)
    found = run(*asked, "--archive", archive, "--top", 1, "--readings", 0)
    assert found.exit_code == 0, found.output


@pytest.mark.parametrize(("coats", "zones"), [(3, 3), (5, 3), (3, 7), (4, 5), (2, 5)])
def test_a_fade_between_as_many_coats_holds_as_many_in_every_strip(coats, zones) -> None:
    one, two = (recipe("silver", ONE, f"{coats}@{r}:1") for r in (6, 3))
    strips = fade(model_of(), one, two, zones=zones)
    assert [z.recipe.coats for z in strips] == [coats] * zones
    assert (strips[0].recipe, strips[-1].recipe) == (one, two)


def test_ends_under_two_clears_are_told_apart() -> None:
    one, two = (Recipe.of("silver", ONE, "4@6:1", clear) for clear in ("yes", "no"))
    with pytest.raises(DomainError, match=r"clear coat: yes.*clear coat: no"):
        fade(model_of(), one, two)


def test_the_tolerance_holds_a_further_place() -> None:
    # Errors alike along three axes of ΔE00, so that the region is what its name says.
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(400):
        labs = np.array([50.0, 0.0, 0.0]) + rng.normal(0, [0.4, 0.29, 0.4], (6, 3))
        found = aged_finish([Reading(lab=tuple(lab)) for lab in labs[:5]])
        inside.append(float(delta_e00(found.lab, labs[5])) <= found.tolerance)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.035)


@settings(max_examples=8, deadline=None)
@given(st.integers(1, 5), st.integers(0, 3), st.integers(1, 3))
def test_blending_in_goes_coat_by_coat_to_the_bare_ground(
    coats: int, over: int, weaker: int
) -> None:
    r = recipe("silver", ONE, f"{coats}@6:1")
    zones = blend_in(model_of(), r, over=over, weaker=weaker)
    counts = [0 if z.recipe.bare else z.recipe.schedule.coats for z in zones]
    assert counts == list(range(coats * weaker + over, -1, -1))
    labs = model_of().predict_recipes([z.recipe for z in zones])
    np.testing.assert_allclose([z.lab for z in zones], labs)
    for before, zone in itertools.pairwise(zones):
        assert zone.step == pytest.approx(float(delta_e00(before.lab, zone.lab)))
    assert zones[over].off == 0
    # Let down, the same film lies there.
    assert zones[over].recipe.schedule.strength == pytest.approx(r.schedule.strength)


def test_weaker_coats_make_smaller_steps() -> None:
    r = recipe("silver", ONE, "4@6:1")
    plain, soft = (blend_in(model_of(), r, over=0, weaker=w) for w in (1, 2))
    assert max(z.step for z in soft) < max(z.step for z in plain)
    with pytest.raises(DomainError, match="nothing to blend"):
        blend_in(model_of(), Recipe(Ground.parse("silver")))


def test_a_mid_coat_is_laid_once_though_its_coats_are_let_down() -> None:
    r = Recipe.of("silver", None, f"1@6:1 {ONE}, 2@6:1 {TWO} over mid-coat")
    whole = blend_in(model_of(), r, over=2, weaker=2)[0].recipe
    assert str(whole.schedule) == f"2@13:1 {ONE}, 6@13:1 {TWO} over mid-coat"
    one = Recipe.of("silver", None, f"1@6:1 {ONE}, 1@6:1 {TWO} over mid-coat")
    over = blend_in(model_of(), one, over=2)[0].recipe
    assert str(over.schedule) == f"1@6:1 {ONE}, 3@6:1 {TWO} over mid-coat"


@pytest.mark.parametrize("coats", range(1, 8))
@pytest.mark.parametrize("zones", range(3, 13))
def test_a_fade_lays_as_many_coats_all_the_way(coats: int, zones: int) -> None:
    one, two = (recipe("silver", colour, f"{coats}@6:1") for colour in (ONE, TWO))
    assert {z.recipe.coats for z in fade(model_of(), one, two, zones=zones)} == {coats}


def test_a_fade_ends_at_both_colours() -> None:
    one, two = recipe("silver", ONE, "4@6:1"), recipe("silver", TWO, "2@4:1")
    zones = fade(model_of(), one, two, zones=5)
    assert (zones[0].recipe, zones[-1].recipe) == (one, two)
    middle = zones[2].recipe
    assert {str(c) for c, _ in middle.layers} == {ONE, TWO}
    assert middle.schedule.coats == 3
    np.testing.assert_allclose(
        [z.lab for z in zones], model_of().predict_recipes([z.recipe for z in zones])
    )
    for wrong in (recipe("gold", TWO, "2@4:1"), Recipe(one.ground, clear="yes")):
        with pytest.raises(DomainError):
            fade(model_of(), one, wrong)


def test_the_commands_say_what_shows(tmp_path) -> None:
    archive = copied(tmp_path)
    end = ("--archive", archive, "--ground", "silver")
    output = run("blend-in", *end, "--colour", "cherry", "--schedule", "3@6:1")
    assert output.exit_code == 0, output.output
    assert "shows" in output.stdout
    assert "hand's width" in output.stdout
    strips = json_of("fade", *end, "--from", "cherry", "3@6:1", "--to", "honey", "3@6:1")
    assert len(strips) == 5
    assert strips[0]["step"] == 0
    car = tmp_path / "car.csv"
    car.write_text(
        "panel,ground,L,a,b\nCAR,silver,30,40,12\nCAR,silver,31,40,12\nCAR,silver,29,40,12\n"
    )
    aged = run("aged", "--reading", car)
    assert "workbook match --lab 30.00 40.00 12.00 --tolerance" in " ".join(aged.stdout.split())
    assert json_of("aged", "--reading", car)["places"] == 3
    told = aged.stdout
    car.write_text("panel,L,a,b\ndoor,30,40,12\nwing,31,40,12\nhood,29,40,12\n")
    assert run("aged", "--reading", car).stdout == told, "each place has a name of its own"
    car.write_text("panel,ground,L,a,b\nCAR,silver,30,40,12\n")
    assert "several places" in refused("aged", "--reading", car)
