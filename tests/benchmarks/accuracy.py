"""How far predictions are from panels that the regression has not seen, and how honest it is.

``python -m tests.benchmarks accuracy --shops 5 --layout young --only film,gp``
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from sklearn.model_selection import GroupKFold

from matchlib.domain import Panel
from matchlib.linear import together
from matchlib.regression import FilmPredictor
from matchlib.tails import PANELS, region
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import LAYOUTS, Layouts
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.panels import labs, to_frame
from tests.benchmarks.rivals import RIVALS

__all__ = ["LEVELS", "Score", "archive_of", "estimators", "evaluate", "splits"]

LEVELS = (0.5, 0.8, 0.9, 0.95)
DRAWS = 500
"""Misses drawn from what is stated, to tell what chance alone makes of the worst shop."""
UNSEEN = ("blend", "step-up", "ground blend", "fresh")
SPLITS = (
    "panel",
    "recipe",
    "pair",
    "ground",
    "stronger",
    "blend",
    "step-up",
    "ground blend",
    "fresh",
)


def _film() -> Any:
    from matchlib.regression import FilmRegressor

    return FilmRegressor()


def _film_alone() -> Any:
    from matchlib.regression import FilmRegressor

    return FilmRegressor(library=False)


def estimators(only: str = "") -> dict[str, Callable[[], Any]]:
    """Film regression and rivals, or those named in a comma list."""
    known: dict[str, Callable[[], Any]] = {"film": _film, "law alone": _film_alone, **RIVALS}
    wanted = [w for w in only.split(",") if w] or [k for k in known if k != "law alone"]
    unknown = [w for w in wanted if w not in known]
    if unknown:
        raise SystemExit(f"unknown estimator {unknown}; known: {', '.join(known)}")
    return {w: known[w] for w in wanted}


@dataclass
class Score:
    """Errors of left-out panels, as read and to the noise-free recipe, and how far out they lie.

    Kept a seed each; squared distances as shares of those to the edges of the regions of `LEVELS`.
    """

    errors: list[Array] = field(default_factory=list)
    clean: list[Array] = field(default_factory=list)
    distances: list[Array] = field(default_factory=list)
    drawn: list[Array] = field(default_factory=list)  # (DRAWS, 4), held were all as stated [-]
    floors: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def summary(self) -> tuple[float, float, float, float]:
        """Medians over seeds of median, mean, 95th percentile, and of median by floor."""
        medians = [float(np.median(e)) for e in self.errors]
        return (
            float(np.median(medians)),
            float(np.median([e.mean() for e in self.errors])),
            float(np.median([np.quantile(e, 0.95) for e in self.errors])),
            float(np.median([m / f for m, f in zip(medians, self.floors, strict=True)])),
        )

    def coverage(self) -> list[float]:
        """Share of panels inside the regions of `LEVELS`, all seeds together."""
        if not self.distances:
            return []
        return [float(share) for share in np.mean(np.concatenate(self.distances) <= 1.0, axis=0)]

    def between(self) -> list[float]:
        """Standard error of that coverage by how much shops differ."""
        shops = np.array([np.mean(d <= 1.0, axis=0) for d in self.distances])
        return [] if len(shops) < 2 else list(shops.std(axis=0, ddof=1) / np.sqrt(len(shops)))

    def extremes(self) -> tuple[str, str]:
        """Fewest that one shop's 90 % region holds, and most that one's 50 % region holds.

        In brackets what chance alone makes of regions that are right, of as many shops of such
        panels, which miss together as far as is stated: the median fewest, or most, and what one
        time in twenty is passed.
        """
        some = [i for i, d in enumerate(self.distances) if len(d) >= 10]
        if not some:
            return "–", "–"
        shops = np.array([np.mean(self.distances[i] <= 1.0, axis=0) for i in some])
        drawn = np.array([self.drawn[i] for i in some])
        few, many = drawn[:, :, 2].min(axis=0), drawn[:, :, 0].max(axis=0)
        return (
            f"{shops[:, 2].min():.0%} ({np.median(few):.0%}, {np.quantile(few, 0.05):.0%})",
            f"{shops[:, 0].max():.0%} ({np.median(many):.0%}, {np.quantile(many, 0.95):.0%})",
        )


def archive_of(shop: Layouts, layout: str, seed: int, *, sphere: bool = False) -> tuple[Panel, ...]:
    """An archive by its layout, or of so many panels; `sphere` reads every other one by di:8."""
    if sphere:
        return shop.archive(int(layout), seed, geometries=("45:0", "di:8"))
    if layout in LAYOUTS:
        return getattr(shop, layout)(seed)
    return shop.archive(int(layout), seed)


def splits(
    kind: str, shop: Layouts, panels: Sequence[Panel], seed: int
) -> Iterator[tuple[list[Panel], list[Panel]]]:
    """Train and test panels; bare grounds stay in training."""
    bare = [p for p in panels if p.recipe.bare]
    coloured = [p for p in panels if not p.recipe.bare]
    fresh: dict[str, Callable[..., tuple[Panel, ...]]] = {
        "fresh": shop.fresh,
        "blend": shop.blends,
        "step-up": shop.step_ups,
        "ground blend": shop.ground_blends,
    }
    if kind in fresh:
        made = fresh[kind](40, seed + 1000)
        yield list(panels), [p for p in made if not p.recipe.bare]
    elif kind == "stronger":
        limit = np.quantile([_strength(p) for p in coloured], 0.75)
        yield (
            bare + [p for p in coloured if _strength(p) <= limit],
            [p for p in coloured if _strength(p) > limit],
        )
    elif kind in ("ground", "pair"):
        of = {
            p.code: (p.recipe.ground, p.recipe.colour if kind == "pair" else None) for p in coloured
        }
        for held in sorted(set(of.values()), key=str):
            yield (
                bare + [p for p in coloured if of[p.code] != held],
                [p for p in coloured if of[p.code] == held],
            )
    else:
        groups = [p.code if kind == "panel" else str(p.recipe) for p in coloured]
        folds = GroupKFold(10, shuffle=True, random_state=seed)
        for train, test in folds.split(coloured, groups=groups):
            yield bare + [coloured[i] for i in train], [coloured[i] for i in test]


def _strength(panel: Panel) -> float:
    assert panel.recipe.schedule is not None
    return panel.recipe.schedule.strength


def _fit(make: Callable[[], Any], train: Sequence[Panel]) -> tuple[Any, float]:
    begun = time.perf_counter()
    model = make().fit(*to_frame(train, log=True))
    return model, time.perf_counter() - begun


def _drawn(model: Any, test: Sequence[Panel], rng: np.random.Generator) -> Array:
    """How many of the panels lie inside, (DRAWS, 4), were all as it is stated."""
    if not isinstance(model, FilmPredictor):
        return rng.binomial(len(test), LEVELS, (DRAWS, len(LEVELS))).astype(float)
    # What is not known of the law is one thing for all of them, and so is how well it is known.
    it = together(model, [p.recipe for p in test], [test[0].readings[0].viewing])
    said, kinds = it.prediction, model.reach([p.recipe for p in test])
    inside = np.empty((DRAWS, len(LEVELS)))
    edges = region(LEVELS, said.dof[:, None])
    inverse = np.linalg.inv(said.covariance)
    root = np.linalg.cholesky(it.covariance + 1e-12 * np.eye(len(it.covariance)))
    own = np.linalg.cholesky(said.spray + said.reading)
    for i in range(DRAWS):
        far = _scale(rng, model.stack_.dof)[kinds]
        miss = far[:, None] * (it.slope @ (root @ rng.normal(size=len(root))))
        apart = _scale(rng, np.full(len(test), PANELS))
        miss += apart[:, None] * (own @ rng.normal(size=(len(test), 3, 1)))[..., 0]
        squared = np.einsum("ni,nij,nj->n", miss, inverse, miss)
        inside[i] = (squared[:, None] <= edges).sum(axis=0)
    return inside


def _scale(rng: np.random.Generator, dof: Array) -> Array:
    """By how much a spread that was learnt from few is wider, or narrower; its mean square is 1."""
    return np.sqrt((dof - 2.0) / rng.chisquare(dof))


def _try(model: Any, shop: Layouts, test: Sequence[Panel]) -> tuple[Array, Array, Array | None]:
    X, _ = to_frame(test, log=True)
    read = labs(test)
    truth = np.empty((len(test), 3))
    for geometry in set(X["geometry"]):
        rows = np.flatnonzero(X["geometry"] == geometry)
        truth[rows] = shop.truth_labs([test[i].recipe for i in rows], geometry)
    dof = np.full(len(X), np.inf)
    try:
        if isinstance(model, FilmPredictor):
            found = model.predict_readings(X)
            lab, cov, dof = found.lab, found.covariance, found.dof
        else:
            lab, cov = model.predict(X, return_cov=True)
    except NotImplementedError:
        lab = model.predict(X)
        return delta_e(lab, read), delta_e(lab, truth), None
    miss = read - lab
    d2 = np.einsum("ni,nij,nj->n", miss, np.linalg.inv(cov), miss)
    edges = region(LEVELS, dof[:, None])
    return delta_e(lab, read), delta_e(lab, truth), d2[:, None] / edges


def evaluate(
    shops: Sequence[Layouts],
    makers: dict[str, Callable[[], Any]],
    kinds: Sequence[str],
    *,
    layout: str = "full",
    sphere: bool = False,
    most: int = 0,
) -> dict[tuple[str, str], Score]:
    """Score every estimator on every kind of split, over shops; of each `most` folds, if not 0."""
    scores: dict[tuple[str, str], Score] = {}
    for shop in shops:
        seed = shop.seed
        archive = archive_of(shop, layout, seed, sphere=sphere)
        recipes = [p.recipe for p in archive if not p.recipe.bare]
        floor = shop.repeatability(recipes, seed=seed)
        fitted: dict[str, tuple[Any, float]] = {}
        for kind in kinds:
            pairs = list(splits(kind, shop, archive, seed))
            if 0 < most < len(pairs):
                drawn = np.random.default_rng([seed, 47]).choice(len(pairs), most, replace=False)
                pairs = [pairs[i] for i in drawn]
            for name, make in makers.items():
                score = scores.setdefault((kind, name), Score())
                errors, clean, distances, drawn = [], [], [], []
                luck = np.random.default_rng([seed, 53])
                for train, test in pairs:
                    whole = kind in UNSEEN  # of which one fit serves them all
                    model, seconds = (whole and fitted.get(name)) or _fit(make, train)
                    if whole:
                        fitted[name] = model, seconds
                    e, c, d2 = _try(model, shop, test)
                    errors.append(e)
                    clean.append(c)
                    score.seconds.append(seconds)
                    if d2 is not None:
                        distances.append(d2)
                        drawn.append(_drawn(model, test, luck))
                score.errors.append(np.concatenate(errors))
                score.clean.append(np.concatenate(clean))
                score.floors.append(floor)
                if distances:
                    score.distances.append(np.concatenate(distances))
                    score.drawn.append(np.sum(drawn, axis=0) / len(score.distances[-1]))
    return scores


def table(simulator: str, scores: dict[tuple[str, str], Score]) -> None:
    """Print a row a split and estimator."""
    told = Table(
        *("simulator", "left out", "regressor", "median", "mean", "95th"),
        *("to the noise-free recipe", "× repeatability", "inside 50/80/90/95 %", "± by shops"),
        *("fewest inside 90 %, a shop", "most inside 50 %", "fit s"),
    )
    for (kind, name), score in scores.items():
        median, mean, high, ratio = score.summary()
        inside, sure = (
            "/".join(f"{100 * c:.0f}" for c in each) or "–"
            for each in (score.coverage(), score.between())
        )
        fewest, most = score.extremes()
        clean = float(np.median([np.median(c) for c in score.clean]))
        told.row(
            *(simulator, kind, name, median, mean, high, clean, ratio, inside, sure),
            *(fewest, most),
            float(np.median(score.seconds)),
        )
    held = [s for s in scores.values() if len(s.between())]
    if held:
        away = np.round(100 * np.abs(np.array([s.coverage() for s in held]) - LEVELS))
        chance = 200 * np.array([s.between() for s in held])
        print(
            f"\nOf {away.size} shares inside, {(away <= 4).sum()} lie within 4 points of what is "
            f"stated, {((away > 4) & (away <= chance)).sum()} more within two standard errors."
        )


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = arguments("accuracy", __doc__)
    parser.add_argument("--layout", default="full", help="full, young, thin, or how many panels")
    parser.add_argument("--sphere", action="store_true", help="every other panel read by di:8")
    parser.add_argument("--only", default="", help="comma list: film,law alone,nearest,ridge,gp,…")
    parser.add_argument("--splits", default=",".join(SPLITS))
    parser.add_argument("--folds", type=int, default=0, help="of each split and shop; 0 for all")
    args = parser.parse_args(argv)
    kinds = [k for k in args.splits.split(",") if k]
    if set(kinds) - set(SPLITS):
        parser.error(f"splits are {', '.join(SPLITS)}")
    makers = estimators(args.only)
    seeds = range(args.first_seed, args.first_seed + args.shops)
    for simulator, make in each_simulator(args):
        scores = evaluate(
            [make(seed) for seed in seeds],
            makers,
            kinds,
            layout=args.layout,
            sphere=args.sphere,
            most=args.folds,
        )
        floors = next(iter(scores.values())).floors
        print(
            f"\n{simulator}: {args.layout} archives, {args.shops} shops; ΔE00; repeatability "
            f"{np.median(floors):.2f} ({min(floors):.2f} to {max(floors):.2f})"
        )
        table(simulator, scores)
