"""The benchmark's booth obeys the physics it claims, so that its tables mean something."""

import numpy as np
import pytest

from matchlib.domain import CoatSchedule, Colour, Ground, Recipe
from tests.benchmarks.lightlab import delta_e, spectrum_to_lab
from tests.benchmarks.spray import Shop


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
