"""How far predictions are from panels that the regression has not seen, and how honest it is.

``python -m tests.benchmarks accuracy --seeds 5 --panels 90 --reading lab --only film,gp``
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from sklearn.model_selection import GroupKFold

from matchlib.domain import Panel
from matchlib.regression import FilmPredictor
from matchlib.tails import region
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.rivals import RIVALS
from tests.benchmarks.spray import Shop, labs, swap_backs, to_frame

__all__ = ["LEVELS", "Score", "estimators", "evaluate", "learning_curve", "splits"]

LEVELS = (0.5, 0.8, 0.9, 0.95)
SPLITS = ("panel", "recipe", "ground", "blend", "step-up")


def _film() -> Any:
    from matchlib.regression import FilmRegressor

    return FilmRegressor()


def _film_alone() -> Any:
    from matchlib.regression import FilmRegressor

    return FilmRegressor(residual=False)


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
    floors: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    worst: list[tuple[float, str]] = field(default_factory=list)

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


def splits(
    kind: str, shop: Shop, panels: Sequence[Panel], seed: int, reading: str
) -> Iterator[tuple[list[Panel], list[Panel]]]:
    """Train and test panels; bare grounds stay in training."""
    bare = [p for p in panels if p.recipe.bare]
    coloured = [p for p in panels if not p.recipe.bare]
    if kind == "blend":
        yield list(panels), list(shop.blends(40, seed + 1000, reading=reading))
    elif kind == "step-up":
        yield list(panels), list(shop.step_ups(40, seed + 1000, reading=reading))
    elif kind == "ground":
        for ground in sorted({p.recipe.ground for p in coloured}, key=str):
            yield (
                bare + [p for p in coloured if p.recipe.ground != ground],
                [p for p in coloured if p.recipe.ground == ground],
            )
    else:
        groups = [p.code if kind == "panel" else str(p.recipe) for p in coloured]
        folds = GroupKFold(10, shuffle=True, random_state=seed)
        for train, test in folds.split(coloured, groups=groups):
            yield bare + [coloured[i] for i in train], [coloured[i] for i in test]


def _try(
    make: Callable[[], Any], shop: Shop, train: Sequence[Panel], test: Sequence[Panel]
) -> tuple[Array, Array, Array | None, float]:
    begun = time.perf_counter()
    model = make().fit(*to_frame(train))
    seconds = time.perf_counter() - begun
    X, _ = to_frame(test)
    read = labs(test)
    truth = np.array([shop.truth_lab(p.recipe) for p in test])
    freedom = np.full(len(X), np.inf)
    try:
        if isinstance(model, FilmPredictor):
            lab, cov, freedom = model.predict_readings(X)
        else:
            lab, cov = model.predict(X, return_cov=True)
    except NotImplementedError:
        lab = model.predict(X)
        return delta_e(lab, read), delta_e(lab, truth), None, seconds
    miss = read - lab
    d2 = np.einsum("ni,nij,nj->n", miss, np.linalg.inv(cov), miss)
    edges = region(LEVELS, freedom[:, None])
    return delta_e(lab, read), delta_e(lab, truth), d2[:, None] / edges, seconds


def evaluate(
    makers: dict[str, Callable[[], Any]],
    kinds: Sequence[str],
    seeds: Sequence[int],
    *,
    panels: int = 90,
    grounds: int = 5,
    colours: int = 3,
    reading: str = "lab",
    wrong: float = 0.0,
) -> dict[tuple[str, str], Score]:
    """Score every estimator on every kind of split, over seeds."""
    scores: dict[tuple[str, str], Score] = {}
    for seed in seeds:
        shop = Shop(seed, n_grounds=grounds, n_colours=colours)
        archive = shop.archive(panels, seed, reading=reading)
        recipes = [p.recipe for p in archive if not p.recipe.bare]
        floor = shop.repeatability(recipes, seed=seed, reading=reading)
        bad: dict[str, Any] = {}
        if wrong > 0:
            archive, bad = swap_backs(archive, wrong, seed)
        for kind in kinds:
            pairs = list(splits(kind, shop, archive, seed, reading))
            for name, make in makers.items():
                score = scores.setdefault((kind, name), Score())
                errors, clean, distances = [], [], []
                for train, test in pairs:
                    right = [p for p in test if p.code not in bad or kind in ("blend", "step-up")]
                    if not right:
                        continue
                    e, c, d2, seconds = _try(make, shop, train, right)
                    errors.append(e)
                    clean.append(c)
                    score.seconds.append(seconds)
                    score.worst += [
                        (float(v), f"seed {seed} {kind} {p.code} {p.recipe}")
                        for v, p in zip(e, right, strict=True)
                    ]
                    if d2 is not None:
                        distances.append(d2)
                score.errors.append(np.concatenate(errors))
                score.clean.append(np.concatenate(clean))
                score.floors.append(floor)
                if distances:
                    score.distances.append(np.concatenate(distances))
    return scores


def learning_curve(
    makers: dict[str, Callable[[], Any]],
    seeds: Sequence[int],
    *,
    sizes: Sequence[int] = (4, 8, 16, 32),
    colours: int = 3,
    reading: str = "lab",
) -> dict[tuple[str, int], Score]:
    """Score on 40 fresh panels after so many panels a colour."""
    scores: dict[tuple[str, int], Score] = {}
    for seed in seeds:
        shop = Shop(seed, n_colours=colours)
        test = shop.fresh(40, seed, reading=reading)
        floor = shop.repeatability([p.recipe for p in test], seed=seed, reading=reading)
        for size in sizes:
            train = shop.archive(size * colours, seed, reading=reading, repeats=0.0)
            for name, make in makers.items():
                score = scores.setdefault((name, size), Score())
                errors, clean, d2, seconds = _try(make, shop, train, test)
                score.errors.append(errors)
                score.clean.append(clean)
                score.floors.append(floor)
                score.seconds.append(seconds)
                if d2 is not None:
                    score.distances.append(d2)
    return scores


def _row(cells: Sequence[object]) -> str:
    return "| " + " | ".join(str(c) for c in cells) + " |"


def table(scores: dict[tuple[str, str], Score]) -> str:
    """Markdown of one row a split and estimator."""
    heads = ["left out", "regressor", "median", "mean", "95th", "× repeatability"]
    more = ["median to the noise-free recipe", "inside 50/80/90/95 %", "fit s"]
    lines = [_row([*heads, *more]), _row(["---"] * 9)]
    for (kind, name), score in scores.items():
        median, mean, high, ratio = score.summary()
        inside = "/".join(f"{100 * c:.0f}" for c in score.coverage()) or "–"
        fit = f"{np.median(score.seconds):.2f}"
        cells = [f"{median:.2f}", f"{mean:.2f}", f"{high:.2f}", f"{ratio:.2f}", inside, fit]
        cells.insert(4, f"{np.median([np.median(c) for c in score.clean]):.2f}")
        lines.append(_row([kind, name, *cells]))
    return "\n".join(lines)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks accuracy")
    parser.add_argument("--seeds", type=int, default=5, help="shops, each with its own physics")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--panels", type=int, default=90)
    parser.add_argument("--grounds", type=int, default=5)
    parser.add_argument("--colours", type=int, default=3)
    parser.add_argument("--reading", choices=("lab", "spectrum", "photo"), default="lab")
    parser.add_argument("--wrong", type=float, default=0.0, help="share of wrong backs")
    parser.add_argument("--only", default="", help="comma list: film,law alone,nearest,ridge,gp,…")
    parser.add_argument("--splits", default=",".join(SPLITS))
    parser.add_argument("--curve", action="store_true", help="learning curves instead")
    parser.add_argument("--worst", type=int, default=0, help="print so many worst panels of each")
    args = parser.parse_args(argv)
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    makers = estimators(args.only)
    if args.curve:
        curve = learning_curve(makers, seeds, colours=args.colours, reading=args.reading)
        keyed = {(f"{size} panels a colour", name): s for (name, size), s in curve.items()}
        print(table(dict(sorted(keyed.items(), key=lambda kv: int(kv[0][0].split()[0])))))
        return
    kinds = [k for k in args.splits.split(",") if k]
    if set(kinds) - set(SPLITS):
        parser.error(f"splits are {', '.join(SPLITS)}")
    scores = evaluate(
        makers,
        kinds,
        list(seeds),
        panels=args.panels,
        grounds=args.grounds,
        colours=args.colours,
        reading=args.reading,
        wrong=args.wrong,
    )
    floors = next(iter(scores.values())).floors
    print(
        f"{args.panels} panels, {args.grounds} grounds, {args.colours} colours, {args.reading}, "
        f"{args.seeds} shops, wrong backs {args.wrong:.0%}; ΔE00; "
        f"repeatability {np.median(floors):.2f} ({min(floors):.2f} to {max(floors):.2f})\n"
    )
    print(table(scores))
    for key, score in scores.items() if args.worst else []:
        print(f"\n{key}")
        for value, where in sorted(score.worst, reverse=True)[: args.worst]:
            print(f"  {value:6.2f}  {where}")
