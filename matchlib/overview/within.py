"""What a shelf can reach by the law."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import lch
from matchlib.domain import CoatSchedule, Lab, MixRatio, Panel, Recipe
from matchlib.errors import DomainError
from matchlib.overview.cards import panel_lab

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["ColourRange", "candidates", "reach"]

Array = NDArray[np.float64]

RATIOS = (2, 3, 4, 5, 6, 8, 10)

COATS = range(1, 7)
"""Ratios (parts of carrier to one of colour) and coats that count as within reach (common
practice, no source)."""


@dataclass(frozen=True)
class ColourRange:
    """The colours within reach of one colour, or of all."""

    recipes: tuple[Recipe, ...]  # n of them
    lab: Array  # (n, 3), CIELAB by the law
    # panels of the archive: code, recipe, CIELAB as read
    panels: tuple[tuple[str, Recipe, Lab], ...]
    # by colour: its name, recipes, least and greatest L*, least and greatest C*
    extent: tuple[tuple[str, int, float, float, float, float], ...]


def candidates(
    panels: Sequence[Panel], *, grounds: Sequence[str] = (), colours: Sequence[str] = ()
) -> list[Recipe]:
    """Return what could be sprayed with the neat grounds and colours of an archive."""
    recipes = [p.recipe for p in panels]
    own = dict.fromkeys(r.ground for r in recipes if r.ground.neat)
    pots = dict.fromkeys(c for r in recipes for c in r.colours if c.neat)
    clears = [r.clear for r in recipes]
    clear = max(dict.fromkeys(clears), key=clears.count) if clears else None
    return [
        Recipe(g, c, CoatSchedule.of(n, MixRatio(Fraction(r), Fraction(1))), clear)
        for g in own
        if not grounds or str(g) in grounds
        for c in pots
        if not colours or str(c) in colours
        for r in RATIOS
        for n in COATS
    ]


def reach(
    model: FilmPredictor,
    panels: Sequence[Panel],
    *,
    grounds: Sequence[str] = (),
    colours: Sequence[str] = (),
) -> ColourRange:
    """Return the colours within reach.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    panels : sequence of Panel
        The archive.
    grounds, colours : sequence of str
        Only these, by name; all if empty.

    Returns
    -------
    ColourRange
        Of neat colours over neat grounds.

    Raises
    ------
    DomainError
        If nothing is.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = reach(demo_model(), demo_panels(), grounds=["silver"], colours=["cherry"])
    >>> found.lab.shape[1], len(found.recipes) == len(found.lab)
    (3, True)
    """
    recipes = candidates(panels, grounds=grounds, colours=colours)
    if not recipes:
        raise DomainError(
            "There is no recipe to look at.",
            expected="at least one neat ground and one neat colour",
            got="none",
            remedy="choose a ground and a colour.",
        )
    view = model.usual_view
    lab = model.predict_recipes(recipes, view)
    read = []
    for panel in panels:
        of_ground = not grounds or str(panel.recipe.ground) in grounds
        laid = set(map(str, panel.recipe.colours))
        of_colour = not colours or panel.recipe.bare or not laid.isdisjoint(colours)
        place = panel_lab(panel, view) if of_ground and of_colour else None
        if place is not None:
            read.append((panel.code, panel.recipe, place))
    extent = []
    for colour in dict.fromkeys(r.colour for r in recipes):
        some = lch(lab[[r.colour == colour for r in recipes]])
        ends = (some[:, 0].min(), some[:, 0].max(), some[:, 1].min(), some[:, 1].max())
        a, b, c, d = (float(v) for v in ends)
        extent.append((str(colour), len(some), a, b, c, d))
    return ColourRange(tuple(recipes), lab, tuple(read), tuple(extent))
