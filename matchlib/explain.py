"""Why the model says so: what each change would do, what is near, where the doubt comes from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00, delta_e00_metric, delta_lch, reflectance_to_lab
from matchlib.colorimetry import interpolate_reflectance as on_grid
from matchlib.domain import CoatSchedule, CoatStep, Ground, MixRatio, Panel, Recipe, Viewing
from matchlib.regression import FilmPredictor
from matchlib.suggest.words import Experience

__all__ = ["Change", "Explanation", "NearPanel", "explain"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Change:
    """What one change of the recipe would do.

    Parameters
    ----------
    name : str
        The change, in words.
    recipe : Recipe
        The recipe after it.
    lab : tuple of 3 float
        Its predicted CIELAB.
    lightness, chroma, hue, delta_e00 : float
        ΔL*, ΔC*, Δh [degree] and ΔE00 against the recipe explained.
    """

    name: str
    recipe: Recipe
    lab: tuple[float, float, float]
    lightness: float
    chroma: float
    hue: float
    delta_e00: float

    @property
    def words(self) -> str:
        """The change and what it does."""
        return (
            f"{self.name}: ΔL* {self.lightness:+.1f}, ΔC* {self.chroma:+.1f}, "
            f"Δh {self.hue:+.1f}°, ΔE00 {self.delta_e00:.1f}"
        )


@dataclass(frozen=True)
class NearPanel:
    """A panel of the archive near the recipe.

    Parameters
    ----------
    code : str
        The panel's.
    recipe : Recipe
        As written on its back.
    lab : tuple of 3 float
        As read.
    away : float
        ΔE00 from it, by the model, to the recipe explained.
    miss : float
        ΔE00 between its reading and the model's prediction of it.
    """

    code: str
    recipe: Recipe
    lab: tuple[float, float, float]
    away: float
    miss: float


@dataclass(frozen=True)
class Explanation:
    """Why a prediction is what it is.

    Parameters
    ----------
    recipe : Recipe
        What is explained.
    lab : tuple of 3 float
        Predicted CIELAB.
    changes : tuple of Change
        One coat more and less, one step of ratio each way, each other ground.
    near : tuple of NearPanel
        Nearest first.
    spread : float
        Root mean square difference of the next panel, as read, from the prediction [ΔE00].
    shares : dict of str to float
        Share of its square that more panels would remove (``panels``), that spraying brings
        (``spray``) and that the reading brings (``reading``) [-].
    beyond : tuple of str
        What about it lies outside everything sprayed.
    """

    recipe: Recipe
    lab: tuple[float, float, float]
    changes: tuple[Change, ...]
    near: tuple[NearPanel, ...]
    spread: float
    shares: dict[str, float]
    beyond: tuple[str, ...]

    @property
    def words(self) -> str:
        """Where the doubt comes from, and what is new, in words."""
        panels, spray, reading = (self.shares[k] for k in ("panels", "spray", "reading"))
        text = (
            f"The next panel will differ from this by about ΔE00 {self.spread:.1f}: "
            f"{panels:.0%} of that is what more panels would teach, {spray:.0%} is the spread of "
            f"spraying, {reading:.0%} the reading."
        )
        if self.beyond:
            text += f" Beyond what was ever sprayed: {'; '.join(self.beyond)}."
        return text

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data.

        Returns
        -------
        dict
            Names, numbers and sentences.
        """
        return {
            "recipe": str(self.recipe),
            "lab": [round(v, 3) for v in self.lab],
            "changes": [
                {
                    "change": c.name,
                    "recipe": str(c.recipe),
                    "lab": [round(v, 3) for v in c.lab],
                    "delta_l": round(c.lightness, 3),
                    "delta_c": round(c.chroma, 3),
                    "delta_h": round(c.hue, 3),
                    "delta_e00": round(c.delta_e00, 3),
                }
                for c in self.changes
            ],
            "near": [
                {
                    "panel": n.code,
                    "recipe": str(n.recipe),
                    "lab": [round(v, 3) for v in n.lab],
                    "away": round(n.away, 3),
                    "miss": round(n.miss, 3),
                }
                for n in self.near
            ],
            "spread": round(self.spread, 4),
            "shares": {k: round(v, 4) for k, v in self.shares.items()},
            "beyond": list(self.beyond),
            "words": self.words,
        }


