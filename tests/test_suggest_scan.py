"""The fast look: few wavelengths give the colour, nothing good is lost, and it stops when told."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchlib.colorimetry import reflectance_to_lab, weights, white_point
from matchlib.domain import Viewing
from matchlib.suggest import Aim, Limits, Target, suggest
from matchlib.suggest.nodes import NEAR, WORST, Nodes
from matchlib.suggest.refine import Picks
from matchlib.suggest.scan import LawInBrief, scan
from matchlib.suggest.space import Space
from tests.suggest_shop import archive_of, model_of, recipe, shop

DAYLIGHT = (weights("D65", "10") / white_point("D65", "10")).T


def space_of(limits: Limits, reading: str = "lab") -> Space:
    return Space.of(model_of(reading), limits, [p.recipe for p in archive_of(reading)])


@pytest.mark.parametrize("reading", ["lab", "spectrum"])
@pytest.mark.parametrize("light", ["D65", "A"])
def test_few_wavelengths_give_the_colour_of_every_recipe(reading: str, light: str) -> None:
    space = space_of(Limits(), reading)
    view = Viewing(light, "10")
    law = LawInBrief.of(space, view)
    nodes = law.nodes(space, view)
    assert len(nodes.bands) <= 20
    rng = np.random.default_rng(99)  # other recipes than those that it was fitted to
    ground, pot, row = (
        rng.integers(n, size=4000)
        for n in (len(law.ground), len(space.colour_share), len(law.dose))
    )
    seen = law.reflectance(ground, law.dose[row] * space.colour_share[pot])
    white = white_point(light, "10")
    ratio = np.clip(seen[:, nodes.bands] @ nodes.weights.T, 1e-9, None)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * 841 / 108 + 4 / 29)
    lab = np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], 1)
    error = np.linalg.norm(lab - reflectance_to_lab(seen, view), axis=1)
    assert white.shape == (3,)
    assert np.quantile(error, 0.98) < NEAR
    assert error.max() < 2 * WORST


def test_spectra_that_no_few_wavelengths_tell_keep_all() -> None:
    rng = np.random.default_rng(0)
    noise = rng.uniform(0.05, 0.9, (300, 31))
    nodes = Nodes.of(DAYLIGHT, noise[::2], noise[1::2])
    assert len(nodes.bands) == 31
    np.testing.assert_array_equal(nodes.weights, DAYLIGHT)


@settings(max_examples=20, deadline=None)
@given(st.integers(2, 6), st.integers(0, 2**31))
def test_spectra_of_few_shapes_need_few_wavelengths(shapes: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    basis = np.cos(np.pi * np.arange(shapes)[:, None] * np.linspace(0, 1, 31))
    parts = rng.uniform(-0.1, 0.1, (200, shapes))
    parts[:, 0] = rng.uniform(0.45, 0.5, 200)
    nodes = Nodes.of(DAYLIGHT, *np.split(np.clip(parts @ basis, 0.01, 0.99), 2))
    assert len(nodes.bands) < 31
    assert nodes.error <= NEAR


def test_the_best_by_few_wavelengths_is_the_best_by_all() -> None:
    space = space_of(Limits(max_coats=5))
    view, lab = Viewing(), np.array([45.0, 20.0, 15.0])
    few = scan(space, [view], [lab], [np.eye(3)])
    every = scan(space, [view], [lab], [np.eye(3)], every_band=True)
    a, b = (np.concatenate([np.sqrt(o).ravel() for _, o in s]) for s in (few, every))
    assert np.abs(a - b).max() < 2 * WORST
    assert b[np.argmin(a)] < b.min() + 2 * NEAR
    assert np.any(a != b)  # fewer were taken


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_lost_against_the_whole_law_on_every_recipe(seed: int) -> None:
    rng = np.random.default_rng(40 + seed)
    limits = Limits(max_coats=4, ratio_step=1.0, min_ratio=3, max_ratio=8, blend_parts=3)
    lab = tuple(shop().truth_lab(shop().random_recipe(rng, continuous=True)))
    target = Target.of_lab(lab)
    space = space_of(limits)
    found = suggest(model_of(), target, limits, top=8, archive=archive_of())
    rows = [
        (g, p, int(s))
        for p in range(len(space.colour_share))
        for g in range(len(space.ground_share))
        for s in np.flatnonzero(space.allowed(p))
    ]
    picks = Picks(*np.array(rows, np.intp).T)
    distance = target.difference(picks.labs(space, [Viewing()]))
    near = picks.take(np.argsort(distance, kind="stable")[:300])
    recipes = [
        space.recipe(
            space.shelf.grounds[g], space.shelf.colours[p], space.schedules.schedule(int(s))
        )
        for g, p, s in zip(near.ground, near.pot, near.schedule, strict=True)
    ]
    parts = model_of().predict_parts(recipes)
    hope = target.expected(parts[0][None], parts[1] + parts[2] + parts[3])
    # Its order lets less trouble decide within a fifth of what spray alone makes.
    assert min(s.expected_delta_e00 for s in found) <= hope.mean.min() + 0.02


class StoppedError(Exception):
    """Pressed."""


@pytest.mark.parametrize("after", [0, 1, 3, 6, 8])
def test_what_a_step_raises_ends_the_search(after: int) -> None:
    calls: list[str] = []

    def step(share: float | None, words: str) -> None:
        assert share is None or 0.0 <= share <= 1.0
        calls.append(words)
        if len(calls) > after:
            raise StoppedError

    before = threading.active_count()
    with pytest.raises(StoppedError):
        suggest(model_of(), Target.of_lab((45, 5, 20)), archive=archive_of(), step=step)
    assert len(calls) == after + 1
    assert threading.active_count() == before


@pytest.mark.parametrize("threads", [1, 2])
def test_a_scan_stops_between_blocks(threads: int, monkeypatch: pytest.MonkeyPatch) -> None:
    from matchlib.suggest import scan as module

    monkeypatch.setattr(module, "CELLS", 1024)
    monkeypatch.setattr(module, "PAUSE", 0.001)
    space = space_of(Limits())
    worked: list[int] = []
    plain = module._Desk.work

    def slowly(desk: object, heap: object, part: slice) -> None:
        worked.append(1)
        time.sleep(0.002)
        plain(desk, heap, part)  # type: ignore[arg-type]  # as it was called

    monkeypatch.setattr(module._Desk, "work", slowly)
    me, shares = threading.get_ident(), []

    def step(share: float | None, _words: str) -> None:
        assert threading.get_ident() == me
        assert share is not None
        shares.append(share)
        if len(shares) > 3:
            raise StoppedError

    args = (space, [Viewing()], [np.array([45.0, 5.0, 20.0])], [np.eye(3)])
    with pytest.raises(StoppedError):
        scan(*args, threads=threads, step=step)
    stopped = len(worked)
    assert shares == sorted(shares)
    module.scan(*args, threads=threads)
    assert stopped < (len(worked) - stopped) / 4


def test_a_search_that_is_watched_finds_the_same() -> None:
    target = Target((Aim((45, 5, 20)), Aim((47, 6, 25), Viewing("A", "10"))))
    told: list[float | None] = []
    watched = suggest(
        model_of(), target, archive=archive_of(), step=lambda share, _: told.append(share)
    )
    assert watched.as_dicts() == suggest(model_of(), target, archive=archive_of()).as_dicts()
    assert len(told) > 8
    assert [t for t in told if t is not None] == sorted(t for t in told if t is not None)


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
    target = Target.of_lab(lab)
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
