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
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from matchlib.correction import Belief, Sprayed
from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Panel, Recipe
from matchlib.mixing import Limits
from matchlib.regression import FilmRegressor
from matchlib.steering import plan, steer
from matchlib.target import Target
from tests.benchmarks.chances import moved
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array, delta_e, spectrum_to_lab
from tests.benchmarks.own_shop import Laid, OwnShop
from tests.benchmarks.panels import labs, swap_backs, to_frame
from tests.benchmarks.panels_to_match import Variant as Blind
from tests.benchmarks.panels_to_match import panels_needed
from tests.benchmarks.strategies import STRATEGIES, shelf_recipes
from tests.benchmarks.strategy_correction import Corrected
from tests.benchmarks.workshop import CoatsSprayed

__all__ = ["VARIANTS", "Card", "Met", "Variant", "met_with", "steered"]

MOST = 6
"""Cards sprayed for a target, at most; one that is never met counts as so many."""

TOLERANCE = 1.0

CARRIERS = (2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 20, 25, 30)
"""Parts of carrier to one of colour in the pots of coats on top, where the physics is known."""

POTS = 3
"""Pairs of ground and pot among which the floor chooses, the nearest ones."""

LEAST_SHARE, MOST_SHARE = 0.6, 0.9
"""Strength at the floor's first look, of the whole."""

UNSAID = float("nan"), float("nan")
LIMITS = Limits(blends=True, step_ups=False, ground_blends=False)


@dataclass(frozen=True)
class Variant:
    """How the archive was made, and how the cards are sprayed and read."""

    layout: str = "full"
    wrong: float = 0.0
    heavy: float = 1.0
    looks_by: str = "lab"
    uncleared: bool = False


VARIANTS = {
    "full": Variant(),
    "young": Variant("young"),
    "wrong": Variant(wrong=0.05),
    "heavy": Variant(heavy=1.15),
    "photo": Variant(looks_by="photo"),
    "uncleared": Variant(uncleared=True),
    "young-uncleared": Variant("young", uncleared=True),
}


