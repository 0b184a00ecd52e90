"""The archive at a glance: what was sprayed and what never, what is in reach, what drifted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00, lch, reflectance_to_lab
from matchlib.domain import CoatSchedule, Ground, MixRatio, Panel, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.regression.table import geometry_group

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = [
    "BANDS",
    "Coverage",
    "Lab",
    "Miss",
    "Reach",
    "Spread",
    "Trend",
    "candidates",
    "coverage",
    "misses",
    "panel_lab",
    "reach",
    "spreads",
    "strays",
    "three",
    "trend",
    "usual_view",
]

Array = NDArray[np.float64]

Lab = tuple[float, float, float]

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

RATIOS = (2, 3, 4, 5, 6, 8, 10)
COATS = range(1, 7)
"""Ratios (parts of carrier to one of colour) and coats that count as within reach (common
practice, no source)."""


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


@dataclass(frozen=True)
class Reach:
    """The colours within reach of one colour, or of all.

    Parameters
    ----------
    recipes : tuple of Recipe
        n of them.
    lab : ndarray, shape (n, 3)
        CIELAB by the law.
    panels : tuple of (str, Recipe, tuple of 3 float)
        Panels of the archive: code, recipe, CIELAB as read.
    extent : tuple of (str, int, float, float, float, float)
        By colour: its name, recipes, least and greatest L*, least and greatest C*.
    """

    recipes: tuple[Recipe, ...]
    lab: Array
    panels: tuple[tuple[str, Recipe, Lab], ...]
    extent: tuple[tuple[str, int, float, float, float, float], ...]


@dataclass(frozen=True)
class Miss:
    """How far a panel reads from what the law says of its recipe.

    Parameters
    ----------
    panel : Panel
        Which.
    difference : float
        ΔE00 of the reading from the law, the panel itself being in the fit.
    lightness, chroma : float
        Reading less law [ΔL*, ΔC*].
    """

    panel: Panel
    difference: float
    lightness: float
    chroma: float


@dataclass(frozen=True)
class Spread:
    """How far the panels of one group read from the law.

    Parameters
    ----------
    name : str
        Of the group.
    panels : int
        In it.
    median, low, high : float
        Median ΔE00 and its 95 % interval; the interval is not-a-number under five panels.
    """

    name: str
    panels: int
    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Trend:
    """A change with time.

    Parameters
    ----------
    slope, low, high : float
        Change in a year, and its 95 % interval.
    dates : int
        Panels it rests on.
    words : str
        The same in a sentence.
    """

    slope: float
    low: float
    high: float
    dates: int
    words: str


def three(lab: Sequence[float] | np.ndarray) -> Lab:
    """Return CIELAB as plain numbers.

    Parameters
    ----------
    lab : array_like, shape (3,)
        CIELAB.

    Returns
    -------
    tuple of 3 float
        The same.
    """
    light, red, yellow = (float(v) for v in lab)
    return light, red, yellow


def usual_view(model: FilmPredictor) -> Viewing:
    """Return how the archive's panels are usually read: D65/10° in its first geometry.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.

    Returns
    -------
    Viewing
        That.
    """
    return Viewing(geometry=model.words_.geometries[0])


def panel_lab(panel: Panel, viewing: Viewing) -> Lab | None:
    """Return the mean of a panel's readings under a viewing.

    Parameters
    ----------
    panel : Panel
        With its readings.
    viewing : Viewing
        Wanted.

    Returns
    -------
    tuple of 3 float or None
        CIELAB; spectra are worked out for the light wanted, Lab readings count only where they
        were taken under it; photographs never count. None where no reading serves.
    """
    labs, place = [], geometry_group(viewing.geometry)
    light = (viewing.illuminant, viewing.observer)
    for reading in panel.readings:
        if reading.source == "photo" or geometry_group(reading.viewing.geometry) != place:
            continue
        if reading.spectral:
            labs.append(
                reflectance_to_lab(reading.reflectance, viewing, wavelengths=reading.wavelengths)
            )
        elif (reading.viewing.illuminant, reading.viewing.observer) == light:
            labs.append(np.asarray(reading.lab, float))
    return three(np.mean(labs, axis=0)) if labs else None


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


def candidates(
    panels: Sequence[Panel], *, grounds: Sequence[str] = (), colours: Sequence[str] = ()
) -> list[Recipe]:
    """Return what could be sprayed with the neat grounds and colours of an archive.

    Parameters
    ----------
    panels : sequence of Panel
        The archive.
    grounds, colours : sequence of str
        Only these, by name; all if empty.

    Returns
    -------
    list of Recipe
        At one ratio each, under the clear coat most panels have.
    """
    recipes = [p.recipe for p in panels]
    own = dict.fromkeys(r.ground for r in recipes if r.ground.neat)
    pots = dict.fromkeys(r.colour for r in recipes if r.colour is not None and r.colour.neat)
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
) -> Reach:
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
    Reach
        Of neat colours over neat grounds.

    Raises
    ------
    DomainError
        If nothing is.
    """
    recipes = candidates(panels, grounds=grounds, colours=colours)
    if not recipes:
        raise DomainError(
            "There is no recipe to look at.",
            expected="at least one neat ground and one neat colour",
            got="none",
            remedy="choose a ground and a colour.",
        )
    view = usual_view(model)
    lab = model.predict_recipes(recipes, view)
    read = []
    for panel in panels:
        of_ground = not grounds or str(panel.recipe.ground) in grounds
        of_colour = not colours or panel.recipe.bare or str(panel.recipe.colour) in colours
        place = panel_lab(panel, view) if of_ground and of_colour else None
        if place is not None:
            read.append((panel.code, panel.recipe, place))
    extent = []
    for colour in dict.fromkeys(r.colour for r in recipes):
        some = lch(lab[[r.colour == colour for r in recipes]])
        ends = (some[:, 0].min(), some[:, 0].max(), some[:, 1].min(), some[:, 1].max())
        a, b, c, d = (float(v) for v in ends)
        extent.append((str(colour), len(some), a, b, c, d))
    return Reach(tuple(recipes), lab, tuple(read), tuple(extent))


