"""What it is worth to know who sprayed, from which lots and batches, when, and what read it.

``python -m tests.benchmarks shared --shops 6 --targets 20``. In the booth alone, whose lots follow
one another; with ``--trend 0.15`` each colour's get stronger from the first to the last. The
archive is fitted with some of its columns, and asked about panels sprayed now: how far off they
are, how likely it held what they read to be (the higher the better), how often they lie in its 90 %
regions; and for samples that the shop sprayed how far panels of the best recipe differ from one
another [ΔE*ab], and the chance that they pass, as stated, of both kinds, and as sprayed.
``all`` leaves to the fit how large each effect is; ``chosen`` gives it those alone without which
panels left out are less likely.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import multivariate_t

from matchlib.audit.left_out import leave_out
from matchlib.correction.scoring import likeliest
from matchlib.domain import Conditions, Panel
from matchlib.mixing import Limits
from matchlib.regression import FilmRegressor
from matchlib.sample import chances_of_own
from matchlib.target import Target
from tests.benchmarks.booth import Shop
from tests.benchmarks.command import Table, arguments
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.panels import labs, to_frame
from tests.benchmarks.strategies import COATS, shelf_recipes
from tests.benchmarks.workshop import Today

__all__ = ["COLUMNS", "conditions_now", "fitted"]

COLUMNS = ("sprayer", "lot", "batch", "instrument", "date")
WAYS: dict[str, Sequence[str]] = {
    "nothing": (),
    "all": COLUMNS,
    **{name: (name,) for name in COLUMNS},
}
SHELF = Limits(max_coats=max(COATS))
SPRAYED = 10
"""Panels of each recommended recipe, by which its real chance is told."""


def fitted(archive: Sequence[Panel], known: Sequence[str]) -> FilmRegressor:
    """Fit the archive with some of the columns that tell what panels share."""
    X, y = to_frame(archive, log=True)
    return FilmRegressor().fit(X.drop(columns=[c for c in COLUMNS if c not in known]), y)


def chosen(archive: Sequence[Panel]) -> list[str]:
    """Return the columns without which panels left out are less likely."""

    def likely(known: Sequence[str]) -> float:
        return float(leave_out(fitted(archive, known), archive).likelihood().sum())

    every = likely(COLUMNS)
    return [c for c in COLUMNS if likely([k for k in COLUMNS if k != c]) < every]


def conditions_now(shop: Shop, today: Today) -> Conditions:
    """What a painter can say of today."""
    lots, batches = today["lot"].split(" + "), today["batch"].split(" + ")
    return Conditions(
        today["sprayer"],
        tuple(sorted((colour, name) for name in lots for colour in shop.lots[name])),
        tuple(sorted((ground, name) for name in batches for ground in shop.batches[name])),
        date=today["date"],
    )


def _score(model: FilmRegressor, panels: Sequence[Panel]) -> tuple[Array, Array, Array]:
    X, read = to_frame(panels, log=True)
    found = model.predict_readings(X)
    lab, covariance, dof = found.lab, found.covariance, found.dof
    shape = covariance * ((dof - 2) / dof)[:, None, None]
    pairs = zip(read - lab, shape, dof, strict=True)
    density = np.array([multivariate_t.logpdf(a, shape=s, df=f) for a, s, f in pairs])
    draws = np.random.default_rng(0)
    inside = []
    for s, f, own in zip(shape, dof, density, strict=True):
        cloud = multivariate_t.rvs(shape=s, df=f, size=400, random_state=draws)
        inside.append(np.mean(multivariate_t.logpdf(cloud, shape=s, df=f) > own) < 0.9)
    return delta_e(read, lab), density, np.array(inside)


def _chances(
    shop: Shop, model: FilmRegressor, archive: Sequence[Panel], targets: int, today: Today
) -> list[tuple[float, ...]]:
    """Of the best recipe for each sample: both chances, the share that passed, both variances."""
    now = model.under(conditions_now(shop, today))
    recipes = shelf_recipes(archive)
    told = []
    for i, colour in enumerate(shop.samples(targets, shop.seed)):
        target = Target.lab(*colour)
        best = max(likeliest(now, recipes, target), key=lambda o: (o.probability, -o.expected))
        of_own = chances_of_own(now, [best.recipe], target, SHELF)
        rng = np.random.default_rng([shop.seed, i, 61])
        read = labs([shop.spray(best.recipe, rng, **today) for _ in range(SPRAYED)])
        passed = float(np.mean(delta_e(read, colour) <= 1.0))
        of_shelf = np.nan if of_own is None else float(of_own[0])
        spread = now.predict_each([best.recipe]).own[0], np.cov(read.T)
        told.append((best.probability, of_shelf, passed, *(float(np.trace(s)) for s in spread)))
    return told


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = arguments("shared", __doc__, shops=6)
    parser.add_argument("--targets", type=int, default=15, help="for each shop")
    parser.add_argument("--trend", type=float, default=0.15, help="of the lots, each way")
    parser.add_argument("--layout", default="full", choices=("full", "young", "thin"))
    parser.add_argument("--known", nargs="+", default=["nothing", "all"], choices=(*WAYS, "chosen"))
    args = parser.parse_args(argv)
    table = Table(
        *("known", "panels", "median ΔE00", "log density", "in 90%", "targets"),
        *("panels differ by, stated", "sprayed"),
        *("supposed", "chance stated", "sprayed", "by fifths of the stated"),
    )
    for name in args.known:
        scores, chances = [], []
        for seed in range(args.first_seed, args.first_seed + args.shops):
            shop = Shop(seed, lot_trend=args.trend)
            archive = getattr(shop, args.layout)(seed)
            known = chosen(archive) if name == "chosen" else WAYS[name]
            model, rng = fitted(archive, known), np.random.default_rng([seed, 59])
            today = shop.today(rng)
            fresh = [shop.spray(shop.random_recipe(rng), rng, **today) for _ in range(24)]
            scores.append(_score(model, fresh))
            chances += _chances(shop, model, archive, args.targets, today)
        away, density, inside = (np.concatenate(x) for x in zip(*scores, strict=True))
        *both, real, spread, seen = np.array(chances).reshape(-1, 5).T
        row: tuple[object, ...] = (
            *(name, away.size, float(np.median(away)), float(density.mean())),
            *(f"{inside.mean():.0%}", real.size),
            *(float(np.sqrt(np.mean(v))) if v.size else "–" for v in (spread, seen)),
        )
        for supposed, stated in zip(("nothing", "of the shelf"), both, strict=True):
            some = np.flatnonzero(np.isfinite(stated))
            table.row(*row, supposed, *_come_true(stated[some], real[some]))
            row = ("",) * len(row)


def _come_true(stated: Array, real: Array) -> tuple[object, ...]:
    """Means of the chances stated and of the shares that passed, and by fifths."""
    if not stated.size:
        return "–", "–", "–"
    fifths = [
        f"{stated[f].mean():.2f} → {real[f].mean():.2f}"
        for f in np.array_split(np.argsort(stated), 5)
        if f.size
    ]
    return float(stated.mean()), float(real.mean()), ", ".join(fifths)
