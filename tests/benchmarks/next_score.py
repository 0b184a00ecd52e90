"""What the next panels are worth: six as advised, at random, and by a plain space-filling design.

``python -m tests.benchmarks next``. Young archives; the same candidates for every design. What is
judged is the mean ΔE00 of predictions from the noise-free colour, over fresh recipes of the whole
shelf; beside it the uncertainty (root mean square) that was promised after the advised panels, and
the root mean square that came of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product

import numpy as np

from matchlib.domain import CoatSchedule, MixRatio, Recipe
from matchlib.next_panel import next_for_archive
from matchlib.regression import FilmRegressor
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.panels import RATIOS, to_frame

__all__ = ["PANELS", "at_random", "filling", "main", "shelf"]

PANELS = 6
FRESH = 120


def shelf(shop: Layouts) -> list[Recipe]:
    """Every neat recipe of two to six coats at the shop's ratios."""
    return [
        Recipe(ground, colour, CoatSchedule.of(coats, MixRatio.parse(ratio)), "yes")
        for ground, colour, coats, ratio in product(shop.grounds, shop.colours, range(2, 7), RATIOS)
    ]


def at_random(candidates: Sequence[Recipe], seed: int) -> list[Recipe]:
    """Six of them drawn."""
    rng = np.random.default_rng([seed, 91])
    return [candidates[i] for i in rng.choice(len(candidates), PANELS, replace=False)]


def filling(sprayed: Sequence[Recipe], candidates: Sequence[Recipe]) -> list[Recipe]:
    """Each farthest from all before it, by ground, colour and strength (Kennard, Stone 1969)."""
    grounds = sorted({str(r.ground) for r in candidates})
    colours = sorted({str(r.colour) for r in candidates})

    def place(recipe: Recipe) -> list[float]:
        assert recipe.schedule is not None
        strength = sum(s.coats * float(s.ratio.fraction) for s in recipe.schedule.steps)
        names = [str(recipe.ground) == g for g in grounds]
        names += [str(recipe.colour) == c for c in colours]
        return [*map(float, names), float(np.log(strength))]

    at = np.array([place(r) for r in candidates])
    known = np.array([place(r) for r in sprayed])
    away = np.linalg.norm(at[:, None] - known[None], axis=2).min(axis=1)
    chosen = []
    for _ in range(PANELS):
        i = int(np.argmax(away))
        chosen.append(candidates[i])
        away = np.minimum(away, np.linalg.norm(at - at[i], axis=1))
    return chosen


def missed(shop: Layouts, seed: int) -> tuple[dict[str, Array], tuple[float, float]]:
    """ΔE00 of fresh recipes before and after each design, and the uncertainty promised."""
    archive = shop.young(seed)
    rng = np.random.default_rng([seed, 23])
    fresh = [shop.random_recipe(rng, continuous=True) for _ in range(FRESH)]
    truth, candidates = shop.truth_labs(fresh), shelf(shop)
    model = FilmRegressor().fit(*to_frame(archive))
    plan = next_for_archive(model, candidates, k=PANELS)
    sprayed = [p.recipe for p in archive if p.recipe.colour is not None]
    designs: dict[str, Callable[[], list[Recipe]]] = {
        "advised": lambda: [p.recipe for p in plan.panels],
        "random": lambda: at_random(candidates, seed),
        "filling": lambda: filling(sprayed, candidates),
    }
    gaps = {"before": delta_e(model.predict_recipes(fresh), truth)}
    for name, design in designs.items():
        panels = shop.spray_all(design(), np.random.default_rng([seed, 97]), code="N")
        after = FilmRegressor(library=False).fit(*to_frame([*archive, *panels]))
        gaps[name] = delta_e(after.predict_recipes(fresh), truth)
    return gaps, (plan.before, plan.after)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    args = arguments("next", __doc__, shops=10).parse_args(argv)
    heads = ("before", "advised", "random", "filling")
    stated = ("rms before, stated", "real", "rms after, stated", "real")
    table = Table("simulator", "shops", *heads, *stated)
    lines = []
    for name, make in each_simulator(args):
        rows = []
        for seed in range(args.first_seed, args.first_seed + args.shops):
            gaps, (before, after) = missed(make(seed), seed)
            rms = {head: float(np.sqrt(np.mean(gaps[head] ** 2))) for head in heads}
            means = [float(gaps[head].mean()) for head in heads]
            rows.append([*means, before, rms["before"], after, rms["advised"]])
        each = np.array(rows)
        table.row(name, len(each), *each.mean(axis=0).tolist())
        advised = each[:, heads.index("advised")]
        for other in ("random", "filling"):
            more = each[:, heads.index(other)] - advised
            gain, chance = np.array([more.mean(), more.std(ddof=1) / len(more) ** 0.5])
            lines.append(
                f"{name}, {other}: misses by {gain / advised.mean():.0%} ± "
                f"{chance / advised.mean():.0%} more than advised, the second the standard error "
                f"by so few shops; by more in {np.mean(more > 0.0):.0%} of them"
            )
    print("\n" + "\n".join(lines))


if __name__ == "__main__":
    main()
