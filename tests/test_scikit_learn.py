"""The contract of scikit-learn: its own checks, and its tools on tables of recipes."""

from __future__ import annotations

import datetime as dt
import pickle
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone
from sklearn.exceptions import NotFittedError
from sklearn.model_selection import GridSearchCV, GroupKFold, cross_val_score
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import FunctionTransformer
from sklearn.utils.estimator_checks import parametrize_with_checks
from sklearn.utils.validation import check_is_fitted

from matchlib import FilmRegressor, cross_validate
from matchlib.demo import demo_panels
from matchlib.domain import BEFORE_CLEAR, Reading, Viewing
from matchlib.errors import FitError
from matchlib.readings import frame_of, write_table

LAB = ["L", "a", "b"]
TEXT = "a table of recipes is text, and is no complex or sparse array"
WORDS = "it is refused, in words about recipes and readings instead of arrays"
NOT_HELD = {
    "check_complex_data": TEXT,
    "check_estimator_sparse_tag": TEXT,
    "check_estimator_sparse_array": TEXT,
    "check_estimator_sparse_matrix": TEXT,
    "check_regressor_data_not_an_array": TEXT,
    "check_estimators_nan_inf": "an empty cell is a fact: a bare ground, or what was not written",
    "check_n_features_in_after_fitting": "columns are found by name; more or fewer notes are fine",
    "check_supervised_y_2d": "y is Lab or a spectrum, and never one column",
    "check_regressors_train": "it wants R squared above 0.5; the score here is minus the mean ΔE00",
    "check_estimators_empty_data_messages": WORDS,
    "check_fit2d_1sample": WORDS,
    "check_fit1d": WORDS,
    "check_fit2d_predict1d": WORDS,
}
"""Checks that do not hold, and why."""


class OfNumbers(FilmRegressor):
    """The regression of one number on numbers, as the checks have them: each row a recipe."""

    def fit(self, X, y):
        super().fit(_recipes(X), _labs(y))
        self.n_features_in_ = np.shape(X)[1]
        return self

    def predict(self, X):
        return (super().predict(_recipes(X))[:, 0] - 50.0) / 5.0

    def score(self, X, y):
        return -float(np.mean(np.abs(self.predict(X) - np.ravel(y))))


def _recipes(X) -> pd.DataFrame:
    first = np.asarray(X, float)[:, 0]
    coats = 1 + np.abs(np.rint(3.0 * first)).astype(int) % 5
    ground = np.where(first > 0, "silver", "black")
    return pd.DataFrame(
        {"ground": ground, "colour": "cherry", "schedule": [f"{n}@6:1" for n in coats]}
    )


def _labs(y) -> np.ndarray | None:
    if y is None:
        return None
    light = 50.0 + 5.0 * np.ravel(np.asarray(y, float))
    return np.column_stack([light, np.full(len(light), 20.0), np.full(len(light), 5.0)])


@parametrize_with_checks(
    [OfNumbers(rounds=1, library=False)], expected_failed_checks=lambda _: NOT_HELD
)
@pytest.mark.filterwarnings("ignore:Casting complex", "ignore:invalid value")
def test_scikit_learn_checks_it(estimator, check) -> None:
    check(estimator)


QUICK = FilmRegressor(rounds=1, library=False)


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    cherry = [p for p in demo_panels() if p.recipe.bare or str(p.recipe.colour) == "cherry"]
    return frame_of(p for p in cherry if "gold" not in str(p.recipe.ground))


@pytest.fixture(scope="module")
def fitted(table: pd.DataFrame) -> FilmRegressor:
    return clone(QUICK).fit(table, table[LAB])


@pytest.fixture(scope="module")
def bundled(tmp_path_factory) -> tuple[pd.DataFrame, FilmRegressor]:
    """The bundled table as pandas reads it, and its fit."""
    place = tmp_path_factory.mktemp("bundled") / "panels.csv"
    write_table(demo_panels(), place)
    table = pd.read_csv(place)
    return table, clone(QUICK).fit(table, table[LAB])


def test_what_was_not_fitted_says_so_as_scikit_learn_does(table, fitted):
    for ask in (
        lambda m: m.predict(table),
        lambda m: m.predict_readings(table),
        lambda m: m.predict_spectrum(table),
        lambda m: m.score(table, table[LAB]),
    ):
        with pytest.raises(NotFittedError, match="has not been fitted"):
            ask(FilmRegressor())
    with pytest.raises(NotFittedError):
        check_is_fitted(FilmRegressor())
    check_is_fitted(fitted)


def test_the_columns_are_remembered(table, fitted):
    assert fitted.n_features_in_ == table.shape[1]
    assert fitted.feature_names_in_.tolist() == table.columns.tolist()
    other = table.rename(columns={"drawer": 7})
    assert not hasattr(clone(QUICK).fit(other, table[LAB]), "feature_names_in_")


