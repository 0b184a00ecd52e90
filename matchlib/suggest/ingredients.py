"""What of the shelf may be searched within the limits."""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction
from typing import NamedTuple

from matchlib.domain import Colour, Ground, Recipe
from matchlib.errors import DomainError
from matchlib.mixing import Limits

__all__ = ["Ingredients"]


class Ingredients(NamedTuple):
    """Grounds and colours that are searched, spelled as their owner spells them."""

    grounds: tuple[Ground, ...]
    never_mixed: tuple[bool, ...]  # one a ground: a blend at shares that nobody said exist
    colours: tuple[Colour, ...]
    clear: str | None

    @classmethod
    def of(
        cls,
        limits: Limits,
        grounds: tuple[str, ...],
        colours: tuple[str, ...],
        pairs: tuple[tuple[str, str], ...],
        archive: Iterable[Recipe] = (),
    ) -> Ingredients:
        """Work out what may be used."""
        past = list(archive)
        spelled: dict[str, str] = {}
        for recipe in past:
            for blend in (recipe.ground, *(colour for colour, _ in recipe.layers)):
                for name in blend.names:
                    spelled.setdefault(name.casefold(), name)
        clear = limits.clear
        if clear == "usual":
            kinds = [r.clear for r in past if r.colour is not None]
            clear = max(sorted(set(kinds), key=str), key=kinds.count) if kinds else "yes"
        if limits.grounds is None:
            base = {n: Ground.parse(spelled.get(n, n)) for n in grounds}
            ready = {r.ground: None for r in past if not r.ground.neat}
            chosen = [*base.values(), *ready]
        else:
            base = {g.names[0].casefold(): g for g in limits.grounds if g.neat}
            chosen = list(limits.grounds)
        found: dict[Ground, bool] = dict.fromkeys(chosen, False)
        if limits.ground_blends:
            sprayed = {r.ground for r in past}
            for one, two in pairs:
                if one in base and two in base:
                    for a, b in _parts(limits.ground_parts):
                        blend = Ground(
                            ((base[one].names[0], Fraction(a)), (base[two].names[0], Fraction(b)))
                        )
                        found.setdefault(blend, blend not in sprayed)
        if limits.colours is None:
            pots = [Colour.parse(spelled.get(n, n)) for n in colours]
        else:
            pots = list(limits.colours)
        neat = [c for c in pots if c.neat]
        if limits.blends:
            known = set(pots)
            for i, one_colour in enumerate(neat):
                for two_colour in neat[i + 1 :]:
                    for a, b in _parts(limits.blend_parts):
                        mixed = Colour(
                            (
                                (one_colour.names[0], Fraction(a)),
                                (two_colour.names[0], Fraction(b)),
                            )
                        )
                        if mixed not in known:
                            known.add(mixed)
                            pots.append(mixed)
        if not found or not pots:
            raise DomainError(
                "Nothing is left on the shelf to search among.",
                expected="at least one ground and one colour",
                got=f"{len(found)} grounds and {len(pots)} colours",
                remedy="name some, or leave the shelf open.",
            )
        return cls(tuple(found), tuple(found.values()), tuple(pots), clear)


def _parts(total: int) -> list[tuple[int, int]]:
    pairs = [(a, b) for a in range(1, total) for b in range(1, total + 1 - a)]
    return [(a, b) for a, b in pairs if math.gcd(a, b) == 1]
