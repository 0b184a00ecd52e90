"""What was sprayed and what never."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Ground, Panel

__all__ = ["BANDS", "Coverage", "coverage"]

BANDS: tuple[tuple[str, float], ...] = (
    ("bare", 0.0),
    ("up to 0.3", 0.3),
    ("0.3 to 0.5", 0.5),
    ("0.5 to 0.7", 0.7),
    ("0.7 to 1", 1.0),
    ("over 1", np.inf),
)
"""Bands of strength, coats times the colour's share of the pot [coats of neat colour], and their
upper ends."""


@dataclass(frozen=True)
class Coverage:
    """How often what was sprayed.

    Parameters
    ----------
    grounds, colours : tuple of str
        As named in the archive.
    by_strength : ndarray of int, shape (grounds, bands)
        Panels, of the colour asked for or of all.
    by_colour : ndarray of int, shape (grounds, colours)
        Panels, bare ones left out.
    never : tuple of str
        Pairs of a neat ground and a neat colour that were never sprayed.
    panels, readings : int
        In all.
    """

    grounds: tuple[str, ...]
    colours: tuple[str, ...]
    by_strength: NDArray[np.int64]
    by_colour: NDArray[np.int64]
    never: tuple[str, ...]
    panels: int
    readings: int


def coverage(panels: Sequence[Panel], colour: str | None = None) -> Coverage:
    """Count the panels.

    Parameters
    ----------
    panels : sequence of Panel
        The archive.
    colour : str, optional
        Count strengths of this colour only, as `Colour` writes it; bare grounds always count.

    Returns
    -------
    Coverage
        Grounds in the order of their panels, most first.
    """
    totals: dict[Ground, int] = {}
    for panel in panels:
        totals[panel.recipe.ground] = totals.get(panel.recipe.ground, 0) + 1
    grounds = sorted(totals, key=lambda g: -totals[g])
    colours = list(dict.fromkeys(p.recipe.colour for p in panels if p.recipe.colour is not None))
    ends = np.array([end for _, end in BANDS])
    by_strength = np.zeros((len(grounds), len(BANDS)), np.int64)
    by_colour = np.zeros((len(grounds), len(colours)), np.int64)
    for panel in panels:
        row = grounds.index(panel.recipe.ground)
        if panel.recipe.colour is not None:
            by_colour[row, colours.index(panel.recipe.colour)] += 1
        if colour is None or panel.recipe.bare or str(panel.recipe.colour) == colour:
            schedule = panel.recipe.schedule
            strength = 0.0 if schedule is None else schedule.strength
            by_strength[row, int(np.searchsorted(ends, strength))] += 1
    never = tuple(
        f"{c} over {g}"
        for i, g in enumerate(grounds)
        for j, c in enumerate(colours)
        if g.neat and c.neat and not by_colour[i, j]
    )
    return Coverage(
        tuple(map(str, grounds)),
        tuple(map(str, colours)),
        by_strength,
        by_colour,
        never,
        len(panels),
        sum(len(p.readings) for p in panels),
    )
