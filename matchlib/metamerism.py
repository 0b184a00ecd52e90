"""How a match holds when the light changes.

Two panels that agree in daylight may part under a shop's lamps. With both spectra known that is
one number a light, the special index of metamerism (CIE 15:2018). Where a spectrum rests on Lab
alone, many spectra would do, and one number would be a guess: then spectra are drawn that agree
with all that is known, and a range is given. The recipe's come from the regression's own
posterior, held to its predicted colour; the sample's are smooth reflectances with exactly its Lab.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID, metamerism_index, reflectance_to_lab
from matchlib.colorimetry.lab import lab_jacobian
from matchlib.domain import Recipe, Viewing
from matchlib.errors import TargetError
from matchlib.regression import FilmPredictor
from matchlib.regression.priors import smooth_curves
from matchlib.regression.table import RecipeTable
from matchlib.target import Target

__all__ = [
    "LIGHTS",
    "metamerism",
]

Array = NDArray[np.float64]

LIGHTS = {
    "incandescent (A)": Viewing("A", "10"),
    "tri-band fluorescent (F11)": Viewing("F11", "10"),
    "white LED (LED-B3)": Viewing("LED-B3", "10"),
    "daylight, 2° observer": Viewing("D65", "2"),
}
"""Lights and the other observer under which a match is looked at, beside daylight."""

DRAWS = 200
"""Spectra drawn where they are not known."""


@dataclass(frozen=True)
class UnderLight:
    """What one change of light does to the match."""

    light: str  # its name
    # special index of metamerism [ΔE00]: 5th, 50th and 95th percentile of the spectra that would
    # do; all the same where both spectra are known
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Metamerism:
    """How a recipe's match holds.

    Parameters
    ----------
    recipe : Recipe
        What is to be sprayed.
    lights : tuple of UnderLight
        The others.
    spectral_sample, spectral_recipe : bool
        Whether the sample and the recipe rest on spectra, and not on Lab alone.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("pale gold", "cherry", "3@3:1", "yes")
    >>> found = metamerism(demo_model(), recipe, Target.lab(27.1, 45.9, 28.5), draws=20)
    >>> found.spectral_sample
    False
    """

    recipe: Recipe
    lights: tuple[UnderLight, ...]
    spectral_sample: bool
    spectral_recipe: bool

    @property
    def words(self) -> str:
        """What to tell the customer."""
        worst = max(self.lights, key=lambda h: h.high)
        if worst.high < 0.5:
            text = "The match holds under every light looked at"
        elif worst.low > 1.5:
            text = f"The match parts under {worst.light}"
        else:
            text = f"The match may shift under {worst.light}"
        if worst.low == worst.high:
            return f"{text} (index {worst.high:.1f})."
        rests = "the sample was" if self.spectral_recipe else "the archive's panels were"
        if not (self.spectral_sample or self.spectral_recipe):
            rests = "sample and panels were"
        return (
            f"{text} (index between {worst.low:.1f} and {worst.high:.1f}); {rests} read as Lab "
            "alone, and a spectrum would narrow it."
        )


def metamerism(
    model: FilmPredictor, recipe: Recipe, target: Target, *, draws: int = DRAWS
) -> Metamerism:
    """Say how a match holds under other lights and for the 2° observer.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe
        What would be sprayed.
    target : Target
        The sample; its first viewing is the light of the match.
    draws : int
        Spectra drawn where they are not known.

    Returns
    -------
    Metamerism
        One number a light where both spectra are known, else a range.

    Raises
    ------
    TargetError
        If the target is read at an aspecular angle, at which flake may outshine every reflectance.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("pale gold", "cherry", "3@3:1", "yes")
    >>> found = metamerism(demo_model(), recipe, Target.lab(27.1, 45.9, 28.5), draws=20)
    >>> [light.light for light in found.lights][:2]
    ['incandescent (A)', 'tri-band fluorescent (F11)']
    """
    model.check_fitted()
    reference = target.aims[0].viewing or model.usual_view
    if reference.aspecular is not None:
        raise TargetError(
            "How a match holds cannot be said at this angle.",
            expected="a reading at 45:0 or with a sphere",
            got=reference.geometry,
            remedy="read the sample at 45:0.",
        )
    rng = np.random.default_rng(0)
    spectral_recipe = not bool(model.rests_on_lab([recipe])[0])
    trials = _recipe_spectra(model, recipe, reference, 0 if spectral_recipe else draws, rng)
    if target.spectrum is not None:
        standards = target.spectrum[None, :]
    else:
        lab = np.array(target.aims[0].lab)
        standards = plausible_reflectances(lab, reference, draws, rng)
    standards, trials = np.broadcast_arrays(standards, trials)
    base = Viewing(reference.illuminant, reference.observer)
    held = []
    for name, view in (LIGHTS | {"daylight (D65)": Viewing()}).items():
        if view != base:
            index = metamerism_index(standards, trials, view, base)
            held.append(UnderLight(name, *map(float, np.percentile(index, [5, 50, 95]))))
    return Metamerism(recipe, tuple(held), target.spectrum is not None, spectral_recipe)


def _recipe_spectra(
    model: FilmPredictor, recipe: Recipe, view: Viewing, draws: int, rng: np.random.Generator
) -> Array:
    """The recipe's spectrum, or draws of it that all have its predicted Lab."""
    fit = model.fitted_
    table = RecipeTable.of([recipe], [view], model.words_, model.conditions_)
    state = fit.law.evaluate(fit.z, table)
    if not draws:
        return np.clip(state.reflectance, 1e-4, 1.0)
    _, by_r = lab_jacobian(state.reflectance, view.illuminant, view.observer)
    by_lab, _ = fit.law.jacobian(state, fit.z, table, by_r)
    by_band, _ = fit.law.jacobian(
        state, fit.z, table, np.broadcast_to(np.eye(len(GRID)), (1, len(GRID), len(GRID)))
    )
    slope, lab_slope = by_band[0], by_lab[0]
    # Only the spectrum's own spread is wanted: 31 numbers, not one for each free value.
    spread = slope @ fit.covariance @ slope.T
    cross = slope @ fit.covariance @ lab_slope.T
    inner = lab_slope @ fit.covariance @ lab_slope.T
    left = spread - cross @ np.linalg.solve(inner + 1e-12 * np.trace(inner) * np.eye(3), cross.T)
    size, axes = np.linalg.eigh(0.5 * (left + left.T))
    shifts = rng.normal(size=(draws, len(GRID))) * np.sqrt(np.maximum(size, 0.0)) @ axes.T
    spectra = state.reflectance * np.exp(shifts / np.maximum(state.reflectance, 1e-4))
    goal = reflectance_to_lab(state.reflectance[0], view)
    return _held_to(np.log(np.clip(spectra, 1e-4, 1.0)), np.eye(len(GRID)), goal, view)


