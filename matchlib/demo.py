"""The invented workshop: a bench where wooden spinning tops are sprayed, its archive and samples.

Nothing here was measured. The panels come out of a small optical model that is on purpose richer
than what the regression assumes, so that the demonstration is no self-portrait: every coat is a
layer that absorbs and scatters (Kubelka 1948, J. Opt. Soc. Am. 38, 448), laid on the coat below
it; the first coat is thinner than the rest; rich mixes colour a little less than their share; a
cold booth lays a little more; every panel and every coat has film of its own, every lot its own
strength; light leaves through a Saunderson surface (1942, J. Opt. Soc. Am. 32, 727) whose inner
constant differs by ground; the instrument adds its noise; and a few panels carry a wrong recipe on
the back, as archives do. The names, the people and the customers are invented.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID, reflectance_to_lab
from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Reading, Recipe, Viewing, three
from matchlib.film import kubelka_layer, saunderson

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.regression import FilmRegressor

__all__ = [
    "DEMO_SEED",
    "DEMO_WRONG_BACKS",
    "demo_archive",
    "demo_model",
    "demo_panels",
    "demo_table",
    "demo_targets",
    "demo_truth",
]

DEMO_SEED = 1907

_Array = NDArray[np.float64]

# Level, blue end and red end against the middle, inner surface constant, tinting power in a blend.
_GROUNDS = {
    "silver": (0.45, 0.99, 1.00, 0.50, 1.0),
    "coarse silver": (0.63, 0.97, 1.02, 0.44, 0.7),
    "graphite": (0.16, 1.06, 0.97, 0.52, 2.2),
    "pale gold": (0.54, 0.52, 1.16, 0.48, 1.2),
    "pearl white": (0.80, 0.95, 1.01, 0.57, 0.4),
    "black": (0.018, 1.00, 1.00, 0.58, 0.3),
}
# Bands (centre nm, width nm, height), scatter, and how far strength bends in rich mixes.
_COLOURS = {
    "cherry": (((520.0, 46.0, 3.4), (440.0, 42.0, 1.5)), 0.045, 0.55),
    "lagoon": (((645.0, 60.0, 3.0), (590.0, 34.0, 0.9)), 0.030, 0.35),
    "honey": (((428.0, 46.0, 3.6), (480.0, 26.0, 0.8)), 0.055, 0.45),
    "violet": (((565.0, 48.0, 3.1), (610.0, 26.0, 0.7)), 0.035, 0.70),
}
_SCHEDULES = ("3@6:1", "4@8:1", "2@4:1", "5@6:1", "4@4:1", "3@3:1", "5@10:1", "2@6:1", "4@5:1")
_SPRAYERS = {"day bench": 0.0, "evening bench": 0.02, "apprentice": -0.03}
_LOTS = {"lot 11": 0.0, "lot 12": 0.012, "lot 13": -0.01}

_EXTRA = (
    # ground, colour, schedule, clear: panels again on another day
    ("silver", "cherry", "3@6:1", "yes"),
    ("silver", "cherry", "3@6:1", "yes"),
    ("silver", "lagoon", "4@8:1", "yes"),
    ("coarse silver", "honey", "2@4:1", "yes"),
    ("graphite", "violet", "4@4:1", "yes"),
    ("pale gold", "lagoon", "4@8:1", "yes"),
    # under no clear coat
    ("silver", "cherry", "4@6:1", "no"),
    ("silver", "lagoon", "3@6:1", "no"),
    ("graphite", "honey", "4@4:1", "no"),
    ("coarse silver", "violet", "3@6:1", "no"),
    # step-ups
    ("silver", "cherry", "2@6:1 2@3:1", "yes"),
    ("coarse silver", "lagoon", "2@8:1 2@4:1", "yes"),
    ("pale gold", "violet", "1@6:1 3@4:1", "yes"),
    ("pearl white", "honey", "3@10:1 1@3:1", "yes"),
    ("graphite", "cherry", "2@4:1 2@2:1", "yes"),
    # two colours in one pot
    ("silver", "lagoon 2 + violet 1", "4@6:1", "yes"),
    ("coarse silver", "honey 1 + cherry 1", "3@5:1", "yes"),
    ("silver", "honey 3 + lagoon 1", "4@5:1", "yes"),
    ("pale gold", "cherry 2 + violet 1", "3@4:1", "yes"),
    # over the ladder
    ("silver 3 + black 1", "lagoon", "3@6:1", "yes"),
    ("silver 3 + black 1", "cherry", "4@6:1", "yes"),
    ("silver 9 + black 1", "violet", "3@6:1", "yes"),
    ("silver 1 + black 1", "honey", "4@4:1", "yes"),
)
_LADDER = ("silver 9 + black 1", "silver 3 + black 1", "silver 1 + black 1")

DEMO_WRONG_BACKS: MappingProxyType[str, str] = MappingProxyType(
    {
        "T029": "the ratio was written colour first",
        "T052": "one coat was not counted",
        "T077": "the panel beside it had this ground",
        "T098": "the ratio of the pot before it was written down",
    }
)
"""Codes of the panels whose back is wrong on purpose, and how it came about."""


def _spectrum_of_ground(ground: Ground) -> tuple[_Array, float]:
    """Reflectance below the surface, and the surface's inner constant."""
    light, weights, inner = [], [], []
    for name, share in ground.shares.items():
        level, blue, red, k2, power = _GROUNDS[name]
        swing = np.tanh((GRID - 530.0) / 60.0)
        ends = np.where(swing < 0, 1 + (1 - blue) * swing, 1 + (red - 1) * swing)
        light.append(level * ends)
        weights.append(share * power)
        inner.append(k2)
    weight = np.array(weights) / np.sum(weights)
    base = np.array(light)
    absorb = weight @ ((1 - base) ** 2 / (2 * base))  # K/S adds up, reflectance does not
    spectrum = 1 + absorb - np.sqrt(absorb * (absorb + 2))
    return np.asarray(spectrum), float(weight @ np.array(inner))