@dataclass
class Card:
    """One card on its way through the booth."""

    shop: Layouts | OwnShop
    variant: Variant
    rng: np.random.Generator
    today: dict[str, object]
    laid: CoatsSprayed | Laid | None = None
    readings: int = 0
    final: Array = field(default_factory=lambda: np.full(3, np.nan))

    def spray(self, recipe: Recipe) -> None:
        """Lay a first recipe, or what it has more than is on the card."""
        if self.laid is None:
            self.laid = self.shop.lay(
                recipe,
                self.rng,
                heavy=self.variant.heavy,
                **self.today,  # type: ignore[arg-type]  # the shop's own words
            )
        else:
            self.laid = self.shop.build_on(self.laid, recipe, self.rng)  # type: ignore[arg-type]  # its own

    def look(self) -> Sprayed:
        """Read it on the way."""
        assert self.laid is not None
        recipe, bare = self.laid.recipe, replace(self.laid.recipe, clear=None)
        card = replace(self.laid, recipe=bare) if self.variant.uncleared else self.laid
        panel = self.shop.read(card, self.rng, reading=self.variant.looks_by)  # type: ignore[arg-type]  # its own
        self.readings += 1
        reading = panel.readings[0]
        if self.variant.uncleared:
            reading = replace(reading, state="before clear")
        return Sprayed.of((recipe, reading))

    def judged(self) -> Sprayed:
        """Read it finished, by an instrument."""
        assert self.laid is not None
        panel = self.shop.read(self.laid, self.rng)  # type: ignore[arg-type]  # its own
        self.readings += 1
        self.final = labs([panel])[0]
        return Sprayed.of((self.laid.recipe, panel.readings[0]))


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
class Advised:
    """Cards planned and steered by the package."""

    shop: Layouts
    archive: Sequence[Panel]
    variant: Variant
    looks: int = 2

    def __post_init__(self) -> None:
        self.model = FilmRegressor().fit(*to_frame(self.archive))
        self.recipes = [p.recipe for p in self.archive]

    def card(
        self, card: Card, target: Array, learnt: Belief | None
    ) -> tuple[tuple[float, float], Belief | None, bool]:
        """Spray one card: the chances stated, what it taught, and whether it is finished."""
        photo = "photo" if self.variant.looks_by == "photo" else "spectrophotometer"
        best = plan(
            learnt or self.model,
            Target.lab(*target),
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
            found = steer(before, stages, tuple(target), LIMITS, readings_left=left, sure=True)
            if found.best is None:
                break
            card.spray(found.best.recipe)
        if found is not None and found.state == "lost":
            return stated, found.card.learnt, False
        finished = card.judged()
        if stages and stages[-1].recipe == finished.recipe and not self.variant.uncleared:
            stages.pop()
        after = steer(
            before, [*stages, finished], tuple(target), LIMITS, readings_left=0, sure=True
        )
        return stated, after.card.learnt, True


@dataclass
class Floor:
    """The booth's physics and today's pots are known; this card's film is read off its colour."""

    shop: Layouts
    archive: Sequence[Panel]
    variant: Variant
    looks: int = 2

    def __post_init__(self) -> None:
        self.shelf = shelf_recipes(self.archive)

    def card(
        self, card: Card, target: Array, learnt: None
    ) -> tuple[tuple[float, float], None, bool]:
        """Spray one card."""
        labs = self.shop.truth_labs(self.shelf, **card.today)  # type: ignore[arg-type]  # its words
        order = np.argsort(delta_e(labs, target))
        card.spray(self._start(order, card, target) if self.looks else self.shelf[order[0]])
        for left in range(self.looks - 1, -1, -1):
            read = np.array(card.look().lab)
            assert card.laid is not None
            film = self._film(card, read)
            keep = 0.93 if left else 1.0
            best = self._top_up(card, film, target, keep)
            if best is None:
                break
            card.spray(best)
        card.judged()
        return UNSAID, None, True

    def _start(self, order: Array, card: Card, target: Array) -> Recipe:
        """Coats up to the first look from which the best coats on top come nearest.

        Of those that come as near within a tenth, the one of about three quarters of the whole;
        other coats of the same strength may be of another hue.
        """
        wholes: dict[tuple[object, object], Recipe] = {}
        for i in order:
            wholes.setdefault((self.shelf[i].ground, self.shelf[i].colour), self.shelf[i])
        starts, shares = [], []
        for pot, whole in list(wholes.items())[:POTS]:
            for recipe in self.shelf:
                share = recipe.schedule.strength / whole.schedule.strength
                if (recipe.ground, recipe.colour) == pot and LEAST_SHARE <= share <= MOST_SHARE:
                    starts.append(recipe)
                    shares.append(share)
        made = [r for start in starts for r in self._longer(start)]
        labs = self.shop.truth_labs(made, **card.today)  # type: ignore[arg-type]  # its words
        away = delta_e(labs, target).reshape(len(starts), -1).min(axis=1)
        near = np.flatnonzero(away <= away.min() + 0.1)
        return starts[min(near, key=lambda i: abs(np.log(shares[i] / 0.75)))]

    def _film(self, card: Card, read: Array) -> Array:
        """Film of the coats so far, all alike, that is likeliest by what was read."""
        assert card.laid is not None
        tried = np.geomspace(0.7, 1.5, 81)
        clear = None if self.variant.uncleared else card.laid.recipe.clear
        recipe = replace(card.laid.recipe, clear=clear)
        noise, coats = self.shop.noise, max(len(card.laid.film), 1)
        usual = np.hypot(noise.film, noise.coat / np.sqrt(coats))
        photo = self.variant.looks_by == "photo"
        reading = np.hypot(noise.photo, noise.photo_bias) if photo else noise.lab
        away = self._labs(card, [(recipe, f, 1.0) for f in tried]) - read
        # The ground's level shows in the reading as well: a hundredth of it is a third of an L*.
        cost = (away**2).sum(axis=1) / (reading**2 + 0.3**2) + (np.log(tried) / usual) ** 2
        return np.asarray(tried[int(np.argmin(cost))])

    def _top_up(self, card: Card, film: Array, target: Array, keep: float) -> Recipe | None:
        assert card.laid is not None
        have, more = card.laid.recipe, self._longer(card.laid.recipe)
        every = [(have, float(film), 1.0)] + [(r, float(film), 1.0 / keep) for r in more]
        at = int(np.argmin(delta_e(self._labs(card, every), target)))
        return more[at - 1] if at else None

    def _longer(self, have: Recipe) -> list[Recipe]:
        """The same with coats on top."""
        assert have.schedule is not None
        steps = have.schedule.steps
        return [
            replace(have, schedule=CoatSchedule((*steps, CoatStep(n, MixRatio(c, 1)))))
            for n, c in product((1, 2, 3), CARRIERS)
        ]

    def _labs(self, card: Card, rows: Sequence[tuple[Recipe, float, float]]) -> Array:
        """Noise-free Lab of recipes whose coats are so much thicker, those to come once more."""
        assert card.laid is not None
        assert card.laid.recipe.schedule is not None
        laid = card.laid.recipe.schedule.coats
        ideal = []
        for recipe, film, extra in rows:
            coats = 0 if recipe.schedule is None else recipe.schedule.coats
            each = np.full(coats, film)
            each[laid:] *= extra
            ideal.append(
                replace(card.laid, recipe=recipe, film=each, dose=np.ones(coats), level=1.0)
            )
        return spectrum_to_lab(self.shop._light(ideal, "45:0"))


@dataclass
class Painter:
    """Coats of the suggested ratio until it looks right within ΔE00 2, then one that is lighter."""

    shop: Layouts
    archive: Sequence[Panel]
    variant: Variant
    looks: int = 6

    def __post_init__(self) -> None:
        self.shelf = shelf_recipes(self.archive)
        model = FilmRegressor().fit(*to_frame(self.archive))
        self.labs = model.predict_recipes(self.shelf)

    def card(
        self, card: Card, target: Array, learnt: None
    ) -> tuple[tuple[float, float], None, bool]:
        """Spray one card."""
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
    way: Advised | Floor | Painter,
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
        stated, learnt, finished = way.card(card, target, learnt)  # type: ignore[arg-type]  # each takes what it gave
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
    ways: dict[str, Callable[[Layouts, Sequence[Panel], Variant], Advised | Floor | Painter]],
    variant: Variant,
    shops: Sequence[Layouts],
    *,
    targets: int,
    most: int = MOST,
    off: float = 0.0,
    own: bool = False,
) -> dict[str, tuple[list[Met], float]]:
    """What every target took, and the seconds of a card, by the way it was gone about."""
    found: dict[str, tuple[list[Met], float]] = {}
    for name, make in ways.items():
        every, spent = [], 0.0
        for shop, archive, wanted in _asked(variant, shops, targets):
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
        found[name] = every, spent / max(cards, 1)
    return found