@pytest.mark.parametrize(
    "wrong",
    [
        {"rounds": -5},
        {"rounds": 0},
        {"rounds": 2.5},
        {"rounds": True},
        {"library": "yes"},
        {"robust": None},
        {"priors": {"scatter": 0.1}},
        {"random_state": -1},
        {"random_state": "seed"},
    ],
)
def test_a_parameter_that_cannot_be_is_refused_when_it_is_fitted(table, wrong):
    model = FilmRegressor(**wrong)  # stored as it came
    (name,) = wrong
    with pytest.raises(FitError, match=f"parameter {name} cannot be this"):
        model.fit(table, table[LAB])
    assert not hasattr(model, "fitted_")


@pytest.mark.parametrize(
    ("y", "words"),
    [
        (lambda t: t[LAB].head(5), "not as many readings as recipes.* Got 5 rows"),
        (lambda t: None, "the target y is None"),
        (lambda t: t, "not numbers.* L, a and b"),
        (lambda t: t[["L", "a"]], "shape"),
        (lambda t: 100.0 * t.loc[:, "400":"700"], "divide by 100"),
    ],
)
def test_y_is_refused_in_words(table, y, words):
    spectra = table[table["400"].notna()]
    with pytest.raises(FitError, match=words):
        clone(QUICK).fit(spectra, y(spectra))


def test_the_bundled_table_is_fitted_as_pandas_reads_it(bundled):
    panels, (table, model) = demo_panels(), bundled
    spectra = table["L"].isna()
    assert 0 < spectra.sum() < len(table)
    # The spectra were learnt from: what they show does not rest on Lab.
    whole = clone(QUICK).fit(frame_of(panels), frame_of(panels).loc[:, "L":])
    np.testing.assert_allclose(model.predict(table), whole.predict(table), atol=0.05)
    assert model.spectral_.any()
    np.testing.assert_array_equal(model.spectral_, whole.spectral_)
    assert -1.2 < model.score(table, table[LAB]) < -0.2
    assert cross_validate(table, table[LAB], model=QUICK, folds=2).median < 1.0


def test_numbers_may_be_of_pandas_own_types(tmp_path):
    write_table(demo_panels(), tmp_path / "panels.csv")
    plain = pd.read_csv(tmp_path / "panels.csv")
    own = pd.read_csv(tmp_path / "panels.csv", dtype_backend="numpy_nullable")
    assert own["L"].isna().any()
    model = clone(QUICK).fit(plain, plain[LAB])
    for y in (own[LAB], own[[*LAB, *plain.loc[:, "400":"700"].columns]]):
        again = clone(QUICK).fit(own, y)
        np.testing.assert_array_equal(again.predict(own), model.predict(plain))
        assert again.score(own, y) == pytest.approx(model.score(plain, plain[LAB]))


def test_a_file_s_reading_before_the_clear_is_of_the_card_without_it(tmp_path):
    first = [p for p in demo_panels() if str(p.recipe.colour) in ("None", "honey")]
    early = [
        p.having(readings=[replace(r, state=BEFORE_CLEAR) for r in p.readings]) if i % 2 else p
        for i, p in enumerate(first)
        if p.recipe.clear
    ]
    write_table(early, tmp_path / "panels.csv")
    again, table = pd.read_csv(tmp_path / "panels.csv"), frame_of(early)
    assert set(again["clear"]) == {"yes"}
    assert set(table["clear"]) == {"yes", "no"}
    model = clone(QUICK).fit(table, table[LAB])
    fitted = clone(QUICK).fit(again, table[LAB])
    np.testing.assert_allclose(fitted.predict(again), model.predict(table), atol=1e-6)


def test_a_file_s_day_of_spraying_is_not_that_of_its_reading(tmp_path):
    days = [dt.date(2026, 5, 1), dt.date(2026, 5, 9)]
    panels = [
        p.having(readings=[replace(p.readings[0], date=day) for day in days])
        for p in demo_panels()
        if str(p.recipe.colour) in ("None", "honey")
    ]
    panels[-1] = panels[-1].having(date=None)
    write_table(panels, tmp_path / "panels.csv")
    again, table = pd.read_csv(tmp_path / "panels.csv"), frame_of(panels)
    assert set(again["date"]) == set(map(str, days))
    model = clone(QUICK).fit(table, table[LAB])
    fitted = clone(QUICK).fit(again, table[LAB])
    assert fitted.conditions_.date == model.conditions_.date
    np.testing.assert_allclose(fitted.predict(again), model.predict(table), atol=1e-6)


def test_a_covariance_counts_as_a_file_of_the_table_holds_it(tmp_path):
    sure = ((9.0, 1.0, 0.0), (1.0, 4.0, 0.0), (0.0, 0.0, 25.0))
    photo = Reading(source="photo", lab=(40.0, 10.0, 45.0), covariance=sure)
    panels = [
        p.having(readings=(photo,)) if str(p.recipe.colour) == "honey" else p
        for p in demo_panels()
        if str(p.recipe.colour) in ("None", "honey", "cherry")
    ]
    table = frame_of(panels)
    model = clone(QUICK).fit(table, table[LAB])
    table.to_csv(tmp_path / "frame.csv", index=False)
    write_table(panels, tmp_path / "panels.csv")
    for file in ("frame.csv", "panels.csv"):
        again = pd.read_csv(tmp_path / file)
        held = again["covariance"]
        assert held.notna().sum() == table["covariance"].notna().sum() > 0
        fitted = clone(QUICK).fit(again.drop(columns="sd"), table[LAB])
        np.testing.assert_allclose(fitted.predict(table), model.predict(table), atol=1e-6)
    with pytest.raises(FitError, match="covariance of a reading cannot be read"):
        clone(QUICK).fit(table.assign(covariance="9, 4, 25"), table[LAB])


