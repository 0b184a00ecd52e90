"""Refits and searches by the thousand, shared among workers.

``python -m tests.benchmarks many``. Measured here are the processor's seconds of one fit and of one
search, by the size of the archive, and by the clock how much sooner two workers are done than one.
Reckoned from these are 30 refits of a cross-validation and 1,000 targets on the largest archive,
and for four workers that the second doubling loses as much as the first. A Dask cluster adds the
way over its network, of which nothing is known here.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from threadpoolctl import threadpool_limits

from matchlib.mixing import Limits
from matchlib.regression import FilmRegressor
from matchlib.suggest import suggest
from matchlib.suggest.many import suggest_many
from matchlib.target import Target
from matchlib.validation import cross_validate
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.panels import to_frame

__all__ = ["main"]

TARGETS, REFITS = 1_000, 30
LIMITS = Limits(blends=True, step_ups=True, ground_blends=False)


def _spent(work: Callable[[], object], clock: Callable[[], float]) -> float:
    begun = clock()
    work()
    return clock() - begun


def _costs(shop: Layouts, size: int, targets: Sequence[Target]) -> tuple[float, float]:
    """The processor's seconds of one fit and of one search, on one core."""
    panels = shop.archive(size, shop.seed)
    recipes, (X, y) = [p.recipe for p in panels], to_frame(panels, log=True)
    model = FilmRegressor()
    with threadpool_limits(1):
        fit = _spent(lambda: model.fit(X, y), time.process_time)
        each = [
            _spent(partial(suggest, model, t, LIMITS, archive=recipes), time.process_time)
            for t in targets[:3]
        ]
    return fit, float(np.median(each))


def _by_the_clock(
    shop: Layouts, size: int, targets: Sequence[Target]
) -> dict[str, tuple[float, float]]:
    """Seconds that as many refits and searches as targets take one worker, and two."""
    panels = shop.archive(size, shop.seed)
    X, y = to_frame(panels, log=True)
    model = FilmRegressor().fit(X, y)

    def refits(jobs: int) -> object:
        return cross_validate(X, y, folds=len(targets), n_jobs=jobs)

    def searches(jobs: int) -> object:
        return suggest_many(model, targets, LIMITS, archive=panels, n_jobs=jobs)

    found = {}
    for name, work in (("refits", refits), ("searches", searches)):
        work(2)  # what starts the workers is not measured
        one, two = (_spent(partial(work, jobs), time.perf_counter) for jobs in (1, 2))
        found[name] = one, two
    return found


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = arguments("many", __doc__, shops=1)
    parser.add_argument("--sizes", default="1000,10000,100000", help="panels of the archives")
    parser.add_argument("--pieces", type=int, default=6, help="searches, and refits, by the clock")
    args = parser.parse_args(argv)
    sizes = [int(n) for n in args.sizes.split(",")]
    for simulator, make in each_simulator(args):
        shop = make(args.first_seed, n_grounds=5, n_colours=4)
        targets = [Target.lab(*lab) for lab in shop.reachable(args.pieces, shop.seed)]
        table = Table("simulator", "panels", "one fit, CPU s", "one search, CPU s")
        for size in sizes:
            costs = _costs(shop, size, targets)
            table.row(simulator, f"{size:,}", *costs)
        table = Table("simulator", "by the clock", "one worker, s", "two", "gain", "load meanwhile")
        gains = []
        for name, (one, two) in _by_the_clock(shop, sizes[0], targets).items():
            gains.append(min(max(one / two, 1.0), 2.0))
            load = f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
            what = f"{args.pieces} {name}, {sizes[0]:,} panels"
            table.row(simulator, what, one, two, one / two, load)
        table = Table("simulator", "reckoned", "one worker, h", "two", "four")
        for i, (name, count) in enumerate((("refits", REFITS), ("targets", TARGETS))):
            hours = count * costs[i] / 3600
            shared = (hours / gains[i] ** doublings for doublings in range(3))
            table.row(simulator, f"{count:,} {name}, {sizes[-1]:,} panels", *shared)
