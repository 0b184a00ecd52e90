"""What was sprayed over what, from weak to strong, and what never."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Colour, Ground, Panel
from matchlib.errors import DomainError

if TYPE_CHECKING:
    import pandas as pd

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
    """What was sprayed over what.

    Parameters
    ----------
    grounds : tuple of Ground
        The neat ones first, those of most panels before the others.
    colours : tuple of Colour
        Likewise.
    cells : mapping of (Ground, Colour or None) to tuple of Panel
        The panels of each pair that was sprayed, weak to strong; bare ones under None, and one in
        layers under each of its colours.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> found = coverage(demo_panels())
    >>> len(found.grounds), len(found.colours), len(found.never)
    (9, 8, 5)
    """

    grounds: tuple[Ground, ...]
    colours: tuple[Colour, ...]
    cells: Mapping[tuple[Ground, Colour | None], tuple[Panel, ...]]

    @property
    def never(self) -> tuple[str, ...]:
        """Pairs of a neat ground and a neat colour that were never sprayed."""
        pairs = ((g, c) for g in self.grounds for c in self.colours if g.neat and c.neat)
        return tuple(f"{c} over {g}" for g, c in pairs if (g, c) not in self.cells)

    @property
    def by_colour(self) -> NDArray[np.int64]:
        """Panels of each ground in the rows, of each colour in the columns, bare ones left out."""
        counts = [[len(self.cells.get((g, c), ())) for c in self.colours] for g in self.grounds]
        return np.array(counts, np.int64).reshape(len(self.grounds), len(self.colours))

    def to_frame(self) -> pd.DataFrame:
        """Return a table of how many panels there are.

        Returns
        -------
        DataFrame
            A ground a row and a colour a column, ``bare`` first.
        """
        import pandas as pd

        bare = [len(self.cells.get((g, None), ())) for g in self.grounds]
        grounds, colours = ([str(name) for name in names] for names in (self.grounds, self.colours))
        counts = pd.DataFrame(self.by_colour, index=grounds, columns=colours)
        counts.insert(0, "bare", bare)
        return counts

    def by_strength(self, colour: str | None = None) -> NDArray[np.int64]:
        """Count panels by strength.

        Parameters
        ----------
        colour : str, optional
            Of this colour or blend only, in any capitals; bare grounds always count.

        Returns
        -------
        ndarray of int, shape (grounds, bands)
            Panels of each ground in each of `BANDS`.

        Raises
        ------
        DomainError
            If no panel has such a colour.
        """
        only = None if colour is None else Colour.parse(colour)
        if only is not None and only not in self.colours:
            raise DomainError(
                f"No panel has the colour {str(only)!r}.",
                expected=f"one of {', '.join(map(str, self.colours)) or 'none yet'}",
                got=repr(colour),
                remedy="write it as the archive does.",
            )
        counts = np.zeros((len(self.grounds), len(BANDS)), np.int64)
        ends = [end for _, end in BANDS]
        for row, ground in enumerate(self.grounds):
            laid = {None, *self.colours} if only is None else {None, only}
            # By code, for one in layers stands in several cells.
            own = {p.code: p for c in laid for p in self.cells.get((ground, c), ())}
            # Three coats of a tenth are 0.3, whatever the last digit says.
            strengths = np.round([p.recipe.strength for p in own.values()], 9)
            counts[row] = np.bincount(np.searchsorted(ends, strengths), minlength=len(BANDS))
        return counts


def coverage(panels: Sequence[Panel]) -> Coverage:
    """Sort panels by ground and colour.

    Parameters
    ----------
    panels : sequence of Panel
        The archive.

    Returns
    -------
    Coverage
        Of all of them.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> coverage(demo_panels()).to_frame().loc[["silver", "pale gold"], ["bare", "cherry", "honey"]]
               bare  cherry  honey
    silver        3       9      5
    pale gold     3       0      5
    """
    grounds = Counter(p.recipe.ground for p in panels)
    laid = {p.code: dict.fromkeys(p.recipe.colours) for p in panels}
    colours = Counter(colour for own in laid.values() for colour in own)
    cells: dict[tuple[Ground, Colour | None], list[Panel]] = {}
    for panel in sorted(panels, key=lambda p: p.recipe.strength):
        for colour in laid[panel.code] or (None,):
            cells.setdefault((panel.recipe.ground, colour), []).append(panel)
    return Coverage(
        tuple(sorted(grounds, key=lambda g: (not g.neat, -grounds[g]))),
        tuple(sorted(colours, key=lambda c: (not c.neat, -colours[c]))),
        {pair: tuple(row) for pair, row in cells.items()},
    )
