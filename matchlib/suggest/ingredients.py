"""What of the shelf may be searched within the limits."""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction
from itertools import combinations
from typing import NamedTuple, TypeVar

from matchlib.domain import Colour, Ground, Recipe, name_key
from matchlib.errors import DomainError
from matchlib.mixing import Limits

__all__ = ["Ingredients", "usual_clear"]

B = TypeVar("B", Ground, Colour)


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
            for blend in (recipe.ground, *recipe.colours):
                for name in blend.names:
                    spelled.setdefault(name_key(name), name)
        clear = usual_clear(past) if limits.clear == "usual" else limits.clear
        bases: Iterable[Ground] | None = limits.grounds
        if bases is None:
            ready = [r.ground for r in past if not r.ground.neat]
            bases = [*(Ground.parse(spelled.get(n, n)) for n in grounds), *ready]
        found = dict.fromkeys(bases, False)
        if limits.ground_blends:
            sprayed = {r.ground for r in past}
            base = {name_key(g.names[0]): g for g in found if g.neat}
            for one, two in pairs:
                if one in base and two in base:
                    for blend in _blends(base[one], base[two], limits.ground_parts):
                        found.setdefault(blend, blend not in sprayed)
        pots = limits.colours
        if pots is None:
            pots = tuple(Colour.parse(spelled.get(n, n)) for n in colours)
        if limits.blends:
            mixed = [
                blend
                for one_colour, two_colour in combinations([c for c in pots if c.neat], 2)
                for blend in _blends(one_colour, two_colour, limits.blend_parts)
            ]
            pots = tuple(dict.fromkeys([*pots, *mixed]))
        if not found or not pots:
            raise DomainError(
                "Nothing is left on the shelf to search among.",
                expected="at least one ground and one colour",
                got=f"{len(found)} grounds and {len(pots)} colours",
                remedy="name some, or leave the shelf open.",
            )
        return cls(tuple(found), tuple(found.values()), pots, clear)


def usual_clear(past: Iterable[Recipe]) -> str | None:
    """Return the clear coat that most colours stand under; of none that most grounds do, or yes."""
    recipes = list(past)
    kinds = [r.clear for r in recipes if not r.bare] or [r.clear for r in recipes] or ["yes"]
    return max(sorted(set(kinds), key=str), key=kinds.count)


def _blends(one: B, two: B, most: int) -> list[B]:
    """Two neat things at every share of at most so many parts."""
    pairs = [(a, b) for a in range(1, most) for b in range(1, most + 1 - a)]
    return [
        type(one)(((one.names[0], Fraction(a)), (two.names[0], Fraction(b))))
        for a, b in pairs
        if math.gcd(a, b) == 1
    ]
