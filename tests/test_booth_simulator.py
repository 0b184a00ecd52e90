"""The booth's optics against closed forms and published constants, none of them this project's."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from matchlib.domain import CoatSchedule, Colour, Ground, Recipe
from tests.benchmarks.booth import Shop, share_alone
from tests.benchmarks.lightlab import NM, delta_e
from tests.benchmarks.streams import (
    INDEX,
    Coating,
    Flakes,
    Streams,
    droplets,
    flakes,
    fresnel,
    light_out,
    looking,
)
from tests.benchmarks.workshop import CoatsSprayed

DULL = flakes(0.2, "45:0")


def seen(geometry="45:0", *, film=0.0, scatter=0.0, clear=0.0, diffuse=0.0, flake=0.0, tilt=0.2):
    """One number out of the optics."""
    streams, beam, _, all_round = looking(geometry)
    values = (np.full((1, 1, 1), v) for v in (film + 1e-12, scatter, clear, diffuse, flake))
    lobe = flakes(tilt, geometry)
    out = light_out(Coating(*values), lobe, streams, beam=beam, all_round=all_round)
    return float(out[0, 0, 0])


def test_fresnel_and_its_means_are_those_of_the_tables():
    # Born and Wolf, n = 1.5: upright 0.0400, 45 degrees 0.05024; diffuse 0.09178 from outside and
    # 1 - (1 - 0.09178) / n^2 = 0.59635 from inside (the values of Saunderson's 1942 correction).
    assert float(fresnel(np.array(1.0))) == pytest.approx(0.0400, abs=5e-5)
    assert float(fresnel(np.cos(np.pi / 4))) == pytest.approx(0.05024, abs=5e-6)
    streams = Streams.looking(1.0)
    assert streams.share.sum() == pytest.approx(1, abs=1e-12)
    assert streams.share @ streams.kept == pytest.approx(0.59635, abs=5e-5)
    leaving = INDEX**2 * streams.share @ (1 - streams.kept)
    assert 1 - leaving == pytest.approx(0.09178, abs=5e-5)


@pytest.mark.parametrize("ground", [0.2, 0.5, 0.8, 1.0])
def test_without_film_it_is_saunderson_on_a_sphere(ground):
    # Saunderson 1942: k1 + (1 - k1)(1 - k2) R / (1 - k2 R), gloss included, k1 that of 8 degrees.
    k1, k2 = 0.0400, 0.59635
    outer = k1 + (1 - k1) * (1 - k2) * ground / (1 - k2 * ground)
    assert k1 + seen("di:8", diffuse=ground) == pytest.approx(outer, abs=1e-4)


@pytest.mark.parametrize("ground", [0.2, 0.8, 0.95])
@pytest.mark.parametrize("film", [0.0, 0.05, 0.3, 1.0])
def test_over_a_diffuse_ground_it_is_williams_and_clapper(ground, film):
    # Their equation for 45:0 (1953): what enters and leaves upright over n^2, one slant and one
    # upright way, and all further returns by the integral over the angle in the film.
    def kept(cosine):
        out = 1 - INDEX**2 * (1 - cosine**2)
        inner = 1.0 if out <= 0 else float(fresnel(np.sqrt(out)))
        return 2 * cosine * inner * np.exp(-2 * film / cosine)

    edge = np.sqrt(1 - 1 / INDEX**2)
    back = sum(quad(kept, a, b, epsabs=1e-9)[0] for a, b in ((1e-9, edge), (edge, 1.0)))
    slant = np.sqrt(1 - 0.5 / INDEX**2)
    once = (1 - 0.05024) * 0.96 / INDEX**2 * ground * np.exp(-film * (1 + 1 / slant))
    assert seen(film=film, diffuse=ground) == pytest.approx(once / (1 - ground * back), rel=2e-3)


@pytest.mark.parametrize(
    ("geometry", "path"),
    # 1/cos in + 1/cos out inside n = 1.5 under 45 degrees, by Snell.
    [("45:0", 2.1339), ("45as-15", 2.3586), ("45as15", 2.1946), ("45as25", 2.1609),
     ("45as45", 2.1339), ("45as75", 2.1946), ("45as110", 2.3889)],
)  # fmt: skip
def test_over_a_dark_ground_it_is_beer_and_lambert_along_the_slant(geometry, path):
    dark = {"diffuse": 1e-7}
    drop = -np.log(seen(geometry, film=0.7, **dark) / seen(geometry, **dark)) / 0.7
    assert drop == pytest.approx(path, abs=5e-5)


def test_clear_and_colour_absorb_alike():
    both = {"diffuse": 0.7, "flake": 0.2}
    assert seen(film=0.4, **both) == pytest.approx(seen(clear=0.4, **both), rel=1e-9)


@given(
    film=st.floats(0, 3),
    turbid=st.floats(0, 0.3),
    flake=st.floats(0, 1),
    tilt=st.sampled_from([0.18, 0.26, 0.35]),
)
def test_no_light_is_made(film, turbid, flake, tilt):
    white = {"diffuse": 1 - flake, "flake": flake, "tilt": tilt}
    out = seen("di:8", film=film + turbid, scatter=turbid, **white)
    assert 0 < out < 1 - 0.0400 + 1e-4
    assert out <= seen("di:8", **white) + 1e-9


def test_nothing_is_lost_where_nothing_absorbs():
    assert 0.0400 + seen("di:8", diffuse=1.0) == pytest.approx(1, abs=1e-4)
    # Light scattered twice is given up: to second order of a small thickness nothing else is.
    for thin in (0.01, 0.02):
        lost = 0.96 - seen("di:8", film=thin, scatter=thin, diffuse=1.0)
        assert 0 <= lost < 5 * thin**1.5


def test_light_goes_the_same_way_back():
    # Helmholtz: 45:0 and 0:45 read the same, through film, scatter and flakes.
    slant = np.sqrt(1 - 0.5 / INDEX**2)
    values = [np.full((1, 1, 1), v) for v in (0.4, 0.1, 0.05, 0.4, 0.4)]
    there = light_out(Coating(*values), DULL, looking("45:0")[0], beam=slant, all_round=False)
    streams = Streams.looking(np.cos(np.pi / 4))
    lobe = Flakes.of(0.2, streams, 1.0, float(-np.arccos(slant)))
    back = light_out(Coating(*values), lobe, streams, beam=1.0, all_round=False)
    assert back.item() == pytest.approx(there.item(), rel=5e-3)


def test_scatter_over_black_is_chandrasekhars_first_order():
    # Thin film over nothing: (w/4) (1 - exp(-t (1/a + 1/b))) / (a + b), seen from outside.
    slant, film, scatter = np.sqrt(1 - 0.5 / INDEX**2), 0.02, 0.005
    inner = scatter / film / 4 * (1 - np.exp(-film * (1 + 1 / slant))) / (1 + slant)
    outer = (1 - 0.05024) * 0.96 / INDEX**2 * inner
    assert seen(film=film, scatter=scatter) == pytest.approx(outer, rel=0.02)


@pytest.mark.parametrize("tilt", [0.15, 0.25])
def test_flakes_seen_from_their_mirror_are_beckmanns(tilt):
    # Upright in and out: Beckmann's density of upright facets is 1 / (pi m^2), so pi D / 4.
    assert Flakes.of(tilt, Streams.looking(1.0), 1.0, 0.0).beam[-1] == pytest.approx(
        1 / (4 * tilt**2), rel=1e-12
    )
    returned = Streams.looking(1.0).share @ flakes(tilt, "45:0").streams
    assert (returned <= 1 + 1e-6).all()
    assert returned[-1] == pytest.approx(1, abs=0.01)  # flat flakes face upright light


def test_droplets_are_a_gamma_distribution():
    at, weight = droplets(12.0)
    assert weight.sum() == pytest.approx(1)
    assert weight @ at == pytest.approx(1)
    assert weight @ at**2 == pytest.approx(1 + 1 / 12)
    # What such a film lets through on the mean, in closed form: (1 + t / k)^-k.
    assert weight @ np.exp(-1.5 * at) == pytest.approx((1 + 1.5 / 12) ** -12, rel=1e-3)


def test_pairs_of_dye_follow_the_law_of_mass_action():
    # c = m + 2 K m^2 by hand: K c = 1 leaves half alone, K c = 3 a third.
    assert share_alone(np.array([0.0, 1.0, 3.0])) == pytest.approx([1, 1 / 2, 1 / 3])


@pytest.fixture(scope="module")
def shop():
    return Shop(3, n_grounds=8, n_colours=6)


def recipe(ground, colour="garnet", schedule="4@6:1", clear="yes"):
    return Recipe(Ground.parse(ground), Colour.parse(colour), CoatSchedule.parse(schedule), clear)


@pytest.mark.parametrize("ground", ["solid white", "silver", "bright silver"])
def test_more_coats_are_never_lighter_over_a_bright_ground(shop, ground):
    for colour in map(str, shop.colours):
        every = [recipe(ground, colour, f"{n}@5:1") for n in range(1, 9)]
        assert (np.diff(shop.truth_labs(every)[:, 0]) < 0).all()


def test_a_dye_changes_its_hue_with_its_concentration_and_pigment_only_its_depth(shop):
    def shape(colour, schedule):
        card = CoatsSprayed(recipe("silver", colour, schedule), film=np.ones(1), dose=np.ones(1))
        film = shop._films([card])[0][0]
        return film / film.max()

    assert shape("saffron", "1@2:1") == pytest.approx(shape("saffron", "1@20:1"), abs=1e-12)
    moved = shape("garnet", "1@2:1") - shape("garnet", "1@20:1")
    assert moved[NM < 510].max() > 0.03  # pairs absorb towards the blue


def test_metal_flops_and_solid_grounds_do_not(shop):
    def lightness(ground, angle):
        return shop.truth_lab(Recipe(Ground.parse(ground), clear="yes"), f"45as{angle}")[0]

    silver = [lightness("silver", a) for a in (15, 25, 45, 75, 110)]
    assert silver == sorted(silver, reverse=True)
    assert silver[0] > 1.5 * silver[3]
    assert np.ptp([lightness("solid white", a) for a in (15, 45, 75)]) < 1


def test_clear_coats_differ_and_before_the_clear_it_is_hazier(shop):
    made = recipe("solid white", "saffron", "1@10:1")
    bare, yes, old = (shop.truth_lab(replace(made, clear=clear)) for clear in (None, *shop.clears))
    assert old[2] > yes[2] + 1
    deep = recipe("solid black", "garnet", "6@3:1")
    assert shop.truth_lab(replace(deep, clear=None))[0] > shop.truth_lab(deep)[0] + 1
    assert np.isfinite(bare).all()


def test_lots_trend_through_the_year_and_today_is_the_last():
    plain, drifting = Shop(1), Shop(1, lot_trend=0.15)
    for name, colours in plain.lots.items():
        assert all(abs(v) <= 0.05 for v in colours.values()), name
    colour = str(drifting.colours[0])
    strengths = [v[colour] for v in drifting.lots.values() if colour in v]
    assert strengths[0] < -0.1 < 0.1 < strengths[-1]
    now = drifting.today(np.random.default_rng(0))
    assert drifting.strength(now["lot"], colour) == strengths[-1]
    lab = [drifting.truth_lab(recipe("silver", colour), lot=lot)[0]
           for lot in (f"{colour} 1", "", f"{colour} 6")]  # fmt: skip
    assert lab == sorted(lab, reverse=True)
    dated = {p.date: p.lot for p in drifting.archive(60, 0) if str(p.recipe.colour) == colour}
    assert [int(dated[d][-1]) for d in sorted(dated)] == sorted(int(v[-1]) for v in dated.values())


def test_sprayers_batches_and_meters_show_and_are_written_down(shop):
    made = recipe("silver")
    heavy, light = (
        max(shop.sprayers, key=shop.sprayers.get),
        min(shop.sprayers, key=shop.sprayers.get),
    )
    assert shop.truth_lab(made, sprayer=heavy)[0] < shop.truth_lab(made, sprayer=light)[0]
    batches = [b for b, what in shop.batches.items() if "silver" in what]
    labs = [shop.truth_lab(made, batch=b) for b in batches]
    assert float(delta_e(*labs)) > 0.01
    panel = shop.spray(made, np.random.default_rng(0), date=dt.date(2024, 3, 1))
    assert panel.lot.startswith("garnet ")
    assert dict(panel.extra)["batch"] in batches
    assert dict(panel.extra)["instrument"] in shop.instruments
    assert panel.date == dt.date(2024, 3, 1)


def test_it_takes_blends_and_spectra_and_refuses_what_it_does_not_have(shop):
    pot = recipe("silver 3 + solid black 1", "garnet 1 + marine 1")
    panel = shop.spray(pot, np.random.default_rng(0), reading="spectrum")
    assert panel.readings[0].wavelengths == tuple(NM.tolist())
    assert panel.lot.count("+") == 1
    with pytest.raises(KeyError, match="no mud"):
        shop.truth_lab(recipe("mud"))