def plausible_reflectances(
    lab: Array, viewing: Viewing, count: int, rng: np.random.Generator
) -> Array:
    """Return smooth reflectances that all have one Lab."""
    level = ((max(float(lab[0]), 1.0) + 16.0) / 116.0) ** 3
    curves = smooth_curves(GRID, length=50.0, sd=0.6)
    start = np.log(level) + rng.normal(size=(count, curves.shape[1])) @ curves.T
    return _held_to(start, curves @ curves.T, lab, viewing)


def _held_to(logs: Array, covariance: Array, lab: Array, viewing: Viewing) -> Array:
    """Move log reflectances by their own covariance until each has the Lab; drop what will not."""
    logs = np.minimum(logs, -1e-4)
    for _ in range(30):
        spectra = np.exp(logs)
        seen, by_band = lab_jacobian(spectra, viewing.illuminant, viewing.observer)
        gap = lab - seen
        slope = by_band * spectra[:, None, :]
        moved = slope @ covariance
        inner = moved @ np.swapaxes(slope, 1, 2)
        scale = np.trace(inner, axis1=1, axis2=2)[:, None, None]
        step = np.linalg.solve(inner + 1e-9 * scale * np.eye(3), gap[:, :, None])
        change = (np.swapaxes(moved, 1, 2) @ step)[:, :, 0]
        logs = np.minimum(logs + np.clip(change, -0.7, 0.7), -1e-4)
    spectra = np.exp(logs)
    near = np.abs(reflectance_to_lab(spectra, viewing) - lab).max(axis=1) < 0.05
    if not near.any():
        raise TargetError(
            "No smooth reflectance was found with this colour.",
            expected="a colour well inside what surfaces can reflect",
            got="L* {:g}, a* {:g}, b* {:g}".format(*lab),
            remedy="read the sample as a spectrum.",
        )
    kept = spectra[near]
    return np.asarray(kept[np.arange(len(spectra)) % len(kept)])
