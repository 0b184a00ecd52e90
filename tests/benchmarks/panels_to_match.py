"""Test panels sprayed until one, as read, is within tolerance of a reachable target.

``python -m tests.benchmarks panels --targets 200 --shops 5 --variants full,young --only film,gp``.
Targets are noise-free colours of random recipes, continuous in ratio, over any ground of the shop.
Every strategy meets the same film, cup and instrument at the same panel of the same target.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from matchlib.domain import Panel
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.spray import Shop, labs, swap_backs
from tests.benchmarks.strategies import STRATEGIES, Oracle, Strategy, Tried
from tests.benchmarks.strategy_correction import Corrected

__all__ = ["MOST", "TOLERANCES", "VARIANTS", "Tally", "Variant", "panels_needed", "run"]

MOST = 10
TOLERANCES = (1.0, 1.5)


@dataclass(frozen=True)
class Variant:
    """How the archive was made, and how the test panels are sprayed and read."""

    young: bool = False
    wrong: float = 0.0
    archive_reading: str = "lab"
    test_reading: str = "lab"
    heavy: float = 1.0


VARIANTS = {
    "full": Variant(),
    "young": Variant(young=True),
    "wrong": Variant(wrong=0.05),
    "young-wrong": Variant(young=True, wrong=0.05),
    "photo": Variant(archive_reading="photo"),
    "all-photo": Variant(archive_reading="photo", test_reading="photo"),
    "heavy": Variant(heavy=1.15),
    "young-heavy": Variant(young=True, heavy=1.15),
}


@dataclass
class Tally:
    """Panels sprayed for every target, a tolerance each; 0 is none within `MOST`."""

    needed: dict[float, list[int]] = field(default_factory=lambda: {t: [] for t in TOLERANCES})
    seconds: float = 0.0
    proposals: int = 0

    def row(self, tolerance: float) -> str:
        """Mean (a failure counts `MOST`), 95th percentile, share at the first panel, failures."""
        counts = np.array(self.needed[tolerance])
        spent = np.where(counts == 0, MOST, counts)
        return (
            f"{spent.mean():.2f} | {np.quantile(spent, 0.95):.0f} | "
            f"{np.mean(counts == 1):.0%} | {int(np.sum(counts == 0))}"
        )


def panels_needed(
    strategy: Strategy,
    shop: Shop,
    archive: Sequence[Panel],
    target: Array,
    *,
    variant: Variant,
    seed: Sequence[int],
) -> tuple[dict[float, int], int]:
    """Panels until each tolerance is met (0 for never), and panels sprayed.

    An instrument judges; with ``test_reading`` photo the strategy is told the photo's Lab only.
    """
    people = np.random.default_rng([*seed, 0])
    sprayer = str(people.choice(list(shop.sprayers)))
    lot = str(people.choice(list(shop.lots)))
    met: dict[float, int] = dict.fromkeys(TOLERANCES, 0)
    tried: Tried = []
    while len(tried) < MOST and not met[min(TOLERANCES)]:
        recipe = strategy.propose(archive, target, list(tried))
        seen: dict[str, Array] = {}
        for reading in {"lab", variant.test_reading}:
            # The same draws again: one panel, read twice.
            rng = np.random.default_rng([*seed, 1 + len(tried)])
            panel = shop.spray(
                recipe, rng, sprayer=sprayer, lot=lot, heavy=variant.heavy, reading=reading
            )
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
    *,
    shops: int,
    targets: int,
    first_seed: int = 0,
) -> dict[str, Tally]:
    """Tally every strategy, and the floor, over shops and targets."""
    tallies = {name: Tally() for name in [*names, "physical floor"]}
    for seed in range(first_seed, first_seed + shops):
        shop = Shop(seed)
        make = shop.young if variant.young else shop.full
        archive = make(seed, reading=variant.archive_reading)
        if variant.wrong:
            archive, _ = swap_backs(archive, variant.wrong, seed)
        rng = np.random.default_rng([seed, 41])
        count = targets // shops + (seed - first_seed < targets % shops)
        wanted = [shop.truth_lab(shop.random_recipe(rng, continuous=True)) for _ in range(count)]
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
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks panels")
    parser.add_argument("--targets", type=int, default=200)
    parser.add_argument("--shops", type=int, default=5)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--variants", default="full,young,wrong,photo,heavy")
    parser.add_argument("--only", default=",".join(EVERY))
    args = parser.parse_args(argv)
    names = {n: EVERY[n] for n in args.only.split(",") if n}
    print(f"{args.targets} targets over {args.shops} shops, at most {MOST} panels each\n")
    columns = "mean panels | 95th | at the first | failures"
    heads = " | ".join(f"≤ {t}: {columns}" for t in TOLERANCES)
    print(f"| archive | strategy | {heads} | s a proposal |")
    print("| --- " * (3 + 4 * len(TOLERANCES)) + "|")
    for key in args.variants.split(","):
        tallies = run(
            names,
            VARIANTS[key],
            shops=args.shops,
            targets=args.targets,
            first_seed=args.first_seed,
        )
        for name, tally in tallies.items():
            cells = " | ".join(tally.row(t) for t in TOLERANCES)
            pace = tally.seconds / max(tally.proposals, 1)
            print(f"| {key} | {name} | {cells} | {pace:.2f} |", flush=True)
