"""What a shop has and wants of recipes: read, refused, kept to."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from matchlib.correction import Belief, fresh_recipes
from matchlib.correction.moves import moves
from matchlib.domain import CoatSchedule
from matchlib.errors import DomainError, UnknownName
from matchlib.mixing import CoatUse, JobArea, Limits, pot
from matchlib.steering import plan
from matchlib.suggest import suggest
from matchlib.target import Target
from tests.suggest_shop import COLOURS, archive_of, goal_of, model_of, recipe

LABS = st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60))


@pytest.mark.parametrize("ends", [("6:1", "3:1"), (3, 6), (6.0, "3"), ("3:1", 6)])
def test_the_ratio_range_is_read_whichever_way_round(ends: tuple[object, object]) -> None:
    limits = Limits(min_ratio=ends[0], max_ratio=ends[1])  # type: ignore[arg-type]
    assert limits.carrier == (3.0, 6.0)
    assert [str(r) for r in limits.ratios()] == [
        "6:1", "5.5:1", "5:1", "4.5:1", "4:1", "3.5:1", "3:1"
    ]  # fmt: skip


@pytest.mark.parametrize(
    "wrong",
    [
        {"max_coats": 0},
        {"min_coats": 4, "max_coats": 3},
        {"ratio_step": 0.0},
        {"min_ratio": "x"},
        {"max_ratio": -1},
        {"blend_parts": 1},
        {"stock": {"violet": 500.0}},
        {"max_unevenness": 0.0},
        {"max_unevenness": float("inf")},
    ],
)
def test_impossible_limits_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(DomainError):
        Limits(**wrong)  # type: ignore[arg-type]


@pytest.mark.parametrize(("wrong", "got"), [("abc", "'abc'"), ("120", "'120'"), (-1.0, "-1")])
def test_what_is_no_limit_of_the_ratio_is_said_as_it_was_given(wrong: object, got: str) -> None:
    with pytest.raises(DomainError) as refused:
        Limits(min_ratio=wrong)  # type: ignore[arg-type]
    assert refused.value.got == got


def test_an_unknown_name_on_the_shelf_is_named() -> None:
    with pytest.raises(UnknownName, match="purple haze"):
        suggest(model_of(), Target.lab(50, 0, 0), Limits(colours=("purple haze",)))


@settings(max_examples=12, deadline=None)
@example(2, (2.123456, 2.2000001), {"silver"}, False, (40.0, 5.0, 5.0))  # no half part fits between
@given(
    st.integers(1, 4),
    st.tuples(st.floats(2, 6), st.floats(2, 9)),
    st.sets(st.sampled_from(["silver", "gold", "graphite"]), min_size=1),
    st.booleans(),
    st.tuples(st.floats(20, 80), st.floats(-25, 25), st.floats(-25, 25)),
)
def test_limits_are_kept(
    coats: int,
    ends: tuple[float, float],
    grounds: set[str],
    blends: bool,
    lab: tuple[float, float, float],
) -> None:
    limits = Limits(
        grounds=tuple(sorted(grounds)),  # type: ignore[arg-type]
        colours=(COLOURS[0], COLOURS[1]),  # type: ignore[arg-type]
        min_ratio=ends[0],
        max_ratio=ends[1],
        max_coats=coats,
        blends=blends,
        step_ups=False,
    )
    found = suggest(model_of(), Target.lab(*lab), limits, top=4, archive=archive_of())
    assert 1 <= len(found) <= 4
    least, most = sorted(ends)
    whole_steps = np.floor(round(most, 3) * 2) >= np.ceil(round(least, 3) * 2)
    for s in found:
        r = s.recipe
        assert r.colour is not None
        assert r.schedule is not None
        assert str(r.ground) in grounds
        assert set(r.colour.shares) <= {c.casefold() for c in COLOURS[:2]}
        assert r.colour.neat or blends
        assert r.schedule.coats <= coats
        assert len(r.schedule.steps) == 1
        carrier = float(r.schedule.steps[0].ratio.carrier / r.schedule.steps[0].ratio.colour)
        assert least - 1e-3 <= carrier <= most + 1e-3
        if whole_steps:
            assert (carrier * 2) % 1 == pytest.approx(0.0)


def test_stock_is_held_to() -> None:
    area = JobArea.flat(2.0)
    use = CoatUse.of_panel(60.0, area_m2=0.5, coats=1)
    goal = goal_of(recipe("silver", COLOURS[0], "5@2.5:1"))
    each = area.sprayed_m2 * use.enough_ml(0.95)
    name = f" {COLOURS[0].upper()}"  # no other name than the archive's
    limits = Limits(stock={name: 0.9 * each}, area=area, use=use, blends=False)
    free = suggest(model_of(), goal, Limits(blends=False))
    found = suggest(model_of(), goal, limits)
    assert free[0].recipe.schedule is not None
    assert free[0].recipe.schedule.strength > 0.9
    for s in found:
        assert s.recipe.schedule is not None
        if str(s.recipe.colour) == COLOURS[0]:
            assert s.recipe.schedule.strength <= 0.9 + 1e-9
    scarce = Limits(
        grounds=("silver",),
        colours=(COLOURS[0],),
        stock={name: 0.4 * each},
        area=area,
        use=use,
        blends=False,
        ground_blends=False,
    )
    short = suggest(model_of(), goal, scarce)
    assert short.why_not.startswith("Out of reach")
    assert "Finer parts" not in short.why_not, "no cup makes more of what there is"
    assert short[0].rounding_loss < 1.0
    learnt = Belief.of(model_of())
    could = fresh_recipes(model_of(), limits, usual="yes")
    could += [move.recipe for move in moves(could[-1], limits, ())]
    could += [one.whole for one in plan(learnt, goal, limits, readings=0)]
    own = [r for r in could if str(r.colour) == COLOURS[0]]
    assert own
    assert max(r.strength for r in own) <= 0.9 + 1e-9
    nothing = Limits(stock=dict.fromkeys(COLOURS, 1e-3 * each), area=area, use=use)
    with pytest.raises(DomainError):
        suggest(model_of(), goal, nothing)


@pytest.mark.parametrize("coats", ["2@3:1", "1@6:1 2@3:1"])
def test_stock_suffices_only_for_what_the_pot_takes_of_it(coats: str) -> None:
    # A card takes little more than stays in the cup, and no pot is mixed under 50 ml.
    area, use = JobArea.flat(0.09), CoatUse.of_panel(60.0, area_m2=1.0, coats=1)
    one = recipe("silver", COLOURS[0], coats)
    made = pot(one, area=area, use=use)
    mixed = math.fsum(g.pour.total_ml * g.pour.ratio.fraction for g in made.groups)
    goal = goal_of(one)
    for left, enough in ((1.001 * mixed, True), (0.999 * mixed, False)):
        limits = Limits(stock={COLOURS[0]: left}, area=area, use=use, blends=False)
        assert limits.enough_for(one) is enough
        found = suggest(model_of(), goal, limits, top=20)
        own = [s.recipe for s in found if str(s.recipe.colour) == COLOURS[0]]
        assert all(limits.enough_for(r) for r in own), "the search and the rule are one"
        for r in own:
            taken = [n.ml for n in pot(r, area=area, use=use).needs if n.kind == "colour"]
            assert sum(taken) <= left


def test_what_a_coat_takes_counts_what_is_not_known_of_the_area_as_a_pot_does() -> None:
    area, use = JobArea.usual("door"), CoatUse.of_panel(60.0, area_m2=1.0, coats=1)
    made = pot(CoatSchedule.parse("3@6:1"), area=area, use=use, residue_ml=0.0)
    assert 3 * Limits(area=area, use=use).ml_per_coat() == pytest.approx(made.total_ml)
