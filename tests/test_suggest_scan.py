"""The fast look: the law without its residual; nothing good is lost, and it stops when told."""

from __future__ import annotations

import copy
import tracemalloc
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from matchlib.colorimetry import reflectance_to_lab
from matchlib.domain import Colour, Ground, Recipe, Viewing
from matchlib.mixing import CoatUse, JobArea, Limits
from matchlib.suggest import scan as module
from matchlib.suggest import suggest
from matchlib.suggest.refine import Picks
from matchlib.suggest.scan import ReducedLaw, scan
from matchlib.suggest.search import _Search
from matchlib.suggest.space import Space
from matchlib.target import Target
from tests.angle_shop import FACE, FLOP, angle_model, angle_panels
from tests.suggest_shop import archive_of, every, model_of, recipe, shop

NEAR, WORST = 0.001, 0.004
"""What single precision may be off, for 99 recipes in 100 and for any [ΔE*ab]."""

GREY = np.array([45.0, 5.0, 20.0])


def space_of(limits: Limits, reading: str = "lab") -> Space:
    return Space.of(model_of(reading), limits, [p.recipe for p in archive_of(reading)])


def distances(space: Space, views: list[Viewing], goals: list[NDArray[np.float64]]) -> Scanned:
    return scan(space, views, goals, [np.eye(3)] * len(views))


Scanned = list[tuple[NDArray[np.intp], NDArray[np.float32]]]


def errors(
    space: Space, views: list[Viewing], goals: list[NDArray[np.float64]], most: int = 4000
) -> NDArray[np.float64]:
    """How far the scan is from the law itself, on recipes drawn at random."""
    found = distances(space, views, goals)
    rows = [(g, p, i) for p, (s, out) in enumerate(found) for g in range(len(out))
            for i in range(len(s))]  # fmt: skip
    drawn = np.random.default_rng(99).permutation(len(rows))[:most]
    ground, pot, at = np.array([rows[i] for i in drawn], np.intp).T
    row = np.array([found[p][0][i] for p, i in zip(pot, at, strict=True)])
    fit, total = space.model.fitted_, np.zeros(len(drawn))
    law, z = fit.law, fit.z
    for view, goal in zip(views, goals, strict=True):
        table = space.table(
            space.ground_share[ground], space.colour_share[pot], space.schedules.take(row), view
        )
        seen = law.evaluate(z, table).reflectance
        total += ((reflectance_to_lab(seen, view) - goal) ** 2).sum(axis=1)
    mine = np.array([found[p][1][g, i] for g, p, i in zip(ground, pot, at, strict=True)])
    return np.abs(np.sqrt(mine) - np.sqrt(total))


def assert_near(error: NDArray[np.float64]) -> None:
    assert np.quantile(error, 0.99) < NEAR
    assert error.max() < WORST


@pytest.mark.parametrize("reading", ["lab", "spectrum"])
@pytest.mark.parametrize("light", ["D65", "A"])
@pytest.mark.parametrize("goal", [(45.0, 5.0, 20.0), (3.0, 1.0, -2.0), (90.0, -20.0, 80.0)])
def test_the_scan_is_the_law_itself(
    reading: str, light: str, goal: tuple[float, float, float]
) -> None:
    view = Viewing(light, "10")
    assert_near(errors(space_of(Limits(), reading), [view], [np.array(goal)]))


