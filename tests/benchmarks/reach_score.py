"""Whether a target can be reached: what is said of targets that the shelf can make, and cannot.

``python -m tests.benchmarks reach``. The first are noise-free colours of random recipes, the others
lie 3 to 8 ΔE00 beyond the nearest that the shelf can make (`Layouts.beyond`); of each the share
called out of reach, doubtful, and reachable.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matchlib.domain import Viewing
from matchlib.regression import FilmRegressor
from matchlib.suggest import Target, suggest
from matchlib.suggest.reach import DOUBTFUL, OUT_OF_REACH
from matchlib.suggest.target import surface_excess
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import LAYOUTS
from tests.benchmarks.lightlab import Array
from tests.benchmarks.panels import to_frame

__all__ = ["BEYOND", "chances", "main"]

BEYOND = (3.0, 5.5, 8.0)


def chances(model: FilmRegressor, labs: Array) -> Array:
    """The chance stated of each target that some recipe passes; of what no surface can be, none."""
    can = [lab for lab in labs if surface_excess(lab, Viewing()) <= 0.02]
    return np.array([suggest(model, Target.of_lab(tuple(lab)), top=1).reach for lab in can])


def _cells(chance: Array) -> tuple[str, str, str]:
    out, open_ = chance < OUT_OF_REACH, chance >= DOUBTFUL
    return tuple(f"{np.mean(x):.0%}" for x in (out, ~out & ~open_, open_))  # type: ignore[return-value]  # three


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = arguments("reach", __doc__, shops=2)
    parser.add_argument("--targets", type=int, default=12, help="within reach and beyond, a shop")
    args = parser.parse_args(argv)
    table = Table(
        "simulator", "archive", "targets", "number", "out of reach", "doubtful", "reachable"
    )
    for name, make in each_simulator(args):
        said: dict[tuple[str, str], list[Array]] = {}
        for seed in range(args.first_seed, args.first_seed + args.shops):
            shop = make(seed)
            each = -(-args.targets // len(BEYOND))
            beyond = {f"{d:g} beyond": shop.beyond(each, seed, distance=d) for d in BEYOND}
            for layout in LAYOUTS:
                model = FilmRegressor().fit(*to_frame(getattr(shop, layout)(seed)))
                for what, labs in (
                    {"reachable": shop.reachable(args.targets, seed)} | beyond
                ).items():
                    said.setdefault((layout, what), []).append(chances(model, labs))
        for (layout, what), found in said.items():
            chance = np.concatenate(found)
            table.row(name, layout, what, len(chance), *_cells(chance))


if __name__ == "__main__":
    main()
