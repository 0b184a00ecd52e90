"""Explain a prediction: the changes around it, the panels near it, the parts of its doubt."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import Tolerance, delta_e00, delta_lch
from matchlib.domain import (
    CoatSchedule,
    Ground,
    Lab,
    MixRatio,
    Panel,
    Recipe,
    Viewing,
    name_key,
    three,
)
from matchlib.explain.explanation import Explanation, NearPanel, RecipeChange, Shift
from matchlib.linear import lab_under
from matchlib.regression import FilmPredictor
from matchlib.suggest.words import PastRecipes, believed
from matchlib.target import Aim, Target

__all__ = ["explain"]

Array = NDArray[np.float64]

NEAREST = 3
"""Panels told of that are near."""


def explain(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    archive: Iterable[Panel] = (),
    target: Target | None = None,
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
    target : Target, optional
        What is ordered: its angles, weights and difference are explained by, its colours are not
        looked at. ΔE00 at D65/10° in the archive's own geometry if None.

    Returns
    -------
    Explanation
        In numbers and words.

    Raises
    ------
    UnknownName
        If a ground or colour was never read.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> found = explain(demo_model(), Recipe.of("silver", "cherry", "3@6:1", "yes"))
    >>> round(sum(found.shares.values()), 6)
    1.0
    """
    model.check_fitted()
    usual = model.usual_view
    views = [usual] if target is None else target.views(usual)
    weights = [1.0] if target is None else [a.weight for a in target.aims]
    tolerance = Tolerance() if target is None else target.tolerance
    panels = list(archive)
    named = _changes(recipe, _grounds(model, panels))
    there = model.predict_together([recipe], views)
    labs = there.labs
    # Everything is held against the prediction itself, as if that were ordered.
    aims = [Aim(three(lab[0]), v, w) for lab, v, w in zip(labs, views, weights, strict=True)]
    own = Target(tuple(aims), tolerance)
    after = _predicted(model, [r for _, r in named], views)
    changes = tuple(
        _change(name, changed, own, after[:, i]) for i, (name, changed) in enumerate(named)
    )
    away = own.expected(labs, there.covariance)
    each = {"panels": there.known, "spray": there.spray, "reading": there.reading}
    parts = {name: _square(own, cov[0]) for name, cov in each.items()}
    whole = sum(parts.values())
    near, readings = _near(model, recipe, own, panels)
    beyond = PastRecipes(believed(model, panels)).new(recipe)
    for view, lab in zip(views, labs[:, 0], strict=True):
        darkest = min((read[0] for read in readings[view]), default=-np.inf)
        if lab[0] < darkest - 0.5:
            where = f" at {view.geometry}" if len(views) > 1 else ""
            beyond.append(f"darker than any reading{where} (L* {lab[0]:.0f})")
    return Explanation(
        recipe=recipe,
        tolerance=tolerance,
        viewings=tuple(views),
        labs=tuple(three(lab[0]) for lab in labs),
        changes=changes,
        near=near[:NEAREST],
        spread=float(np.hypot(away.mean[0], away.sd[0])),
        shares={k: v / whole for k, v in parts.items()},
        beyond=tuple(beyond),
    )


def _square(own: Target, covariance: Array) -> float:
    """Mean square of small differences at all angles, each weighted."""
    total = 0.0
    for i, axes in enumerate(own.axes):
        at = slice(3 * i, 3 * i + 3)
        total += float(np.trace(axes @ covariance[at, at] @ axes.T))
    return total


def _predicted(model: FilmPredictor, recipes: Sequence[Recipe], views: Sequence[Viewing]) -> Array:
    if not recipes:
        return np.zeros((len(views), 0, 3))
    return np.stack([model.predict_recipes(recipes, view) for view in views])


def _grounds(model: FilmPredictor, panels: Sequence[Panel]) -> list[Ground]:
    neat = (p.recipe.ground for p in panels if p.recipe.ground.neat)
    spelled = {name_key(ground.names[0]): ground for ground in neat}
    return [spelled.get(n, Ground.parse(n)) for n in model.words_.grounds]


def _changes(recipe: Recipe, grounds: Sequence[Ground]) -> list[tuple[str, Recipe]]:
    named: list[tuple[str, Recipe]] = []
    if recipe.schedule is not None:
        steps, each = recipe.schedule.steps, recipe.schedule.each
        more = CoatSchedule((*each, replace(each[-1], over=None)))
        named.append(("one coat more", replace(recipe, schedule=more)))
        if len(each) > 1:
            named.append(("one coat less", replace(recipe, schedule=CoatSchedule(each[:-1]))))
        for name, move in (("one step of ratio stronger", -1), ("one step weaker", 1)):
            carriers = [s.ratio.carrier / s.ratio.colour + move for s in steps]
            if min(carriers) >= 0:
                turned = tuple(
                    replace(s, ratio=MixRatio(c, Fraction(1)))
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


def _change(name: str, recipe: Recipe, own: Target, after: Array) -> RecipeChange:
    angles = []
    for aim, then in zip(own.aims, after, strict=True):
        before, shift = np.array(aim.lab), delta_lch(np.array(aim.lab), then)
        angles.append(
            Shift(
                aim.viewing or Viewing(),
                three(then),
                float(shift.lightness),
                float(shift.chroma),
                float(shift[3]),
                float(own.tolerance.difference(before, then)),
            )
        )
    whole = float(own.difference(list(after)))
    first = float(delta_e00(own.aims[0].lab, after[0]))
    return RecipeChange(name, recipe, tuple(angles), whole, first)


def _near(
    model: FilmPredictor, recipe: Recipe, own: Target, panels: Sequence[Panel]
) -> tuple[tuple[NearPanel, ...], dict[Viewing, list[Lab]]]:
    """Panels of the same colour and ground before others; among them by the model's difference."""
    views = [a.viewing or Viewing() for a in own.aims]
    readings: dict[Viewing, list[Lab]] = {view: [] for view in views}
    found: list[tuple[Panel, dict[int, Lab]]] = []
    for panel in panels:
        seen = {i: lab for i, view in enumerate(views) if (lab := _read(panel, view)) is not None}
        for i, lab in seen.items():
            readings[views[i]].append(lab)
        if seen:
            found.append((panel, seen))
    if not found:
        return (), readings
    predicted = _predicted(model, [p.read_as for p, _ in found], views)
    away = own.difference(list(predicted))
    differences = [
        max(
            own.aims[i].weight * float(own.tolerance.difference(predicted[i, n], lab))
            for i, lab in seen.items()
        )
        for n, (_, seen) in enumerate(found)
    ]
    colours, ground = recipe.colours, recipe.ground
    strange = np.array(
        [(p.recipe.colours != colours) + (p.recipe.ground != ground) for p, _ in found]
    )
    near = tuple(
        NearPanel(
            found[n][0].code,
            found[n][0].recipe,
            three(next(iter(found[n][1].values()))),
            float(away[n]),
            differences[n],
            tuple(views[i].geometry for i in found[n][1]),
        )
        for n in np.lexsort((away, strange))
    )
    return near, readings


def _read(panel: Panel, view: Viewing) -> Lab | None:
    """What a panel reads under a viewing, on average, if that was read or can be worked out."""
    read = (lab_under(reading, view) for reading in panel.seen)
    labs = [lab for lab in read if lab is not None]
    return three(np.mean(labs, axis=0)) if labs else None
