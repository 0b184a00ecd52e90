"""Whether stated chances come true: of the recipes suggested, how many panels pass.

``python -m tests.benchmarks chances --shops 6 --layouts full,young,thin``

A target is a sample that the shop sprayed, as it reads; with ``--noise-free`` it is the colour of
such a recipe on average. Of each the shelf's likeliest recipes are asked, several down the list so
that low chances are seen too; each is sprayed afresh a number of times, by whoever sprays that day
out of what stands open, which the fit is told. Two chances are stated: one that supposes nothing of
where a sample comes from, and one of a sample that was sprayed from the shelf, as these are; with
``--off 1.5`` they are not: targets are moved by so much an axis [ΔE*ab]. With ``--corrected`` the
likeliest is sprayed and read first, and what it teaches is believed. With ``--own`` the shop is one
of those that the fit itself believes in, drawn anew for each target, so that its law and its spread
are right to the letter: what is left between stated and real is then the arithmetic's, and chance.
The ± is the standard error by how few targets there are; shops differ besides.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from matchlib.correction import Belief, Today, learn
from matchlib.correction.scoring import likeliest
from matchlib.domain import Conditions, Panel, Recipe
from matchlib.errors import TargetError
from matchlib.mixing import Limits
from matchlib.regression import FilmPredictor, FilmRegressor
from matchlib.sample import chances_of_own
from matchlib.target import Target
from tests.benchmarks import workshop
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.own_shop import OwnShop
from tests.benchmarks.panels import labs, to_frame
from tests.benchmarks.strategies import COATS, shelf_recipes

__all__ = ["main", "moved", "stated_and_real"]

TRIES = 12
"""Panels sprayed of each recipe."""

ASKED = (0, 1, 3, 8, 20)
"""Places in the list of likeliest recipes."""

FIFTHS = np.linspace(0.0, 1.0, 6)


def stated_and_real(
    shop: Layouts,
    layout: str,
    targets: int,
    *,
    off: float = 0.0,
    own: bool = False,
    corrected: bool = False,
) -> Array:
    """Both chances stated and the share that passed (n, 3), of recipes down each target's list."""
    seed = shop.seed
    archive = getattr(shop, layout)(seed)
    model = FilmRegressor().fit(*to_frame(archive, log=True))
    recipes = shelf_recipes(archive)
    found = []
    for i, colour in enumerate(shop.samples(targets, seed)):
        rng = np.random.default_rng([seed, i])
        day, wanted = shop.today(rng), colour
        fit = model.under(_conditions(shop, day))
        belief = Belief.of(fit, Today.learnt(model))
        spray: Callable[..., Panel] = partial(shop.spray, **day)
        if own:
            recipe = shop.random_recipe(rng, continuous=True)
            drawn = OwnShop.drawn(belief, recipe, rng)
            spray, wanted = drawn.spray, labs([drawn.spray(recipe, rng)])[0]
        target = moved(wanted, off, np.random.default_rng([seed, i, 1]))
        aim = Target.lab(*target)
        knows: FilmPredictor | Belief = belief if own else fit
        ranked = likeliest(knows, recipes, aim)
        if corrected:
            first = spray(ranked[0].recipe, rng)
            belief, _ = learn(belief, [(first.recipe, tuple(labs([first])[0]))])
            knows = belief
            ranked = likeliest(belief, recipes, aim)
        asked = [ranked[place] for place in ASKED]
        of_own = _of_own(knows, [option.recipe for option in asked], aim)
        for place, option, chance in zip(ASKED, asked, of_own, strict=True):
            rng = np.random.default_rng([seed, i, place])
            cards = [spray(option.recipe, rng) for _ in range(TRIES)]
            passed = np.mean(delta_e(labs(cards), np.tile(target, (TRIES, 1))) <= 1.0)
            found.append((option.probability, chance, float(passed)))
    return np.array(found)


def _of_own(knows: FilmPredictor | Belief, recipes: Sequence[Recipe], target: Target) -> Array:
    """The chance of each if the target is of the shelf; nan where no pot of it can be."""
    shelf = Limits(max_coats=max(COATS))
    if isinstance(knows, Belief):
        found = chances_of_own(knows.model, recipes, target, shelf, knows=knows.together)
    else:
        found = chances_of_own(knows, recipes, target, shelf)
    return np.full(len(recipes), np.nan) if found is None else found


def moved(colour: Array, off: float, rng: np.random.Generator) -> Array:
    """Return a colour moved at random, to one that a surface can have."""
    while True:
        moved = colour + off * rng.normal(size=3)
        if off == 0.0:
            return moved
        try:
            Target.lab(*moved)
        except TargetError:
            continue
        return moved


def _conditions(shop: Layouts, day: workshop.Today) -> Conditions:
    """What the shop's book says of a day: who, and which lot of each paint stands open."""
    lots = {c: n for n in day["lot"].split(" + ") for c in shop.lots.get(n, ())}
    batches = {g: n for n in day["batch"].split(" + ") for g in shop.batches.get(n, ())}
    return Conditions(
        sprayer=day["sprayer"],
        lots=tuple(sorted(lots.items())),
        batches=tuple(sorted(batches.items())),
        date=day["date"],
    )


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = arguments("chances", __doc__, shops=6)
    parser.add_argument("--layouts", default="full,young,thin")
    parser.add_argument("--targets", type=int, default=20)
    parser.add_argument("--off", type=float, default=0.0)
    parser.add_argument("--own", action="store_true", help="shops that the fit itself believes in")
    parser.add_argument("--corrected", action="store_true", help="once a first panel is read")
    args = parser.parse_args(argv)
    heads = (f"{a:.0%} to {b:.0%}" for a, b in itertools.pairwise(FIFTHS))
    table = Table(
        "simulator", "archive", "supposed", *(f"{h}: stated → real (n)" for h in heads), "all"
    )
    for simulator, make in each_simulator(args):
        for layout in args.layouts.split(","):
            pairs = np.concatenate(
                [
                    stated_and_real(
                        make(args.first_seed + i),
                        layout,
                        args.targets,
                        off=args.off,
                        own=args.own,
                        corrected=args.corrected,
                    )
                    for i in range(args.shops)
                ]
            )
            target = np.arange(len(pairs)) // len(ASKED)
            for which, supposed in enumerate(("nothing", "of the shelf")):
                told = np.isfinite(pairs[:, which])
                stated, real, of = pairs[told, which], pairs[told, 2], target[told]
                fifth = np.clip(np.digitize(stated, FIFTHS) - 1, 0, 4)
                each = [fifth == f for f in range(5)] + [fifth >= 0]
                cells = [_cell(stated[rows], real[rows], of[rows]) for rows in each]
                table.row(simulator, layout, supposed, *cells)


def _cell(stated: Array, real: Array, target: Array) -> str:
    """Both means, how far counting so few targets leaves their difference open, and recipes."""
    if not stated.size:
        return "–"
    away = real - stated
    _, of = np.unique(target, return_inverse=True)
    sums = np.bincount(of, away - away.mean())
    error = np.sqrt((sums**2).sum()) / away.size
    return f"{stated.mean():.2f} → {real.mean():.2f} ± {error:.2f} ({stated.size})"