def explain(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    archive: Iterable[Panel] = (),
    viewing: Viewing | None = None,
    ratio_step: float = 1.0,
    nearest: int = 3,
) -> Explanation:
    """Explain a prediction.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe
        What is predicted.
    archive : iterable of Panel
        What the model was fitted to, for the nearest panels and for what is new.
    viewing : Viewing, optional
        D65/10° in the archive's own geometry if None.
    ratio_step : float
        One step of ratio [parts of carrier].
    nearest : int
        Panels wanted.

    Returns
    -------
    Explanation
        In numbers and words.

    Raises
    ------
    UnknownName
        If a ground or colour was never read.
    """
    model.check_fitted()
    view = viewing or Viewing(geometry=model.words_.geometries[0])
    panels = list(archive)
    named = _changes(recipe, _grounds(model, panels), Fraction(str(ratio_step)))
    lab, known, spray, reading = model.predict_parts([recipe], view)
    after = model.predict_recipes([r for _, r in named], view) if named else np.zeros((0, 3))
    changes = tuple(
        _change(name, changed, lab[0], then)
        for (name, changed), then in zip(named, after, strict=True)
    )
    metric = delta_e00_metric(lab[0])
    parts = {
        name: float(np.trace(metric @ cov[0]))
        for name, cov in (("panels", known), ("spray", spray), ("reading", reading))
    }
    whole = sum(parts.values())
    near, readings = _near(model, recipe, lab[0], panels, view)
    beyond = Experience(p.recipe for p in panels).new(recipe)
    if len(readings) and lab[0, 0] < readings[:, 0].min() - 0.5:
        beyond.append(f"darker than any reading (L* {lab[0, 0]:.0f})")
    return Explanation(
        recipe=recipe,
        lab=_three(lab[0]),
        changes=changes,
        near=near[:nearest],
        spread=float(np.sqrt(whole)),
        shares={k: v / whole for k, v in parts.items()},
        beyond=tuple(beyond),
    )


def _grounds(model: FilmPredictor, panels: Sequence[Panel]) -> list[Ground]:
    spelled = {p.recipe.ground.names[0].casefold(): p.recipe.ground
               for p in panels if p.recipe.ground.neat}  # fmt: skip
    return [spelled.get(n, Ground.parse(n)) for n in model.words_.grounds]


def _changes(recipe: Recipe, grounds: Sequence[Ground], step: Fraction) -> list[tuple[str, Recipe]]:
    named: list[tuple[str, Recipe]] = []
    if recipe.schedule is not None:
        steps = recipe.schedule.steps
        last = steps[-1]
        more = (*steps[:-1], CoatStep(last.coats + 1, last.ratio))
        named.append(("one coat more", replace(recipe, schedule=CoatSchedule(more))))
        if recipe.schedule.coats > 1:
            kept = (CoatStep(last.coats - 1, last.ratio),) if last.coats > 1 else ()
            fewer = CoatSchedule((*steps[:-1], *kept))
            named.append(("one coat less", replace(recipe, schedule=fewer)))
        for name, move in (("one step of ratio stronger", -step), ("one step weaker", step)):
            carriers = [s.ratio.carrier / s.ratio.colour + move for s in steps]
            if min(carriers) >= 0:
                turned = tuple(
                    CoatStep(s.coats, MixRatio(c, Fraction(1)))
                    for s, c in zip(steps, carriers, strict=True)
                )
                ratios = ", ".join(str(s.ratio) for s in turned)
                changed = replace(recipe, schedule=CoatSchedule(turned))
                named.append((f"{name} ({ratios})", changed))
    named += [
        (f"over {ground}", replace(recipe, ground=ground))
        for ground in grounds
        if ground != recipe.ground
    ]
    return named


def _change(name: str, recipe: Recipe, before: Array, after: Array) -> Change:
    shift = delta_lch(before, after)
    return Change(
        name,
        recipe,
        _three(after),
        float(shift.lightness),
        float(shift.chroma),
        float(shift[3]),
        float(delta_e00(before, after)),
    )


def _near(
    model: FilmPredictor, recipe: Recipe, lab: Array, panels: Sequence[Panel], view: Viewing
) -> tuple[tuple[NearPanel, ...], Array]:
    """Panels of the same colour and ground before others; among them by the model's ΔE00."""
    light = (view.illuminant, view.observer, view.geometry)
    found: list[tuple[Panel, Array]] = []
    for panel in panels:
        for reading in panel.readings:
            seen = reading.viewing
            if seen.geometry != view.geometry:
                continue
            if reading.lab is None:
                curve = on_grid(reading.wavelengths, reading.reflectance)
                found.append((panel, reflectance_to_lab(curve, view)))
                break
            if (seen.illuminant, seen.observer, seen.geometry) == light:
                found.append((panel, np.array(reading.lab)))
                break
    if not found:
        return (), np.zeros((0, 3))
    own = model.predict_recipes([p.recipe for p, _ in found], view)
    readings = np.array([r for _, r in found])
    away, miss = delta_e00(lab, own), delta_e00(readings, own)
    strange = np.array(
        [(p.recipe.colour != recipe.colour) + (p.recipe.ground != recipe.ground) for p, _ in found]
    )
    order = np.lexsort((away, strange))
    near = tuple(
        NearPanel(
            found[i][0].code,
            found[i][0].recipe,
            _three(readings[i]),
            float(away[i]),
            float(miss[i]),
        )
        for i in order
    )
    return near, readings


def _three(lab: Array) -> tuple[float, float, float]:
    return (float(lab[0]), float(lab[1]), float(lab[2]))
