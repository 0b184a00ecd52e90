"""Long work says how far it is, stops when it is told to, and leaves nothing half-done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from sklearn.base import clone

from matchlib.audit import audit
from matchlib.demo import demo_panels
from matchlib.domain import Colour, Panel
from matchlib.linear import fit_panels
from matchlib.next_panel import next_for_archive
from matchlib.overview.within import candidates
from matchlib.progress import Callback, part_of
from matchlib.regression import FilmRegressor, frames_of
from matchlib.validation import cross_validate, repeatability, validation_table
from matchlib.validation.simple import QuadraticRidge

VIOLET = Colour.parse("violet")
PANELS: list[Panel] = [p for p in demo_panels() if p.recipe.bare or p.recipe.colour == VIOLET]


class Cancelled(Exception):  # noqa: N818  no error: somebody pressed Cancel
    """Raised by a step; nothing in the library knows of it."""


@pytest.fixture(scope="module")
def model() -> Any:
    return fit_panels(PANELS)


def cases(model: Any) -> dict[str, tuple[int, Callable[[Callback], object]]]:
    """Every long function, and how often it must ask at least."""
    table, ridge = frames_of(PANELS), QuadraticRidge()
    could = candidates(PANELS)
    quick = FilmRegressor(rounds=1, library=False)
    return {
        "fit": (40, lambda s: FilmRegressor().fit(*table, callback=s)),
        "audit": (20, lambda s: audit(PANELS, model, callback=s)),
        "audit, fitting": (60, lambda s: audit(PANELS, callback=s)),
        "repeatability": (10, lambda s: repeatability(PANELS, model, callback=s)),
        "cross_validate": (30, lambda s: cross_validate(*table, model=quick, folds=3, callback=s)),
        "cross_validate, another's": (
            4,
            lambda s: cross_validate(*table, model=ridge, folds=3, callback=s),
        ),
        "validation_table": (
            30,
            lambda s: validation_table(*table, by=("panel",), model=quick, folds=3, callback=s),
        ),
        "next_for_archive": (5, lambda s: next_for_archive(model, could, k=3, callback=s)),
    }


NAMES = sorted(cases(None))


@pytest.mark.parametrize("name", NAMES)
def test_it_tells_a_share_that_never_falls(model: Any, name: str) -> None:
    least, work = cases(model)[name]
    reports: list[tuple[float | None, str]] = []
    work(lambda share, words: reports.append((share, words)))
    assert len(reports) >= least
    known = [share for share, _ in reports if share is not None]
    assert known == sorted(known)
    assert known[0] >= 0.0
    assert known[-1] <= 1.0
    assert len(set(known)) >= 3, "the bar moves"
    assert all(words for _, words in reports)


@pytest.mark.parametrize("name", NAMES)
def test_what_the_step_raises_ends_it_at_once_and_unharmed(model: Any, name: str) -> None:
    least, work = cases(model)[name]
    for last in (1, least):
        mine, calls = Cancelled(), iter_calls()

        def step(_: float | None, __: str, mine=mine, calls=calls, last=last) -> None:
            if next(calls) >= last:
                raise mine

        with pytest.raises(Cancelled) as raised:
            work(step)
        assert raised.value is mine
        assert next(calls) == last + 1, "nothing is asked after it was told to stop"


def iter_calls() -> Iterator[int]:
    number = 0
    while True:
        number += 1
        yield number


def test_a_stopped_fit_leaves_the_estimator_as_it_was() -> None:
    X, y = frames_of(PANELS)
    fitted = FilmRegressor(rounds=1, library=False).fit(X, y)
    before, lab = dict(vars(fitted)), fitted.predict(X)
    new = FilmRegressor(rounds=1, library=False)
    some = X.index[X["ground"] != X["ground"].iloc[0]]
    for regressor in (fitted, new):
        for last in (1, 12, 25):
            calls = iter_calls()

            def step(_: float | None, __: str, calls=calls, last=last) -> None:
                if next(calls) >= last:
                    raise Cancelled

            with pytest.raises(Cancelled):
                regressor.fit(X.loc[some], y.loc[some], callback=step)
    assert vars(fitted) == before
    assert np.array_equal(fitted.predict(X), lab)
    assert set(vars(new)) == set(new.get_params()), "nothing was learnt, so nothing is there"


def test_a_callback_is_no_parameter_of_the_estimator() -> None:
    regressor = FilmRegressor(rounds=1, library=False)
    before = regressor.get_params()
    regressor.fit(*frames_of(PANELS), callback=lambda _, __: None)
    assert regressor.get_params() == before
    assert "callback" not in before
    assert clone(regressor).get_params() == before


def test_a_step_does_not_change_what_comes_of_it(model: Any) -> None:
    quiet, reporting = audit(PANELS, model), audit(PANELS, model, callback=lambda _, __: None)
    assert [f.words for f in quiet] == [f.words for f in reporting]
    X, y = frames_of(PANELS)
    one = FilmRegressor().fit(X, y).predict(X)
    assert np.array_equal(one, FilmRegressor().fit(X, y, callback=lambda _, __: None).predict(X))


def test_a_part_tells_its_share_as_the_whole_s() -> None:
    reports: list[tuple[float | None, str]] = []
    part = part_of(part_of(lambda *a: reports.append(a), 0.5, 1.0), 0.0, 0.5)
    part(0.0, "first")
    part(1.0, "last")
    part(None, "nobody knows")
    assert reports == [(0.5, "first"), (0.75, "last"), (None, "nobody knows")]
    part_of(None)(0.5, "nobody is told")
