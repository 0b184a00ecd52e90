"""Left-out errors, coverage and variance components are what they are said to be."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sklearn.base import BaseEstimator

from matchlib.demo import demo_panels
from matchlib.domain import CoatSchedule, Panel, Reading, Recipe, Viewing
from matchlib.errors import DomainError, FitError
from matchlib.linear import fit_panels
from matchlib.regression import FilmRegressor
from matchlib.validation import (
    PART_WORDS,
    Repeatability,
    Validation,
    cross_validate,
    repeatability,
    validation_table,
)
from matchlib.validation.folds import split_rows
from matchlib.validation.simple import NearestPanel, QuadraticRidge
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Noise, Shop
from tests.cli_shop import demo_fit

SHOP = Shop(6, n_grounds=3, n_colours=2)


class Truth(BaseEstimator):  # type: ignore[misc]  # sklearn has no types
    """Predicts what it is told, with a known spread: makes the bookkeeping testable."""

    def __init__(self, shift: float = 0.0, sd: float = 1.0) -> None:
        self.shift = shift
        self.sd = sd

    def fit(self, X: pd.DataFrame, y: np.ndarray) -> Truth:
        self.codes_ = set(X["panel"])
        return self

    def predict(self, X: pd.DataFrame, *, return_cov: bool = False) -> tuple[np.ndarray, ...]:
        assert not self.codes_ & set(X["panel"]), "a panel was seen in training"
        lab = X[["tL", "ta", "tb"]].to_numpy() + np.array([self.shift, 0, 0])
        return lab, np.tile(np.eye(3) * self.sd**2, (len(X), 1, 1))


@pytest.fixture(scope="module")
def table() -> tuple[pd.DataFrame, np.ndarray]:
    panels = [
        p.having(readings=p.readings * (1 + i % 2)) for i, p in enumerate(SHOP.archive(36, 0))
    ]
    return to_frame(panels)


@pytest.mark.parametrize("by", ["panel", "recipe", "ground"])
def test_what_is_left_out_is_left_out_whole(
    table: tuple[pd.DataFrame, np.ndarray], by: str
) -> None:
    X, _ = table
    tested = []
    for train, test in split_rows(X, by, folds=5, random_state=0):
        assert not set(train) & set(test)
        assert len(train) + len(test) == len(X)
        left, kept = X.iloc[test], X.iloc[train]
        kept = kept[kept["colour"] != ""]
        assert (left["colour"] != "").all()
        assert not set(left["panel"]) & set(kept["panel"])
        if by == "recipe":
            keys = [tuple(r) for r in left[["ground", "colour", "schedule"]].to_numpy()]
            assert not set(keys) & {
                tuple(r) for r in kept[["ground", "colour", "schedule"]].to_numpy()
            }
        if by == "ground":
            assert not set(left["ground"]) & set(kept["ground"])
        tested += test.tolist()
    assert sorted(tested) == np.flatnonzero(X["colour"] != "").tolist()


def test_a_lot_is_left_out_with_every_panel_that_has_it() -> None:
    X = pd.DataFrame(
        {
            "panel": list("abcdefg"),
            "ground": "silver",
            "colour": ["", "rust", "rust", "rust", "sky", "sky 1 + rust 1", "sky"],
            "schedule": ["", *["2@4:1"] * 6],
            "lot": ["", "R1", "R1", "R2", "S1", "S1 + R2", ""],
            "date": ["", "2026-01-05", "", "2026-02-05", "2026-03-05", "2026-03-06", "2026-02-05"],
        }
    )
    left = [test.tolist() for _, test in split_rows(X, "lot", folds=2, random_state=0)]
    assert left == [[1, 2], [3, 5], [4, 5]]
    ((train, test),) = split_rows(X, "after 2026-02-05", folds=2, random_state=0)
    assert test.tolist() == [4, 5]
    assert train.tolist() == [0, 1, 2, 3, 6], "what has no date is no later"
    with pytest.raises(FitError, match="to leave what came after 2026-12-31 out"):
        list(split_rows(X, "after 2026-12-31", folds=2, random_state=0))
    with pytest.raises(DomainError, match="This is not a date"):
        list(split_rows(X, "after Easter", folds=2, random_state=0))


def test_errors_and_coverage_are_counted_rightly(table: tuple[pd.DataFrame, np.ndarray]) -> None:
    X, y = table
    rng = np.random.default_rng(0)
    drawn = y + rng.normal(0, 1, y.shape)
    X = X.assign(tL=drawn[:, 0], ta=drawn[:, 1], tb=drawn[:, 2])
    honest = cross_validate(X, y, "panel", model=Truth(), folds=4)
    for level, share in honest.coverage.items():
        by_chance = np.sqrt(level * (1 - level) / len(honest.rows))  # binomial standard error
        assert share == pytest.approx(level, abs=4 * by_chance)
    boastful = cross_validate(X, y, "panel", model=Truth(sd=0.3), folds=4)
    assert boastful.coverage[0.95] < 0.5
    assert np.all(np.isinf(honest.dof))
    assert honest.folds == 4
    assert honest.median <= honest.mean <= honest.high


def test_coverage_is_that_of_each_readings_own_tails() -> None:
    squared = np.array([2.3, 2.3, 7.0, 7.0])
    dof = np.array([np.inf, 4.0, np.inf, 4.0])
    found = Validation("panel", np.arange(4), np.ones(4), squared, dof, 1, np.arange(0))
    # Chi-square with 3: half within 2.366; F(3, 4) gives 3 * 0.941 / 2 = 1.411 for half.
    assert found.coverage[0.5] == 0.25
    # 6.251 for nine in ten, and 3 * 4.191 / 2 = 6.287; 7.815 and 3 * 6.591 / 2 = 9.887 for 95 %.
    assert found.coverage[0.9] == 0.5
    assert found.coverage[0.95] == 1.0


def test_a_regressor_without_spread_has_no_coverage(table: tuple[pd.DataFrame, np.ndarray]) -> None:
    found = cross_validate(*table, "panel", model=QuadraticRidge(), folds=3)
    assert found.coverage == {}
    assert found.median < cross_validate(*table, "panel", model=NearestPanel(), folds=3).median


def test_the_film_regression_is_honest_on_panels_left_out(
    table: tuple[pd.DataFrame, np.ndarray],
) -> None:
    seen: list[str] = []
    found = cross_validate(
        *table,
        "panel",
        model=FilmRegressor(rounds=2),
        folds=3,
        callback=lambda _, words: seen.append(words),
    )
    assert list(dict.fromkeys(seen))[:3] == ["fold 1 of 3", "fold 2 of 3", "fold 3 of 3"]
    assert found.median < 1.2
    assert found.coverage[0.95] > 0.8
    assert not len(found.skipped)
    # Three grounds tell little of how far the law may be off.
    assert np.all(np.isfinite(found.dof))
    assert np.all(found.dof > 3)


@pytest.mark.parametrize("under", ["", "2@6:1 {}, "])
def test_a_colour_shown_by_one_panel_is_named_not_guessed(under: str) -> None:
    panels = list(SHOP.archive(12, 0))
    one = next(p for p in panels if not p.recipe.bare)
    schedule = CoatSchedule.parse(under.format(one.recipe.colour) + "2@6:1 rare")
    odd = one.having(code="ODD", recipe=Recipe(one.recipe.ground, None, schedule, "yes"))
    X, y = to_frame([*panels, odd])
    found = cross_validate(X, y, "panel", model=FilmRegressor(rounds=1, library=False), folds=3)
    assert found.skipped.tolist() == [len(X) - 1]


def test_the_nearest_panel_is_near_in_every_layer() -> None:
    one, two = SHOP.colours[:2]
    schedules = (f"2@6:1 {one}, 2@4:1 {two}", f"2@6:1 {one}, 2@4:1 {one}")
    panels = [
        Panel.of(code, Recipe(SHOP.grounds[0], None, CoatSchedule.parse(each)), [Reading(lab=lab)])
        for code, each, lab in zip("AB", schedules, [(30, 5, 5), (40, 9, 9)], strict=True)
    ]
    X, y = to_frame(panels)
    assert NearestPanel().fit(X, y).predict(X).tolist() == [[30, 5, 5], [40, 9, 9]]


def test_a_layer_shown_by_one_panel_is_skipped_and_not_asked_of() -> None:
    rows = [("g", "silver", "", "")]
    rows += [(f"c{n}", "silver", "cherry", f"{n}@6:1") for n in (1, 2, 3, 4)]
    rows += [("two", "silver", "", "2@6:1 cherry, 2@6:1 honey")]
    X = pd.DataFrame(rows, columns=["panel", "ground", "colour", "schedule"])
    y = np.array([[60.0 - 4 * n, 8.0 * n, 2.0 * n] for n in range(5)] + [[35.0, 30, 25]])
    quick = FilmRegressor(rounds=1, library=False)
    assert cross_validate(X, y, model=quick, by="panel", folds=5).skipped.tolist() == [5]


def test_the_table_has_a_line_for_each(table: tuple[pd.DataFrame, np.ndarray]) -> None:
    steps: list[str] = []
    rows = validation_table(
        *table,
        by=("panel",),
        model=QuadraticRidge(),
        floor=0.5,
        folds=3,
        callback=lambda _, words: steps.append(words),
    )
    assert [r.name for r in rows] == ["film regression", "nearest panel", "quadratic ridge"]
    assert rows[0].floor_ratio == pytest.approx(rows[0].median / 0.5)
    assert list(dict.fromkeys(steps)) == [f"{r.name}, panels left out" for r in rows]
    few = validation_table(table[0].head(4), table[1][:4], by=("ground",), simple=False)
    assert "too few panels" in few[0].note


def test_what_cannot_be_left_out_is_refused(table: tuple[pd.DataFrame, np.ndarray]) -> None:
    with pytest.raises(DomainError, match="left out"):
        cross_validate(*table, "phase of the moon")
    # Panels are counted as they are asked for, though each was read twice.
    coated = table[0][table[0]["colour"].astype(bool)].drop_duplicates("panel").head(3)
    few = pd.concat([coated, coated])
    with pytest.raises(FitError, match=r"too few panels.* Got 3 panels\."):
        cross_validate(few, np.zeros((6, 3)), "panel")
    alike = few.assign(**coated.iloc[0][["ground", "colour", "schedule", "clear"]])
    with pytest.raises(FitError, match=r"Got 3 panels of 1 recipe\."):
        cross_validate(alike, np.zeros((6, 3)), "recipe")


@pytest.fixture(scope="module")
def several() -> list[Panel]:
    """Recipes sprayed often, read twice, by two people who differ by 12 % of film."""
    shop = Shop(
        7, n_grounds=3, n_colours=2, noise=Noise(film=0.05, coat=0.0, dose=0.0, lot=0.0, lab=0.15)
    )
    shop.sprayers = {"light": -0.06, "heavy": 0.06}
    rng = np.random.default_rng(0)
    panels = []
    for i, panel in enumerate(shop.archive(20, 0, repeats=0.0)):
        for j in range(1 if panel.recipe.bare else 3):
            again = shop.spray(panel.recipe, rng, code=f"{panel.code}{j}")
            lab = np.array(again.readings[0].lab)
            second = Reading(lab=tuple(lab + rng.normal(0, 0.15 * np.sqrt(2), 3)))
            day = dt.date(2024, 1, 1) + dt.timedelta(days=i)
            panels.append(again.having(readings=(*again.readings, second), date=day))
    return panels


@pytest.fixture(scope="module")
def told(several: list[Panel]) -> Repeatability:
    return repeatability(several)


def test_variance_components_are_those_of_the_booth(told: Repeatability) -> None:
    found = told
    parts = {c.name: c for c in found.components}
    assert parts["panel film"].sd == pytest.approx(0.05, rel=0.35)
    assert parts["panel film"].low < 0.05 < parts["panel film"].high
    assert parts["sprayer"].low < 0.085 < parts["sprayer"].high
    assert parts["sprayer"].sd > 0.03
    # ΔE00 an axis: Lab noise shrinks by S_C where there is chroma.
    assert 0.03 < parts["reading"].sd < 0.25
    for part in found.components:
        assert part.low < part.sd < part.high
        assert part.words.startswith(PART_WORDS[part.name])


def test_the_floor_agrees_with_recipes_sprayed_again(told: Repeatability) -> None:
    found = told
    assert found.measured is not None
    assert found.repeats == 60
    assert found.low <= found.floor <= found.high
    assert found.floor == pytest.approx(found.measured, rel=0.4)
    assert f"{found.floor:.2f}" in found.words


def test_a_photograph_beside_an_instruments_reading_is_no_repeat(
    several: list[Panel], told: Repeatability
) -> None:
    photo = Reading(Viewing(geometry="photo"), "photo", (40.0, 9.0, 2.0), sd=5.0)
    model = fit_panels(several)
    beside = [p.having(readings=(photo, *p.readings)) for p in several]
    assert repeatability(beside, model).floor == pytest.approx(told.floor)
    alone = [replace(p, code=f"{p.code} photo").having(readings=(photo,)) for p in several]
    assert repeatability([*several, *alone], model).repeats == told.repeats


def test_one_sprayer_has_no_component() -> None:
    shop = Shop(7, n_grounds=2, n_colours=1)
    sprayed = {p.recipe: p.having(sprayer="one", lot="") for p in shop.archive(14, 0)}
    panels = list(sprayed.values())
    found = repeatability(panels, FilmRegressor(rounds=1).fit(*to_frame(panels)))
    assert {c.name for c in found.components} == {"panel film", "panel rest", "law"}
    assert found.measured is None


def test_one_panel_read_twice_tells_reading_from_spraying() -> None:
    panels = [p for p in demo_panels() if len(p.recipe.layers) < 2]
    bare = [p for p in panels if p.recipe.bare][:4]
    grounds = {str(p.recipe.ground) for p in bare}
    sprayed = [p for p in panels if not p.recipe.bare and str(p.recipe.ground) in grounds][:12]
    assert [len(p.readings) for p in sprayed].count(2) == 1
    found = repeatability([*bare, *sprayed])
    assert "reading" in {c.name for c in found.components}
    assert found.low < found.floor < 1.0, "25 ΔE00 was said, where 0.4 is what a panel differs by"


def test_the_spread_is_the_same_whoever_sprayed_last(several: list[Panel]) -> None:
    batched = [p.having(batch=f"B{i % 2}") for i, p in enumerate(several)]
    model = FilmRegressor(rounds=1).fit(*to_frame(several, log=True))
    assert model.conditions_.sprayer
    last = {who: model.under(replace(model.conditions_, sprayer=who)) for who in ("light", "heavy")}
    light, heavy = (repeatability(several, last[who]) for who in last)
    assert [c.sd for c in light.components] == pytest.approx([c.sd for c in heavy.components])
    # Straight from repeats as well: what differs by the ground's batch is no spread of spraying.
    assert repeatability(batched, model).repeats < light.repeats


def test_nothing_to_learn_from_is_refused() -> None:
    with pytest.raises(FitError, match="repeatability"):
        repeatability([Panel.of("P", Recipe(SHOP.grounds[0]))])


def test_a_reading_before_the_clear_coat_is_no_repeat_of_one_under_it() -> None:
    panels, model = demo_panels(), demo_fit()
    plain = repeatability(panels, model)
    twice = []
    for panel in panels:
        (first, *_) = panel.readings
        if panel.recipe.clear and not panel.recipe.bare and len(twice) < 60:
            uncleared = replace(panel.recipe, clear=None)
            lab = tuple(model.predict_recipes([uncleared], first.viewing)[0])
            early = Reading(first.viewing, lab=lab, state="before clear")
            twice.append(panel.having(readings=(early, *panel.readings)))
        else:
            twice.append(panel)
    found = repeatability(twice, model)
    assert (found.floor, found.measured) == (plain.floor, plain.measured)
