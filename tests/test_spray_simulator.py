"""The benchmark's booth obeys the physics it claims, so that its tables mean something."""

from dataclasses import replace

import numpy as np
import pytest

from matchlib.domain import CoatSchedule, Colour, Ground, Recipe
from matchlib.tails import region
from tests.benchmarks.accuracy import LEVELS, Score, splits
from tests.benchmarks.lightlab import NM, delta_e, spectrum_to_lab
from tests.benchmarks.panels_to_match import VARIANTS, run
from tests.benchmarks.spray import Noise, Shop, labs, swap_backs, to_frame
from tests.benchmarks.strategies import Nearest, ProcessOnLab


@pytest.fixture(scope="module")
def shop():
    return Shop(3, n_grounds=8, n_colours=6)


def recipe(ground, colour="ruby", schedule="4@6:1", clear="yes"):
    return Recipe(Ground.parse(ground), Colour.parse(colour), CoatSchedule.parse(schedule), clear)


def bare(ground):
    return Recipe(Ground.parse(ground), clear="yes")


def test_a_perfect_white_is_white_and_a_known_chart_patch_reads_as_published():
    assert spectrum_to_lab(np.ones(31)) == pytest.approx([100, 0, 0], abs=1e-6)
    assert float(delta_e(np.array([50.0, 2.6772, -79.7751]), np.array([50.0, 0.0, -82.7485]))) == (
        pytest.approx(2.0425, abs=5e-5)  # Sharma, Wu, Dalal 2005, pair 1
    )


def test_coats_are_kubelka_munk_layers_over_their_backing(shop):
    # One even coat of one film against the closed form of Kubelka 1948, written out on its own.
    plain = Shop(3)
    plain._mottle = plain._first = plain._melt = 0.0
    made = recipe("silver", str(plain.colours[0]), "1@6:1")
    absorb, scatter, film = plain._coats(made)
    backing, _, k2 = plain._ground_light(made.ground)
    a = 1 + absorb[0] / scatter[0]
    b = np.sqrt(a * a - 1)
    coth = 1 / np.tanh(b * scatter[0] * film[0] * plain._path("45:0"))
    inner = (1 - backing * (a - b * coth)) / (a - backing + b * coth)
    outer = 0.96 * (1 - k2) * inner / (1 - k2 * inner)
    assert plain.truth_reflectance(made) == pytest.approx(outer, rel=1e-12)


def test_more_coats_and_richer_mixes_are_darker_everywhere(shop):
    for one, more in (("3@6:1", "4@6:1"), ("4@6:1", "4@4:1"), ("2@6:1", "2@6:1 1@3:1")):
        light = shop.truth_reflectance(recipe("solid white", schedule=one))
        assert (shop.truth_reflectance(recipe("solid white", schedule=more)) < light).all()


def test_it_is_not_the_exponential_law(shop):
    # Beer-Lambert would make equal steps of log reflectance below the surface by every coat.
    lights = [
        shop.truth_reflectance(recipe("silver", schedule=f"{n}@3:1", clear="yes"))
        for n in range(1, 7)
    ]
    steps = np.diff(np.log(np.array(lights)[:, 11]))
    assert np.ptp(steps) > 0.1 * abs(steps.mean())
    thin = shop.truth_lab(recipe("silver", schedule="6@5:1"))
    rich = shop.truth_lab(recipe("silver", schedule="3@2:1"))
    assert float(delta_e(thin, rich)) > 1  # of one nominal strength


@pytest.mark.parametrize("seed", range(6))
def test_grounds_order_as_the_trade_has_them(seed):
    # Common practice, no source.
    booth = Shop(seed)
    lightness = [
        booth.truth_lab(recipe(g, str(booth.colours[0])))[0]
        for g in ("graphite", "silver", "gold", "coarse white metallic")
    ]
    assert lightness == sorted(lightness)
    silver, gold = (
        booth.truth_lab(Recipe(Ground.parse(g), clear="yes")) for g in ("silver", "gold")
    )
    assert gold[2] > silver[2] + 10


def test_flake_gains_towards_the_mirror_and_solids_do_not(shop):
    def lightness(ground, angle):
        return shop.truth_lab(bare(ground), f"45as{angle}")[0]

    flake = [lightness("silver", a) for a in (15, 25, 45, 75, 110)]
    assert flake == sorted(flake, reverse=True)
    assert flake[0] > 1.3 * flake[2]
    assert np.ptp([lightness("solid white", a) for a in (15, 45, 110)]) < 1


def test_path_in_the_film_is_snells(shop):
    # 1/cos(in) + 1/cos(out) at n = 1.5, computed by hand: 45 degrees in, viewed upright, 2.1339.
    assert 2 * shop._path("45as45") == pytest.approx(2.1339, abs=5e-5)
    assert 2 * shop._path("45as15") == pytest.approx(2.1946, abs=5e-5)
    assert 2 * shop._path("45as110") == pytest.approx(2.3889, abs=5e-5)


def test_a_blended_ground_is_no_mean_of_its_parts(shop):
    ends = [
        shop.truth_lab(Recipe(Ground.parse(g), clear="yes"))[0] for g in ("silver", "solid black")
    ]
    half = shop.truth_lab(Recipe(Ground.parse("silver 1 + solid black 1"), clear="yes"))[0]
    assert ends[1] < half < np.mean(ends) - 3


