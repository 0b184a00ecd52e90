"""One card on its way through a booth, and how archive, sprayer and readings may differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from matchlib.correction import Belief, Sprayed
from matchlib.domain import Panel, Recipe
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array
from tests.benchmarks.own_shop import Laid, OwnShop
from tests.benchmarks.panels import labs, swap_backs
from tests.benchmarks.workshop import CoatsSprayed

__all__ = ["UNSAID", "VARIANTS", "Card", "Variant", "Way", "asked"]

UNSAID = float("nan"), float("nan")
"""Chances of a way that states none."""


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
class Way:
    """A way to spray the cards of one shop and its archive."""

    shop: Layouts
    archive: Sequence[Panel]
    variant: Variant
    looks: int = 2

    def card(
        self, card: Card, target: Array, learnt: Belief | None
    ) -> tuple[tuple[float, float], Belief | None, bool]:
        """Spray one card: the chances stated, what it taught, and whether it is finished."""
        raise NotImplementedError


def asked(
    variant: Variant, shops: Sequence[Layouts], targets: int, *, samples: bool = False
) -> Iterator[tuple[Layouts, Sequence[Panel], Array]]:
    """Each shop with its archive and its share of the targets."""
    for nth, shop in enumerate(shops):
        archive = getattr(shop, variant.layout)(shop.seed)
        if variant.wrong:
            archive, _ = swap_backs(archive, variant.wrong, shop.seed)
        share = targets // len(shops) + (nth < targets % len(shops))
        yield shop, archive, (shop.samples if samples else shop.reachable)(share, shop.seed)
