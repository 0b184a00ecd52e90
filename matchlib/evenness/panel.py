"""A panel sprayed on paper: how it looks at each angle, and what differs from side to side."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import Tolerance, delta_e00
from matchlib.domain import Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.evenness.film import coat_shares, lab_by_film, ordered
from matchlib.evenness.gun import CELL_MM, Gun, coat_film
from matchlib.regression import FilmPredictor
from matchlib.target import Target

__all__ = ["UnevenAngle", "Unevenness", "spray_panel"]

Array = NDArray[np.float64]

_FACTORS = np.linspace(0.2, 2.4, 111)
_PAIRS = 4000


@dataclass(frozen=True)
class UnevenAngle:
    """What a panel would look like from side to side at one angle."""

    viewing: Viewing  # light, observer and geometry
    weight: float  # how much a difference counts here [-]
    # CIELAB of the one panel that is drawn, strokes running left to right
    picture: Array = field(compare=False, repr=False)  # (rows, columns, 3)
    # difference that 95 percent of pairs of patches of 2 cm stay within, mean over the panels
    # drawn; in the unit of the order's difference, not weighted
    side_to_side: float
    delta_e00: float  # `side_to_side` in ΔE00, by which it is said whether an eye sees it


@dataclass(frozen=True)
class Unevenness:
    """What a panel would look like from side to side.

    Parameters
    ----------
    recipe : Recipe
        What was sprayed.
    gun : Gun
        How.
    film : ndarray, shape (rows, columns)
        Colour film of one panel over the mean [-].
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

    recipe: Recipe
    gun: Gun
    film: Array = field(compare=False, repr=False)
    angles: tuple[UnevenAngle, ...]
    side_to_side: float
    film_sd: float
    tolerance: Tolerance

    @property
    def worst(self) -> UnevenAngle:
        """The angle at which it counts most."""
        return max(self.angles, key=lambda a: a.weight * a.side_to_side)

    @property
    def picture(self) -> Array:
        """CIELAB of the panel drawn, at the first angle, of shape (rows, columns, 3)."""
        return self.angles[0].picture

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
            f"With {self.gun.overlap:.0%} overlap the film varies by about {self.film_sd:.0%}; "
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
    gun: Gun | None = None,
    *,
    size_mm: tuple[float, float] = (600.0, 400.0),
    panels: int = 8,
    seed: int = 0,
    order: Target | None = None,
) -> Unevenness:
    """Simulate panels of a recipe and say what differs from side to side.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe
        What is sprayed; a bare ground has no unevenness of colour film.
    gun : Gun, optional
        How; the usual if None.
    size_mm : (float, float)
        Width, along the strokes, and height of the panel [mm].
    panels : int
        Panels drawn; the first is the picture.
    seed : int
        Decides every draw.
    order : Target, optional
        What it is judged by; ΔE00 in the archive's own geometry if None. Its first of a pair
        of patches is the standard.

    Returns
    -------
    Unevenness
        The same for the same seed.

    Raises
    ------
    DomainError
        If the panel or the number of panels is impossible.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> even = spray_panel(demo_model(), recipe, Gun(overlap=0.75), panels=2)
    >>> striped = spray_panel(demo_model(), recipe, Gun(overlap=0.4), panels=2)
    >>> even.side_to_side < striped.side_to_side
    True
    """
    shape = _cells(size_mm, panels)
    model.check_fitted()
    gun, by = gun or Gun(), ordered(order)
    rng, views = np.random.default_rng(seed), by.views(model.usual_view)
    # One film is seen at every angle.
    curves = [lab_by_film(model, [recipe], _FACTORS, viewing=v)[0] for v in views]
    shares = coat_shares(model, recipe)
    patch = max(1, round(20.0 / CELL_MM))
    films, apart, apart_e00, spreads = [], [], [], []
    for _ in range(panels):
        film = _laid(gun, shares, shape, rng)
        films.append(film)
        patches = _patches(film, patch).ravel()
        one, two = rng.integers(0, len(patches), (2, _PAIRS))
        labs = [_on_curve(patches, curve) for curve in curves]
        apart.append([by.tolerance.difference(lab[one], lab[two]) for lab in labs])
        apart_e00.append([delta_e00(lab[one], lab[two]) for lab in labs])
        spreads.append(patches.std() / patches.mean())
    pairs = np.array(apart).swapaxes(0, 1)
    tails = _tail(pairs)
    seen = _tail(np.array(apart_e00).swapaxes(0, 1))
    whole = by.greatest(list(pairs))
    drawn = films[0]
    return Unevenness(
        recipe=recipe,
        gun=gun,
        film=drawn / drawn.mean(),
        angles=tuple(
            UnevenAngle(
                view,
                aim.weight,
                _on_curve(drawn, curves[i]),
                float(tails[i]),
                float(seen[i]),
            )
            for i, (view, aim) in enumerate(zip(views, by.aims, strict=True))
        ),
        side_to_side=float(_tail(whole)),
        film_sd=float(np.mean(spreads)),
        tolerance=by.tolerance,
    )


def _cells(size_mm: tuple[float, float], panels: int) -> tuple[int, int]:
    """Rows and columns of cells, if such panels can be drawn."""
    width, height = size_mm
    fits = min(width, height) >= 80 and max(width, height) <= 1000 * CELL_MM
    if not (fits and 1 <= panels <= 500):
        raise DomainError(
            "This panel cannot be simulated.",
            expected=f"sides of 80 to {1000 * CELL_MM:g} mm, 1 to 500 panels",
            got=f"{width:g} by {height:g} mm, {panels} panels",
            remedy="600 by 400 mm is usual.",
        )
    return round(height / CELL_MM), round(width / CELL_MM)


def _laid(gun: Gun, shares: Array, shape: tuple[int, int], rng: np.random.Generator) -> Array:
    """All coats of one panel, the next set off from the last where the sprayer does so."""
    film = np.zeros(shape)
    start = rng.uniform(0.0, 1.0)
    for coat, share in enumerate(shares):
        shift = start + (coat / len(shares) if gun.set_off else 0.0)
        film += share * coat_film(gun, shape, rng, shift=shift)
    return film if len(shares) else np.ones(shape)


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
