"""Time and memory to fit archives of 100, 1,000 and 10,000 panels, each in a process of its own.

``python -m tests.benchmarks scale --sizes 100,1000,10000 --only film,gp``
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import time
from collections.abc import Sequence
from multiprocessing.connection import Connection

import numpy as np

from tests.benchmarks.accuracy import estimators
from tests.benchmarks.lightlab import delta_e
from tests.benchmarks.spray import Shop, labs, to_frame

__all__ = ["fit_once", "main"]

# Beyond these a general-purpose regressor is cubic and takes the machine down; said in the table.
LIMITS = {"gp": 2000}


def _peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _work(
    name: str, size: int, pipe: Connection, *, reading: str, seed: int, mottle: float | None
) -> None:
    shop = Shop(seed, n_grounds=5, n_colours=4, mottle=mottle)
    X, y = to_frame(shop.archive(size, seed, reading=reading))
    test = shop.fresh(200, seed, reading=reading)
    model = estimators(name)[name]()  # loading its library is not fitting
    before = _peak()
    begun = time.perf_counter()
    model = model.fit(X, y)
    fitted = time.perf_counter()
    lab = model.predict(to_frame(test)[0])
    done = time.perf_counter()
    error = float(np.median(delta_e(lab, labs(test))))
    pipe.send((fitted - begun, done - fitted, before, _peak(), error))


def fit_once(
    name: str, size: int, *, reading: str = "lab", seed: int = 0, mottle: float | None = None
) -> tuple[float, float, float, float, float]:
    """Return fit and predict seconds, peak MiB before and after, and median ΔE00 on new panels."""
    context = multiprocessing.get_context("spawn")
    mine, theirs = context.Pipe()
    options = {"reading": reading, "seed": seed, "mottle": mottle}
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
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks scale")
    parser.add_argument("--sizes", default="100,1000,10000")
    parser.add_argument("--only", default="film,ridge,gp")
    parser.add_argument("--reading", choices=("lab", "spectrum"), default="lab")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument(
        "--mottle",
        type=float,
        help="unevenness of every film: from 0.6 on a residual is called for",
    )
    args = parser.parse_args(argv)
    print("| panels | regressor | fit s | predict 200, s | peak MiB | of it before | median ΔE00 |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for size in map(int, args.sizes.split(",")):
        for name in estimators(args.only):
            if size > LIMITS.get(name, size):
                print(f"| {size:,} | {name} | not run: cubic in panels | | | | |", flush=True)
                continue
            fit, predict, before, after, error = fit_once(
                name, size, reading=args.reading, seed=args.seed, mottle=args.mottle
            )
            cells = f"{fit:.2f} | {predict:.2f} | {after:.0f} | {before:.0f} | {error:.2f}"
            print(f"| {size:,} | {name} | {cells} |", flush=True)
