"""The table that a fit prints: how good it is, beside simple regressors and beside the floor."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from numpy.typing import ArrayLike

from matchlib.errors import FitError
from matchlib.listing import Listing
from matchlib.progress import Callback, part_of
from matchlib.validation.folds import LEVELS, cross_validate, left_out_words
from matchlib.validation.simple import NearestPanel, QuadraticRidge

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["TableRow", "validation_table"]


SIMPLE = {"nearest panel": NearestPanel, "quadratic ridge": QuadraticRidge}
"""Regressors printed beside."""


def _finite(name: str) -> Callable[[TableRow], float | None]:
    """Show a number, or null where there is none to tell."""
    return lambda row: None if not math.isfinite(getattr(row, name) or 0.0) else getattr(row, name)


@dataclass(frozen=True)
class TableRow:
    """One line of the table.

    Parameters
    ----------
    by : str
        What was left out.
    name : str
        Regressor.
    panels : int
        Readings predicted.
    median, mean, high : float
        Of ΔE00; `high` is the 95th percentile.
    coverage : tuple of float
        Share inside the 50, 80, 90 and 95 % regions [-]; empty where the regressor has none.
    floor_ratio : float, optional
        Median over the shop's repeatability [-]; None if that is not known.
    note : str
        Why there are no numbers, or which rows are missing; empty otherwise.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> from matchlib.regression import frames_of
    >>> from matchlib.validation import validation_table
    >>> from matchlib.validation.simple import NearestPanel
    >>> X, y = frames_of(demo_panels())
    >>> row = validation_table(X, y, by=("panel",), model=NearestPanel(), simple=False)[0]
    >>> row.by, row.median < row.high
    ('panel', True)
    """

    SHOWN: ClassVar = (
        *(("left_out", "by"), ("regressor", "name"), ("readings", "panels")),
        *(("median", _finite("median")), ("mean", _finite("mean"))),
        *(("p95", _finite("high")), ("times_floor", _finite("floor_ratio"))),
        (
            "coverage",
            lambda row: dict(zip(("50", "80", "90", "95"), row.coverage, strict=False)),
        ),
        "note",
    )

    by: str
    name: str
    panels: int
    median: float
    mean: float
    high: float
    coverage: tuple[float, ...]
    floor_ratio: float | None
    note: str = ""


def validation_table(
    X: pd.DataFrame,
    y: ArrayLike | pd.DataFrame,
    *,
    by: Sequence[str] = ("panel", "recipe", "ground"),
    model: Any = None,
    floor: float | None = None,
    folds: int = 10,
    simple: bool = True,
    random_state: int | None = 0,
    n_jobs: int | None = None,
    callback: Callback | None = None,
) -> Listing[TableRow]:
    """Return how good a regression is, beside simple ones on the same folds.

    Parameters
    ----------
    X : DataFrame
        As for `FilmRegressor.fit`.
    y : array_like or DataFrame
        Readings.
    by : sequence of str
        What to leave out, as in `cross_validate`.
    model : estimator, optional
        Unfitted; a `FilmRegressor` if None.
    floor : float, optional
        The shop's repeatability, median ΔE00.
    folds : int
        Parts for panels and recipes.
    simple : bool
        Whether to print the nearest panel and the quadratic beside it.
    random_state : int, optional
        Decides who is left out with whom.
    n_jobs : int, optional
        Fits at once, as for `cross_validate`.
    callback : callable, optional
        Called between pieces of work with the share done and what is being done; what it raises
        ends the work.

    Returns
    -------
    Listing of TableRow
        A tuple, a line for each thing left out and each regressor; one that could not be had says
        why.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> from matchlib.regression import frames_of
    >>> from matchlib.validation.simple import NearestPanel
    >>> X, y = frames_of(demo_panels())
    >>> rows = validation_table(X, y, by=("panel",), model=NearestPanel(), simple=False)
    >>> rows.to_frame()[["by", "panels"]]
          by  panels
    0  panel     131
    """
    makers: dict[str, Any] = {"film regression": model}
    if simple:
        makers |= {name: make() for name, make in SIMPLE.items()}
    rows: list[TableRow] = []
    # The simple ones take next to no time.
    whole = {name: 0.02 if name in SIMPLE else 1.0 for name in makers}
    total, done = len(by) * sum(whole.values()), 0.0
    for what in by:
        for name, maker in makers.items():
            part = part_of(callback, done / total, min((done + whole[name]) / total, 1.0))
            done += whole[name]
            try:
                found = cross_validate(
                    X,
                    y,
                    what,
                    model=maker,
                    folds=folds,
                    random_state=random_state,
                    n_jobs=n_jobs,
                    callback=_saying(part, f"{name}, {left_out_words(what)} left out"),
                )
            except FitError as error:
                nan = float("nan")
                rows.append(TableRow(what, name, 0, nan, nan, nan, (), None, str(error)))
                continue
            covered = found.coverage
            note = f"{len(found.skipped)} could not be predicted" if len(found.skipped) else ""
            rows.append(
                TableRow(
                    what,
                    name,
                    len(found.rows),
                    found.median,
                    found.mean,
                    found.high,
                    tuple(covered[p] for p in LEVELS) if covered else (),
                    found.median / floor if floor else None,
                    note,
                )
            )
    return Listing(rows)


def _saying(callback: Callback, words: str) -> Callback:
    return lambda share, _: callback(share, words)
