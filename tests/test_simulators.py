"""Both simulated shops behind their one interface, and what the benchmarks do with them."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from matchlib.domain import CoatSchedule, Colour, Ground, Recipe
from matchlib.regression import FilmRegressor
from matchlib.tails import region
from tests.benchmarks.accuracy import DRAWS, LEVELS, SPLITS, Score, _drawn, splits
from tests.benchmarks.command import SIMULATORS
from tests.benchmarks.layouts import WEAK
from tests.benchmarks.lightlab import NM, delta_e
from tests.benchmarks.one_card import VARIANTS
from tests.benchmarks.panels import labs, swap_backs, to_frame
from tests.benchmarks.panels_to_match import run
from tests.benchmarks.strategies import Nearest, ProcessOnLab


@pytest.fixture(params=SIMULATORS.values(), ids=SIMULATORS)
def make(request):
    return request.param


def recipe(shop, schedule="4@6:1", ground="silver"):
    return Recipe(Ground.parse(ground), shop.colours[0], CoatSchedule.parse(schedule), "yes")


def test_a_solid_white_and_a_solid_black_stand_in_every_default_shop(make):
    shop = make(0)
    assert {"solid white", "solid black"} <= set(map(str, shop.grounds))
    white, black = (
        shop.truth_lab(Recipe(Ground.parse(f"solid {n}"), clear="yes")) for n in ("white", "black")
    )
    assert white[0] > 85
    assert black[0] < 25


def test_repeatability_is_that_of_a_booth_and_grows_with_its_noise(make):
    floors = []
    for seed in range(4):
        booth = make(seed)
        recipes = [p.recipe for p in booth.full(0) if not p.recipe.bare]
        floors.append(booth.repeatability(recipes, times=1))
    assert 0.35 < np.median(floors) < 0.9
    rough = make(0, noise=replace(booth.noise, film=0.16))
    assert rough.repeatability(recipes[:20]) > 1.5 * make(0).repeatability(recipes[:20])


def test_archives_hold_what_they_claim_and_come_again_by_their_seed(make):
    booth = make(1)
    full = [p.recipe for p in booth.full(0) if not p.recipe.bare]
    assert len(full) == 90
    assert len({(r.ground, r.colour) for r in full}) == 15
    young = booth.young(0)
    assert sum(not p.recipe.bare for p in young) == 18
    assert len({p.recipe.ground for p in young if not p.recipe.bare}) == 2
    assert {p.recipe.ground for p in young if p.recipe.bare} == set(booth.grounds)
    thin = [p.recipe.schedule for p in booth.thin(0) if not p.recipe.bare]
    assert {s.coats for s in thin} == {1, 2, 3}
    assert {str(s.steps[0].ratio) for s in thin} == set(WEAK)
    assert make(1).full(0) == booth.full(0) != booth.full(1)
    assert labs(make(2).full(0)) != pytest.approx(labs(booth.full(0)), abs=0.5)


def test_grounds_and_colours_are_blended_and_coats_stepped(make):
    booth = make(1)
    assert not any(p.recipe.colour.neat for p in booth.blends(5, 0))
    over = booth.ground_blends(5, 0)
    assert not any(p.recipe.ground.neat for p in over)
    assert sum(p.recipe.bare for p in over) == 5
    assert all(len(p.recipe.schedule.steps) == 2 for p in booth.step_ups(5, 0))
    both = Recipe(booth.grounds[0], Colour.parse(f"{booth.colours[0]} 1 + {booth.colours[1]} 1"),
                  CoatSchedule.parse("4@4:1"), "yes")  # fmt: skip
    ends = [replace(both, colour=c) for c in booth.colours[:2]]
    one, two, mixed = booth.truth([*ends, both])
    low, high = np.minimum(one, two), np.maximum(one, two)
    assert ((mixed > 0.8 * low) & (mixed < 1.25 * high)).all()


def test_a_card_is_read_coat_by_coat_and_its_film_is_one(make):
    booth = make(4, noise=replace(make(4).noise, film=0.2, coat=0.2))
    made = recipe(booth, "2@6:1 2@3:1")
    cards = booth.stages(booth.lay(made, np.random.default_rng(1)), np.random.default_rng(2))
    X, y = to_frame(cards, log=True)
    assert X["stage"].tolist() == [1, 2, 3, 4, 5]
    assert X["schedule"].tolist() == ["1@6:1", "2@6:1", "2@6:1 1@3:1", *["2@6:1 2@3:1"] * 2]
    assert X["clear"].tolist() == ["no"] * 4 + ["yes"]
    assert set(X["panel"]) == {"P"}
    assert (np.diff(y[:4, 0]) < 0).all()
    # A heavy card is heavy at every stage: what it is off by goes one way.
    off = []
    for i in range(12):
        rng = np.random.default_rng(i)
        card = booth.stages(booth.lay(made, rng), rng)
        off.append(labs(card)[1:4, 0] - booth.truth_labs([p.recipe for p in card])[1:4, 0])
    assert np.corrcoef(np.array(off).T)[0, 2] > 0.5
    several = booth.cards(3, 0)
    assert set(Counter(p.code for p in several)) == {"C0001", "C0002", "C0003"}


def test_panels_are_read_by_two_geometries(make):
    booth = make(3)
    panels = booth.archive(20, 0, geometries=("45:0", "di:8"))
    kinds = Counter(p.readings[0].viewing.geometry for p in panels)
    assert kinds["45:0"] >= 12
    assert kinds["di:8"] >= 12
    silver = Recipe(booth.grounds[0], clear="yes")
    assert (booth.truth_reflectance(silver, "di:8") - booth.truth_reflectance(silver)).min() > 0.01


def test_a_reachable_target_is_reached_and_one_beyond_is_not(make):
    booth = make(2, n_grounds=5, n_colours=2)
    rng = np.random.default_rng(5)
    one, two = booth.colours
    pots = [one, two, *(Colour.parse(f"{one} {n} + {two} 10") for n in range(3, 31, 3))]
    every = [
        booth.random_recipe(
            rng, continuous=True, coats=(1, 8), colour=pots[rng.integers(len(pots))]
        )
        for _ in range(2500)
    ]
    reached = booth.truth_labs(every)
    for distance in (3.0, 8.0):
        for target in booth.beyond(4, 0, distance=distance):
            gap = float(delta_e(reached, target).min())
            assert distance - 0.3 < gap < distance + 2
    near = [float(delta_e(reached, t).min()) for t in booth.reachable(20, 0)]
    assert np.median(near) < 1
    assert booth.reachable(3, 7) == pytest.approx(make(2, n_colours=2).reachable(3, 7))


def test_wrong_backs_are_wrong_and_counted(make):
    panels = make(1).full(0)
    swapped, truth = swap_backs(panels, 0.05, 7)
    changed = {p.code: p.recipe for p, q in zip(panels, swapped, strict=True) if p != q}
    assert changed == truth
    assert len(truth) == round(0.05 * 90)
    assert all(q.readings == p.readings for p, q in zip(panels, swapped, strict=True))
    assert swap_backs(panels, 0.0, 7) == (panels, {})


def test_a_heavy_hand_lays_a_darker_panel_and_a_panel_is_built_on(make):
    booth = make(2)
    made, more = recipe(booth), recipe(booth, "4@6:1 1@6:1")
    rng = np.random.default_rng(0)
    usual = labs([booth.spray(made, rng) for _ in range(20)])[:, 0].mean()
    heavy = labs([booth.spray(made, rng, heavy=1.15) for _ in range(20)])[:, 0].mean()
    assert heavy < usual - 0.5
    laid = booth.lay(made, rng)
    on = booth.build_on(laid, more, rng, afresh=True)
    assert on.film[:4].tolist() == laid.film.tolist()
    dark, light = labs([booth.read(p, rng) for p in (on, laid)])[:, 0]
    assert dark < light


@pytest.mark.parametrize(("reading", "width"), [("lab", 3), ("photo", 3), ("spectrum", 31)])
def test_frames_have_a_row_a_reading(make, reading, width):
    panels = make(2).young(0, reading=reading)
    X, y = to_frame(panels)
    assert len(X) == len(panels)
    assert y.shape == (len(panels), width)
    assert set(X["source"]) == {"photo" if reading == "photo" else "spectrophotometer"}
    assert (X.loc[X["colour"] == "", "schedule"] == "").all()
    log = to_frame(panels, log=True)[0]
    assert set(log) - set(X) == {"stage", "date", "sprayer", "lot", "batch", "instrument"}


def test_frames_refuse_a_mixture_and_spectra_are_on_the_grid(make):
    booth = make(2)
    spectra = booth.young(0, reading="spectrum")
    assert spectra[-1].readings[0].wavelengths == tuple(NM.tolist())
    with pytest.raises(ValueError, match="not both"):
        to_frame([booth.young(0)[0], spectra[0]])
    several = booth.spray(
        recipe(booth), np.random.default_rng(0), geometries=("45as15", "45as45", "45as110")
    )
    assert [r.viewing.aspecular for r in several.readings] == [15, 45, 110]


def test_who_knows_the_physics_needs_hardly_more_than_one_panel(make):
    tally = run({}, VARIANTS["full"], [make(0)], targets=8)["physical floor"]
    assert len(tally.needed[1.0]) == 8
    assert np.mean(tally.needed[1.0]) < 2
    assert all(
        0 < loose <= tight
        for loose, tight in zip(tally.needed[1.5], tally.needed[1.0], strict=True)
    )


@pytest.mark.parametrize("strategy", [Nearest, ProcessOnLab])
def test_ways_of_choosing_stay_on_the_shelf(make, strategy):
    booth = make(4)
    archive = booth.young(0)
    (target,) = booth.reachable(1, 1)
    choosing, tried = strategy(), []
    for i in range(4):
        chosen = choosing.propose(archive, target, tried)
        assert chosen.ground in booth.grounds
        assert chosen.colour in booth.colours
        tried.append((chosen, labs([booth.spray(chosen, np.random.default_rng(i))])[0]))
    if strategy is Nearest:
        assert len({r for r, _ in tried}) == 4


def test_coverage_counts_what_a_region_of_known_truth_must_hold():
    rng = np.random.default_rng(0)
    edges = region(LEVELS, np.inf)
    squared = rng.chisquare(3, 4000)[:, None]
    assert Score(distances=[squared / edges]).coverage() == pytest.approx(LEVELS, abs=0.02)
    luck = np.tile(LEVELS, (2, 9, 1))
    far = Score(distances=[squared / edges, 4 * squared / edges], drawn=list(luck))
    assert far.coverage()[2] < 0.9
    fewest, most = (float(v.split("%")[0]) / 100 for v in far.extremes())
    assert fewest < 0.7
    assert most == pytest.approx(0.5, abs=0.02)
    assert far.between()[2] > 0.1


def test_the_worst_of_many_shops_is_judged_by_what_chance_makes_of_right_ones():
    rng = np.random.default_rng(1)
    drawn = rng.binomial(18, LEVELS, (20, DRAWS, len(LEVELS))) / 18
    squared = rng.chisquare(3, (20, 18))[:, :, None] / region(LEVELS, np.inf)
    right = Score(distances=list(squared), drawn=list(drawn))
    for told, inside in zip(right.extremes(), (2, 0), strict=True):
        found, chance, rare = (float(v.strip("(%,)")) / 100 for v in told.split())
        assert found == pytest.approx(chance, abs=0.08)
        assert 0.1 < abs(chance - LEVELS[inside]) < abs(rare - LEVELS[inside])
    assert right.between()[2] == pytest.approx(np.sqrt(0.09 / 18 / 20), rel=0.5)


def test_panels_of_a_pair_never_sprayed_miss_together(make):
    booth = make(0)
    train, test = next(splits("pair", booth, booth.archive(60, 0), 0))
    model = FilmRegressor().fit(*to_frame(train))
    far = model.fitted_._replace(covariance=9.0 * model.fitted_.covariance)
    model.fitted_ = far  # so that what is not known of the pair outweighs what differs by panel
    inside = _drawn(model, test, np.random.default_rng(0)) / len(test)
    assert inside.mean(axis=0) == pytest.approx(LEVELS, abs=0.06)
    alone = np.sqrt(np.multiply(LEVELS, np.subtract(1.0, LEVELS)) / len(test))
    assert (inside.std(axis=0) > 1.1 * alone)[:2].all()


def test_no_panel_is_in_training_and_test_at_once(make):
    booth = make(5)
    archive = booth.archive(40, 5)
    keys = {
        "panel": lambda p: p.code,
        "recipe": lambda p: p.recipe,
        "pair": lambda p: (p.recipe.ground, p.recipe.colour),
        "ground": lambda p: p.recipe.ground,
    }
    for kind, key in keys.items():
        tested = []
        for train, test in splits(kind, booth, archive, 0):
            sprayed = {key(p) for p in train if not p.recipe.bare}
            assert not sprayed & {key(p) for p in test}
            assert {p.recipe.ground for p in train if p.recipe.bare} == set(booth.grounds)
            tested += [p.code for p in test]
        assert sorted(tested) == sorted(p.code for p in archive if not p.recipe.bare)
    ((weaker, stronger),) = splits("stronger", booth, archive, 0)
    most = max(p.recipe.schedule.strength for p in weaker if not p.recipe.bare)
    assert all(p.recipe.schedule.strength > most for p in stronger)
    for kind in set(SPLITS) - set(keys) - {"stronger"}:
        ((train, test),) = splits(kind, booth, archive, 0)
        assert list(archive) == train
        assert test
        assert not any(p.recipe.bare for p in test)
