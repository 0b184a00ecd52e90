"""Target → recipes, and panels just sprayed → what to change: the calls, with what they need."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from matchlib.stepping import unmeasured
from workbook.session.model_cache import model_of
from workbook.session.order import aim_of, as_readings
from workbook.session.shelf import booth_of
from workbook.session.targets import readings_by_angle

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.correction import Advice
    from matchlib.domain import Panel, Reading, Recipe
    from matchlib.next_panel import ArchivePlan, TargetPanel
    from matchlib.regression import FilmRegressor
    from matchlib.stepping import Step
    from matchlib.suggest import Limits, Suggestions, Target, Tolerance

    Readings = Reading | Sequence[Reading]

__all__ = ["correct_tried", "next_for", "plan_for", "suggest_for", "tried_in"]


def suggest_for(
    model: FilmRegressor,
    panels: Sequence[Panel],
    target: Readings,
    limits: Limits,
    *,
    tolerance: Tolerance | float,
    top: int,
    weights: Mapping[str, float] | None = None,
    step: Step | None = None,
) -> Suggestions:
    """Suggest recipes for a target.

    Parameters
    ----------
    model : FilmRegressor
        Fitted to the panels.
    panels : sequence of Panel
        The archive's.
    target : Reading or sequence of Reading
        What is to be matched, one reading a geometry.
    limits : Limits
        The shop's.
    tolerance : Tolerance or float
        What passes; a number is ΔE00.
    top : int
        Suggestions wanted.
    weights : mapping of str to float, optional
        How much a difference counts, by geometry.
    step : callable, optional
        Called between the search's steps; what it raises ends it.

    Returns
    -------
    Suggestions
        Best first.
    """
    from matchlib.suggest import suggest

    aim = aim_of(target, tolerance, weights)
    return suggest(model, aim, limits, top=top, archive=panels, step=step)


def tried_in(
    archive: Archive, codes: Sequence[str], file: str | Path | None
) -> list[tuple[Recipe, Readings]]:
    """Return panels that were sprayed for a target.

    Parameters
    ----------
    archive : Archive
        Open.
    codes : sequence of str
        Panels in it.
    file : str or Path, optional
        A table of further panels with readings.

    Returns
    -------
    list of (Recipe, Reading or tuple of Reading)
        In the order given; repeats of one panel at one angle as their mean.
    """
    panels = [archive.panel(code) for code in codes]
    if file is not None:
        from matchlib.readings import read_file

        panels += read_file(file).panels
    return [
        (p.recipe, _one_or_all(readings_by_angle(p.readings, where=f"panel {p.code}")))
        for p in panels
    ]


def _one_or_all(readings: tuple[Reading, ...]) -> Readings:
    return readings[0] if len(readings) == 1 else readings


def correct_tried(
    archive: Archive,
    model: FilmRegressor | None,
    tried: Sequence[tuple[Recipe, Readings]],
    target: Readings,
    limits: Limits,
    *,
    without: Sequence[str],
    tolerance: Tolerance | float,
    weights: Mapping[str, float] | None = None,
    step: Step | None = None,
) -> Advice:
    """Say what to change after the panels sprayed for a target.

    Parameters
    ----------
    archive : Archive
        Open.
    model : FilmRegressor, optional
        Fitted to panels of which none was tried; fitted here if None.
    tried : sequence of (Recipe, Reading or tuple of Reading)
        In the order sprayed.
    target : Reading or sequence of Reading
        What is to be matched, one reading a geometry.
    limits : Limits
        The shop's.
    without : sequence of str
        Codes of the archive's panels that were tried.
    tolerance : Tolerance or float
        What passes; a number is ΔE00.
    weights : mapping of str to float, optional
        How much a difference counts, by geometry.
    step : callable, optional
        Called between pieces of work; what it raises ends it.

    Returns
    -------
    Advice
        Small changes and fresh recipes.
    """
    from matchlib.correction import correct

    fitted = model or _without(archive, without, step)
    readings, aim = as_readings(target), aim_of(target, tolerance, weights)
    rows = [
        (recipe, r if isinstance(r, tuple) else _one_or_all(as_readings(r))) for recipe, r in tried
    ]
    if _plain(aim) and not any(isinstance(r, tuple) for _, r in rows):
        value = aim.tolerance.value
        return correct(fitted, rows, readings[0], booth_of(limits), tolerance=value)
    return correct(fitted, rows, aim, booth_of(limits))


def _plain(aim: Target) -> bool:
    """Whether a reading and a ΔE00 say all of it."""
    (first, *rest) = aim.aims
    return not rest and first.weight == 1.0 and aim.tolerance.kind == "ΔE00"


def next_for(
    archive: Archive,
    model: FilmRegressor | None,
    tried: Sequence[tuple[Recipe, Readings]],
    target: Readings,
    limits: Limits,
    *,
    without: Sequence[str],
    tolerance: Tolerance | float,
    top: int,
    weights: Mapping[str, float] | None = None,
    step: Step | None = None,
) -> tuple[TargetPanel, ...]:
    """Rank panels by the chance of a match by the second one sprayed.

    Parameters
    ----------
    archive, model, tried, target, limits, without, tolerance, weights
        As for `correct_tried`; nothing need have been tried.
    top : int
        Panels wanted.
    step : callable, optional
        Called between pieces of work; what it raises ends it.

    Returns
    -------
    tuple of TargetPanel
        The best first.
    """
    from matchlib.correction import Belief
    from matchlib.next_panel import next_for_target

    belief = Belief.of(model or _without(archive, without, step))
    return next_for_target(
        belief.after(tried) if tried else belief,
        aim_of(target, tolerance, weights),
        _candidates(belief.model, limits),
        source=as_readings(target)[0].source,
        shown=top,
        step=step,
    )


def plan_for(
    model: FilmRegressor,
    panels: Sequence[Panel],
    limits: Limits,
    *,
    top: int,
    step: Step | None = None,
) -> ArchivePlan:
    """Choose the panels that teach most about the recipes in use.

    Parameters
    ----------
    model : FilmRegressor
        Fitted.
    panels : sequence of Panel
        The archive's: what it holds is what is in use.
    limits : Limits
        The shop's.
    top : int
        Panels in the set.
    step : callable, optional
        Called between pieces of work; what it raises ends the choice.

    Returns
    -------
    ArchivePlan
        In order of worth.
    """
    from matchlib.next_panel import next_for_archive

    used = [p.recipe for p in panels if not p.recipe.bare]
    return next_for_archive(model, used, _candidates(model, limits), k=top, step=step)


def _candidates(model: FilmRegressor, limits: Limits) -> list[Recipe]:
    from matchlib.correction import shelf
    from matchlib.domain import Colour, Ground

    booth, words = booth_of(limits), model.words_
    grounds = list(booth.grounds) or [Ground.parse(g) for g in words.grounds]
    colours = list(booth.colours) or [Colour.parse(c) for c in words.colours]
    return list(shelf(booth, grounds, colours))


def _without(archive: Archive, codes: Sequence[str], step: Step | None) -> FilmRegressor:
    left_out = {" ".join(code.split()) for code in codes}
    return model_of(archive, without=left_out, step=unmeasured(step)).model
