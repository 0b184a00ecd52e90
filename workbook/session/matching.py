"""Target → recipes, and panels just sprayed → what to change: the calls, with what they need."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from workbook.session.shelf import booth_of
from workbook.session.targets import lab_of, single_reading

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.correction import Advice
    from matchlib.domain import Panel, Reading, Recipe
    from matchlib.next_panel import ArchivePlan, TargetPanel
    from matchlib.regression import FilmRegressor
    from matchlib.suggest import Limits, Suggestions

__all__ = ["correct_tried", "next_for", "plan_for", "suggest_for", "tried_in"]


def suggest_for(
    model: FilmRegressor,
    panels: Sequence[Panel],
    target: Reading,
    limits: Limits,
    *,
    tolerance: float,
    top: int,
) -> Suggestions:
    """Suggest recipes for a target.

    Parameters
    ----------
    model : FilmRegressor
        Fitted to the panels.
    panels : sequence of Panel
        The archive's.
    target : Reading
        What is to be matched.
    limits : Limits
        The shop's.
    tolerance : float
        Difference that passes [ΔE00].
    top : int
        Suggestions wanted.

    Returns
    -------
    Suggestions
        Best first.
    """
    from matchlib.suggest import Target, suggest

    aim = Target.of_readings(target, tolerance=tolerance)
    return suggest(model, aim, limits, top=top, archive=panels)


def tried_in(
    archive: Archive, codes: Sequence[str], file: str | Path | None
) -> list[tuple[Recipe, Reading]]:
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
    list of (Recipe, Reading)
        In the order given; repeats of one panel as their mean.
    """
    panels = [archive.panel(code) for code in codes]
    if file is not None:
        from matchlib.readings import read_file

        panels += read_file(file).panels
    return [(p.recipe, single_reading(p.readings, where=f"panel {p.code}")) for p in panels]


def correct_tried(
    archive: Archive,
    model: FilmRegressor | None,
    tried: Sequence[tuple[Recipe, Reading]],
    target: Reading,
    limits: Limits,
    *,
    without: Sequence[str],
    tolerance: float,
) -> Advice:
    """Say what to change after the panels sprayed for a target.

    Parameters
    ----------
    archive : Archive
        Open.
    model : FilmRegressor, optional
        Fitted to panels of which none was tried; fitted here if None.
    tried : sequence of (Recipe, Reading)
        In the order sprayed.
    target : Reading
        What is to be matched.
    limits : Limits
        The shop's.
    without : sequence of str
        Codes of the archive's panels that were tried.
    tolerance : float
        Difference that passes [ΔE00].

    Returns
    -------
    Advice
        Small changes and fresh recipes.
    """
    from matchlib.correction import correct

    fitted = model or _without(archive, without)
    return correct(fitted, tried, target, booth_of(limits), tolerance=tolerance)


def next_for(
    archive: Archive,
    model: FilmRegressor | None,
    tried: Sequence[tuple[Recipe, Reading]],
    target: Reading,
    limits: Limits,
    *,
    without: Sequence[str],
    tolerance: float,
    top: int,
) -> tuple[TargetPanel, ...]:
    """Rank panels by the chance of a match by the second one sprayed.

    Parameters
    ----------
    archive, model, tried, target, limits, without, tolerance
        As for `correct_tried`; nothing need have been tried.
    top : int
        Panels wanted.

    Returns
    -------
    tuple of TargetPanel
        The best first.
    """
    from matchlib.correction import Belief
    from matchlib.next_panel import next_for_target

    belief = Belief.of(model or _without(archive, without))
    return next_for_target(
        belief.after(tried) if tried else belief,
        lab_of(target),
        _candidates(belief.model, limits),
        tolerance=tolerance,
        viewing=target.viewing,
        source=target.source,
        shown=top,
    )


def plan_for(
    model: FilmRegressor, panels: Sequence[Panel], limits: Limits, *, top: int
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

    Returns
    -------
    ArchivePlan
        In order of worth.
    """
    from matchlib.next_panel import next_for_archive

    used = [p.recipe for p in panels if not p.recipe.bare]
    return next_for_archive(model, used, _candidates(model, limits), k=top)


def _candidates(model: FilmRegressor, limits: Limits) -> list[Recipe]:
    from matchlib.correction import shelf
    from matchlib.domain import Colour, Ground

    booth, words = booth_of(limits), model.words_
    grounds = list(booth.grounds) or [Ground.parse(g) for g in words.grounds]
    colours = list(booth.colours) or [Colour.parse(c) for c in words.colours]
    return list(shelf(booth, grounds, colours))


def _without(archive: Archive, codes: Sequence[str]) -> FilmRegressor:
    from matchlib.regression import FilmRegressor, frames_of

    left_out = {" ".join(code.split()) for code in codes}
    rest = [p for p in archive.panels() if p.code not in left_out]
    return FilmRegressor().fit(*frames_of(rest))
