r"""How much unevenness of film shows: the film tolerance of a recipe, and a simulated panel.

The film law says what more or less film does to the colour. How uneven a gun lays film is
simulated: strokes of a fan, overlapping, with errors of distance, speed and line, coat over coat
each with its strokes set off against those below. What comes out is a picture of the panel and the
difference to expect from one side of it to the other.

A fan's film at a point is an elliptical double beta (see Coatings 2025, 15, 581, whose exponents
are fitted to guns; those here are common practice, no source):

.. math:: z(x, y) = z_0 (1 - x^2/a^2)^{\beta_1 - 1} (1 - y^2 / (b^2 (1 - x^2/a^2)))^{\beta_2 - 1}

A gun that travels along y at a constant speed leaves its integral over y,
``(1 - x²/a²)^(β1 - 1/2)`` times a constant: the profile of a stroke. That brighter grounds show
unevenness more (common practice, no source) is nowhere put in: the law gives it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import delta_e00, reflectance_to_lab
from matchlib.domain import CoatSchedule, CoatStep, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.regression import FilmPredictor
from matchlib.regression.table import RecipeTable

__all__ = ["Gun", "Unevenness", "film_tolerance", "lab_by_film", "spray_panel", "stroke_profile"]

Array = NDArray[np.float64]

CHANGES = (0.05, 0.10, 0.20)
"""Changes of film looked at by default [-]."""

_FACTORS = np.linspace(0.2, 2.4, 111)


@dataclass(frozen=True)
class Gun:
    """A gun and the hand that leads it. All numbers: common practice, no source.

    Parameters
    ----------
    fan_mm : float
        Width of the fan on the panel [mm].
    overlap : float
        Share of the fan laid over the stroke before [-], 0 to 0.9; 0.5 is usually taught, 0.75
        is a careful painter's.
    distance_sd, speed_sd : float
        Relative standard deviation of the distance and the speed along a stroke [-].
    line_sd_mm : float
        Standard deviation of where a stroke's line runs [mm].
    set_off : bool
        Whether each coat's strokes are set off against those of the coat below, so that their
        ridges average out.
    beta : float
        The exponent β1 of the fan, above 0.5; 1 is a half ellipse, 2 to 3 a fan with soft edges.
    """

    fan_mm: float = 250.0
    overlap: float = 0.5
    distance_sd: float = 0.06
    speed_sd: float = 0.06
    line_sd_mm: float = 8.0
    set_off: bool = True
    beta: float = 2.0

    def __post_init__(self) -> None:
        spreads = (self.distance_sd, self.speed_sd, self.line_sd_mm)
        good = 10 <= self.fan_mm <= 1000 and 0 <= self.overlap <= 0.9 and 0.5 < self.beta <= 20
        good = good and all(math.isfinite(v) and v >= 0 for v in spreads)
        if not good or max(self.distance_sd, self.speed_sd) > 0.4:
            raise DomainError(
                "No gun is led like this.",
                expected="a fan of 10 to 1000 mm, an overlap of 0 to 0.9, errors from 0 to 0.4",
                got=f"fan {self.fan_mm:g} mm, overlap {self.overlap:g}, distance "
                f"{self.distance_sd:g}, speed {self.speed_sd:g}, line {self.line_sd_mm:g} mm",
                remedy="half an overlap is 0.5.",
            )


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
    picture : ndarray, shape (rows, columns, 3)
        CIELAB of that panel, strokes running along the columns' direction (left to right).
    cell_mm : float
        Side of one cell of the picture [mm].
    side_to_side : float
        ΔE00 that 95 percent of pairs of patches of 2 cm stay within, mean over the panels drawn.
    typical : float
        Median ΔE00 of such pairs.
    film_sd : float
        Standard deviation of the film between patches [-].
    """

    recipe: Recipe
    gun: Gun
    film: Array = field(compare=False, repr=False)
    picture: Array = field(compare=False, repr=False)
    cell_mm: float
    side_to_side: float
    typical: float
    film_sd: float

    @property
    def words(self) -> str:
        """What to expect, for a painter."""
        seen = "hardly to be seen"
        if self.side_to_side >= 2.0:
            seen = "plain to see"
        elif self.side_to_side >= 1.0:
            seen = "seen by a careful eye"
        return (
            f"With {self.gun.overlap:.0%} overlap the film varies by about {self.film_sd:.0%}; "
            f"from side to side expect up to ΔE00 {self.side_to_side:.1f}, {seen}."
        )

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data, without the picture.

        Returns
        -------
        dict
            Names, numbers and a sentence.
        """
        return {
            "recipe": str(self.recipe),
            "overlap": self.gun.overlap,
            "side_to_side": round(self.side_to_side, 4),
            "typical": round(self.typical, 4),
            "film_sd": round(self.film_sd, 4),
            "words": self.words,
        }


def lab_by_film(
    model: FilmPredictor,
    recipes: Sequence[Recipe],
    factors: ArrayLike,
    *,
    viewing: Viewing | None = None,
) -> Array:
    """Predict Lab of recipes whose colour film is more or less than usual.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipes : sequence of Recipe
        n recipes.
    factors : array_like, shape (k,)
        Film over the usual film [-], 0 or more.
    viewing : Viewing, optional
        D65/10° in the archive's own geometry if None.

    Returns
    -------
    ndarray, shape (n, k, 3)
        CIELAB.
    """
    model.check_fitted()
    film = np.asarray(factors, float)
    view = viewing or Viewing(geometry=model.words_.geometries[0])
    table = RecipeTable.of(recipes, [view] * len(recipes), model.words_)
    each = table.take(np.repeat(np.arange(len(recipes)), film.size))
    # More film is a longer way through it: absorption and scattering both grow by it.
    each = replace(each, path=each.path * np.tile(film, len(recipes)))
    fit = model.fitted_
    parts = [
        fit.law.evaluate(fit.z, each.take(slice(i, i + 2000))).reflectance
        for i in range(0, len(each), 2000)
    ]
    return reflectance_to_lab(np.concatenate(parts), view).reshape(len(recipes), film.size, 3)


def film_tolerance(
    model: FilmPredictor,
    recipe: Recipe | Sequence[Recipe],
    *,
    changes: Sequence[float] = CHANGES,
    viewing: Viewing | None = None,
) -> Array:
    """Return how much a change of film shows.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe or sequence of Recipe
        One, or n of them.
    changes : sequence of float
        Shares of the film [-], above 0 and below 1.
    viewing : Viewing, optional
        D65/10° in the archive's own geometry if None.

    Returns
    -------
    ndarray, shape (k,) or (n, k)
        ΔE00 to the recipe as meant, the greater of so much more and so much less film.

    Raises
    ------
    DomainError
        If a change is none.
    """
    steps = np.asarray(changes, float)
    if steps.ndim != 1 or not steps.size or not np.all((steps > 0) & (steps < 1)):
        raise DomainError(
            "This is not a change of film.",
            expected="shares above 0 and below 1, such as 0.1 for 10 percent",
            got=", ".join(f"{c:g}" for c in np.atleast_1d(steps).ravel()[:6]) or "none",
            remedy="write 10 percent as 0.1.",
        )
    recipes = [recipe] if isinstance(recipe, Recipe) else list(recipe)
    factors = np.concatenate([[1.0], 1.0 + steps, 1.0 - steps])
    labs = lab_by_film(model, recipes, factors, viewing=viewing)
    shown = delta_e00(labs[:, :1], labs[:, 1:])
    k = steps.size
    result = np.maximum(shown[:, :k], shown[:, k:])
    return result[0] if isinstance(recipe, Recipe) else result


def stroke_profile(across: ArrayLike, *, half_width: float, beta: float) -> Array:
    """Return the film that one stroke leaves, across its line.

    Parameters
    ----------
    across : array_like
        Distance from the line [mm].
    half_width : float
        Half the fan [mm].
    beta : float
        β1 of the elliptical double beta (Coatings 2025, 15, 581).

    Returns
    -------
    ndarray
        ``(1 - x²/a²)^(β - 1/2)`` inside the fan, 0 outside [-].
    """
    x = np.asarray(across, float) / half_width
    profile: Array = np.maximum(1.0 - x * x, 0.0) ** (beta - 0.5)
    return profile


def spray_panel(
    model: FilmPredictor,
    recipe: Recipe,
    gun: Gun | None = None,
    *,
    size_mm: tuple[float, float] = (600.0, 400.0),
    cell_mm: float = 5.0,
    panels: int = 8,
    seed: int = 0,
    viewing: Viewing | None = None,
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
    cell_mm : float
        Side of one cell of the picture [mm].
    panels : int
        Panels drawn; the first is the picture.
    seed : int
        Decides every draw.
    viewing : Viewing, optional
        D65/10° in the archive's own geometry if None.

    Returns
    -------
    Unevenness
        The same for the same seed.

    Raises
    ------
    DomainError
        If the panel or the number of panels is impossible.
    """
    width, height = size_mm
    cells = (max(width, height) / cell_mm) if cell_mm > 0 else math.inf
    if not (min(width, height) >= 80 and cells <= 1000 and cell_mm <= 20 and 1 <= panels <= 500):
        raise DomainError(
            "This panel cannot be simulated.",
            expected="sides of 80 mm and more, cells up to 20 mm, at most 1000 along a side",
            got=f"{width:g} by {height:g} mm in cells of {cell_mm:g} mm, {panels} panels",
            remedy="600 by 400 mm in cells of 5 mm is usual.",
        )
    gun = gun or Gun()
    rng = np.random.default_rng(seed)
    curve = lab_by_film(model, [recipe], _FACTORS, viewing=viewing)[0]
    shares = _coat_shares(model, recipe)
    shape = (round(height / cell_mm), round(width / cell_mm))
    patch = max(1, round(20.0 / cell_mm))
    firsts: list[Array] = []
    tails, middles, spreads = [], [], []
    for _ in range(panels):
        film = np.zeros(shape)
        start = rng.uniform(0.0, 1.0)
        for coat, share in enumerate(shares):
            shift = start + (coat / len(shares) if gun.set_off else 0.0)
            film += share * _coat(gun, shape, cell_mm, shift, rng)
        film = film if len(shares) else np.ones(shape)
        firsts.append(film)
        patches = _patches(film, patch).ravel()
        labs = _on_curve(patches, curve)
        one, two = rng.integers(0, len(patches), (2, 4000))
        apart = delta_e00(labs[one], labs[two])
        tails.append(np.percentile(apart, 95))
        middles.append(np.median(apart))
        spreads.append(patches.std() / patches.mean())
    return Unevenness(
        recipe=recipe,
        gun=gun,
        film=firsts[0] / firsts[0].mean(),
        picture=_on_curve(firsts[0], curve),
        cell_mm=cell_mm,
        side_to_side=float(np.mean(tails)),
        typical=float(np.mean(middles)),
        film_sd=float(np.mean(spreads)),
    )


