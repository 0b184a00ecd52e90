"""The film law on data that somebody measured: dyed film, inks on eleven papers, oil paints.

``python -m tests.benchmarks real`` prints the table. Sources and licences: tests/data/README.md.

None is a spray-out, and none was to be had; what each can say is said with it. How they are
written as recipes (of the paints `paint_films` tells):

* **dye**: a clear film with dye at 0.1 to 0.4 % is one coat of a toner of 1.4 % dye let down to
  that (0.2 % is 6:1). Light passed once and straight, so the reading is a mirror's, without
  diffuse light kept under the surface; the undyed film is the bare ground.
* **inks**: the paper is the ground, a tone of *t* % is one coat at a colour fraction of *t*/700, so
  a full tone is 6:1; inks over one another are a blend by their tones, with the fractions added.

The residual's form, lengths and beliefs were settled on the inks of nine papers, their left-out
errors in view. The inks of two other papers, a coated one and a newsprint, were kept apart: they
are what the regression is judged by, from an archive of the first four papers, of the other five,
and of all nine. How often they were read stands in tests/data/README.md.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from matchlib.errors import FitError
from tests.benchmarks import paint_films
from tests.benchmarks.command import Table
from tests.benchmarks.lightlab import Array, delta_e, spectrum_to_lab
from tests.benchmarks.rivals import gaussian_process, process_alone, ridge

__all__ = [
    "FIRST",
    "INKS",
    "KEPT_APART",
    "MORE",
    "dye",
    "film",
    "film_alone",
    "inks",
    "inside_a_ladder",
    "leave_out",
    "neighbours",
    "onto_new_papers",
    "over_prints",
    "splits",
    "straight_line",
]

DATA = Path(__file__).parents[1] / "data"
DRAWS = 5
"""Draws of the folds by recipe that the table is made from."""

FIRST, MORE, KEPT_APART = "first four", "other five", "kept apart"
PAPERS = {FIRST: "printed_inks.csv", MORE: "more_inks.csv", KEPT_APART: "inks_kept_apart.csv"}
"""Tables of inks; by the last nothing may be settled."""

INKS = ("cyan", "magenta", "yellow", "black")
LAB = ["L", "a", "b"]

Fold = tuple[Array, Array]
Maker = Callable[[], Any]
Makers = dict[str, Maker]


def dye() -> tuple[pd.DataFrame, Array]:
    """Recipes of the dyed films, and the share of light that each lets through (5, 31)."""
    table = pd.read_csv(DATA / "dyed_film.csv", index_col="nm")
    percent = [float(c) for c in table.columns]
    recipes = pd.DataFrame(
        {
            "ground": "undyed film",
            "colour": ["orange dye" if c else "" for c in percent],
            "schedule": [f"1@{1.4 / c - 1:.3f}:1" if c else "" for c in percent],
            "clear": "yes",
            "geometry": "45as45",
        }
    )
    return recipes, 10.0 ** -table.to_numpy().T


def straight_line(X: pd.DataFrame, through: Array, train: Array, test: Array) -> Array:
    """Lambert's and Beer's law with one strength a wavelength, through the undyed film."""
    dose = np.array([0.0 if not s else 1.0 / (float(s[2:-2]) + 1.0) for s in X["schedule"]])
    absorbance = -np.log(through) + np.log(through[0])
    slope = dose[train] @ absorbance[train] / (dose[train] @ dose[train])
    return spectrum_to_lab(through[0] * np.exp(-dose[test, None] * slope))


def inks(*papers: str, overprints: bool = False) -> tuple[pd.DataFrame, Array]:
    """Recipes of patches and their Lab (D50, 2°): up to 29 of single inks a paper.

    With overprints, all patches whose tones are 0, 40 or 100 % (28 a paper). Of which papers, by
    the names of `PAPERS`; the first four if none is named.
    """
    names = papers or (FIRST,)
    table = pd.concat([pd.read_csv(DATA / PAPERS[name]) for name in names], ignore_index=True)
    tone = table[list(INKS)]
    kept = tone.isin((0, 40, 100)).all(axis=1) if overprints else (tone > 0).sum(axis=1) <= 1
    table = table[kept].reset_index(drop=True)
    colours, schedules = [], []
    for tone in table[list(INKS)].to_numpy():
        on = [(name, t) for name, t in zip(INKS, tone, strict=True) if t > 0]
        blend = on[0][0] if len(on) == 1 else " + ".join(f"{name} {t}" for name, t in on)
        colours.append(blend)
        schedules.append(f"1@{700 / tone.sum() - 1:.3f}:1" if on else "")
    recipes = pd.DataFrame({"ground": table["paper"], "colour": colours, "schedule": schedules})
    recipes["clear"] = "yes"
    recipes["illuminant"], recipes["observer"] = "D50", "2"
    return recipes, table[LAB].to_numpy()


def over_prints(ink: str, paper: str = "yellowish") -> tuple[pd.DataFrame, Array]:
    """Tones of one ink over prints of the others, which are its grounds, and their Lab."""
    table = pd.concat([pd.read_csv(DATA / name) for name in PAPERS.values()], ignore_index=True)
    table = table[table["paper"] == paper]
    below = table[[name for name in INKS if name != ink]].astype(str).agg("-".join, axis=1)
    bare = table[ink] == 0
    known = set(below[bare]) & set(below[~bare])
    kept = below.isin(known)
    table, below = table[kept].reset_index(drop=True), below[kept]
    letters = {
        k: f"print {chr(97 + i // 26)}{chr(97 + i % 26)}" for i, k in enumerate(sorted(known))
    }
    recipes = pd.DataFrame(
        {
            "ground": below.map(letters).to_numpy(),
            "colour": np.where(table[ink] > 0, ink, ""),
            "schedule": [f"1@{700 / t - 1:.3f}:1" if t else "" for t in table[ink]],
        }
    )
    recipes["clear"], recipes["illuminant"], recipes["observer"] = "yes", "D50", "2"
    return recipes, table[LAB].to_numpy()


def film() -> Any:
    """Return the film regression, its beliefs those of sprayed films."""
    from matchlib.regression import FilmRegressor

    return FilmRegressor()


def film_alone() -> Any:
    """Return the law without the library beside it."""
    from matchlib.regression import FilmRegressor

    return FilmRegressor(library=False)


MAKERS: Makers = {
    "film": film,
    "law alone": film_alone,
    "process alone": process_alone,
    "Gaussian process": gaussian_process,
    "quadratic ridge": ridge,
}
LEFT_OUT = {"paper": "a paper, its bare sheet known", "recipe": "a tone"}


def splits(X: pd.DataFrame, kind: str, *, draw: int = 0) -> list[Fold]:
    """Masks of training and test rows: a ``paper`` or every fifth ``recipe`` left out.

    Which recipes go together is drawn.
    """
    bare = (X["colour"] == "").to_numpy()
    if kind == "paper":
        return [
            (((X["ground"] != p) | bare).to_numpy(), ((X["ground"] == p) & ~bare).to_numpy())
            for p in dict.fromkeys(X["ground"])
        ]
    recipe = (X["colour"] + X["schedule"]).to_numpy()
    known = [r for r in dict.fromkeys(recipe) if r]
    order = np.random.default_rng(draw).permutation(len(known))
    fold = {r: i % 5 for r, i in zip(known, order, strict=True)} | {"": -1}
    of = np.array([fold[r] for r in recipe])
    return [(of != i, of == i) for i in range(5)]


def onto_new_papers(
    *known: str, overprints: bool = False
) -> tuple[pd.DataFrame, Array, list[Fold]]:
    """Recipes, Lab and folds: each paper kept apart met from an archive of known papers.

    Of the paper itself that archive has the bare sheet.
    """
    X, y = inks(*known, KEPT_APART, overprints=overprints)
    new = list(dict.fromkeys(inks(KEPT_APART)[0]["ground"]))
    bare = (X["colour"] == "").to_numpy()
    folds = []
    for paper in new:
        here = (X["ground"] == paper).to_numpy()
        folds.append((~X["ground"].isin(new).to_numpy() | (here & bare), here & ~bare))
    return X, y, folds


def inside_a_ladder(X: pd.DataFrame, *, draw: int = 0) -> Array:
    """Which of the rows that `splits` leaves out by recipe, in its order, lie between others.

    The weakest and the strongest tone of each ink do not: there every regressor reaches out.
    """
    tests = np.concatenate([np.flatnonzero(test) for _, test in splits(X, "recipe", draw=draw)])
    tone = X["schedule"].map(lambda s: 700 / (float(s[2:-2]) + 1) if s else 0.0).round()
    by = tone[tone > 0].groupby(X["colour"])
    low, high = X["colour"].map(by.min()), X["colour"].map(by.max())
    return ((tone > low) & (tone < high)).to_numpy()[tests]


def leave_out(make: Maker, X: pd.DataFrame, y: Array, folds: Sequence[Fold]) -> Array:
    """ΔE00 of every left-out row."""
    errors = []
    for train, test in folds:
        model = make().fit(X[train].reset_index(drop=True), y[train])
        seen = np.asarray(model.predict(X[test].reset_index(drop=True)))
        truth = y[test] if y.shape[1] == 3 else spectrum_to_lab(y[test])
        errors.append(delta_e(seen, truth))
    return np.concatenate(errors)


def neighbours(X: pd.DataFrame, y: Array) -> Array:
    """ΔE00 if the backing is ignored: each patch guessed as the mean of it on other papers."""
    errors = []
    for train, test in splits(X, "paper"):
        key = X["colour"] + X["schedule"]
        means = pd.DataFrame(y[train]).groupby(key[train].to_numpy()).mean()
        errors.append(delta_e(means.loc[key[test]].to_numpy(), y[test]))
    return np.concatenate(errors)


def _tell(table: Table, what: str, name: str, e: Array, *, seconds: float = 0.0) -> None:
    stats = (np.median(e), e.mean(), np.quantile(e, 0.95), e.max())
    table.row(what, name, len(e), *map(float, stats), f"{seconds:.1f}")


def _tell_timed(table: Table, what: str, name: str, make: Callable[[], Array]) -> None:
    start = time.perf_counter()
    e = make()
    _tell(table, what, name, e, seconds=time.perf_counter() - start)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks real")
    parser.add_argument("--draws", type=int, default=DRAWS, help="draws of the folds by recipe")
    parser.add_argument("--of", default="dye,inks,paints", help="comma list of the data to run on")
    parser.add_argument("--only", default=",".join(MAKERS), help="comma list of regressors")
    args = parser.parse_args(argv)
    makers = {name: MAKERS[name] for name in args.only.split(",")}
    heads = ("left out", "regressor", "rows", "median", "mean", "95th", "worst", "s")
    for of in args.of.split(","):
        if of == "paints":
            print("ΔE00, D65/10°, oil paints")
            paint_films.tell(makers)
        elif of == "dye":
            print("ΔE00, D65/10°, dyed film")
            _print_dye(Table(*heads), makers)
        elif of == "inks":
            print("ΔE00, D50/2°, inks")
            _print_every_ink(Table(*heads), makers, args.draws)
        else:
            parser.error(f"the data are dye, inks and paints, not {of}")


def _print_dye(table: Table, makers: Makers) -> None:
    X, through = dye()
    rows = np.arange(len(X))
    folds = [(rows != i, rows == i) for i in rows[1:]]
    lab = spectrum_to_lab(through)
    what = "one dye concentration"
    for name, make in makers.items():
        _tell_timed(table, what, name, lambda m=make: leave_out(m, X, through, folds))
    _tell_timed(table, what, "film, Lab alone", lambda: leave_out(film, X, lab, folds))
    _tell_timed(
        table,
        what,
        "straight line",
        lambda: np.concatenate(
            [delta_e(straight_line(X, through, a, b), lab[b]) for a, b in folds]
        ),
    )


def _print_every_ink(table: Table, makers: Makers, draws: int) -> None:
    for overprints, of in ((False, "an ink alone"), (True, "inks over one another")):
        for known in ((FIRST,), (MORE,), (FIRST, MORE)):
            X, y, folds = onto_new_papers(*known, overprints=overprints)
            _print_new(
                table,
                f"a paper kept apart, {of}, from {' and '.join(known)}",
                X,
                y,
                folds,
                makers=makers,
            )
        for papers in (KEPT_APART, FIRST, MORE):
            X, y = inks(papers, overprints=overprints)
            kinds = ("recipe",) if papers == KEPT_APART else ("paper", "recipe")
            _print_inks(table, f"papers {papers}, {of}", X, y, kinds, makers=makers, draws=draws)


def _print_new(
    table: Table, what: str, X: pd.DataFrame, y: Array, folds: Sequence[Fold], *, makers: Makers
) -> None:
    for name, make in makers.items():
        start = time.perf_counter()
        each = [_tried(make, X, y, [fold]) for fold in folds]
        both = np.concatenate(each)
        _tell(table, what, name, both, seconds=time.perf_counter() - start)
        for (_, test), errors in zip(folds, each, strict=True):
            _tell(table, f"{what}: {X['ground'][test].iloc[0]}", name, errors)


def _print_inks(
    table: Table,
    of: str,
    X: pd.DataFrame,
    y: Array,
    kinds: Sequence[str],
    *,
    makers: Makers,
    draws: int,
) -> None:
    inner = np.concatenate([inside_a_ladder(X, draw=draw) for draw in range(draws)])
    # Over one another there are three tones of each ink: no ladder to be inside of.
    single = not X["colour"].str.contains("+", regex=False).any()
    for kind in kinds:
        what = f"{of}: {LEFT_OUT[kind]}"
        drawn = [splits(X, kind, draw=draw) for draw in range(draws if kind == "recipe" else 1)]
        folds = [fold for one in drawn for fold in one if _every_ink_is_known(X, *fold)]
        if len(folds) < sum(map(len, drawn)):
            print(f"{sum(map(len, drawn)) - len(folds)} folds passed over: an ink on no panel left")
        left_out = np.concatenate([np.flatnonzero(test) for _, test in folds])
        # Newsprint takes inks of its own, and bears them otherwise than any coated paper.
        coated = (X["ground"] != "newsprint").to_numpy()[left_out]
        for name, make in makers.items():
            start = time.perf_counter()
            errors = _tried(make, X, y, folds)
            _tell(table, what, name, errors, seconds=time.perf_counter() - start)
            if kind == "paper" and not coated.all() and len(errors) == len(coated):
                _tell(table, f"{what} and coated", name, errors[coated])
                _tell(table, f"{what} and newsprint", name, errors[~coated])
            if kind == "recipe" and single and len(errors) == len(inner):
                _tell(table, f"{what} inside its ladder", name, errors[inner])
                _tell(table, f"{what} at an end of it", name, errors[~inner])
        if kind == "paper":
            _tell_timed(table, what, "backing ignored", lambda: neighbours(X, y))


def _every_ink_is_known(X: pd.DataFrame, train: Array, test: Array) -> bool:
    def inks_of(rows: Array) -> set[str]:
        return {name for blend in X["colour"][rows] for name in blend.split() if name in INKS}

    return inks_of(test) <= inks_of(train)


def _tried(make: Maker, X: pd.DataFrame, y: Array, folds: Sequence[Fold]) -> Array:
    # A fold that a regressor cannot fit is said so beside the table, not passed over.
    errors = []
    for fold in folds:
        try:
            errors.append(leave_out(make, X, y, [fold]))
        except (FitError, ValueError) as error:
            print(f"one of the next row's folds failed: {error}")
    return np.concatenate(errors) if errors else np.full(1, np.nan)