@pytest.mark.parametrize("empty", [None, np.nan, pd.NA, ""])
def test_rows_without_a_panels_code_are_panels_of_their_own(table, empty):
    some = table.drop_duplicates("panel")
    alone = clone(QUICK).fit(some.drop(columns="panel"), some[LAB])
    bare = some.assign(panel=pd.Series([empty] * len(some), some.index, object))
    model = clone(QUICK).fit(bare, some[LAB])
    np.testing.assert_array_equal(model.predict(some), alone.predict(some))
    assert len(model.trust_) == len(some)
    assert cross_validate(bare, some[LAB], model=QUICK, folds=3).folds == 3


def test_a_panel_is_known_by_its_number_beside_empty_cells(table):
    codes = [float(n) for n in pd.factorize(table["panel"])[0]]
    model = clone(QUICK).fit(table.assign(panel=[*codes[:-1], None]), table[LAB])
    assert {"0", "1", f"row {len(table)}"} <= set(model.trust_)


def test_a_number_is_read_the_same_beside_empty_cells(table, fitted):
    shown = table.head(4).assign(observer=10, lot=12)
    floats = shown.assign(observer=[10.0] * 4, lot=[12.0] * 4)
    np.testing.assert_array_equal(fitted.predict(floats), fitted.predict(shown))
    again = clone(QUICK).fit(table.assign(lot="12", observer=10.0), table[LAB])
    assert {lot for _, lot in again.conditions_.lots} == {"12"}


def test_a_prediction_is_of_the_rows_own_conditions_with_its_covariance_and_without(table):
    who = np.where(np.arange(len(table)) % 2, "heavy", "light")
    darker = (
        table[LAB]
        - [[4.0, 0.0, 0.0]] * (who == "heavy")[:, None] * (table["L"] < 50).to_numpy()[:, None]
    )
    model = FilmRegressor(library=False, rounds=1).fit(table.assign(sprayer=who), darker)
    X = table.assign(sprayer=who[::-1])
    lab, _ = model.predict(X, return_cov=True)
    np.testing.assert_allclose(model.predict(X), lab, atol=1e-9)
    assert not np.allclose(model.predict(X), model.predict(X.assign(sprayer=who)), atol=0.05)


def test_spectra_are_scored_under_the_light_that_they_are_compared_in(bundled, tmp_path):
    def lit(panel):
        readings = [
            replace(r, viewing=Viewing("A", "2")) if r.spectral else r for r in panel.readings
        ]
        return panel.having(readings=tuple(readings))

    write_table([lit(p) for p in demo_panels()], tmp_path / "panels.csv")
    table = pd.read_csv(tmp_path / "panels.csv")
    scores = []
    for some, model in (bundled, (table, clone(QUICK).fit(table, table[LAB]))):
        spectra = some[some["L"].isna()]
        scores.append(model.score(spectra, spectra[LAB]))
    assert scores[1] == pytest.approx(scores[0], rel=0.25)


def test_cross_validation_and_search_go_through_it(table):
    cut = GroupKFold(2, shuffle=True, random_state=0)
    scores = cross_val_score(QUICK, table, table[LAB], groups=table["panel"], cv=cut)
    assert ((scores < -0.2) & (scores > -4.0)).all()
    grid = GridSearchCV(QUICK, {"robust": [False, True]}, cv=cut, error_score="raise")
    grid.fit(table, table[LAB], groups=table["panel"])
    assert grid.best_params_["robust"] in (False, True)
    assert grid.predict(table).shape == (len(table), 3)


def test_a_colour_on_one_card_only_is_skipped_here_and_no_score_there(table):
    once = table[table["colour"] != ""].head(1).assign(panel="alone", colour="unique")
    some, last = pd.concat([table, once], ignore_index=True), len(table)
    cut = [(np.arange(last), np.array([last]))]
    with pytest.warns(UserWarning, match="UnknownName"):
        assert np.isnan(cross_val_score(QUICK, some, some[LAB], cv=cut)).all()
    assert cross_validate(some, some[LAB], model=QUICK, folds=3).skipped.tolist() == [last]


def test_it_stands_in_a_pipeline_and_is_pickled(table, fitted):
    pipe = make_pipeline(FunctionTransformer(lambda t: t[t.columns[:19]]), clone(QUICK))
    np.testing.assert_allclose(pipe.fit(table, table[LAB]).predict(table), fitted.predict(table))
    again = pickle.loads(pickle.dumps(fitted))  # noqa: S301  our own
    np.testing.assert_allclose(again.predict(table), fitted.predict(table))
    assert not hasattr(clone(fitted), "fitted_")