def _on_curve(film: Array, curve: Array) -> Array:
    inside = np.clip(film, _FACTORS[0], _FACTORS[-1])
    return np.stack([np.interp(inside, _FACTORS, curve[:, i]) for i in range(3)], axis=-1)


def _coat(
    gun: Gun, shape: tuple[int, int], cell: float, shift: float, rng: np.random.Generator
) -> Array:
    """Film of one coat over the mean of a coat laid without error."""
    rows, columns = shape
    y = (np.arange(rows) + 0.5) * cell
    pitch = gun.fan_mm * (1.0 - gun.overlap)
    lines = np.arange(-gun.fan_mm, rows * cell + gun.fan_mm, pitch) + (shift % 1.0) * pitch
    half = gun.fan_mm / 2.0
    film = np.zeros(shape)
    for line in lines:
        # Both errors last as long as a movement of the arm, some 20 cm.
        distance = np.exp(_wander(columns, cell, gun.distance_sd, rng))
        speed = np.exp(_wander(columns, cell, gun.speed_sd, rng))
        middle = line + rng.normal(0.0, gun.line_sd_mm)
        reach = half * distance
        across = (y[:, None] - middle) / reach[None, :]
        # The same paint over a wider fan is a thinner film; a faster hand leaves less.
        film += stroke_profile(across, half_width=1.0, beta=gun.beta) / (distance * speed)
    nodes, gains = np.polynomial.legendre.leggauss(64)
    whole = half * float(gains @ stroke_profile(nodes, half_width=1.0, beta=gun.beta))
    return film * (pitch / whole)


