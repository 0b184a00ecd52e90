"""Test panels sprayed until one, as read, is within tolerance of a reachable target.

``python -m tests.benchmarks panels --targets 200 --variants full,young --only corrected,gp``.
Targets are noise-free colours of random recipes, continuous in ratio, over any ground of the shop.
Every strategy meets the same film, cup and instrument at the same panel of the same target.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from matchlib.domain import Panel
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.one_card import VARIANTS, Variant, asked
from tests.benchmarks.panels import labs
from tests.benchmarks.strategies import STRATEGIES, Oracle, Strategy, Tried

__all__ = ["MOST", "TOLERANCES", "Tally", "panels_needed", "run"]

MOST = 10
TOLERANCES = (1.0, 1.5)


@dataclass
class Tally:
    """Panels sprayed for every target, a tolerance each; 0 is none within `MOST`."""

    needed: dict[float, list[int]] = field(default_factory=lambda: {t: [] for t in TOLERANCES})
    seconds: float = 0.0
    proposals: int = 0

    def cells(self, tolerance: float) -> tuple[float, str, str, int]:
        """Mean (a failure counts `MOST`), 95th percentile, share at the first panel, failures."""
        counts = np.array(self.needed[tolerance])
        spent = np.where(counts == 0, MOST, counts)
        return (
            float(spent.mean()),
            f"{np.quantile(spent, 0.95):.0f}",
            f"{np.mean(counts == 1):.0%}",
            int(np.sum(counts == 0)),
        )


def panels_needed(
    strategy: Strategy,
    shop: Layouts,
    archive: Sequence[Panel],
    target: Array,
    *,
    heavy: float,
    seed: Sequence[int],
) -> tuple[dict[float, int], int]:
    """Panels until each tolerance is met (0 for never), and panels sprayed."""
    today = shop.today(np.random.default_rng([*seed, 0]))
    met: dict[float, int] = dict.fromkeys(TOLERANCES, 0)
    tried: Tried = []
    while len(tried) < MOST and not met[min(TOLERANCES)]:
        recipe = strategy.propose(archive, target, list(tried))
        rng = np.random.default_rng([*seed, 1 + len(tried)])
        lab = labs([shop.spray(recipe, rng, heavy=heavy, **today)])[0]
        tried.append((recipe, lab))
        error = float(delta_e(lab, target))
        for tolerance in TOLERANCES:
            if error <= tolerance and not met[tolerance]:
                met[tolerance] = len(tried)
    return met, len(tried)


def run(
    names: dict[str, Callable[[], Strategy]],
    variant: Variant,
    shops: Sequence[Layouts],
    *,
    targets: int,
) -> dict[str, Tally]:
    """Tally every strategy, and the floor, over shops and targets."""
    tallies = {name: Tally() for name in [*names, "physical floor"]}
    for shop, archive, wanted in asked(variant, shops, targets):
        for name, tally in tallies.items():
            strategy = Oracle(shop) if name == "physical floor" else names[name]()
            begun = time.perf_counter()
            for i, target in enumerate(wanted):
                met, sprayed = panels_needed(
                    strategy, shop, archive, target, heavy=variant.heavy, seed=[shop.seed, i]
                )
                tally.proposals += sprayed
                for tolerance, panels in met.items():
                    tally.needed[tolerance].append(panels)
            tally.seconds += time.perf_counter() - begun
    return tallies


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = arguments("panels", __doc__)
    parser.add_argument("--targets", type=int, default=200)
    parser.add_argument("--variants", default="full,young,wrong,heavy")
    parser.add_argument("--only", default=",".join(STRATEGIES))
    args = parser.parse_args(argv)
    names = {n: STRATEGIES[n] for n in args.only.split(",") if n}
    print(f"{args.targets} targets over {args.shops} shops, at most {MOST} panels each")
    columns = ("mean panels", "95th", "at the first", "failures")
    heads = (f"≤ {t}: {c}" for t in TOLERANCES for c in columns)
    table = Table("simulator", "archive", "strategy", *heads, "s a proposal")
    for simulator, make in each_simulator(args):
        shops = [make(args.first_seed + i) for i in range(args.shops)]
        for key in args.variants.split(","):
            tallies = run(names, VARIANTS[key], shops, targets=args.targets)
            for name, tally in tallies.items():
                cells = (c for t in TOLERANCES for c in tally.cells(t))
                table.row(simulator, key, name, *cells, tally.seconds / max(tally.proposals, 1))
