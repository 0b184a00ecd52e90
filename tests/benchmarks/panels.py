"""Panels as the benchmarks need them: Lab, the regression's table, and wrong backs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from matchlib.domain import CoatSchedule, MixRatio, Panel, Reading, Recipe
from tests.benchmarks.lightlab import Array, spectrum_to_lab

__all__ = ["RATIOS", "is_neat", "lab_of", "labs", "swap_backs", "to_frame"]

RATIOS = ("10:1", "8:1", "6:1", "5:1", "4:1", "3:1", "2:1")


def is_neat(recipe: Recipe) -> bool:
    """Whether a recipe has one colour and one ratio."""
    return (
        recipe.colour is not None
        and recipe.colour.neat
        and recipe.schedule is not None
        and len(recipe.schedule.steps) == 1
    )


def swap_backs(
    panels: Sequence[Panel], share: float, seed: int
) -> tuple[tuple[Panel, ...], dict[str, Recipe]]:
    """Write a wrong recipe on a share of the backs; return panels and the true recipes by code."""
    rng = np.random.default_rng([seed, 29])
    coloured = [i for i, p in enumerate(panels) if is_neat(p.recipe)]
    grounds = sorted({p.recipe.ground for p in panels}, key=str)
    chosen = rng.choice(coloured, size=max(1, round(share * len(coloured))), replace=False)
    swapped, truth = list(panels), {}
    for i in chosen if share > 0 else []:
        recipe = panels[i].recipe
        assert recipe.schedule is not None
        step = recipe.schedule.steps[0]
        kind = rng.integers(4)
        if kind == 0:
            wrong = CoatSchedule.of(step.coats, MixRatio(step.ratio.colour, step.ratio.carrier))
            written = replace(recipe, schedule=wrong)
        elif kind == 1:
            other = [r for r in RATIOS if MixRatio.parse(r) != step.ratio]
            near = sorted(
                other, key=lambda r: abs(np.log(MixRatio.parse(r).fraction / step.ratio.fraction))
            )
            written = replace(recipe, schedule=CoatSchedule.of(step.coats, near[0]))
        elif kind == 2:
            miscount = step.coats + (1 if step.coats == 1 or rng.random() < 0.5 else -1)
            written = replace(recipe, schedule=CoatSchedule.of(miscount, step.ratio))
        else:
            others = [g for g in grounds if g != recipe.ground]
            written = replace(recipe, ground=others[rng.integers(len(others))])
        truth[panels[i].code] = recipe
        swapped[i] = panels[i].having(recipe=written)
    return tuple(swapped), truth


def lab_of(reading: Reading) -> Array:
    if reading.lab is not None:
        return np.array(reading.lab)
    return spectrum_to_lab(np.array(reading.reflectance))


def labs(panels: Sequence[Panel]) -> Array:
    """Lab of each panel's first reading (n, 3)."""
    return np.array([lab_of(p.readings[0]) for p in panels])


def to_frame(panels: Sequence[Panel], *, log: bool = False) -> tuple[pd.DataFrame, Array]:
    """Return X, one row a reading, and y, Lab (n, 3) or spectra (n, 31), never a mixture.

    With the `log` of the spraying: who, when, which lot, batch and instrument, and the stage of a
    card that was read more than once.
    """
    rows, values = [], []
    for panel in panels:
        more = dict(panel.extra)
        for reading in panel.readings:
            row = {
                "panel": panel.code,
                **panel.recipe.cells,
                "source": reading.source,
                "illuminant": reading.viewing.illuminant,
                "observer": reading.viewing.observer,
                "geometry": reading.viewing.geometry,
            }
            known = {
                "stage": int(more.get("stage", 1)),
                "date": panel.date,
                "sprayer": panel.sprayer,
                "lot": panel.lot,
                "batch": more.get("batch", ""),
                "instrument": more.get("instrument", ""),
            }
            rows.append(row | known if log else row)
            values.append(reading.reflectance if reading.lab is None else reading.lab)
    if len({len(v) for v in values}) > 1:
        raise ValueError("to_frame takes Lab or spectra, not both")
    return pd.DataFrame(rows), np.array(values)
