"""The estimator as scikit-learn and a technician would use it, on simulated panels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from matchlib.colorimetry import GRID, delta_e00, reflectance_to_lab
from matchlib.correction.scoring import likeliest
from matchlib.demo import DEMO_WRONG_BACKS, demo_panels, demo_truth
from matchlib.domain import CoatSchedule, Colour, Conditions, Ground, Recipe, Viewing
from matchlib.errors import DomainError, FitError, UnknownName
from matchlib.regression import FilmRegressor
from matchlib.regression.observe import Observations, readings_as_lab
from matchlib.regression.reach import KINDS, Experience
from matchlib.regression.repeats import average_repeats
from matchlib.regression.table import RecipeTable
from matchlib.regression.vocabulary import Vocabulary
from matchlib.tails import PANELS, dof_of, region
from matchlib.target import Target
from tests.benchmarks.booth import Shop as Booth
from tests.benchmarks.spray import Shop, labs, swap_backs, to_frame
from tests.cli_shop import demo_fit


def recipe(ground: str, colour: str, schedule: str) -> Recipe:
    return Recipe(
        Ground.parse(ground), Colour.parse(colour), CoatSchedule.parse(schedule), clear="yes"
    )


@pytest.fixture(scope="module")
def shop() -> Shop:
    return Shop(11)


@pytest.fixture(scope="module")
def archive(shop):
    return shop.archive(60, 11)


@pytest.fixture(scope="module")
def fitted(archive):
    return FilmRegressor().fit(*to_frame(archive))


def test_order_of_rows_does_not_matter(archive):
    X, y = to_frame(archive)
    turned = np.random.default_rng(1).permutation(len(X))
    first = FilmRegressor(rounds=1).fit(X, y).predict(X)
    second = FilmRegressor(rounds=1).fit(X.iloc[turned], y[turned]).predict(X)
    np.testing.assert_allclose(first, second, atol=0.05)


def test_predicts_fresh_panels_near_their_own_repeatability(shop, archive, fitted):
    fresh = shop.fresh(60, 3)
    X, _ = to_frame(fresh)
    errors = delta_e00(fitted.predict(X), labs(fresh))
    floor = shop.repeatability([p.recipe for p in fresh], seed=3)
    assert np.median(errors) < 1.6 * floor


def test_covariance_is_of_the_next_panel(shop, fitted):
    fresh = shop.fresh(120, 4)
    X, _ = to_frame(fresh)
    lab, cov = fitted.predict(X, return_cov=True)
    assert cov.shape == (len(X), 3, 3)
    np.testing.assert_allclose(cov, cov.transpose(0, 2, 1), atol=1e-9)
    assert np.linalg.eigvalsh(cov).min() > 0
    miss = labs(fresh) - lab
    squared = np.einsum("ni,ni->n", miss, np.linalg.solve(cov, miss[:, :, None])[:, :, 0])
    # chi-squared(3) at 90 %: 6.251 (any table of the distribution).
    assert 0.80 < np.mean(squared < 6.251) <= 0.99


def test_a_ground_known_by_its_bare_reading_alone(shop, archive):
    ground = next(p.recipe.ground for p in archive if not p.recipe.bare)
    kept = [p for p in archive if p.recipe.bare or p.recipe.ground != ground]
    out = [p for p in archive if not p.recipe.bare and p.recipe.ground == ground]
    model = FilmRegressor().fit(*to_frame(kept))
    X, _ = to_frame(out)
    errors = delta_e00(model.predict(X), labs(out))
    assert np.median(errors) < 1.6


def test_a_layer_is_as_rich_as_it_was_itself():
    sprayed = [Recipe.of("silver", None, "8@6:1 cherry, 2@1:1 honey", "yes")]
    asked = [Recipe.of("silver", c, "1@1:1", "yes") for c in ("cherry", "honey")]
    words = Vocabulary.of(sprayed, [Viewing()])
    tables = [RecipeTable.of(rs, [Viewing()] * len(rs), words) for rs in (sprayed, asked)]
    kinds = Experience.of(tables[0]).kinds(tables[1])
    assert [KINDS[k] for k in kinds] == ["beyond", "pair sprayed"]


def test_uncertainty_grows_outside_what_was_sprayed(fitted):
    ground, colour = fitted.words_.grounds[0], fitted.words_.colours[0]
    inside, outside = (recipe(ground, colour, s) for s in ("3@6:1", "2@1:2"))
    assert [KINDS[i] for i in fitted.reach([inside, outside])] == ["pair sprayed", "beyond"]
    predicted = fitted.predict_each([inside, outside])
    # Deep colours all read alike, so what counts is doubt beside what one panel varies.
    known, spray = (np.trace(x, axis1=1, axis2=2) for x in (predicted.known, predicted.spray))
    spread = np.sqrt(known / spray)
    assert spread[1] > 1.5 * spread[0]


def test_parts_of_the_uncertainty_sum_to_the_whole(fitted):
    some = [recipe(fitted.words_.grounds[1], fitted.words_.colours[0], "4@5:1")]
    frame = pd.DataFrame(
        {"ground": [str(some[0].ground)], "colour": [str(some[0].colour)], "schedule": ["4@5:1"]}
    ).assign(clear="yes")
    predicted = fitted.predict_each(some)
    _, cov = fitted.predict(frame, return_cov=True)
    np.testing.assert_allclose(predicted.known + predicted.spray + predicted.reading, cov)
    same = fitted.predict_readings(frame)
    np.testing.assert_array_equal(same.covariance, cov)
    np.testing.assert_array_equal(same.dof, predicted.dof)
    # Both what is not known and the panels' own spread make heavy tails.
    groups = fitted.stack_.dof[fitted.reach(some)]
    assert np.all(same.dof < dof_of(same.known, cov, known_dof=groups))
    assert np.all(same.dof < dof_of(same.own, cov, known_dof=PANELS))


def test_wrong_backs_do_not_move_the_rest(shop):
    archive = shop.archive(90, 21)
    marred, wrong = swap_backs(archive, 0.05, 21)
    fresh = shop.fresh(80, 22)
    X, _ = to_frame(fresh)

    def median(panels, **options):
        model = FilmRegressor(**options).fit(*to_frame(panels))
        return float(np.median(delta_e00(model.predict(X), labs(fresh)))), model

    clean, _ = median(archive)
    spoilt, model = median(marred)
    trusting, _ = median(marred, robust=False)
    assert spoilt < 1.10 * clean + 0.02
    assert trusting > spoilt
    trust = model.trust_
    assert np.median([trust[c] for c in wrong]) < 0.1
    assert np.mean([t < 0.5 for c, t in trust.items() if c not in wrong]) < 0.02


def test_the_demo_mixes_spectra_and_lab_and_finds_wrong_backs():
    panels = [p for p in demo_panels() if p.code not in DEMO_WRONG_BACKS and not p.recipe.bare]
    truth = np.array([demo_truth(p.recipe) for p in panels])
    errors = delta_e00(demo_fit().predict_recipes([p.recipe for p in panels]), truth)
    assert np.median(errors) < 0.6
    trust = demo_fit().trust_
    assert sum(trust[c] < 0.5 for c in DEMO_WRONG_BACKS) >= 3


def test_spectrum_says_whether_it_rests_on_lab_alone(fitted):
    frame = pd.DataFrame({"ground": [fitted.words_.grounds[0]], "colour": None, "schedule": None})
    spectrum = fitted.predict_spectrum(frame)
    alone = fitted.rests_on_lab([Recipe(Ground.parse(fitted.words_.grounds[0]))])
    assert spectrum.shape == (1, len(GRID))
    assert alone.all()
    known = [p.recipe for p in demo_panels() if any(r.spectral for r in p.readings)]
    assert not demo_fit().rests_on_lab(known).any()


def test_a_spectrum_is_scored_under_the_light_of_its_row():
    X = pd.DataFrame(
        {"ground": "silver", "colour": ["", "cherry"], "schedule": ["", "2@6:1"]}, index=[0, 1]
    ).assign(illuminant="A")
    light = np.array([[0.4], [0.2]]) * np.linspace(0.3, 1.0, len(GRID))
    model = FilmRegressor(rounds=1, library=False).fit(X, light)
    lamp, day = (model.score(X.assign(illuminant=name), light) for name in ("A", "D65"))
    assert -0.2 < lamp < 0.0
    assert lamp == pytest.approx(day, abs=0.1)
    under = reflectance_to_lab(light, Viewing("A"))
    np.testing.assert_array_equal(readings_as_lab(X, light), under)


def test_columns_of_readings_may_stand_in_any_order_beside_spectra():
    X = pd.DataFrame({"ground": "silver", "colour": ["", "cherry"], "schedule": ["", "2@6:1"]})
    X[["L", "a", "b"]] = [[58.4, -0.3, -0.2], [np.nan] * 3]
    X[[f"{nm:g}" for nm in GRID]] = [[np.nan] * len(GRID), np.linspace(0.1, 0.4, len(GRID))]
    read = readings_as_lab(X, X[["b", "L", "a"]])
    np.testing.assert_array_equal(read[0], (58.4, -0.3, -0.2))
    np.testing.assert_allclose(read[1], reflectance_to_lab(np.linspace(0.1, 0.4, len(GRID))))


def test_a_spectrum_rests_on_lab_where_a_layer_on_top_does():
    ground, below, above = ("silver", "", "", 0), ("silver", "cherry", "2@6:1", 0), 1
    rows = [ground, below, ("silver", "honey", "2@6:1", above)]
    X = pd.DataFrame(rows, columns=["ground", "colour", "schedule", "only_lab"])
    lab, light = [[45.0, 5.0, 30.0]], np.array([[0.4], [0.2]]) * np.linspace(0.5, 1.0, len(GRID))
    y = pd.DataFrame(np.nan, X.index, ["L", "a", "b", *(f"{nm:g}" for nm in GRID)])
    y.iloc[:2, 3:], y.iloc[2:, :3] = light, lab
    model = FilmRegressor(rounds=1, library=False).fit(X, y)
    both = Recipe.of("silver", None, "2@6:1 cherry, 2@6:1 honey", "yes")
    one = Recipe.of("silver", "cherry", "2@6:1", "yes")
    assert model.rests_on_lab([one, both]).tolist() == [False, True]


def test_spectra_only_predicts_lab_and_spectrum():
    shop = Shop(12)
    X, y = to_frame(shop.archive(60, 12, reading="spectrum"))
    model = FilmRegressor().fit(X, y)
    fresh = shop.fresh(40, 5)
    Xf, _ = to_frame(fresh)
    assert np.median(delta_e00(model.predict(Xf), labs(fresh))) < 1.1
    truth = np.array([shop.truth_reflectance(p.recipe) for p in fresh])
    assert np.median(np.abs(model.predict_spectrum(Xf) - truth)) < 0.01


def test_photographs_count_for_less_than_an_instrument(shop):
    shot = list(shop.archive(90, 31, reading="photo"))
    read = shop.archive(30, 32)
    X1, y1 = to_frame(shot)
    X2, y2 = to_frame(list(read))
    X1["panel"] = "photo " + X1["panel"]
    X = pd.concat([X1, X2], ignore_index=True)
    model = FilmRegressor(rounds=2).fit(X, np.vstack([y1, y2]))
    _, by_source = model.noise_split_
    assert by_source["photo"] > 4 * by_source["spectrophotometer"]
    fresh = shop.fresh(40, 33)
    Xf, _ = to_frame(fresh)
    assert np.median(delta_e00(model.predict(Xf), labs(fresh))) < 1.5
    _, instrument = model.predict(Xf.assign(source="spectrophotometer"), return_cov=True)
    _, photo = model.predict(Xf.assign(source="photo"), return_cov=True)
    assert np.all(np.trace(photo - instrument, axis1=1, axis2=2) > 0)


@pytest.mark.parametrize(("source", "surer"), [("photo", 1.0), ("spectrophotometer", 16.0)])
def test_photographs_of_a_panel_are_together_no_surer_than_one(source, surer):
    sprayed, viewings = [recipe("silver", "cherry", "2@6:1")] * 16, [Viewing()] * 16
    words = Vocabulary.of(sprayed, [Viewing()])
    table = RecipeTable.of(sprayed, viewings, words, [Conditions()] * 16)
    stated = pd.DataFrame({"sd": [3.0] * 16})
    seen = Observations.of(stated, np.full((16, 3), 40.0), viewings, [source] * 16)
    alike = np.zeros(16, np.intp)
    _, averaged, _, _ = average_repeats(table, seen, alike, alike)
    assert averaged.covariance[0] == pytest.approx(9.0 / surer * np.eye(3), rel=1e-3)


def test_several_angles_are_one_fit_and_never_mixed():
    shop = Shop(13)
    rng = np.random.default_rng(13)
    angles = ("45as15", "45as45", "45as110")
    recipes = [p.recipe for p in shop.archive(45, 13)]
    panels = [shop.spray(r, rng, geometries=angles, code=f"M{i}") for i, r in enumerate(recipes)]
    X, y = to_frame(panels)
    model = FilmRegressor(rounds=2).fit(X, y)
    assert set(model.words_.geometries) == set(angles)
    assert np.median(delta_e00(model.predict(X), np.asarray(y))) < 1.2
    some = [r for r in recipes if not r.bare][:5]
    face, flop = (model.predict_recipes(some, Viewing(geometry=a)) for a in (angles[0], angles[2]))
    assert np.median(face[:, 0] - flop[:, 0]) > 5


def test_a_hue_turns_with_the_ratio_only_where_panels_show_it():
    def turning(shop: Shop | Booth) -> float:
        fit = FilmRegressor(library=False).fit(*to_frame(shop.full(3))).fitted_
        return float(fit.sizes.groups[fit.law.groups.index("turn")])

    # Dyes gather in the one simulator, and not in the other.
    assert turning(Booth(3)) > 0.1
    assert turning(Shop(3)) < 0.03


def test_a_yellowed_clear_coat_is_not_a_fresh_one():
    booth = Booth(16, n_grounds=4, n_colours=2)
    fresh, yellowed = booth.clears
    rng = np.random.default_rng(16)
    panels = [
        booth.spray(replace(p.recipe, clear=(fresh, yellowed)[i % 2]), rng, code=f"P{i}")
        for i, p in enumerate(booth.archive(50, 16))
    ]
    asked = [replace(p.recipe, clear=yellowed) for p in booth.fresh(30, 16)]
    wanted = booth.truth_labs(asked)
    X, y = to_frame(panels)
    told = FilmRegressor().fit(X, y).predict_recipes(asked) - wanted
    alike = [replace(r, clear=fresh) for r in asked]
    untold = FilmRegressor().fit(X.assign(clear="yes"), y).predict_recipes(alike) - wanted
    # What a yellowed coat takes is blue.
    assert np.abs(told[:, 2]).mean() < 0.6 * np.abs(untold[:, 2]).mean()
    assert abs(told[:, 2].mean()) < 0.3 * abs(untold[:, 2].mean())


def test_a_ground_ladder_predicts_the_share_between():
    shares = ("silver 7 + graphite 1", "silver 1 + graphite 1")
    between = Ground.parse("silver 3 + graphite 1")
    shop = Shop(14)
    rng = np.random.default_rng(14)
    panels = list(shop.archive(60, 14))
    for i, share in enumerate(shares):
        panels.append(shop.spray(Recipe(Ground.parse(share), clear="yes"), rng, code=f"L{i}"))
    model = FilmRegressor(rounds=2).fit(*to_frame(panels))
    bare = Recipe(between, clear="yes")
    coated = Recipe(
        between, Colour.parse(model.words_.colours[0]), CoatSchedule.parse("3@6:1"), "yes"
    )
    truth = np.array([shop.truth_lab(bare), shop.truth_lab(coated)])
    errors = delta_e00(model.predict_recipes([bare, coated]), truth)
    assert errors.max() < 3.0


def test_sprayers_who_lay_heavier_are_told_apart(shop):
    rng = np.random.default_rng(15)
    recipes = [p.recipe for p in shop.archive(90, 15) if not p.recipe.bare]
    panels = [p for p in shop.archive(90, 15) if p.recipe.bare]
    for i, r in enumerate(recipes):
        heavy = 1.0 if i % 2 else 1.25
        panels.append(shop.spray(r, rng, heavy=heavy, code=f"S{i}"))
    X, y = to_frame(panels)
    X["sprayer"] = ["" if pd.isna(s) else s for s in X["colour"].map(lambda _: "")]
    X["sprayer"] = [
        ("Odd" if int(c[1:]) % 2 else "Even") if c.startswith("S") else "" for c in X["panel"]
    ]
    model = FilmRegressor(rounds=2).fit(X, y)
    offset = model.fitted_.z[model.fitted_.law.slices["sprayer"]]
    heavier = dict(zip(model.words_.of_kind("sprayer"), offset, strict=True))
    assert 0.10 < heavier[("Even",)] - heavier[("Odd",)] < 0.35


def test_a_row_is_predicted_of_who_sprayed_it_with_a_covariance_or_without():
    rows = [("silver", None, None, None, 58.0, 0.0, 0.0)]
    for who, heavy in (("Ann", 1.0), ("Bo", 1.35)):
        laid = [(n, n * heavy) for n in (1, 2, 3, 4)]
        rows += [("silver", "cherry", f"{n}@6:1", who, 55 - 4 * f, 8 * f, 2 * f) for n, f in laid]
    X = pd.DataFrame(rows, columns=["ground", "colour", "schedule", "sprayer", "L", "a", "b"])
    model = FilmRegressor(library=False).fit(X, X[["L", "a", "b"]])
    lab, _ = model.predict(X, return_cov=True)
    np.testing.assert_allclose(model.predict(X), lab, atol=1e-9)
    np.testing.assert_allclose(
        reflectance_to_lab(model.predict_spectrum(X)), model.predict(X), atol=1e-9
    )
    assert np.abs(lab[1:5] - lab[5:]).max() > 2.0


def test_a_colour_on_no_panel_is_named(fitted):
    with pytest.raises(UnknownName, match="'mauve'"):
        fitted.predict_recipes([recipe(fitted.words_.grounds[0], "mauve", "2@6:1")])
    with pytest.raises(UnknownName, match="'chrome'"):
        fitted.predict_recipes([recipe("chrome", fitted.words_.colours[0], "2@6:1")])


@pytest.mark.parametrize("count", [1, 8])
def test_one_panel_or_panels_all_alike_teach_nothing(count):
    X = pd.DataFrame({"ground": ["silver"] * count, "colour": "teal", "schedule": "4@6:1"})
    with pytest.raises(FitError, match="nothing to learn"):
        FilmRegressor().fit(X, np.tile([40.0, -20.0, -10.0], (count, 1)))


@pytest.mark.parametrize(
    ("column", "cell", "words"),
    [
        ("sd", 0.0, "uncertainty of a reading"),
        ("sd", -1.0, "uncertainty of a reading"),
        ("sd", "sure", "uncertainty of a reading"),
        ("covariance", np.diag([1.0, 1.0, -1.0]), "covariance of a reading"),
        ("covariance", np.zeros((3, 3)), "uncertainty of a reading"),
        ("date", "31.05.2026", "not a date"),
        ("date", "31 August 2024", "'31 August 2024'"),
        ("source", "eye", "source of a reading"),
    ],
)
def test_a_cell_that_cannot_be_is_refused_in_words(column, cell, words):
    X = pd.DataFrame({"ground": "silver", "colour": ["", "teal"], "schedule": ["", "4@6:1"]})
    X[column] = [cell, None]
    lab = [[58.4, -0.3, -0.2], [40.0, -20.0, -10.0]]
    with pytest.raises(DomainError, match=words):
        FilmRegressor(rounds=1, library=False).fit(X, lab)


def test_no_recipes_are_predicted_and_no_viewing_is_left_over(fitted):
    assert fitted.predict_each([]).covariance.shape == (0, 3, 3)
    assert fitted.predict_together([], [Viewing(), Viewing("A")]).dof.shape == (0,)
    some = [recipe(fitted.words_.grounds[0], fitted.words_.colours[0], "2@6:1")] * 2
    for views in ([Viewing()], [Viewing()] * 3):
        with pytest.raises(DomainError, match="as many viewings"):
            fitted.predict_recipes(some, views)


def test_readings_must_be_numbers_and_as_many_as_recipes(archive):
    X, y = to_frame(archive)
    holed = np.array(y)
    holed[3, 1] = np.nan
    with pytest.raises(FitError, match="Row 4"):
        FilmRegressor().fit(X, holed)
    with pytest.raises(FitError, match="shape"):
        FilmRegressor().fit(X, np.array(y)[:, :2])
    with pytest.raises(DomainError, match="table"):
        FilmRegressor().fit(np.zeros((3, 3)), np.zeros((3, 3)))


def test_four_panels_of_a_colour_are_useful(shop):
    few = shop.archive(12, 41, repeats=0.0)
    model = FilmRegressor().fit(*to_frame(few))
    fresh = shop.fresh(60, 42)
    X, _ = to_frame(fresh)
    assert np.median(delta_e00(model.predict(X), labs(fresh))) < 2.5


def test_a_blend_of_grounds_that_nobody_read_is_hardly_known(archive, fitted):
    # How far one paint hides another is its own affair: a reading of the bare blend tells.
    names = fitted.words_.grounds
    blend = Recipe(Ground.parse(f"{names[0]} 1 + {names[1]} 1"), clear="yes")
    seen = Shop(11).spray(blend, np.random.default_rng(1), code="blend")
    read = FilmRegressor(rounds=1, library=False).fit(*to_frame([*archive, seen]))
    spread = [float(np.sqrt(m.predict_each([blend]).known[0, 0, 0])) for m in (fitted, read)]
    assert spread[0] > 5.0
    assert spread[1] < 1.5


def test_no_right_panel_of_one_ground_moves_what_is_said_of_another():
    # Solid white is the farthest from what the law can do; silver must not hear of it.
    booth = Booth(2, n_grounds=5, n_colours=2)
    panels = list(booth.archive(45, 2))
    flake = next(n for n in sorted({str(p.recipe.ground) for p in panels}) if "solid" not in n)
    colour = next(p.recipe.colour for p in panels if p.recipe.colour and p.recipe.colour.neat)
    asked = [recipe(flake, str(colour), s) for s in ("2@6:1", "3@4:1", "4@3:1")]

    def chances(some):
        model = FilmRegressor().fit(*to_frame(some))
        return np.array(
            [likeliest(model, [r], Target.lab(*booth.truth_lab(r)))[0].probability for r in asked]
        )

    white = [p for p in panels if "white" in str(p.recipe.ground) and not p.recipe.bare]
    assert len(white) > 6
    full = chances(panels)
    for out in white[::2]:
        without = chances([p for p in panels if p is not out])
        assert np.abs(without - full).max() < np.min(full) / 3


def test_a_solid_white_never_sprayed_on_may_scatter_at_all_angles():
    # Its film then takes out far more than over flake, which is all that the panels tell of.
    booth = Booth(20, n_grounds=5, n_colours=3)
    panels = booth.full(20)
    over = [p for p in panels if str(p.recipe.ground) == "solid white" and not p.recipe.bare]
    model = FilmRegressor().fit(*to_frame([p for p in panels if p not in over]))
    found = model.predict_readings(to_frame(over)[0])
    miss = labs(over) - found.labs[0]
    far = np.einsum("ni,nij,nj->n", miss, np.linalg.inv(found.covariance), miss)
    assert np.mean(delta_e00(labs(over), found.labs[0])) > 3.0
    assert np.mean(far <= region(0.95, found.dof)) > 0.7
