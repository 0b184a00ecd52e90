"""Target → recipes, and panels just sprayed → what to change: the calls, with what they need."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from workbook.session.order import as_readings
from workbook.session.shelf import booth_of
from workbook.session.targets import readings_by_angle

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.correction import Advice
    from matchlib.domain import Panel, Reading, Recipe
    from matchlib.next_panel import ArchivePlan, TargetPanel
    from matchlib.regression import FilmPredictor
    from matchlib.steering import CardPlans, Steering
    from matchlib.stepping import Step
    from matchlib.suggest import Limits, Suggestions, Target

    Readings = Reading | Sequence[Reading]

__all__ = [
    "cards_for",
    "correct_tried",
    "next_for",
    "plan_for",
    "steer_card",
    "suggest_for",
    "tried_in",
]


def suggest_for(
    model: FilmPredictor,
    panels: Sequence[Panel],
    target: Target,
    limits: Limits,
    *,
    top: int,
    step: Step | None = None,
) -> Suggestions:
    """Suggest recipes for a target."""
    from matchlib.suggest import suggest

    return suggest(model, target, limits, top=top, archive=panels, step=step)


def cards_for(
    model: FilmPredictor,
    panels: Sequence[Panel],
    target: Target,
    limits: Limits,
    *,
    readings: int,
    top: int,
    source: str,
    step: Step | None = None,
) -> CardPlans:
    """Plan cards for a target, each read so often on its way.

    `readings`: looks at a card, 0 to 3.
    """
    from matchlib.steering import plan

    return plan(
        model,
        target,
        limits,
        readings=readings,
        top=top,
        archive=panels,
        source=source,
        step=step,
    )


def steer_card(
    model: FilmPredictor,
    panels: Sequence[Panel],
    tried: Sequence[tuple[Recipe, Readings]],
    card: Sequence[tuple[Recipe, Readings]],
    target: Target,
    *,
    limits: Limits,
    looks: int,
    cup_ml: float | None = None,
    sure: bool = False,
) -> tuple[Steering, CardPlans | None]:
    """Say what to lay next on a card in progress, and where it is lost how to begin the next.

    `cup_ml`: how much is in the cup [mL]. `steering`: what to do. `following`: for a lost card: the
    next, by all that this one showed.
    """
    from matchlib.correction import Belief, learn
    from matchlib.steering import plan, steer

    belief = Belief.of(model, recipes=[r for r, _ in card])
    if tried:
        belief, _ = learn(belief, tried, booth_of(limits))
    found = steer(belief, card, target, limits, looks=looks, cup_ml=cup_ml, sure=sure)
    if found.state != "lost":
        return found, None
    again = plan(
        found.card.learnt,
        target,
        limits,
        readings=max(looks + 1, 1) if looks < 3 else 3,
        top=1,
        archive=panels,
        source=found.card.stages[-1].source,
    )
    return found, again


def tried_in(
    archive: Archive, codes: Sequence[str], file: str | Path | None
) -> list[tuple[Recipe, Readings]]:
    """Return panels that were sprayed for a target.

    Returned: in the order given; repeats of one panel at one angle as their mean.
    """
    panels = [archive.panel(code) for code in codes]
    if file is not None:
        from matchlib.domain import Viewing
        from matchlib.readings import read_file

        panels += read_file(file, viewing=Viewing()).panels
    found = []
    for panel in panels:
        stage = panel.stages[-1]
        read = stage.last_read
        by_angle = readings_by_angle(read, where=f"panel {panel.code}")
        found.append((stage.recipe, _one_or_all(by_angle)))
    return found


def _one_or_all(readings: tuple[Reading, ...]) -> Readings:
    return readings[0] if len(readings) == 1 else readings


def correct_tried(
    model: FilmPredictor,
    tried: Sequence[tuple[Recipe, Readings]],
    target: Target,
    limits: Limits,
) -> Advice:
    """Say what to change after the panels sprayed for a target."""
    from matchlib.correction import correct

    rows = [
        (recipe, r if isinstance(r, tuple) else _one_or_all(as_readings(r))) for recipe, r in tried
    ]
    return correct(model, rows, target, booth_of(limits))


def next_for(
    model: FilmPredictor,
    tried: Sequence[tuple[Recipe, Readings]],
    target: Target,
    limits: Limits,
    *,
    source: str,
    top: int,
    step: Step | None = None,
) -> tuple[tuple[TargetPanel, ...], tuple[Recipe, ...]]:
    """Rank panels by the chance of a match by the second one sprayed.

    `panels`: the best first. `unfitting`: those tried that do not fit their readings, of which
    nothing was learnt.
    """
    from matchlib.correction import Belief, learn
    from matchlib.next_panel import next_for_target

    before = Belief.of(model, recipes=[r for r, _ in tried])
    belief, unfitting = learn(before, tried, booth_of(limits))
    found = next_for_target(
        belief,
        target,
        _candidates(belief.model, limits),
        source=source,
        shown=top,
        step=step,
    )
    return found, tuple(row.recipe for row in unfitting)


def plan_for(
    model: FilmPredictor,
    limits: Limits,
    *,
    top: int,
    step: Step | None = None,
) -> ArchivePlan:
    """Choose the panels that teach most about all that could be sprayed."""
    from matchlib.next_panel import next_for_archive

    return next_for_archive(model, _candidates(model, limits), k=top, step=step)


def _candidates(model: FilmPredictor, limits: Limits) -> list[Recipe]:
    from matchlib.correction import shelf
    from matchlib.domain import Colour, Ground

    booth, words = booth_of(limits), model.words_
    grounds = list(booth.grounds) or [Ground.parse(g) for g in words.grounds]
    colours = list(booth.colours) or [Colour.parse(c) for c in words.colours]
    return list(shelf(booth, grounds, colours))