@pytest.mark.parametrize(
    "limits",
    [
        Limits(min_ratio=0, max_ratio=3, max_coats=20, ratio_step=0.25, step_ups=False),
        Limits(min_ratio=20, max_ratio=60, max_coats=2, ratio_step=0.5),
        Limits(min_ratio=0, max_ratio=100, max_coats=60, ratio_step=2.0, step_ups=False),
    ],
    ids=["dark", "light", "all that can be"],
)
def test_it_holds_for_very_dark_and_very_light(limits: Limits) -> None:
    space = space_of(limits)
    for goal in ((2.0, 0.0, 0.0), (70.0, 0.0, 0.0)):
        assert_near(errors(space, [Viewing()], [np.array(goal)]))


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.1, 0.7))
def test_it_holds_for_archives_of_any_shape(seed: int, spread: float) -> None:
    """Laws drawn from what is believed before any panel, about the one fitted."""
    model = copy.copy(model_of())
    fit, rng = model.fitted_, np.random.default_rng(seed)
    z = fit.z + spread * fit.sizes.groups[fit.law.group_of] * rng.normal(size=fit.z.shape)
    model.fitted_ = fit._replace(z=z)
    space = Space.of(model, Limits(), [])
    # From 1.7 on, which no ground that can be read has, the law's surface is another.
    assume(ReducedLaw.of(space, Viewing()).ground.max() < 1.5)
    assert_near(errors(space, [Viewing()], [GREY], most=2000))


def test_several_angles_are_summed() -> None:
    space = Space.of(angle_model(), Limits(), [p.recipe for p in angle_panels()])
    goals = [np.array([60.0, 30.0, 20.0]), np.array([20.0, 10.0, 5.0])]
    assert_near(errors(space, [FACE, FLOP], goals))
    face, flop = (distances(space, [v], [g]) for v, g in zip((FACE, FLOP), goals, strict=True))
    both = distances(space, [FACE, FLOP], goals)
    for (_, one), (_, two), (_, sums) in zip(face, flop, both, strict=True):
        np.testing.assert_allclose(sums, one + two, rtol=1e-3, atol=0.01)


def test_a_pot_of_three_colours_and_one_of_few_schedules() -> None:
    names = list(shop().colours)[:3]
    three = Colour.parse(" + ".join(f"{c} 1" for c in names))
    space = space_of(Limits(colours=(three,), grounds=(Ground.parse("silver"),)))
    assert_near(errors(space, [Viewing()], [GREY]))
    few = Limits(grounds=(Ground.parse("silver"),), min_ratio=6, max_ratio=6, max_coats=1)
    assert_near(errors(space_of(few), [Viewing()], [GREY]))


def test_a_stock_takes_recipes_away_and_changes_no_other() -> None:
    area, use = JobArea.flat(2.0), CoatUse.of_panel(60.0, area_m2=0.5, coats=1)
    each = Limits(area=area, use=use).ml_per_coat()
    stock = {str(c): 0.4 * each for c in list(shop().colours)[:2]}
    free = scan(space_of(Limits()), [Viewing()], [GREY], [np.eye(3)])
    space = space_of(Limits(stock=stock, area=area, use=use))
    held = scan(space, [Viewing()], [GREY], [np.eye(3)])
    fewer = 0
    for pot, ((rows, out), (all_rows, all_out)) in enumerate(zip(held, free, strict=True)):
        np.testing.assert_array_equal(rows, np.flatnonzero(space.allowed(pot)))
        kept = np.sqrt(all_out[:, np.isin(all_rows, rows)])
        np.testing.assert_allclose(np.sqrt(out), kept, atol=WORST)
        fewer += len(rows) < len(all_rows)
    assert fewer > 2
    none = Limits(stock=dict.fromkeys(map(str, shop().colours), 0.0), area=area, use=use)
    empty = scan(space_of(none), [Viewing()], [GREY], [np.eye(3)])
    k = len(space.ground_share)
    assert [out.shape for _, out in empty] == [(k, 0)] * len(space.colour_share)


