"""What was laid over what, each pair with its cards from weak to strong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matchlib.domain import Colour, Ground, Panel
from matchlib.overview.cards import card_lab
from matchlib.overview.labs import Lab

__all__ = ["Laid", "laid_over"]


@dataclass(frozen=True)
class Laid:
    """What was sprayed over what.

    Parameters
    ----------
    grounds : tuple of Ground
        The neat ones first, those of most panels before the others.
    colours : tuple of Colour
        Likewise.
    bare : mapping of Ground to tuple of 3 float
        How grounds read bare, CIELAB.
    cells : mapping of (Ground, Colour) to tuple of (float, Panel, tuple of 3 float or None)
        The panels of each pair that was sprayed, weak to strong: strength, coats times the
        colour's share of the pot [coats of neat colour]; the panel; how it reads.
    never : tuple of str
        Pairs of a neat ground and a neat colour that were never sprayed.
    """

    grounds: tuple[Ground, ...]
    colours: tuple[Colour, ...]
    bare: Mapping[Ground, Lab]
    cells: Mapping[tuple[Ground, Colour], tuple[tuple[float, Panel, Lab | None], ...]]
    never: tuple[str, ...]


def laid_over(panels: Sequence[Panel]) -> Laid:
    """Sort panels by ground and colour.

    Parameters
    ----------
    panels : sequence of Panel
        The archive.

    Returns
    -------
    Laid
        Of all of them.
    """
    grounds = Counter(p.recipe.ground for p in panels)
    colours = Counter(p.recipe.colour for p in panels if p.recipe.colour is not None)
    by_ground = tuple(sorted(grounds, key=lambda g: (not g.neat, -grounds[g])))
    by_colour = tuple(sorted(colours, key=lambda c: (not c.neat, -colours[c])))
    bare: dict[Ground, Lab] = {}
    cells: dict[tuple[Ground, Colour], list[tuple[float, Panel, Lab | None]]] = {}
    for panel in panels:
        ground, colour, lab = panel.recipe.ground, panel.recipe.colour, card_lab(panel)
        if colour is not None:
            schedule = panel.recipe.schedule
            strength = 0.0 if schedule is None else schedule.strength
            cells.setdefault((ground, colour), []).append((strength, panel, lab))
        elif lab is not None:
            bare.setdefault(ground, lab)
    never = tuple(
        f"{c} over {g}"
        for g in by_ground
        for c in by_colour
        if g.neat and c.neat and (g, c) not in cells
    )
    ordered = {pair: tuple(sorted(row, key=lambda r: r[0])) for pair, row in cells.items()}
    return Laid(by_ground, by_colour, bare, ordered, never)
