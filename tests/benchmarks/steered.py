"""Cards and readings until a match: cards sprayed blind, and cards read on the way and built on.

``python -m tests.benchmarks cards``. A card is read before its last coats as often as is allowed,
and judged once it is finished; a card that fails, or is given up on the way, is one card spent,
and the next begins with what it taught. Beside them a painter's rule, and the floor: the booth's
physics known, the noise of reading and of every coat not. With ``--off 1.5`` targets are moved by
so much an axis [ΔE*ab], and need not be colours of the very shelf. With ``--own`` each target has a
shop of those that the fit itself believes in: then the chance stated and what comes of it differ by
nothing but what such targets tell, which nobody told the fit.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from matchlib.correction import Belief, Sprayed
from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Panel
from matchlib.mixing import Limits
from matchlib.steering import plan, steer
from matchlib.target import Target
from tests.benchmarks.chances import moved
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.known_physics import Floor
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.one_card import UNSAID, VARIANTS, Card, Variant, Way, asked
from tests.benchmarks.own_shop import OwnShop
from tests.benchmarks.panels_to_match import panels_needed
from tests.benchmarks.strategies import STRATEGIES, fitted, shelf_recipes

__all__ = ["Met", "met_with", "steered"]

FLOOR = "floor of two looks"

MOST = 6
"""Cards sprayed for a target, at most; one that is never met counts as so many."""

TOLERANCE = 1.0

LIMITS = Limits(blends=True, step_ups=False, ground_blends=False)


@dataclass
class Met:
    """What a target took."""

    cards: int = 0
    readings: int = 0
    first: bool = False
    stated: float = float("nan")
    own: float = float("nan")
    ended: list[str] = field(default_factory=list)


@dataclass
class Advised(Way):
    """Cards planned and steered by the package."""

    def __post_init__(self) -> None:
        self.model = fitted(tuple(self.archive))
        self.recipes = [p.recipe for p in self.archive]

    def card(
        self, card: Card, target: Array, learnt: Belief | None
    ) -> tuple[tuple[float, float], Belief | None, bool]:
        aim = Target.lab(*target)
        photo = "photo" if self.variant.looks_by == "photo" else "spectrophotometer"
        best = plan(
            learnt or self.model,
            aim,
            LIMITS,
            readings=self.looks,
            top=1,
            archive=self.recipes,
            before_clear=self.variant.uncleared,
            source=photo,
        )[0]
        stated = best.steered, best.steered if best.own is None else best.own
        before = learnt or Belief.of(self.model, recipes=[best.first])
        card.spray(best.first)
        stages: list[Sprayed] = []
        found = None
        for left in range(self.looks - 1 if best.planned_readings else -1, -1, -1):
            stages.append(card.look())
            found = steer(before, stages, aim, LIMITS, readings_left=left, sure=True)
            if found.best is None:
                break
            card.spray(found.best.recipe)
        if found is not None and found.state == "lost":
            return stated, found.card.learnt, False
        finished = card.judged()
        if stages and stages[-1].recipe == finished.recipe and not self.variant.uncleared:
            stages.pop()
        after = steer(before, [*stages, finished], aim, LIMITS, readings_left=0, sure=True)
        return stated, after.card.learnt, True


@dataclass
class Painter(Way):
    """Coats of the suggested ratio until it looks right within ΔE00 2, then one that is lighter."""

    def __post_init__(self) -> None:
        self.shelf = shelf_recipes(self.archive)
        self.labs = fitted(tuple(self.archive)).predict_recipes(self.shelf)

    def card(
        self, card: Card, target: Array, learnt: Belief | None
    ) -> tuple[tuple[float, float], Belief | None, bool]:
        whole = self.shelf[int(np.argmin(delta_e(self.labs, target)))]
        assert whole.schedule is not None
        ratio = whole.schedule.steps[0].ratio
        weak = MixRatio(ratio.carrier * 2, ratio.colour)
        for coats in range(1, LIMITS.max_coats + 1):
            card.spray(replace(whole, schedule=CoatSchedule.of(coats, ratio)))
            away = float(delta_e(np.array(card.look().lab), target))
            if away <= TOLERANCE:
                break
            if away <= 2.0 or coats >= whole.schedule.coats:
                steps = (CoatStep(coats, ratio), CoatStep(1, weak))
                card.spray(replace(whole, schedule=CoatSchedule(steps)))
                break
        card.judged()
        return UNSAID, None, True


def met_with(
    way: Way,
    shop: Layouts | OwnShop,
    target: Array,
    *,
    seed: Sequence[int],
    most: int = MOST,
) -> Met:
    """Spray cards until one passes."""
    today = shop.today(np.random.default_rng([*seed, 0]))
    met, learnt = Met(), None
    for number in range(1, most + 1):
        rng = np.random.default_rng([*seed, number])
        card = Card(shop, way.variant, rng, dict(today))
        stated, learnt, finished = way.card(card, target, learnt)
        met.readings += card.readings
        if number == 1:
            met.stated, met.own = stated
        gap = float(delta_e(card.final, target)) if finished else np.inf
        met.ended.append(f"{gap:.2f}" if finished else "lost")
        if gap <= TOLERANCE:
            met.cards, met.first = number, number == 1
            return met
    return met


def steered(
    make: Callable[[Layouts, Sequence[Panel], Variant], Way],
    variant: Variant,
    shops: Sequence[Layouts],
    *,
    targets: int,
    most: int = MOST,
    off: float = 0.0,
    own: bool = False,
    samples: bool = False,
) -> tuple[list[Met], float]:
    """What every target took by one way, and the seconds of a card."""
    every, spent = [], 0.0
    for shop, archive, wanted in asked(variant, shops, targets, samples=samples):
        way = make(shop, archive, variant)
        begun = time.process_time()
        for i, colour in enumerate(wanted):
            seed = [shop.seed, i]
            rng = np.random.default_rng([*seed, 1, 1])
            sprays: Layouts | OwnShop = shop
            aim = colour
            if own and isinstance(way, Advised):
                recipe = shop.random_recipe(rng, continuous=True)
                belief = Belief.of(way.model, recipes=[recipe])
                sprays = OwnShop.drawn(belief, recipe, rng)
                aim = sprays.truth(recipe)
            target = moved(aim, off, rng)
            every.append(met_with(way, sprays, target, seed=seed, most=most))
        spent += time.process_time() - begun
    cards = sum(m.cards or most for m in every)
    return every, spent / max(cards, 1)


STEERED: dict[str, Callable[[Layouts, Sequence[Panel], Variant], Way]] = {
    "two looks": Advised,
    "one look": lambda shop, archive, variant: Advised(shop, archive, variant, looks=1),
    "blind": lambda shop, archive, variant: Advised(shop, archive, variant, looks=0),
    FLOOR: Floor,
    "painter's rule": Painter,
}

BLIND = {name: STRATEGIES[name] for name in ("nearest", "gp")}


def _blind(
    make: Callable[[], object], variant: Variant, shops: Sequence[Layouts], targets: int
) -> list[Met]:
    """The same for cards sprayed blind, by `panels_to_match`."""
    every = []
    for shop, archive, wanted in asked(variant, shops, targets):
        strategy = make()
        for i, target in enumerate(wanted):
            met, _ = panels_needed(
                strategy,  # type: ignore[arg-type]  # a strategy
                shop,
                archive,
                target,
                heavy=variant.heavy,
                seed=[shop.seed, i],
            )
            cards = met[TOLERANCE] if met[TOLERANCE] <= MOST else 0
            every.append(Met(cards, cards or MOST, cards == 1))
    return every


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = arguments("cards", __doc__, shops=2)
    parser.add_argument("--targets", type=int, default=16)
    parser.add_argument("--variants", default="full,young")
    parser.add_argument("--only", default=",".join([*STEERED, *BLIND]))
    parser.add_argument("--most", type=int, default=MOST, help="cards sprayed for a target")
    parser.add_argument("--off", type=float, default=0.0)
    parser.add_argument("--samples", action="store_true", help="targets as they read, once sprayed")
    parser.add_argument("--own", action="store_true", help="shops that the fit itself believes in")
    args = parser.parse_args(argv)
    only = set(args.only.split(","))
    print(
        f"{args.targets} targets over {args.shops} shops, at most {args.most} cards each, ΔE00 ≤ 1"
    )
    table = Table(
        *("simulator", "archive", "way", "targets", "passes at the first card"),
        *("chance stated", "of the shelf's own"),
        *("mean cards", "readings a target", "never", "s a card"),
    )
    for simulator, make in each_simulator(args):
        shops, found = [make(args.first_seed + i) for i in range(args.shops)], {}
        for key in args.variants.split(","):
            variant = VARIANTS[key]
            asked_of = {"targets": args.targets, "samples": args.samples, "off": args.off}
            how = {**asked_of, "most": args.most, "own": args.own}
            rows = {}
            for name in (n for n in STEERED if n in only):
                # What the booth's physics is does not depend on the archive.
                of = replace(variant, layout="full", wrong=0.0) if name == FLOOR else variant
                if (name, of) not in found:
                    found[name, of] = steered(STEERED[name], of, shops, **how)
                rows[name] = found[name, of]
            for name, way in BLIND.items():
                if name in only:
                    rows[name] = _blind(way, variant, shops, args.targets), float("nan")
            for name, (every, seconds) in rows.items():
                stated = (np.mean([m.stated for m in every]), np.mean([m.own for m in every]))
                first = float(np.mean([m.first for m in every]))
                # Agresti and Coull (1998): two more that pass, and two that fail.
                more = (sum(m.first for m in every) + 2.0) / (len(every) + 4.0)
                give = np.sqrt(more * (1.0 - more) / (len(every) + 4.0))
                table.row(
                    *(simulator, key, name, len(every), f"{first:.0%} ± {100.0 * give:.0f}"),
                    *("–" if np.isnan(s) else f"{s:.0%}" for s in stated),
                    float(np.mean([m.cards or args.most for m in every])),
                    float(np.mean([m.readings for m in every])),
                    sum(m.cards == 0 for m in every),
                    "–" if np.isnan(seconds) else seconds,
                )