def _asked(
    variant: Variant, shops: Sequence[Layouts], targets: int
) -> Iterator[tuple[Layouts, Sequence[Panel], Array]]:
    """Each shop with its archive and its share of the targets."""
    for nth, shop in enumerate(shops):
        archive = getattr(shop, variant.layout)(shop.seed)
        if variant.wrong:
            archive, _ = swap_backs(archive, variant.wrong, shop.seed)
        share = targets // len(shops) + (nth < targets % len(shops))
        yield shop, archive, shop.reachable(share, shop.seed)


STEERED: dict[str, Callable[[Layouts, Sequence[Panel], Variant], Advised | Floor | Painter]] = {
    "two looks": Advised,
    "one look": lambda shop, archive, variant: Advised(shop, archive, variant, looks=1),
    "floor of two looks": Floor,
    "painter's rule": Painter,
}

BLIND = {"blind": Corrected, "nearest": STRATEGIES["nearest"], "gp": STRATEGIES["gp"]}


def _blind(
    make: Callable[[], object], variant: Variant, shops: Sequence[Layouts], targets: int
) -> list[Met]:
    """The same for cards sprayed blind, by `panels_to_match`."""
    how = Blind(variant.layout, variant.wrong, heavy=variant.heavy)
    every = []
    for shop, archive, wanted in _asked(variant, shops, targets):
        strategy = make()
        for i, target in enumerate(wanted):
            met, _ = panels_needed(
                strategy,  # type: ignore[arg-type]  # a strategy
                shop,
                archive,
                target,
                variant=how,
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
        shops = [make(args.first_seed + i) for i in range(args.shops)]
        for key in args.variants.split(","):
            variant = VARIANTS[key]
            ways = {n: w for n, w in STEERED.items() if n in only}
            how = {"most": args.most, "off": args.off, "own": args.own}
            rows = steered(ways, variant, shops, targets=args.targets, **how)
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
