"""Coats rising: one colour over one ground, by the law and as the archive has it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from matchlib.colorimetry import expected_delta_e00
from matchlib.domain import (
    CoatSchedule,
    Colour,
    Ground,
    Lab,
    MixRatio,
    Panel,
    Recipe,
    Viewing,
    three,
)
from matchlib.errors import DomainError
from matchlib.listing import items_frame
from matchlib.overview import panel_lab

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression import FilmPredictor

__all__ = ["Ladder", "Rung", "coat_ladder"]


@dataclass(frozen=True, slots=True)
class Rung:
    """One step of a ladder."""

    recipe: Recipe  # what would be sprayed
    coats: int  # of colour; 0 is the bare ground
    lab: Lab  # CIELAB by the law
    spread: float  # how far the next panel of it is expected to read from that [ΔE00]
    # panels of the archive with this very recipe: code and CIELAB as read
    panels: tuple[tuple[str, Lab], ...]


@dataclass(frozen=True, slots=True)
class Ladder:
    """Coats rising over one ground.

    Parameters
    ----------
    ground : Ground
        Below.
    colour : Colour
        Above.
    ratio : MixRatio
        Of every coat.
    viewing : Viewing
        Under which all CIELAB values hold.
    rungs : tuple of Rung
        From the bare ground up.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> from matchlib.demo import demo_model, demo_panels
    >>> from matchlib.domain import Colour, Ground
    >>> over = {"ground": Ground.parse("silver"), "colour": Colour.parse("cherry")}
    >>> ladder = coat_ladder(demo_model(), demo_panels(), **over, ratio=MixRatio.parse("6:1"))
    >>> [rung.coats for rung in ladder.rungs][:4]
    [0, 1, 2, 3]
    """

    ground: Ground
    colour: Colour
    ratio: MixRatio
    viewing: Viewing
    rungs: tuple[Rung, ...]

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row a rung.

        Returns
        -------
        DataFrame
            The recipe, its coats, Lab by the law, and the spread of the next panel [ΔE00].
        """
        return items_frame(self.rungs)


def coat_ladder(
    model: FilmPredictor,
    panels: Sequence[Panel],
    *,
    ground: Ground,
    colour: Colour,
    ratio: MixRatio,
    most: int = 6,
    clear: str | None = "yes",
) -> Ladder:
    """Return coats rising from the bare ground, by the law and from the archive.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    panels : sequence of Panel
        The archive.
    ground : Ground
        Below.
    colour : Colour
        Above.
    ratio : MixRatio
        Of every coat.
    most : int
        Coats of the last rung, 1 to 20.
    clear : str, optional
        Clear coat over all of them.

    Returns
    -------
    Ladder
        ``most + 1`` rungs.

    Raises
    ------
    DomainError
        If there are no rungs.
    UnknownName
        If a ground or colour is on no panel.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> from matchlib.demo import demo_model, demo_panels
    >>> from matchlib.domain import Colour, Ground
    >>> ladder = coat_ladder(
    ...     demo_model(),
    ...     demo_panels(),
    ...     ground=Ground.parse("silver"),
    ...     colour=Colour.parse("cherry"),
    ...     ratio=MixRatio.parse("6:1"),
    ...     most=3,
    ... )
    >>> ladder.to_frame()[["coats", "L"]].round(0)
       coats     L
    0      0  60.0
    1      1  46.0
    2      2  36.0
    3      3  29.0
    """
    if not 1 <= most <= 20:
        raise DomainError(
            "A ladder cannot have so many coats.",
            expected="1 to 20",
            got=str(most),
            remedy="choose fewer coats.",
        )
    view = model.usual_view
    recipes = [Recipe(ground, None, None, clear)]
    recipes += [
        Recipe(ground, colour, CoatSchedule.of(n, ratio), clear) for n in range(1, most + 1)
    ]
    there = model.predict_each(recipes, view)
    lab = there.lab
    spread = expected_delta_e00(lab, lab, there.covariance, tolerance=1.0, dof=there.dof).mean
    found: dict[Recipe, list[tuple[str, Lab]]] = {}
    for panel in panels:
        read = panel_lab(panel, view)
        if read is not None:
            found.setdefault(panel.recipe, []).append((panel.code, read))
    rungs = tuple(
        Rung(recipe, n, three(lab[n]), float(spread[n]), tuple(found.get(recipe, ())))
        for n, recipe in enumerate(recipes)
    )
    return Ladder(ground, colour, ratio, view, rungs)
