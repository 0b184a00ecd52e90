"""Time and memory to fit archives of 100, 1,000 and 10,000 panels, each in a process of its own.

Times are the processor's own, on one core, so that other work on the machine hardly counts.

``python -m tests.benchmarks scale --sizes 100,1000,10000 --only film,gp``
"""

from __future__ import annotations

import multiprocessing
import resource
import time
from collections.abc import Sequence
from multiprocessing.connection import Connection

import numpy as np
from threadpoolctl import threadpool_limits

from tests.benchmarks.accuracy import estimators
from tests.benchmarks.command import SIMULATORS, Table, arguments, each_simulator
from tests.benchmarks.lightlab import delta_e
from tests.benchmarks.panels import labs, to_frame

__all__ = ["fit_once", "main"]

# Beyond these a general-purpose regressor is cubic and takes the machine down; said in the table.
LIMITS = {"gp": 2000}


def _peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _work(name: str, size: int, pipe: Connection, *, simulator: str, seed: int) -> None:
    shop = SIMULATORS[simulator](seed, n_grounds=5, n_colours=4)
    X, y = to_frame(shop.archive(size, seed), log=True)
    test = shop.fresh(200, seed)
    model = estimators(name)[name]()  # loading its library is not fitting
    before = _peak()
    with threadpool_limits(1):
        begun = time.process_time()
        model = model.fit(X, y)
        fitted = time.process_time()
        lab = model.predict(to_frame(test, log=True)[0])
        done = time.process_time()
    error = float(np.median(delta_e(lab, labs(test))))
    pipe.send((fitted - begun, done - fitted, before, _peak(), error))


def fit_once(
    name: str, size: int, *, simulator: str, seed: int = 0
) -> tuple[float, float, float, float, float]:
    """Return fit and predict seconds, peak MiB before and after, and median ΔE00 on new panels."""
    context = multiprocessing.get_context("spawn")
    mine, theirs = context.Pipe()
    options = {"simulator": simulator, "seed": seed}
    process = context.Process(target=_work, args=(name, size, theirs), kwargs=options)
    process.start()
    theirs.close()
    try:
        result: tuple[float, float, float, float, float] = mine.recv()
    except EOFError:
        process.join()
        raise SystemExit(f"{name} with {size} panels died (exit {process.exitcode})") from None
    process.join()
    return result


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = arguments("scale", __doc__, shops=1)
    parser.add_argument("--sizes", default="100,1000,10000")
    parser.add_argument("--only", default="film,ridge,gp")
    args = parser.parse_args(argv)
    table = Table(
        *("simulator", "panels", "regressor", "fit, CPU s", "predict 200, CPU s", "peak MiB"),
        *("of it before", "median ΔE00"),
    )
    for simulator, _ in each_simulator(args):
        for size in map(int, args.sizes.split(",")):
            for name in estimators(args.only):
                if size > LIMITS.get(name, size):
                    table.row(simulator, f"{size:,}", name, "not run: cubic", *[""] * 4)
                    continue
                for seed in range(args.first_seed, args.first_seed + args.shops):
                    fit, predict, before, after, error = fit_once(
                        name, size, simulator=simulator, seed=seed
                    )
                    peak = f"{after:.0f}", f"{before:.0f}"
                    table.row(simulator, f"{size:,}", name, fit, predict, *peak, error)
