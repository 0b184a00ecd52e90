"""Panels sprayed on paper: what differs from side to side at each angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import Tolerance, delta_e00
from matchlib.domain import Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.evenness.film import coat_shares, lab_by_film, ordered
from matchlib.evenness.gun import CELL_MM, OVERLAP, coat_film
from matchlib.regression import FilmPredictor
from matchlib.target import Target

__all__ = ["UnevenAngle", "Unevenness", "spray_panel"]

Array = NDArray[np.float64]

_CELLS = 80, 120  # rows and columns: 600 mm along the strokes, 400 mm across them
_FACTORS = np.linspace(0.2, 2.4, 111)
_PAIRS = 4000


@dataclass(frozen=True)
class UnevenAngle:
    """What a panel would look like from side to side at one angle."""

    viewing: Viewing  # light, observer and geometry
    weight: float  # how much a difference counts here [-]
    # difference that 95 percent of pairs of patches of 2 cm stay within, mean over the panels
    # drawn; in the unit of the order's difference, not weighted
    side_to_side: float
    delta_e00: float  # `side_to_side` in ΔE00, by which it is said whether an eye sees it


@dataclass(frozen=True)
class Unevenness:
    """What a panel would look like from side to side.

    Parameters
    ----------
    angles : tuple of UnevenAngle
        One an angle of the order.
    side_to_side : float
        The order's own figure: what 95 percent of pairs of patches of 2 cm stay within, each pair
        judged by the worst over the angles of weight times difference; mean over the panels drawn.
    film_sd : float
        Standard deviation of the film between patches [-].
    tolerance : Tolerance
        The order's difference, in whose unit these are.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> found = spray_panel(demo_model(), Recipe.of("silver", "cherry", "3@6:1", "yes"), panels=2)
    >>> found.side_to_side > 0 and found.film_sd > 0
    True
    """

    angles: tuple[UnevenAngle, ...]
    side_to_side: float
    film_sd: float
    tolerance: Tolerance

    @property
    def worst(self) -> UnevenAngle:
        """The angle at which it counts most."""
        return max(self.angles, key=lambda a: a.weight * a.side_to_side)

    @property
    def words(self) -> str:
        """What to expect, for a painter."""
        most = max(a.delta_e00 for a in self.angles)
        seen = "hardly to be seen"
        if most >= 2.0:
            seen = "plain to see"
        elif most >= 1.0:
            seen = "seen by a careful eye"
        digits = self.tolerance.digits
        text = (
            f"With {OVERLAP:.0%} overlap the film varies by about {self.film_sd:.0%}; "
            f"from side to side expect up to {self.tolerance.with_unit(self.side_to_side, digits)}"
        )
        if len(self.angles) == 1:
            return f"{text}, {seen}."
        each = ", ".join(
            f"{a.side_to_side:.{digits}f} at {a.viewing.geometry}"
            + ("" if a.weight == 1.0 else f" (which counts {a.weight:g} times)")
            for a in self.angles
        )
        return (
            f"{text} by the order, most at {self.worst.viewing.geometry}: {each}; {seen} at the "
            "angle that shows most."
        )


def spray_panel(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    panels: int = 8,
    order: Target | None = None,
) -> Unevenness:
    """Simulate panels of a recipe and say what differs from side to side.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe
        What is sprayed; a bare ground has no unevenness of colour film.
    panels : int
        Panels drawn, of 600 by 400 mm; 1 to 500.
    order : Target, optional
        What it is judged by; ΔE00 in the archive's own geometry if None. Its first of a pair
        of patches is the standard.

    Returns
    -------
    Unevenness
        The same numbers every time.

    Raises
    ------
    DomainError
        If the number of panels is impossible.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> two, five = (Recipe.of("silver", "cherry", coats, "yes") for coats in ("2@3:1", "5@9:1"))
    >>> even, striped = (spray_panel(demo_model(), r, panels=2).side_to_side for r in (five, two))
    >>> even < striped
    True
    """
    if not 1 <= panels <= 500:
        raise DomainError(
            "This panel cannot be simulated.",
            expected="1 to 500 panels",
            got=f"{panels} panels",
            remedy="8 are usual.",
        )
    model.check_fitted()
    by, rng = ordered(order), np.random.default_rng(0)
    views = by.views(model.usual_view)
    # One film is seen at every angle.
    curves = [lab_by_film(model, [recipe], _FACTORS, viewing=v)[0] for v in views]
    shares = coat_shares(model, recipe)
    patch = max(1, round(20.0 / CELL_MM))
    apart, apart_e00, spreads = [], [], []
    for _ in range(panels):
        patches = _patches(_laid(shares, rng), patch).ravel()
        one, two = rng.integers(0, len(patches), (2, _PAIRS))
        labs = [_on_curve(patches, curve) for curve in curves]
        apart.append([by.tolerance.difference(lab[one], lab[two]) for lab in labs])
        apart_e00.append([delta_e00(lab[one], lab[two]) for lab in labs])
        spreads.append(patches.std() / patches.mean())
    pairs = np.array(apart).swapaxes(0, 1)
    tails = _tail(pairs)
    seen = _tail(np.array(apart_e00).swapaxes(0, 1))
    whole = by.greatest(list(pairs))
    return Unevenness(
        angles=tuple(
            UnevenAngle(view, aim.weight, float(tails[i]), float(seen[i]))
            for i, (view, aim) in enumerate(zip(views, by.aims, strict=True))
        ),
        side_to_side=float(_tail(whole)),
        film_sd=float(np.mean(spreads)),
        tolerance=by.tolerance,
    )


def _laid(shares: Array, rng: np.random.Generator) -> Array:
    """All coats of one panel, each set off from the last, so that their ridges average out."""
    film = np.zeros(_CELLS)
    start = rng.uniform(0.0, 1.0)
    for coat, share in enumerate(shares):
        film += share * coat_film(_CELLS, rng, shift=start + coat / len(shares))
    return film if len(shares) else np.ones(_CELLS)


def _tail(pairs: Array) -> Array:
    """What 95 percent of pairs stay within, from shape (..., panels, pairs), mean over panels."""
    return np.asarray(np.percentile(pairs, 95, axis=-1).mean(axis=-1))


def _on_curve(film: Array, curve: Array) -> Array:
    inside = np.clip(film, _FACTORS[0], _FACTORS[-1])
    return np.stack([np.interp(inside, _FACTORS, curve[:, i]) for i in range(3)], axis=-1)


def _patches(film: Array, side: int) -> Array:
    rows, columns = film.shape[0] // side * side, film.shape[1] // side * side
    blocks = film[:rows, :columns].reshape(rows // side, side, columns // side, side)
    return np.asarray(blocks.mean(axis=(1, 3)))