def _wander(count: int, cell: float, sd: float, rng: np.random.Generator) -> Array:
    """Smooth random walk of the hand: half of it lasts the stroke, half some 20 cm."""
    knots = max(2, math.ceil(count * cell / 200.0) + 1)
    whole, part = rng.normal(), rng.normal(size=knots)
    at = np.linspace(0.0, knots - 1.0, count)
    low = np.minimum(at.astype(int), knots - 2)
    turn = 0.5 * math.pi * (at - low)
    smooth = np.cos(turn) * part[low] + np.sin(turn) * part[low + 1]  # of variance 1 everywhere
    result: Array = sd * math.sqrt(0.5) * (whole + smooth)
    return result


def _patches(film: Array, side: int) -> Array:
    rows, columns = film.shape[0] // side * side, film.shape[1] // side * side
    blocks = film[:rows, :columns].reshape(rows // side, side, columns // side, side)
    return np.asarray(blocks.mean(axis=(1, 3)))


def _coat_shares(model: FilmPredictor, recipe: Recipe) -> Array:
    """Share of the whole film's strength that each coat brings, by the law."""
    if recipe.schedule is None:
        return np.zeros(0)
    steps = [step.ratio for step in recipe.schedule.steps for _ in range(step.coats)]
    prefixes = [
        replace(recipe, schedule=CoatSchedule(tuple(CoatStep(1, r) for r in steps[: n + 1])))
        for n in range(len(steps))
    ]
    view = Viewing(geometry=model.words_.geometries[0])
    table = RecipeTable.of(prefixes, [view] * len(prefixes), model.words_)
    fit = model.fitted_
    state = fit.law.evaluate(fit.z, table)
    strength = (state.dose @ state.absorption).mean(axis=1)
    return np.asarray(np.diff(strength, prepend=0.0) / strength[-1])
