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
from tests.benchmarks.panels import labs, swap_backs
from tests.benchmarks.strategies import STRATEGIES, Oracle, Strategy, Tried
from tests.benchmarks.strategy_correction import Corrected

__all__ = ["MOST", "TOLERANCES", "VARIANTS", "Tally", "Variant", "panels_needed", "run"]

MOST = 10
TOLERANCES = (1.0, 1.5)


@dataclass(frozen=True)
class Variant:
    """How the archive was made, and how the test panels are sprayed and read."""

    layout: str = "full"
    wrong: float = 0.0
    archive_reading: str = "lab"
    test_reading: str = "lab"
    heavy: float = 1.0


VARIANTS = {
    "full": Variant(),
    "young": Variant(layout="young"),
    "thin": Variant(layout="thin"),
    "wrong": Variant(wrong=0.05),
    "young-wrong": Variant(layout="young", wrong=0.05),
    "photo": Variant(archive_reading="photo"),
    "all-photo": Variant(archive_reading="photo", test_reading="photo"),
    "heavy": Variant(heavy=1.15),
    "young-heavy": Variant(layout="young", heavy=1.15),
}


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
    variant: Variant,
    seed: Sequence[int],
) -> tuple[dict[float, int], int]:
    """Panels until each tolerance is met (0 for never), and panels sprayed.

    An instrument judges; with ``test_reading`` photo the strategy is told the photo's Lab only.
    """
    today = shop.today(np.random.default_rng([*seed, 0]))
    met: dict[float, int] = dict.fromkeys(TOLERANCES, 0)
    tried: Tried = []
    while len(tried) < MOST and not met[min(TOLERANCES)]:
        recipe = strategy.propose(archive, target, list(tried))
        seen: dict[str, Array] = {}
        for reading in {"lab", variant.test_reading}:
            # The same draws again: one panel, read twice.
            rng = np.random.default_rng([*seed, 1 + len(tried)])
            panel = shop.spray(recipe, rng, heavy=variant.heavy, reading=reading, **today)
            seen[reading] = labs([panel])[0]
        tried.append((recipe, seen[variant.test_reading]))
        error = float(delta_e(seen["lab"], target))
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
    for nth, shop in enumerate(shops):
        seed = shop.seed
        archive = getattr(shop, variant.layout)(seed, reading=variant.archive_reading)
        if variant.wrong:
            archive, _ = swap_backs(archive, variant.wrong, seed)
        wanted = shop.reachable(targets // len(shops) + (nth < targets % len(shops)), seed)
        for name, tally in tallies.items():
            strategy = Oracle(shop) if name == "physical floor" else names[name]()
            begun = time.perf_counter()
            for i, target in enumerate(wanted):
                met, sprayed = panels_needed(
                    strategy, shop, archive, target, variant=variant, seed=[seed, i]
                )
                tally.proposals += sprayed
                for tolerance, panels in met.items():
                    tally.needed[tolerance].append(panels)
            tally.seconds += time.perf_counter() - begun
    return tallies


EVERY: dict[str, Callable[[], Strategy]] = {"corrected": Corrected, **STRATEGIES}


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = arguments("panels", __doc__)
    parser.add_argument("--targets", type=int, default=200)
    parser.add_argument("--variants", default="full,young,wrong,photo,heavy")
    parser.add_argument("--only", default=",".join(EVERY))
    args = parser.parse_args(argv)
    names = {n: EVERY[n] for n in args.only.split(",") if n}
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
