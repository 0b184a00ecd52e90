"""Suggestions: limits kept, roads spread, the neat colour preferred, and the search exact."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from matchlib.colorimetry import (
    delta_e00,
    delta_e_cmc,
    delta_lch,
    lab_to_xyz,
    reflectance_to_lab,
    white_point,
)
from matchlib.domain import Reading, Recipe, Viewing
from matchlib.errors import DomainError, TargetError, UnknownName
from matchlib.mixing import CoatUse, JobArea
from matchlib.suggest import Aim, Limits, Target, Tolerance, suggest, surface_excess
from matchlib.suggest.brief import LawInBrief
from matchlib.suggest.refine import Picks
from matchlib.suggest.scan import scan
from matchlib.suggest.space import Space
from matchlib.suggest.words import Experience, direction
from tests.suggest_shop import archive_of, ladder_model, model_of, recipe, shop

SHOP_COLOURS = [str(c) for c in shop().colours]
LABS = st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60))


def every(space: Space) -> Picks:
    rows = [
        (g, p, int(s))
        for p in range(len(space.colour_share))
        for g in range(len(space.ground_share))
        for s in np.flatnonzero(space.allowed(p))
    ]
    return Picks(*np.array(rows, np.intp).T)


def goal_of(r: Recipe) -> Target:
    lab = model_of().predict_recipes([r])[0]
    return Target.of_lab(tuple(lab))


# -- targets ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "lab", [(101, 0, 0), (-1, 0, 0), (50, 150, 0), (99, 40, 0), (5, 0, -80), (np.nan, 0, 0), (1, 2)]
)
def test_a_colour_no_surface_has_is_refused(lab: tuple[float, ...]) -> None:
    with pytest.raises(TargetError):
        Target.of_lab(lab)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=31, max_size=31))
def test_every_reflectance_is_inside_the_solid_of_surfaces(values: list[float]) -> None:
    lab = reflectance_to_lab(np.array(values))
    assert surface_excess(lab, Viewing()) < 1e-9


def test_the_solid_of_surfaces_touches_its_optimal_colours() -> None:
    # Reflectance 1 between two wavelengths and 0 elsewhere is optimal (Schrödinger 1920): it lies
    # on the surface, and anything more vivid at the same lightness lies outside.
    band = np.zeros(31)
    band[12:20] = 1.0
    lab = reflectance_to_lab(band)
    assert abs(surface_excess(lab, Viewing())) < 1e-6
    assert surface_excess(lab * np.array([1.0, 1.1, 1.1]), Viewing()) > 1e-3


def test_the_solid_is_that_of_colour_science() -> None:
    # Its Rösch-MacAdam solid, from pulse waves on the same wavelengths; not its table of MacAdam
    # limits, which starts at a luminance of ten percent and misses dark colours.
    import colour

    rng = np.random.default_rng(1)
    labs = np.column_stack([rng.uniform(10, 90, 300), rng.uniform(-120, 120, (300, 2))])
    excess = np.array([surface_excess(lab, Viewing("D65", "2")) for lab in labs])
    theirs = colour.is_within_visible_spectrum(
        lab_to_xyz(labs, white_point("D65", "2")) / 100.0,
        colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
        .copy()
        .align(colour.SpectralShape(400, 700, 10)),
        colour.SDS_ILLUMINANTS["D65"],
    )
    clear = np.abs(excess) > 0.005
    assert 50 < theirs[clear].sum() < clear.sum() - 50
    assert np.array_equal(theirs[clear], excess[clear] < 0)


def test_an_aspecular_target_may_outshine_the_white() -> None:
    target = Target((Aim((130.0, 0.0, 0.0), Viewing(geometry="45as15")),))
    assert target.aims[0].lab[0] == 130.0


@settings(max_examples=40, deadline=None)
@given(LABS, st.sampled_from(["ΔE00", "CMC"]), st.tuples(*[st.floats(-1, 1)] * 3))
def test_the_metric_is_the_difference_near_the_target(
    lab: tuple[float, float, float], kind: str, step: tuple[float, float, float]
) -> None:
    tolerance = Tolerance(kind)
    d = 1e-3 * np.array(step)
    if np.hypot(lab[1], lab[2]) < 1 or np.linalg.norm(d) < 1e-5:
        return
    by_form = np.sqrt(d @ tolerance.metric(lab) @ d)
    assert by_form == pytest.approx(float(tolerance.difference(lab, lab + d)), rel=0.02, abs=1e-6)


def test_tolerances_are_what_the_order_names() -> None:
    standard, trial = np.array([50.0, 20.0, 10.0]), np.array([51.0, 21.0, 9.0])
    assert Tolerance("CMC", 1.0, 2.0, 1.0).difference(standard, trial) == pytest.approx(
        float(delta_e_cmc(standard, trial, lightness=2.0, chroma=1.0))
    )
    box = Tolerance("Lab", box=(2.0, 0.5, 4.0))
    assert box.difference(standard, trial) == pytest.approx(2.0)
    shift = delta_lch(standard, trial)
    hue = Tolerance("LCh", box=(10.0, 10.0, 0.1))
    assert hue.difference(standard, trial) == pytest.approx(abs(float(shift.hue)) / 0.1)
    assert Tolerance("dE00").kind == "ΔE00"
    for bad in (("odd", 1.0), ("ΔE00", 0.0), ("ΔE00", float("nan"))):
        with pytest.raises(TargetError):
            Tolerance(*bad)


def test_the_worst_angle_decides_with_its_weight() -> None:
    face, flop = Viewing(geometry="45as15"), Viewing(geometry="45as110")
    readings = [Reading(face, lab=(60, 0, 0)), Reading(flop, lab=(20, 0, 0))]
    target = Target.of_readings(readings, weights=[1.0, 0.5])
    near, far = np.array([[60.0, 0, 0]]), np.array([[24.0, 0, 0]])
    own = float(delta_e00([20, 0, 0], far[0]))
    assert target.difference([near, far])[0] == pytest.approx(0.5 * own)
    with pytest.raises(TargetError):
        Target.of_readings(readings, weights=[1.0])


# -- limits ----------------------------------------------------------------------------------------


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
        {"pot_ml": 500.0},
        {"max_unevenness": 0.0},
    ],
)
def test_impossible_limits_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(DomainError):
        Limits(**wrong)  # type: ignore[arg-type]


def test_an_unknown_name_on_the_shelf_is_named() -> None:
    with pytest.raises(UnknownName, match="purple haze"):
        suggest(model_of(), Target.of_lab((50, 0, 0)), Limits(colours=("purple haze",)))


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
        colours=(SHOP_COLOURS[0], SHOP_COLOURS[1]),  # type: ignore[arg-type]
        min_ratio=ends[0],
        max_ratio=ends[1],
        max_coats=coats,
        blends=blends,
        step_ups=False,
    )
    found = suggest(model_of(), Target.of_lab(lab), limits, top=4, archive=archive_of())
    assert 1 <= len(found) <= 4
    least, most = sorted(ends)
    whole_steps = np.floor(round(most, 3) * 2) >= np.ceil(round(least, 3) * 2)
    for s in found:
        r = s.recipe
        assert r.colour is not None
        assert r.schedule is not None
        assert str(r.ground) in grounds
        assert set(r.colour.shares) <= {c.casefold() for c in SHOP_COLOURS[:2]}
        assert r.colour.neat or blends
        assert r.schedule.coats <= coats
        assert len(r.schedule.steps) == 1
        carrier = float(r.schedule.steps[0].ratio.carrier / r.schedule.steps[0].ratio.colour)
        assert least - 1e-3 <= carrier <= most + 1e-3
        if whole_steps:
            assert (carrier * 2) % 1 == pytest.approx(0.0)


def test_stock_and_pot_are_held_to() -> None:
    area = JobArea.flat(2.0)
    use = CoatUse.of_panel(60.0, area_m2=0.5, coats=1)
    goal = goal_of(recipe("silver", SHOP_COLOURS[0], "5@2.5:1"))
    each = area.sprayed_m2 * use.enough_ml(0.95)
    limits = Limits(stock={SHOP_COLOURS[0].upper(): 0.9 * each}, pot_ml=3.1 * each, area=area,
                    use=use, blends=False)  # fmt: skip
    free = suggest(model_of(), goal, Limits(blends=False))
    found = suggest(model_of(), goal, limits)
    assert free[0].recipe.schedule is not None
    assert free[0].recipe.schedule.strength > 0.9
    for s in found:
        assert s.recipe.schedule is not None
        assert max(step.coats for step in s.recipe.schedule.steps) <= 3
        if str(s.recipe.colour) == SHOP_COLOURS[0]:
            assert s.recipe.schedule.strength <= 0.9 + 1e-9
    nothing = Limits(pot_ml=0.5 * each, area=area, use=use)
    with pytest.raises(DomainError):
        suggest(model_of(), goal, nothing)


# -- the search ------------------------------------------------------------------------------------


def test_the_law_in_brief_is_the_law_but_for_its_residual() -> None:
    panels = archive_of()
    model, _ = ladder_model()
    space = Space.of(model, Limits(max_coats=5), [p.recipe for p in panels])
    lab, view = np.array([50.0, 5.0, 10.0]), Viewing()
    scanned = scan(space, [view], [lab], [np.eye(3)])
    picks = every(space)
    exact = np.linalg.norm(picks.labs(space, [view])[0] - lab, axis=1)
    brief = np.concatenate([np.sqrt(out).ravel() for _, out in scanned])
    assert len(exact) == len(brief)
    # A series in single precision, no residual in this model: two hundredths of a ΔE*ab.
    assert np.max(np.abs(brief - exact)) < 0.02


def test_the_law_in_brief_reads_the_surface_off_the_law() -> None:
    space = Space.of(model_of(), Limits(), [])
    brief = LawInBrief.of(space, Viewing())
    bare = [Recipe(g, clear="yes") for g in space.shelf.grounds]
    inner = brief.ground
    seen = brief.lift[:, None] + brief.gain[:, None] * inner / (1 - brief.k2[:, None] * inner)
    assert reflectance_to_lab(seen) == pytest.approx(model_of().predict_recipes(bare), abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_search_finds_what_trying_everything_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    limits = Limits(max_coats=4, ratio_step=1.0, min_ratio=3, max_ratio=8, step_ups=True)
    lab = tuple(shop().truth_lab(shop().random_recipe(rng, continuous=True)))
    target = Target.of_lab(lab)
    space = Space.of(model_of(), limits, [p.recipe for p in archive_of()])
    picks = every(space)
    exact = target.difference(picks.labs(space, [Viewing()]))
    found = suggest(model_of(), target, limits, top=8, archive=archive_of())
    assert found.searched == len(picks)
    # The nearest of all is either listed or passed over for less trouble within the noise.
    assert min(s.delta_e00 for s in found) <= exact.min() + 0.3
    best = int(np.argmin(exact))
    assert found.reachable == bool(exact[best] <= 1.0)
    for s in found:
        # Step-ups of blends are tried near the best, and are not among those.
        assert s.recipe.schedule is not None
        assert s.recipe.colour is not None
        if s.recipe.colour.neat or len(s.recipe.schedule.steps) == 1:
            assert s.delta_e00 >= exact.min() - 1e-9


def test_a_target_from_a_known_recipe_is_found_within_repeatability() -> None:
    rng = np.random.default_rng(8)
    recipes = [shop().random_recipe(rng, continuous=True) for _ in range(8)]
    floor = shop().repeatability(recipes, times=6)
    errors = []
    for r in recipes:
        lab = shop().truth_lab(r)
        found = suggest(model_of(), Target.of_lab(tuple(lab)), archive=archive_of(), top=1)
        assert found.reachable, str(r)
        assert found.miss == ""
        errors.append(float(delta_e00(shop().truth_lab(found[0].recipe), lab)))
    assert np.median(errors) < 1.25 * floor


def test_the_chance_is_of_the_next_panel_sprayed() -> None:
    # Sprayed again and again, the share of panels within the tolerance is the chance stated.
    rng = np.random.default_rng(5)
    stated, passed = [], []
    for _ in range(14):
        lab = shop().truth_lab(shop().random_recipe(rng, continuous=True))
        s = suggest(model_of(), Target.of_lab(tuple(lab), tolerance=0.7), top=1)[0]
        panels = [shop().spray(s.recipe, rng).readings[0].lab for _ in range(12)]
        stated.append(s.probability)
        passed.append(np.mean(delta_e00(lab, np.array(panels)) <= 0.7))
    assert abs(np.mean(stated) - np.mean(passed)) < 0.15
    assert np.corrcoef(stated, passed)[0, 1] > 0.4


def test_numbers_do_not_change_from_call_to_call() -> None:
    target = Target.of_lab((45, 5, 20))
    first = suggest(model_of(), target, archive=archive_of())
    again = suggest(model_of(), target, archive=archive_of())
    assert first.items == again.items


def test_the_neat_colour_comes_before_a_blend_that_is_no_better() -> None:
    rng = np.random.default_rng(2)
    for _ in range(4):
        r = shop().random_recipe(rng)
        found = suggest(model_of(), goal_of(r), archive=archive_of())
        assert found[0].recipe.colour is not None
        assert found[0].recipe.colour.neat
        assert found[0].why.startswith("Neat ")
        assert "part" in found[0].why  # the ratio in words


def test_fewer_coats_come_first_between_equals() -> None:
    # Four coats at one ratio, or more at a weaker: both reach it, and the shorter way is first.
    found = suggest(
        model_of(),
        goal_of(recipe("silver", SHOP_COLOURS[0], "3@4:1")),
        Limits(step_ups=False, blends=False, grounds=("silver",), colours=(SHOP_COLOURS[0],)),  # type: ignore[arg-type]
        archive=archive_of(),
    )
    first = found[0]
    assert first.recipe.schedule is not None
    for other in found[1:]:
        assert other.recipe.schedule is not None
        if abs(other.expected_delta_e00 - first.expected_delta_e00) < 0.005:
            assert first.recipe.schedule.coats <= max(3, other.recipe.schedule.coats)


def test_suggestions_take_different_roads() -> None:
    # A dark neutral of two complementary colours: every ground offers a road of its own.
    found = suggest(model_of(), Target.of_lab((25, 2, 8)), archive=archive_of(), top=5)
    assert len({s.road for s in found}) >= 3
    ranks = [(str(s.recipe)) for s in found]
    assert len(set(ranks)) == len(ranks)


def test_out_of_reach_says_so_and_which_way_it_misses() -> None:
    found = suggest(
        model_of(),
        Target.of_lab((92, 0, 2)),
        Limits(grounds=("graphite",), colours=(SHOP_COLOURS[0],)),  # type: ignore[arg-type]
        archive=archive_of(),
    )
    assert not found.reachable
    assert "darker" in found.miss
    assert found[0].probability < 1e-3
    assert found[0].lab[0] < 92


@pytest.mark.parametrize(
    ("standard", "trial", "word"),
    [
        ((50, 30, 0), (60, 30, 0), "lighter"),
        ((50, 30, 0), (40, 30, 0), "darker"),
        ((50, 30, 0), (50, 20, 0), "duller"),
        ((50, 30, 0), (50, 40, 0), "more vivid"),
        ((50, 30, 10), (50, 26, 18), "yellower"),
        ((50, 26, 18), (50, 30, 10), "redder"),
        ((50, -20, 20), (50, -26, 12), "greener"),
        ((50, -26, -12), (50, -20, -20), "bluer"),
        ((50, 20, -20), (50, 26, -12), "redder"),
        ((50, 26, -12), (50, 20, -20), "bluer"),
    ],
)
def test_directions_are_said_as_painters_say_them(
    standard: tuple[float, ...], trial: tuple[float, ...], word: str
) -> None:
    assert direction(standard, trial)[0].startswith(word)


def test_rounding_costs_what_it_says() -> None:
    found = suggest(
        model_of(),
        goal_of(recipe("silver", SHOP_COLOURS[1], "3@5.27:1")),
        Limits(ratio_step=2.0, min_ratio=4, max_ratio=8, step_ups=False, blends=False, min_coats=3,
               max_coats=3, grounds=("silver",), colours=(SHOP_COLOURS[1],)),  # type: ignore[arg-type]
        archive=archive_of(),
    )  # fmt: skip
    nearest = min(found, key=lambda s: s.delta_e00)
    # Unrounded, the recipe itself is within reach: all that is left is rounding.
    assert nearest.rounding_loss == pytest.approx(nearest.delta_e00, abs=0.02)
    assert nearest.rounding_loss > 0.3


def test_a_share_never_mixed_is_marked() -> None:
    model, panels = ladder_model()
    between = recipe("silver 1 + graphite 1", SHOP_COLOURS[0], "3@5:1")
    lab = model.predict_recipes([between])[0]
    limits = Limits(grounds=("silver", "graphite"), blends=False)  # type: ignore[arg-type]
    found = suggest(model, Target.of_lab(tuple(lab)), limits, archive=panels, top=8)
    mixed = [s for s in found if not s.recipe.ground.neat]
    assert mixed
    for s in mixed:
        ready = s.recipe.ground.key == recipe("silver 3 + graphite 1", "x", "1@6:1").ground.key
        assert ready != any("never mixed" in text for text in s.never_sprayed)
    closed = Limits(grounds=("silver", "graphite"), blends=False, ground_blends=False)  # type: ignore[arg-type]
    found = suggest(model, Target.of_lab(tuple(lab)), closed, archive=panels)
    assert all(s.recipe.ground.neat for s in found)


def test_what_was_never_sprayed_is_said() -> None:
    seen = Experience([recipe("silver", "teal", "3@6:1"), recipe("gold", "violet", "4@4:1")])
    assert seen.new(recipe("silver", "teal", "3@6:1")) == []
    assert "never sprayed over" in seen.new(recipe("gold", "teal", "3@6:1"))[0]
    assert "more coats" in seen.new(recipe("silver", "teal", "5@6:1"))[0]
    assert "richer" in seen.new(recipe("silver", "teal", "3@4:1"))[0]
    assert "never mixed" in seen.new(recipe("silver", "teal 1 + violet 1", "3@6:1"))[0]


@pytest.mark.parametrize(
    "tolerance",
    [Tolerance("CMC", 1.0), Tolerance("Lab", box=(1, 1, 1)), Tolerance("LCh", box=(1, 1, 1))],
)
def test_other_tolerances_rank_and_pass_by_their_own_difference(tolerance: Tolerance) -> None:
    r = recipe("gold", SHOP_COLOURS[0], "3@5:1")
    lab = tuple(model_of().predict_recipes([r])[0])
    found = suggest(model_of(), Target.of_lab(lab, tolerance=tolerance), archive=archive_of())
    assert found.reachable
    assert float(tolerance.difference(lab, found[0].lab)) <= 1.0
    assert 0.05 < found[0].probability < 1.0


def test_two_lights_are_matched_together() -> None:
    r = recipe("gold", SHOP_COLOURS[0], "3@5:1")
    views = [Viewing(), Viewing("A", "10")]
    labs = [tuple(model_of().predict_recipes([r], v)[0]) for v in views]
    target = Target(tuple(Aim(lab, v) for lab, v in zip(labs, views, strict=True)))
    found = suggest(model_of(), target, archive=archive_of())
    assert found.reachable
    assert len(found[0].labs) == 2
    one = suggest(model_of(), Target((target.aims[0],)), archive=archive_of())
    same = [s for s in one if s.recipe == found[0].recipe]
    assert all(found[0].probability <= s.probability + 0.03 for s in same)
