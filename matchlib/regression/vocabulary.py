"""What a fit has seen: names of grounds, colours and conditions, each with its place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Colour, Conditions, Ground, Recipe, Viewing, name_key
from matchlib.domain.reading import geometries_by_use
from matchlib.errors import UnknownName

__all__ = [
    "FEWEST_DAYS",
    "SHARED",
    "SHORTEST",
    "Vocabulary",
    "names_of",
    "shared_by",
]

Array = NDArray[np.float64]

FEWEST_DAYS, SHORTEST = 8, 30
"""Days with panels, and days from first to last, from which drift is spoken of."""

SHARED = ("sprayer", "lot", "batch", "clear", "instrument")
"""What panels share beside the recipe, by kind."""


@dataclass(frozen=True)
class Vocabulary:
    """Names that a fit has seen, each with its place.

    A single sprayer, lot, batch or instrument is known too: of another nobody knows how far off it
    is. Clear coats are there when at least two were seen, and days when they are many.
    """

    grounds: tuple[str, ...]  # base names by `name_key`
    colours: tuple[str, ...]
    pairs: tuple[tuple[int, int], ...]  # grounds that were blended with each other
    geometries: tuple[str, ...]  # each by its one name; the first is the reference
    shared: tuple[tuple[str, ...], ...] = ()  # kind and name; of lots and batches also whose
    days: tuple[int, ...] = ()  # first and last day, as ordinals of the calendar

    @classmethod
    def of(
        cls,
        recipes: Iterable[Recipe],
        viewings: Iterable[Viewing],
        conditions: Iterable[Conditions] = (),
    ) -> Vocabulary:
        """Collect the names in use."""
        distinct, known = set(recipes), set(conditions)
        grounds = sorted({n for r in distinct for n in r.ground.shares})
        colours = sorted({n for r in distinct for c in r.colours for n in c.shares})
        place = {n: i for i, n in enumerate(grounds)}
        blends = {pair for r in distinct for pair in combinations(sorted(r.ground.shares), 2)}
        clears = {("clear", r.clear) for r in distinct if r.clear}
        shared = {key for c in known for key in shared_by(c)} | (
            clears if len(clears) > 1 else set()
        )
        days = {c.date.toordinal() for c in known if c.date}
        many = len(days) >= FEWEST_DAYS and max(days) - min(days) >= SHORTEST
        return cls(
            tuple(grounds),
            tuple(colours),
            tuple(sorted((place[a], place[b]) for a, b in blends)),
            tuple(geometries_by_use(v.canonical for v in viewings)),
            tuple(sorted(shared)),
            (min(days), max(days)) if many else (),
        )

    @property
    def names(self) -> tuple[tuple[str, str], ...]:
        """Grounds and then colours, each with which it is: a colour may be called as a ground."""
        kinds = ("ground", self.grounds), ("colour", self.colours)
        return tuple((kind, name) for kind, names in kinds for name in names)

    def of_kind(self, kind: str) -> list[tuple[str, ...]]:
        """Return what is shared of a kind: names, of lots and batches with whose they are."""
        return [key[1:] for key in self.shared if key[0] == kind]

    def knows(self, recipe: Recipe) -> bool:
        """Return whether every ground and colour of a recipe was seen."""
        return names_of(recipe) <= set(self.names)

    def shares(self, blend: Ground | Colour) -> Array:
        """Return a blend's shares over the vocabulary."""
        names = self.grounds if isinstance(blend, Ground) else self.colours
        result = np.zeros(len(names))
        for name, share in blend.shares.items():
            if name not in names:
                raise UnknownName(
                    f"No panel in the archive shows the {blend.kind} {name!r}.",
                    expected=f"one of {', '.join(names) or 'none yet'}",
                    got=repr(name),
                    remedy="check the spelling, or add a reading of the bare ground."
                    if isinstance(blend, Ground)
                    else "check the spelling, or add at least one panel of this colour.",
                )
            result[names.index(name)] = share
        return result


def names_of(recipe: Recipe) -> set[tuple[str, str]]:
    """Grounds and colours of a recipe, each with what it is."""
    colours = {("colour", c) for colour in recipe.colours for c in colour.shares}
    return {("ground", g) for g in recipe.ground.shares} | colours


def shared_by(conditions: Conditions) -> Iterator[tuple[str, ...]]:
    """Return what conditions name, as it stands in a vocabulary."""
    if conditions.sprayer:
        yield "sprayer", conditions.sprayer
    if conditions.instrument:
        yield "instrument", conditions.instrument
    for kind, pairs in (("lot", conditions.lots), ("batch", conditions.batches)):
        yield from ((kind, name_key(whose), name) for whose, name in pairs if name)
