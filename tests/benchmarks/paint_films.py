"""Oil paints read over a white and over a black chart: each film met on the chart it was not on.

The nearest open thing to a transparent colour over another ground; source: tests/data/README.md.
Every fifth paint is taken off one chart at a time; the archive keeps it on the other, its fellows
on both, and both charts bare. It is written as one coat at 6:1, gloss included.

Glazes are what the film law is for, and an archive of their own. The other paints scatter, which
the law does not know: they are another archive. Rivals stand beside on the same folds. The floors
are how far a bare chart reads from its fellows, and what a little gloss more or less makes of a
glaze: most of the light read over black is gloss.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from sklearn.linear_model import RidgeCV
from sklearn.model_selection import KFold, cross_val_predict
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from matchlib.film import EXTERNAL_K1, INTERNAL_K2, saunderson
from tests.benchmarks.command import Table
from tests.benchmarks.lightlab import NM, Array, delta_e, spectrum_to_lab

__all__ = [
    "CHARTS",
    "GLAZES",
    "chart_repeats",
    "copied",
    "films",
    "gloss_unsure",
    "met",
    "onto",
    "tell",
    "transferred",
]

CHARTS = ("white", "black")
GLAZES = ("01A", "02A", "03A", "03D", "03E")
"""Paints without a white pigment or an extender: eosin lakes, two with a little bone black."""

FOLDS = 5

GLOSS = 0.002
"""What a film's gloss may be off by [-]; the darkest of each glaze over black is 0.033 to 0.042."""


def films(*, glazes: bool) -> tuple[pd.DataFrame, Array]:
    """Recipes of painted and bare charts and reflectance (n, 31): the glazes or the others."""
    table = pd.read_csv(Path(__file__).parents[1] / "data" / "paint_films.csv")
    table = table[table["paint"].isin(GLAZES) == glazes].reset_index(drop=True)
    painted = table["painted"] == "yes"
    recipes = pd.DataFrame(
        {
            "panel": table["paint"] + " " + table["chart"] + np.where(painted, "", " bare"),
            "ground": table["chart"] + " chart",
            "colour": table["paint"].where(painted, ""),
            "schedule": np.where(painted, "1@6:1", ""),
            "clear": "yes",
            "source": "spectrophotometer",
            "geometry": "di:8",
        }
    )
    return recipes, table[[f"{nm:.0f}" for nm in NM]].to_numpy() / 100


def onto(X: pd.DataFrame, chart: str) -> list[tuple[Array, Array]]:
    """Masks of what is known and of the paints to be met on a chart, every fifth at a time."""
    number = pd.factorize(X["colour"], sort=True)[0]
    here = ((X["ground"] == f"{chart} chart") & (X["colour"] != "")).to_numpy()
    tests = [here & (number % FOLDS == i) for i in range(FOLDS)]
    return [(~test, test) for test in tests]


def met(make: Callable[[], Any], chart: str, *, glazes: bool) -> Array:
    """ΔE00 of each paint on a chart that it was not known on."""
    X, light = films(glazes=glazes)
    lab = spectrum_to_lab(light)
    found = []
    for known, test in onto(X, chart):
        model = make().fit(X[known].reset_index(drop=True), light[known])
        seen = np.asarray(model.predict(X[test].reset_index(drop=True)))
        found.append(delta_e(seen, lab[test]))
    return np.concatenate(found)


def _pairs(chart: str, glazes: bool) -> tuple[Array, Array]:
    """Lab of each paint on the other chart and on this one."""
    X, light = films(glazes=glazes)
    lab = spectrum_to_lab(light)
    other, here = (
        lab[((X["ground"] == f"{name} chart") & (X["colour"] != "")).to_numpy()]
        for name in (CHARTS[1 - CHARTS.index(chart)], chart)
    )
    return other, here


def copied(chart: str, *, glazes: bool) -> Array:
    """ΔE00 if the reading on the other chart is taken as it is."""
    return delta_e(*_pairs(chart, glazes))


def transferred(chart: str, *, glazes: bool) -> Array:
    """ΔE00 by a ridge from the Lab on the other chart to the Lab on this one, on the same folds."""
    other, here = _pairs(chart, glazes)
    folds = KFold(FOLDS)
    model = make_pipeline(StandardScaler(), RidgeCV(np.logspace(-3, 3, 13)))
    return delta_e(cross_val_predict(model, other, here, cv=folds), here)


def chart_repeats(chart: str) -> Array:
    """ΔE00 of each bare chart to the mean of all: how near one of them stands for another."""
    every = []
    for glazes in (True, False):
        X, light = films(glazes=glazes)
        bare = (X["ground"] == f"{chart} chart") & (X["colour"] == "")
        every.append(spectrum_to_lab(light[bare.to_numpy()]))
    lab = np.concatenate(every)
    return delta_e(lab, lab.mean(axis=0))


def gloss_unsure(chart: str, *, glazes: bool) -> Array:
    """ΔE00 by which a film's gloss, `GLOSS` smaller, moves what a mere filter tells of a chart."""
    X, light = films(glazes=glazes)
    painted = (X["colour"] != "").to_numpy()
    there = (X["ground"] != f"{chart} chart").to_numpy()
    inside = _below(light[~painted & ~there].mean(axis=0), EXTERNAL_K1)
    beneath = _below(light[~painted & there].mean(axis=0), EXTERNAL_K1)

    def lab(gloss: float) -> Array:
        through = np.minimum(_below(light[painted & there], gloss) / beneath, 1.0)
        return spectrum_to_lab(gloss + saunderson(through * inside, k2=INTERNAL_K2))

    return delta_e(lab(EXTERNAL_K1), lab(EXTERNAL_K1 - GLOSS))


def _below(read: Array, gloss: float) -> Array:
    """Reflectance below the surface."""
    seen = np.maximum(read - gloss, 1e-4)
    return seen / ((1.0 - EXTERNAL_K1) * (1.0 - INTERNAL_K2) + INTERNAL_K2 * seen)


def tell(makers: dict[str, Callable[[], Any]]) -> None:
    """Print a row a regressor, each chart and archive."""
    table = Table("met on", "paints", "regressor", "rows", "median", "mean", "worst", "s")

    def row(chart: str, what: str, name: str, way: Callable[..., Array], **options: object) -> None:
        start = time.perf_counter()
        errors = way(chart, **options)
        taken = time.perf_counter() - start
        stats = float(np.median(errors)), float(errors.mean()), float(errors.max())
        table.row(f"{chart} chart", what, name, len(errors), *stats, taken)

    for chart in CHARTS:
        for what, glazes in (("glazes", True), ("others", False)):
            for name, make in makers.items():
                row(chart, what, name, partial(met, make), glazes=glazes)
            row(chart, what, "ridge from chart to chart", transferred, glazes=glazes)
            row(chart, what, "the other chart's reading", copied, glazes=glazes)
        row(chart, "glazes", f"floor: gloss off by {GLOSS}", gloss_unsure, glazes=True)
        row(chart, "bare", "floor: one chart for another", chart_repeats)
