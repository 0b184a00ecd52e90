"""What a fit has seen: names of grounds, colours and conditions, each with its place."""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Colour, Conditions, Ground, Recipe
from matchlib.errors import UnknownName

__all__ = ["FEWEST_DAYS", "SHORTEST", "Vocabulary", "geometry_group"]

Array = NDArray[np.float64]

FEWEST_DAYS, SHORTEST = 8, 30
"""Days with panels, and days from first to last, from which drift is spoken of."""

_GROUPS = {"0:45": "45:0", "8:di": "di:8", "8:de": "de:8", "8:d": "d:8", "0:d": "d:0"}


def geometry_group(geometry: str) -> str:
    """Return the geometry's one name: light and eye may change places (Helmholtz)."""
    return _GROUPS.get(geometry, geometry)


@dataclass(frozen=True)
class Vocabulary:
    """Names that a fit has seen, each with its place.

    A single sprayer, lot, batch or instrument is known too: of another nobody knows how far off it
    is. Clear coats are there when at least two were seen, and days when they are many.

    Parameters
    ----------
    grounds, colours : tuple of str
        Casefolded base names.
    pairs : tuple of (int, int)
        Grounds that were blended with each other.
    geometries : tuple of str
        Geometry groups; the first is the reference.
    sprayers, instruments, clears : tuple of str
        Names.
    lots, batches : tuple of (str, str)
        Colour and lot, ground and batch.
    days : tuple of (int, int) or ()
        First and last day, as ordinals of the calendar.
    """

    grounds: tuple[str, ...]
    colours: tuple[str, ...]
    pairs: tuple[tuple[int, int], ...]
    geometries: tuple[str, ...]
    sprayers: tuple[str, ...] = ()
    instruments: tuple[str, ...] = ()
    clears: tuple[str, ...] = ()
    lots: tuple[tuple[str, str], ...] = ()
    batches: tuple[tuple[str, str], ...] = ()
    days: tuple[int, ...] = ()

    @classmethod
    def of(
        cls,
        recipes: Iterable[Recipe],
        geometries: Iterable[str],
        conditions: Iterable[Conditions] = (),
    ) -> Vocabulary:
        """Collect the names in use."""
        distinct, known = set(recipes), set(conditions)
        grounds = sorted({n for r in distinct for n in r.ground.shares})
        colours = sorted({n for r in distinct for c, _ in r.layers for n in c.shares})
        place = {n: i for i, n in enumerate(grounds)}
        pairs = {
            (place[a], place[b])
            for r in distinct
            for a in r.ground.shares
            for b in r.ground.shares
            if place[a] < place[b]
        }
        seen = [geometry_group(g) for g in geometries]
        ranked = sorted(set(seen), key=lambda g: (-seen.count(g), g))
        days = {c.date.toordinal() for c in known if c.date}
        return cls(
            tuple(grounds),
            tuple(colours),
            tuple(sorted(pairs)),
            tuple(ranked),
            tuple(sorted({c.sprayer for c in known if c.sprayer})),
            tuple(sorted({c.instrument for c in known if c.instrument})),
            _several({r.clear for r in distinct if r.clear}),
            tuple(sorted({(n.casefold(), lot) for c in known for n, lot in c.lots if lot})),
            tuple(sorted({(n.casefold(), b) for c in known for n, b in c.batches if b})),
            (min(days), max(days))
            if len(days) >= FEWEST_DAYS and max(days) - min(days) >= SHORTEST
            else (),
        )

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


def _several(names: Set[Any]) -> tuple[Any, ...]:
    """Names in order, when they are at least two: of one alone nothing can be told."""
    return tuple(sorted(names)) if len(names) > 1 else ()