def _pot(colour: Colour, fraction: float) -> tuple[_Array, _Array]:
    """Absorption and scatter of a coat one film thick."""
    absorb = np.full(GRID.size, 0.004)
    scatter = np.full(GRID.size, 0.001)
    for name, share in colour.shares.items():
        bands, haze, bend = _COLOURS[name]
        own = fraction * share
        curve = sum(h * np.exp(-0.5 * ((GRID - c) / w) ** 2) for c, w, h in bands) + 0.03
        absorb = absorb + own / (1 + bend * fraction) * curve
        scatter = scatter + own * haze * (550.0 / GRID)
    return absorb, scatter


def _light(recipe: Recipe, films: _Array, *, dose: float = 1.0, level: float = 1.0) -> _Array:
    """Reflectance factor (31,) of a recipe, given the film of each coat against nominal."""
    below, inner = _spectrum_of_ground(recipe.ground)
    below = np.minimum(below * level, 0.95)
    if recipe.colour is not None and recipe.schedule is not None:
        fractions = [s.ratio.fraction for s in recipe.schedule.each]
        for coat, (fraction, film) in enumerate(zip(fractions, films, strict=True)):
            thick = film * (0.82 if coat == 0 else 1.0) * (1 + 0.2 * (fraction - 0.15))
            absorb, scatter = _pot(recipe.colour, fraction * dose)
            # 45 degrees in, upright out
            below = kubelka_layer(absorb, scatter, thick * 1.067, below)
    if recipe.clear is None:
        return saunderson(below, k2=0.92 * inner) + 0.006
    return saunderson(below, k2=inner)


