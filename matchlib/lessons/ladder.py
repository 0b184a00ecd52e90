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
    three,
)
from matchlib.errors import DomainError
from matchlib.listing import Listing
from matchlib.overview import panel_lab

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["Rung", "coat_ladder"]


@dataclass(frozen=True, slots=True)
class Rung:
    """One step of coats rising over a ground.

    Parameters
    ----------
    recipe : Recipe
        What would be sprayed.
    coats : int
        Of colour; 0 is the bare ground.
    lab : tuple of 3 float
        CIELAB by the law, in the archive's own geometry.
    spread : float
        How far the next panel of it is expected to read from that [ΔE00].
    panels : tuple of (str, tuple of 3 float)
        Panels of the archive with this very recipe: code and CIELAB as read.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> from matchlib.demo import demo_model, demo_panels
    >>> from matchlib.domain import Colour, Ground
    >>> over = {"ground": Ground.parse("silver"), "colour": Colour.parse("cherry")}
    >>> rungs = coat_ladder(demo_model(), demo_panels(), **over, ratio=MixRatio.parse("6:1"))
    >>> [rung.coats for rung in rungs][:4]
    [0, 1, 2, 3]
    """

    recipe: Recipe
    coats: int
    lab: Lab
    spread: float
    panels: tuple[tuple[str, Lab], ...]


def coat_ladder(
    model: FilmPredictor,
    panels: Sequence[Panel],
    *,
    ground: Ground,
    colour: Colour,
    ratio: MixRatio,
    most: int = 6,
    clear: str | None = "yes",
) -> Listing[Rung]:
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
    Listing of Rung
        A tuple of ``most + 1``, from the bare ground up; ``to_frame()`` gives a table.

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
    >>> rungs = coat_ladder(
    ...     demo_model(),
    ...     demo_panels(),
    ...     ground=Ground.parse("silver"),
    ...     colour=Colour.parse("cherry"),
    ...     ratio=MixRatio.parse("6:1"),
    ...     most=3,
    ... )
    >>> rungs.to_frame()[["coats", "L"]].round(0)
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
            found.setdefault(panel.read_as, []).append((panel.code, read))
    return Listing(
        Rung(recipe, n, three(lab[n]), float(spread[n]), tuple(found.get(recipe, ())))
        for n, recipe in enumerate(recipes)
    )