def misses(model: FilmPredictor, panels: Sequence[Panel]) -> tuple[Miss, ...]:
    """Return how far each panel reads from what the law says of its recipe.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    panels : sequence of Panel
        The archive.

    Returns
    -------
    tuple of Miss
        Of the panels with a reading under the usual viewing, in their order.
    """
    view = usual_view(model)
    pairs = [(p, panel_lab(p, view)) for p in panels]
    read = [(p, lab) for p, lab in pairs if lab is not None]
    if not read:
        return ()
    seen = np.array([lab for _, lab in read])
    law = model.predict_recipes([p.recipe for p, _ in read], view)
    away = np.asarray(delta_e00(law, seen))
    light, chroma = seen[:, 0] - law[:, 0], lch(seen)[:, 1] - lch(law)[:, 1]
    return tuple(
        Miss(p, float(away[i]), float(light[i]), float(chroma[i])) for i, (p, _) in enumerate(read)
    )


def strays(found: Sequence[Miss], measure: str) -> tuple[Miss, ...]:
    """Return the panels so far from the law that they would hide everything else.

    Parameters
    ----------
    found : sequence of Miss
        Of the archive.
    measure : str
        ``difference``, ``lightness`` or ``chroma``.

    Returns
    -------
    tuple of Miss
        Further from the median than 6 standard deviations by the median absolute deviation
        (1.4826 of it is one, for normal values).
    """
    if not found:
        return ()
    values = np.array([getattr(m, measure) for m in found], float)
    away = np.abs(values - np.median(values))
    size = 1.4826 * float(np.median(away))
    return tuple(m for m, off in zip(found, away, strict=True) if size and off > 6.0 * size)


def spreads(found: Sequence[Miss], by: str, *, seed: int = 0) -> tuple[Spread, ...]:
    """Return how far panels read from the law, by who sprayed them or by lot.

    Parameters
    ----------
    found : sequence of Miss
        Of the archive.
    by : str
        ``sprayer`` or ``lot``.
    seed : int
        Decides the resampling.

    Returns
    -------
    tuple of Spread
        By name; intervals by the bootstrap (Efron 1979, Ann. Stat. 7, 1), percentiles.
    """
    groups: dict[str, list[float]] = {}
    for miss in found:
        name = getattr(miss.panel, by) or "not written"
        groups.setdefault(name, []).append(miss.difference)
    rng = np.random.default_rng(seed)
    rows = []
    for name in sorted(groups):
        values = np.array(groups[name])
        low = high = float("nan")
        if len(values) >= 5:
            again = np.median(rng.choice(values, (2000, len(values))), axis=1)
            low, high = (float(v) for v in np.quantile(again, (0.025, 0.975)))
        rows.append(Spread(name, len(values), float(np.median(values)), low, high))
    return tuple(rows)


def trend(points: Sequence[tuple[dt.date, float]], *, unit: str = "ΔE00") -> Trend:
    """Fit a change a year through dated values, robustly.

    Parameters
    ----------
    points : sequence of (date, float)
        In any order.
    unit : str
        Of the values.

    Returns
    -------
    Trend
        Median of all slopes between pairs and its interval (Theil 1950; Sen 1968, J. Am. Stat.
        Assoc. 63, 1379), which a few wrong panels cannot bend.

    Raises
    ------
    DomainError
        If there are fewer than five dates.
    """
    from scipy.stats import theilslopes

    days = np.array([d.toordinal() for d, _ in points], float)
    values = np.array([v for _, v in points], float)
    if len(np.unique(days)) < 5:
        raise DomainError(
            "There are too few dates to see a change with time.",
            expected="panels of at least five days",
            got=str(len(np.unique(days))),
            remedy="write the date on the back of every panel.",
        )
    slope, _, low, high = (float(v) for v in theilslopes(values, days / 365.25, alpha=0.95))
    sure = low > 0 or high < 0
    words = (
        f"{slope:+.2f} {unit} a year (95 %: {low:+.2f} to {high:+.2f}) over {len(points)} panels"
    )
    words += ": a drift." if sure else ": no drift can be told from none."
    return Trend(slope, low, high, len(points), words)