def demo_truth(recipe: Recipe) -> tuple[float, float, float]:
    """Return what the invented workshop would read if nothing ever varied.

    Parameters
    ----------
    recipe : Recipe
        Of the demonstration's grounds and colours.

    Returns
    -------
    tuple of 3 float
        Lab, D65/10°, 45:0.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> light, red, yellow = demo_truth(Recipe.of("silver", clear="yes"))
    >>> round(light)
    60
    """
    return three(reflectance_to_lab(_light(recipe, np.ones(recipe.coats))))


def _plan() -> Iterator[Recipe]:
    """Every panel in the order sprayed, the recipe that was truly sprayed."""
    for ground in (*_GROUNDS, *_LADDER):
        yield Recipe.of(ground, clear="yes")
    for ground in ("silver", "graphite", "pale gold"):
        yield Recipe.of(ground, clear="yes")
        yield Recipe.of(ground, clear="no")
    turn = 0
    for ground in ("silver", "coarse silver", "graphite", "pale gold", "pearl white"):
        for colour in _COLOURS:
            if (ground, colour) == ("pale gold", "cherry"):
                continue  # never sprayed: the first customer's sample asks for it
            for i in range(5):
                schedule = _SCHEDULES[(turn + 2 * i) % len(_SCHEDULES)]
                yield Recipe.of(ground, colour, schedule, "yes")
            turn += 1
    for row in _EXTRA:
        yield Recipe.of(*row)


def _miswritten(code: str, recipe: Recipe) -> Recipe:
    """The recipe as the back of the panel has it."""
    if code not in DEMO_WRONG_BACKS or recipe.schedule is None:
        return recipe
    step = recipe.schedule.steps[0]
    if code == "T029":
        text = f"{step.coats}@{step.ratio.colour}:{step.ratio.carrier}"
        return replace(recipe, schedule=CoatSchedule.parse(text))
    if code == "T052":
        return replace(recipe, schedule=CoatSchedule.of(step.coats - 1, step.ratio))
    if code == "T077":
        return replace(recipe, ground=Ground.parse("silver"))
    return replace(recipe, schedule=CoatSchedule.of(step.coats, "10:1"))


