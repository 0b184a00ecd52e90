"""What an explanation says: in numbers, in words, as plain data."""

from __future__ import annotations

from dataclasses import dataclass

from matchlib.colorimetry import Tolerance
from matchlib.domain import Lab, Recipe, Viewing

__all__ = ["Explanation", "NearPanel", "RecipeChange", "Shift"]


@dataclass(frozen=True)
class Shift:
    """What a change does at one angle."""

    viewing: Viewing  # light, observer and geometry
    lab: Lab  # predicted CIELAB after it
    # ΔL*, ΔC* and Δh [degree] against the recipe explained
    lightness: float
    chroma: float
    hue: float
    difference: float  # in the unit of the order's difference, not weighted


@dataclass(frozen=True)
class RecipeChange:
    """What one change of the recipe would do."""

    name: str  # the change, in words
    recipe: Recipe  # the recipe after it
    angles: tuple[Shift, ...]  # what it does at each angle of the order
    # the order's own figure: the worst over the angles of weight times difference
    difference: float
    delta_e00: float  # ΔE00 at the first angle


@dataclass(frozen=True)
class NearPanel:
    """A panel of the archive near the recipe."""

    code: str  # the panel's
    recipe: Recipe  # as written on its back
    lab: Lab  # as read, at the first angle of the order at which it was
    away: float  # difference from it, by the model, to the recipe explained; the order's own figure
    # difference between its readings and the model's predictions of them; the worst over those of
    # the order's angles at which it was read, weighted
    residual: float
    seen: tuple[str, ...]  # the geometries of these angles


@dataclass(frozen=True)
class Explanation:
    """Why a prediction is what it is.

    Parameters
    ----------
    recipe : Recipe
        What is explained.
    tolerance : Tolerance
        The order's, in whose unit differences are.
    viewings : tuple of Viewing
        The angles of the order.
    labs : tuple of (tuple of 3 float)
        Predicted CIELAB, one an angle.
    changes : tuple of RecipeChange
        One coat more and less, one step of ratio each way, each other ground.
    near : tuple of NearPanel
        Nearest first.
    spread : float
        Root mean square difference of the next panel, as read, from the prediction: the order's
        own figure.
    shares : dict of str to float
        Share of its square that more panels would remove (``panels``), that spraying brings
        (``spray``) and that the reading brings (``reading``), over all angles [-].
    beyond : tuple of str
        What about it lies outside everything sprayed.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> from matchlib.explain import explain
    >>> found = explain(demo_model(), Recipe.of("silver", "cherry", "3@6:1", "yes"))
    >>> round(sum(found.shares.values()), 6), found.beyond
    (1.0, ())
    """

    recipe: Recipe
    tolerance: Tolerance
    viewings: tuple[Viewing, ...]
    labs: tuple[Lab, ...]
    changes: tuple[RecipeChange, ...]
    near: tuple[NearPanel, ...]
    spread: float
    shares: dict[str, float]
    beyond: tuple[str, ...]

    @property
    def lab(self) -> Lab:
        """Predicted CIELAB at the first angle."""
        return self.labs[0]

    @property
    def words(self) -> str:
        """Where the doubt comes from, and what is new, in words."""
        panels, spray, reading = (self.shares[k] for k in ("panels", "spray", "reading"))
        where = " at the worst angle" if len(self.viewings) > 1 else ""
        away = self.tolerance.with_unit(self.spread, self.tolerance.digits)
        text = (
            f"The next panel will differ from this by about {away}{where}: "
            f"{panels:.0%} of that is what more panels would teach, {spray:.0%} is the spread of "
            f"spraying, {reading:.0%} the reading."
        )
        if self.beyond:
            text += f" Beyond what was ever sprayed: {'; '.join(self.beyond)}."
        return text
