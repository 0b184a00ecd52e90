"""Whether a target can be reached: what is said of targets that the shelf can make, and cannot.

``python -m tests.benchmarks reach``. The first are noise-free colours of random recipes, the others
lie 3 to 8 ΔE00 beyond the nearest that the shelf can make (`Layouts.beyond`); of each the share
called out of reach, doubtful, and reachable. The last table gives, by the chance stated, the share
that was within reach, each of the two counted as half of all. The floor of what is refused is that
of the law: its stated doubt is too small in some young booths, and a recipe that it misses by five
of its standard deviations it calls out of reach.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from matchlib.domain import Viewing
from matchlib.regression import FilmRegressor
from matchlib.suggest import suggest
from matchlib.suggest.reach import DOUBTFUL, OUT_OF_REACH
from matchlib.target import Target, surface_excess
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import LAYOUTS
from tests.benchmarks.lightlab import Array
from tests.benchmarks.panels import to_frame

__all__ = ["BEYOND", "chances", "main"]

BEYOND = (3.0, 5.5, 8.0)


def chances(model: FilmRegressor, labs: Array) -> Array:
    """The chance stated of each target that some recipe passes; of what no surface can be, none."""
    can = [lab for lab in labs if surface_excess(lab, Viewing()) <= 0.02]
    return np.array([suggest(model, Target.lab(*lab), top=1).reach for lab in can])


def _cells(chance: Array) -> tuple[str, str, str]:
    out, open_ = chance < OUT_OF_REACH, chance >= DOUBTFUL
    return tuple(f"{np.mean(x):.0%}" for x in (out, ~out & ~open_, open_))  # type: ignore[return-value]  # three


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = arguments("reach", __doc__, shops=2)
    parser.set_defaults(first_seed=10)  # the odds of being in reach were settled on the first
    parser.add_argument("--targets", type=int, default=12, help="within reach and beyond, a shop")
    args = parser.parse_args(argv)
    table = Table(
        "simulator", "archive", "targets", "number", "out of reach", "doubtful", "reachable"
    )
    stated: dict[str, list[Array]] = {}
    for name, make in each_simulator(args):
        said: dict[tuple[str, str], list[Array]] = {}
        for seed in range(args.first_seed, args.first_seed + args.shops):
            shop = make(seed)
            each = -(-args.targets // len(BEYOND))
            targets = {"reachable": shop.reachable(args.targets, seed)}
            targets |= {f"{d:g} beyond": shop.beyond(each, seed, distance=d) for d in BEYOND}
            for layout in LAYOUTS:
                model = FilmRegressor().fit(*to_frame(getattr(shop, layout)(seed)))
                for what, labs in targets.items():
                    found = chances(model, labs)
                    said.setdefault((layout, what), []).append(found)
                    stated.setdefault("within" if what == "reachable" else "beyond", []).append(
                        found
                    )
        for (layout, what), each_shop in said.items():
            chance = np.concatenate(each_shop)
            table.row(name, layout, what, len(chance), *_cells(chance))
    _come_true(np.concatenate(stated["within"]), np.concatenate(stated["beyond"]))


def _come_true(within: Array, beyond: Array) -> None:
    table = Table("chance stated", "number", "within reach, each kind counted as half")
    for low, high in pairwise((0.0, OUT_OF_REACH, DOUBTFUL, 0.7, 1.0 + 1e-9)):
        one, two = (np.mean((x >= low) & (x < high)) for x in (within, beyond))
        count = sum(int(((x >= low) & (x < high)).sum()) for x in (within, beyond))
        real = f"{one / (one + two):.0%}" if count else "-"
        table.row(f"{low:.0%} to {high:.0%}", count, real)


if __name__ == "__main__":
    main()