def test_repeatability_is_that_of_a_booth_and_grows_with_its_noise():
    floors = []
    for seed in range(4):
        booth = Shop(seed)
        recipes = [p.recipe for p in booth.full(0) if not p.recipe.bare]
        floors.append(booth.repeatability(recipes, times=1))
    assert 0.35 < np.median(floors) < 0.65
    rough = Shop(0, noise=replace(Noise(), film=0.12))
    assert rough.repeatability(recipes[:20]) > 1.5 * Shop(0).repeatability(recipes[:20])


def test_archives_hold_what_they_claim(shop):
    booth = Shop(1)
    full = [p.recipe for p in booth.full(0) if not p.recipe.bare]
    assert len(full) == 90
    assert len({(r.ground, r.colour) for r in full}) == 15
    young = booth.young(0)
    assert sum(not p.recipe.bare for p in young) == 18
    assert len({p.recipe.ground for p in young if not p.recipe.bare}) == 2
    assert {p.recipe.ground for p in young if p.recipe.bare} == set(booth.grounds)
    assert booth.full(0) == booth.full(0) != booth.full(1)


def test_wrong_backs_are_wrong_and_counted():
    booth = Shop(1)
    panels = booth.full(0)
    swapped, truth = swap_backs(panels, 0.05, 7)
    changed = {p.code: p.recipe for p, q in zip(panels, swapped, strict=True) if p != q}
    assert changed == truth
    assert len(truth) == round(0.05 * 90)
    assert all(q.readings == p.readings for p, q in zip(panels, swapped, strict=True))
    assert swap_backs(panels, 0.0, 7) == (panels, {})


def test_a_heavy_hand_lays_a_darker_panel():
    booth = Shop(2)
    made = recipe("silver", str(booth.colours[0]))
    rng = np.random.default_rng(0)
    usual = labs([booth.spray(made, rng) for _ in range(20)])[:, 0].mean()
    heavy = labs([booth.spray(made, rng, heavy=1.15) for _ in range(20)])[:, 0].mean()
    assert heavy < usual - 0.5


@pytest.mark.parametrize(("reading", "width"), [("lab", 3), ("photo", 3), ("spectrum", 31)])
def test_frames_have_a_row_a_reading(reading, width):
    booth = Shop(2)
    panels = booth.young(0, reading=reading)
    X, y = to_frame(panels)
    assert len(X) == len(panels)
    assert y.shape == (len(panels), width)
    assert set(X["source"]) == {"photo" if reading == "photo" else "spectrophotometer"}
    assert (X.loc[X["colour"] == "", "schedule"] == "").all()


def test_frames_refuse_a_mixture():
    booth = Shop(2)
    with pytest.raises(ValueError, match="not both"):
        to_frame([booth.young(0)[0], booth.young(0, reading="spectrum")[0]])


def test_spectra_are_on_the_grid(shop):
    panel = shop.spray(recipe("gold"), np.random.default_rng(0), reading="spectrum")
    assert panel.readings[0].wavelengths == tuple(NM.tolist())
    several = shop.spray(
        recipe("gold"), np.random.default_rng(0), geometries=("45as15", "45as45", "45as110")
    )
    assert [r.viewing.aspecular for r in several.readings] == [15, 45, 110]


def test_who_knows_the_physics_needs_hardly_more_than_one_panel():
    tally = run({}, VARIANTS["full"], shops=1, targets=8)["physical floor"]
    assert len(tally.needed[1.0]) == 8
    assert np.mean(tally.needed[1.0]) < 1.5
    assert all(
        0 < loose <= tight
        for loose, tight in zip(tally.needed[1.5], tally.needed[1.0], strict=True)
    )


@pytest.mark.parametrize("make", [Nearest, ProcessOnLab])
def test_ways_of_choosing_stay_on_the_shelf(make):
    booth = Shop(4)
    archive = booth.young(0)
    target = booth.truth_lab(booth.random_recipe(np.random.default_rng(1), continuous=True))
    strategy, tried = make(), []
    for i in range(4):
        chosen = strategy.propose(archive, target, tried)
        assert chosen.ground in booth.grounds
        assert chosen.colour in booth.colours
        tried.append((chosen, labs([booth.spray(chosen, np.random.default_rng(i))])[0]))
    if make is Nearest:
        assert len({r for r, _ in tried}) == 4


def test_coverage_counts_what_a_region_of_known_truth_must_hold():
    rng = np.random.default_rng(0)
    edges = region(LEVELS, np.inf)
    squared = rng.chisquare(3, 4000)[:, None]
    assert Score(distances=[squared / edges]).coverage() == pytest.approx(LEVELS, abs=0.02)
    assert Score(distances=[4 * squared / edges]).coverage()[2] < 0.7


def test_no_panel_is_in_training_and_test_at_once():
    booth = Shop(5)
    archive = booth.archive(40, 5)
    for kind in ("panel", "recipe", "ground"):
        tested = []
        for train, test in splits(kind, booth, archive, 0, "lab"):
            key = {"panel": lambda p: p.code, "ground": lambda p: p.recipe.ground}.get(
                kind, lambda p: p.recipe
            )
            sprayed = {key(p) for p in train if not p.recipe.bare}
            assert not sprayed & {key(p) for p in test}
            assert {p.recipe.ground for p in train if p.recipe.bare} == set(booth.grounds)
            tested += [p.code for p in test]
        assert sorted(tested) == sorted(p.code for p in archive if not p.recipe.bare)
