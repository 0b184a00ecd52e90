"""How fast recipes are searched, beside the physical floor and the general-purpose ways.

Run ``python -m tests.benchmarks search``. The floor is the exponentials of the film alone:
one a wavelength and recipe, in single precision and in blocks that stay in a core's cache, on one
core, as the scan runs. Scan and floor are timed in turns, and times are the processor's own, for
other work on the machine slows both.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from matchlib.colorimetry import delta_e00
from matchlib.domain import CoatSchedule, MixRatio, Recipe, Viewing
from matchlib.mixing import Limits
from matchlib.regression import FilmRegressor
from matchlib.suggest import suggest
from matchlib.suggest.scan import scan
from matchlib.suggest.space import Space
from matchlib.target import Target
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array
from tests.benchmarks.panels import to_frame

__all__ = ["main"]

BANDS, CELLS = 31, 48 * 1024

Scanned = list[tuple[NDArray[np.intp], NDArray[np.float32]]]


def exponentials(count: int) -> float:
    """CPU seconds for so many recipes' exponentials and nothing else."""
    block = CELLS // BANDS
    paper = np.full((BANDS, block), -1.3, np.float32)
    out = np.empty_like(paper)
    start = time.process_time()
    for _ in range(max(1, round(count / block))):
        np.exp(paper, out=out)
    return time.process_time() - start


def best_of(times: int, run: Callable[[], object]) -> float:
    """Least CPU seconds of several runs: what the machine can do when nobody else has it."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        run()
        taken.append(time.process_time() - start)
    return min(taken)


def evolve(model: FilmRegressor, shop: Layouts, goal: Array, seed: int) -> tuple[float, float, int]:
    """CPU seconds, ΔE00 reached and recipes tried by scipy's differential evolution."""
    from scipy.optimize import differential_evolution

    tried = 0

    def cost(x: Sequence[float]) -> float:
        nonlocal tried
        tried += 1
        ground = shop.grounds[min(int(x[0]), len(shop.grounds) - 1)]
        colour = shop.colours[min(int(x[1]), len(shop.colours) - 1)]
        ratio = MixRatio(Fraction(round(x[3] * 100), 100), Fraction(1))
        recipe = Recipe(ground, colour, CoatSchedule.of(int(x[2]), ratio), "yes")
        return float(delta_e00(goal, model.predict_recipes([recipe])[0]))

    bounds = [(0, len(shop.grounds)), (0, len(shop.colours)), (1, 6.999), (2.0, 10.0)]
    start = time.process_time()
    found = differential_evolution(cost, bounds, seed=seed, popsize=15, maxiter=40, polish=False)
    return time.process_time() - start, float(found.fun), tried


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = arguments("search", __doc__, shops=1)
    parser.add_argument("--targets", type=int, default=3)
    parser.add_argument("--rounds", type=int, default=9)
    args = parser.parse_args(argv)
    for simulator, make in each_simulator(args):
        for seed in range(args.first_seed, args.first_seed + args.shops):
            with threadpool_limits(1):
                _measure(simulator, make(seed, n_colours=6), args)


def _measure(simulator: str, shop: Layouts, args: argparse.Namespace) -> None:
    panels = shop.full(shop.seed)
    model = FilmRegressor().fit(*to_frame(panels))
    rng = np.random.default_rng(shop.seed)
    goals = shop.reachable(args.targets, shop.seed)
    view = Viewing()
    limits = Limits(ratio_step=0.25, max_coats=8, blend_parts=8)
    space = Space.of(model, limits, [p.recipe for p in panels])
    goal = goals[0]

    def search() -> Scanned:
        return scan(space, [view], [goal], Target.lab(*goal).axes)

    count = sum(out.size for _, out in search())
    runs = [search, lambda: exponentials(count)]
    rounds = [[best_of(1, run) for run in runs] for _ in range(args.rounds)]
    scanning, floor = np.min(rounds, axis=0)
    whole = best_of(2, lambda: suggest(model, Target.lab(*goal), limits, archive=panels))
    some = [shop.random_recipe(rng) for _ in range(200)]
    loop = best_of(2, lambda: [model.predict_recipes([r]) for r in some]) / len(some)
    batch = [shop.random_recipe(rng) for _ in range(4000)]
    model.predict_recipes(batch)
    together = best_of(2, lambda: model.predict_recipes(batch)) / len(batch)
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; ", end="")
    print(f"{count:,} recipes over {len(space.shelf.grounds)} grounds\n")
    table = Table(
        "simulator", "way", "recipes/s", "CPU seconds for 1,000,000", "times the exponentials"
    )

    def line(name: str, each: float) -> None:
        ratio = f"{each * count / floor:,.1f}"
        table.row(simulator, name, f"{1 / each:,.0f}", each * 1e6, ratio)

    line("floor: the exponentials alone, every recipe its own, one core", floor / count)
    line("scan: the reduced law in single precision", scanning / count)
    line("whole search: scan, refinement, rounding, chances, words", whole / count)
    line("the exact law, 4,000 recipes at a time", together)
    line("the exact law, one recipe at a time", loop)
    table = Table("simulator", "per target", "CPU seconds", "recipes tried", "ΔE00 by the model")
    for i, lab in enumerate(goals):
        start = time.process_time()
        ours = suggest(model, Target.lab(*lab), archive=panels)
        taken = time.process_time() - start
        nearest = min(s.delta_e00 for s in ours)
        table.row(simulator, f"suggest, target {i + 1}", taken, f"{ours.searched:,}", nearest)
        taken, reached, tried = evolve(model, shop, lab, shop.seed)
        name = f"differential evolution, neat and one ratio, {i + 1}"
        table.row(simulator, name, taken, f"{tried:,}", reached)