def test_ten_million_recipes_take_little_more_than_their_distances() -> None:
    limits = Limits(ratio_step=0.05, max_coats=40, step_ups=False, blend_parts=20)
    space = space_of(limits)
    tracemalloc.start()
    try:
        found = scan(space, [Viewing()], [GREY], [np.eye(3)])
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    size = sum(out.nbytes for _, out in found)
    assert size > 4 * 10_000_000
    assert peak < size + 100e6


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_lost_against_the_whole_law_on_every_recipe(seed: int) -> None:
    rng = np.random.default_rng(40 + seed)
    limits = Limits(max_coats=4, ratio_step=1.0, min_ratio=3, max_ratio=8, blend_parts=3)
    lab = tuple(shop().truth_lab(shop().random_recipe(rng, continuous=True)))
    target = Target.lab(*lab)
    space = space_of(limits)
    found = suggest(model_of(), target, limits, top=8, archive=archive_of())
    picks = every(space)
    distance = target.difference(picks.labs(space, [Viewing()]))
    assert found.searched == len(picks)
    assert found.reachable == bool(distance.min() <= 1.0)
    assert min(s.delta_e00 for s in found) <= distance.min() + 0.3
    near = picks.take(np.argsort(distance, kind="stable")[:300])
    recipes = [
        Recipe(
            space.shelf.grounds[g],
            space.shelf.colours[p],
            space.schedules.schedule(int(s)),
            space.shelf.clear,
        )
        for g, p, s in zip(near.ground, near.pot, near.schedule, strict=True)
    ]
    predicted = model_of().predict_each(recipes)
    hope = target.expected(predicted.labs, predicted.covariance)
    # Its order lets less trouble decide within a fifth of what spray alone makes.
    assert min(s.expected for s in found) <= hope.mean.min() + 0.02


def test_of_equals_the_one_listed_first_comes_first() -> None:
    # A space lists fewer coats first, so that between equals they are proposed first.
    n = 40
    zeros, listed = np.zeros(n, np.intp), np.arange(n)
    schedules = SimpleNamespace(kind=zeros, total=np.ones(n, np.intp), single=zeros == 0)
    search: Any = SimpleNamespace(
        space=SimpleNamespace(schedules=schedules),
        target=Target.lab(50.0, 0.0, 0.0),
        _combination=lambda picks: zeros,
    )
    picks = Picks(zeros, zeros, listed)
    assert _Search._spread(search, picks, np.zeros(n), n, n).tolist() == listed.tolist()
    recipes = [recipe("silver", "cherry", "3@6:1")] * n
    assert _Search._chosen(search, recipes, np.ones(n), 3) == [0, 1, 2]


def test_how_many_are_worked_out_at_a_time_changes_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    space = space_of(Limits(max_coats=3))
    whole = distances(space, [Viewing()], [GREY])
    monkeypatch.setattr(module, "BLOCK", 77)
    for (_, one), (_, other) in zip(whole, distances(space, [Viewing()], [GREY]), strict=True):
        np.testing.assert_allclose(np.sqrt(one), np.sqrt(other), atol=1e-3)


@pytest.mark.parametrize("step_ups", [True, False])
def test_a_blend_is_stepped_up_where_that_meets_the_target(step_ups: bool) -> None:
    blend = " + ".join(f"{c} 1" for c in list(shop().colours)[:2])
    wanted = recipe("silver", blend, "2@6:1 2@4:1")
    lab = tuple(model_of().predict_recipes([wanted])[0])
    limits = Limits(
        grounds=("silver",),  # type: ignore[arg-type]  # as a caller writes it
        colours=(blend,),  # type: ignore[arg-type]  # the same
        ratio_step=2.0,
        min_ratio=4,
        max_ratio=8,
        min_coats=4,
        max_coats=4,
        step_ups=step_ups,
    )
    target = Target.lab(*lab)
    found = suggest(model_of(), target, limits, top=8, archive=archive_of())
    stepped = [s for s in found if s.recipe.schedule and len(s.recipe.schedule.steps) == 2]
    if not step_ups:
        assert not stepped
        assert min(s.delta_e00 for s in found) > 0.15
        return
    same = next(s for s in stepped if s.recipe.schedule == wanted.schedule)
    assert same.delta_e00 < 0.01
    assert same.never_sprayed  # marked like anything else that no panel shows
    assert found.searched == 3  # the grid itself has blends at one ratio only