def demo_panels(seed: int = DEMO_SEED) -> tuple[Panel, ...]:
    """Return the archive of the invented workshop.

    Parameters
    ----------
    seed : int
        Decides film, lots, booth and instrument; the recipes are the same for every seed.

    Returns
    -------
    tuple of Panel
        Neat panels over five grounds, a ladder of silver and black, bare grounds, repeats,
        step-ups, two-colour blends, some without clear coat; the later half read as spectra.

    Examples
    --------
    >>> demo_panels()[0].code
    'T001'
    >>> len(demo_panels())
    133
    """
    rng = np.random.default_rng(seed)
    truth = list(_plan())
    # Panels of one ground were not all sprayed in one week.
    order = rng.permutation(len(truth))
    spectra, rows = [], []
    for i, recipe in enumerate(truth):
        sprayer = str(rng.choice(list(_SPRAYERS), p=[0.5, 0.35, 0.15]))
        day = dt.date(2024, 3, 4) + dt.timedelta(days=int(order[i]) * 2)
        lot = list(_LOTS)[min(int(order[i]) * 3 // len(truth), 2)]
        warm = 21 - 5 * np.cos(2 * np.pi * day.timetuple().tm_yday / 365) + rng.normal(0, 1)
        film = _SPRAYERS[sprayer] - 0.004 * (warm - 21) + rng.normal(0, 0.035)
        films = np.exp(film + rng.normal(0, 0.045, recipe.coats))
        dose = float(np.exp(_LOTS[lot] + rng.normal(0, 0.01)))
        level = float(np.exp(rng.normal(0, 0.009)))
        light = _light(recipe, films, dose=dose, level=level)
        times = 2 if i % 9 == 4 else 1
        spectra += [light + rng.normal(0, 0.0008, GRID.size) for _ in range(times)]
        damp = float(np.clip(52 - 0.8 * (warm - 21) + rng.normal(0, 6), 30, 80))
        rows.append((sprayer, lot, day, float(warm), damp, times))
    labs = reflectance_to_lab(np.array(spectra)) + rng.normal(0, 0.04, (len(spectra), 3))
    panels, at = [], 0
    for i, (recipe, row) in enumerate(zip(truth, rows, strict=True)):
        sprayer, lot, day, warm, damp, times = row
        code = f"T{i + 1:03d}"
        some = slice(at, at + times)
        if order[i] >= len(truth) // 2:  # the year the workshop began to keep spectra
            readings = tuple(map(_spectral, spectra[some]))
        else:
            readings = tuple(map(_read_lab, labs[some]))
        at += times
        panel = Panel.of(
            code=code,
            recipe=_miswritten(code, recipe),
            readings=readings,
            date=day,
            sprayer=sprayer,
            lot=lot,
            temperature=round(warm, 1),
            humidity=round(damp),
        )
        panels.append(panel)
    return tuple(panels)


@cache
def demo_model() -> FilmRegressor:
    """Return the regression fitted to the panels of the invented workshop.

    Returns
    -------
    FilmRegressor
        The same one whenever it is asked for.

    Examples
    --------
    >>> len(demo_model().trust_)
    133
    """
    from matchlib.regression import FilmRegressor, frames_of

    return FilmRegressor().fit(*frames_of(demo_panels()))


@contextmanager
def demo_archive(panels: int = 133) -> Iterator[Archive]:
    """Give an archive of the invented workshop, to try things on.

    Parameters
    ----------
    panels : int
        How many of its panels, the first ones.

    Yields
    ------
    Archive
        Open; gone when the block ends.

    Examples
    --------
    >>> with demo_archive(3) as archive:
    ...     len(archive)
    3
    """
    from matchlib.archive import Archive

    with (
        TemporaryDirectory() as folder,
        Archive.open(Path(folder, "panels.db"), create=True) as archive,
    ):
        archive.add(demo_panels()[:panels])
        yield archive


@contextmanager
def demo_table() -> Iterator[Path]:
    """Give the table of the invented workshop's panels, to try things on.

    Yields
    ------
    Path
        A CSV file; gone when the block ends.

    Examples
    --------
    >>> with demo_table() as table:
    ...     table.name
    'panels.csv'
    """
    from matchlib.readings import write_table

    with TemporaryDirectory() as folder:
        yield write_table(demo_panels(), Path(folder, "panels.csv"))


def _spectral(light: _Array) -> Reading:
    values = tuple(round(float(v), 5) for v in np.clip(light, 0.0, 1.0))
    return Reading(Viewing(), wavelengths=tuple(GRID.tolist()), reflectance=values)


def _read_lab(lab: _Array) -> Reading:
    light, red, yellow = (round(float(v), 2) for v in lab)
    return Reading(Viewing(), lab=(max(light, 0.0), red, yellow))


def demo_targets() -> dict[str, Reading]:
    """Return three customers' samples.

    Returns
    -------
    dict of str to Reading
        ``carousel ring`` is reached by a neat colour over a ground it was never sprayed over;
        ``signal flag`` is brighter than any transparent colour here, out of reach; ``pond reed``
        is a green that no neat colour has, and needs two colours in a pot. The last is a
        spectrum, the others Lab.

    Examples
    --------
    >>> sorted(demo_targets())
    ['carousel ring', 'pond reed', 'signal flag']
    """
    rng = np.random.default_rng([DEMO_SEED, 3])
    ring = _light(Recipe.of("pale gold", "cherry", "4@4.5:1", "yes"), np.ones(4))
    reed = _light(Recipe.of("coarse silver", "honey 3 + lagoon 2", "4@5:1", "yes"), np.ones(4))
    return {
        "carousel ring": _read_lab(reflectance_to_lab(ring) + rng.normal(0, 0.04, 3)),
        "signal flag": _read_lab(np.array([66.0, 68.0, 72.0]) + rng.normal(0, 0.04, 3)),
        "pond reed": _spectral(reed + rng.normal(0, 0.0008, GRID.size)),
    }
