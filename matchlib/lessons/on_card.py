"""Lessons of one card: why to stop short, what a weak last coat does, and what no coat mends."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from matchlib.colorimetry import delta_e00, delta_lch
from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Recipe
from matchlib.evenness import film_tolerance
from matchlib.evenness.film import coat_shares
from matchlib.lessons.evidence import Evidence, LessonBasis, by_recipe, cannot
from matchlib.linear import panel_spread
from matchlib.mixing import Limits
from matchlib.steering import plan
from matchlib.tails import chance_words
from matchlib.target import Target

__all__ = ["another_ground", "stop_short", "weak_last"]

UNEVEN = 0.2
"""How much more or less of one coat lies where strokes overlap badly [-] (common practice, no
source)."""

CLOSE = 1.0
"""Difference within which a card counts as met [ΔE00]."""


def stop_short(asked: LessonBasis) -> Evidence:
    """Chances of a card sprayed whole, and of one stopped before its last coats and read."""
    own = asked.own
    carrier = float(asked.step.ratio.carrier / asked.step.ratio.colour)
    target = Target.lab(*map(float, asked.labs([own])[0]), viewing=asked.view)
    usual = Limits()
    shelf = Limits(
        grounds=(own.ground,),
        colours=() if own.colour is None else (own.colour,),
        blends=False,
        step_ups=False,
        ground_blends=False,
        clear=own.clear or "no",
        # What is told of is its own recipe, also where others lay fewer coats or stronger pots.
        max_coats=max(usual.max_coats, own.coats),
        min_ratio=min(usual.carrier[0], carrier),
        max_ratio=max(usual.carrier[1], carrier),
    )
    best = plan(asked.model, target, shelf, readings=2, top=1, archive=asked.panels)[0]
    film, _ = panel_spread(asked.model)
    finding = (
        f"From card to card the film of this archive varies by {film:.0%}. Sprayed whole, a card "
        f"aimed at {own} passes ΔE00 {CLOSE:g} with a chance of {chance_words(best.blind)}; about "
        "half of those that fail are too dark, and no coat takes colour away. "
    )
    if not best.planned_readings:
        # Where it is tried and does not pay, that is what the archive says.
        tried = f" ({chance_words(best.by_readings[1])})" if len(best.by_readings) > 1 else ""
        finding += f"No stop on the way and no reading there betters that{tried}."
        return Evidence(finding, supported=False)
    finding += (
        f"Stopped after {best.first.schedule}, read, and built on by what was read: "
        f"{chance_words(best.by_readings[1])}."
    )
    names = ("not read on the way", "read once", "read twice")
    stops = (own.schedule, best.first.schedule, best.first.schedule)
    rows = tuple(
        (name, str(stop), chance_words(chance))
        for name, stop, chance in zip(names, stops, best.by_readings, strict=False)
    )
    columns = ("the card is", "sprayed at first", f"passes ΔE00 {CLOSE:g}")
    held = best.by_readings[1] > best.blind + 0.02
    return Evidence(finding, held, columns, rows)


def weak_last(asked: LessonBasis) -> Evidence:
    """What a badly laid last coat shows, by how much of the film it brings."""
    ratio, coats = asked.step.ratio, max(asked.step.coats, 2)
    weak = MixRatio(ratio.carrier * 2 + ratio.colour, ratio.colour)  # half the colour in the pot
    ends = {
        "of the same mix": CoatSchedule.of(coats, ratio),
        "in two of half the strength": CoatSchedule(
            (CoatStep(coats - 1, ratio), CoatStep(2, weak))
        ),
        "of twice the strength": CoatSchedule(
            (CoatStep(coats - 1, ratio), CoatStep(1, _twice(ratio)))
        ),
    }
    recipes = [replace(asked.own, schedule=s) for s in ends.values()]
    labs = asked.labs(recipes)
    last = [float(coat_shares(asked.model, recipe)[-1]) for recipe in recipes]
    shown = [
        float(film_tolerance(asked.model, [recipe], changes=(UNEVEN * share,))[0, 0])
        for recipe, share in zip(recipes, last, strict=True)
    ]
    finding = (
        f"{asked.own.colour} over {asked.own.ground}: where strokes of the last coat overlap by "
        f"{UNEVEN:.0%} too much, {recipes[0].schedule} shows ΔE00 {shown[0]:.2f}; with its last "
        f"coat laid as two of half the strength, {shown[1]:.2f}; with one of twice the strength, "
        f"{shown[2]:.2f}. Nothing laid later evens the last coat out, so let it bring little."
    )
    rows = (
        (f"{name}: {recipe.schedule}", lab, f"{share:.0%}", f"{away:.2f}")
        for name, recipe, lab, share, away in zip(ends, recipes, labs, last, shown, strict=True)
    )
    columns = ("the last coat is", "its share of the film", "ΔE00 if it stripes")
    held = shown[1] < 0.75 * shown[0] < shown[2]
    return by_recipe(finding, held, columns=columns, rows=rows)


def another_ground(asked: LessonBasis) -> Evidence:
    """How near coats alone come to the same coats over other grounds."""
    own = asked.own
    others = [g for g in asked.grounds if g != own.ground]
    if not others:
        return cannot("it has panels over one ground only.")
    strengths = np.geomspace(0.2, 4.0, 61) * asked.step.coats * asked.step.ratio.fraction
    ladder = asked.labs([_of_strength(own, float(s)) for s in strengths])
    aims = asked.labs(asked.over(others))
    left = np.array([float(np.min(delta_e00(aim, ladder))) for aim in aims])
    mended = float(np.min(delta_e00(asked.labs([own])[0], ladder)))
    near = np.array([ladder[int(np.argmin(delta_e00(aim, ladder)))] for aim in aims])
    _, chroma, hue, _ = delta_lch(aims, near)
    order = np.argsort(-left)
    rows = (
        (others[i], aims[i], f"{left[i]:.1f}", f"{chroma[i]:+.1f}", f"{hue[i]:+.1f}") for i in order
    )
    far = int(np.argmax(np.abs(hue)))
    finding = (
        f"A card of {own.colour} over {own.ground} that comes out too light is mended by coats, to "
        f"within ΔE00 {mended:.1f} of {own.schedule}. One that is to look as {own.schedule} does "
        f"over {others[far]} "
    )
    finding += (
        f"is not: however much of it is laid on {own.ground}, ΔE00 {left[far]:.1f} is left, with "
        f"ΔH* {hue[far]:+.1f}. What is off in hue at a look needs another ground or another pot: "
        "stop, and begin anew."
        if left[far] > CLOSE
        else f"is too, to within ΔE00 {left[far]:.1f}: none of its grounds turns the hue more."
    )
    columns = ("wanted: as over", "ΔE00 left", "ΔC* left", "ΔH* left")
    held = left[far] > CLOSE and mended < CLOSE / 2
    return by_recipe(finding, held, columns=columns, rows=rows)


def _twice(ratio: MixRatio) -> MixRatio:
    """The mix with twice as much colour in the pot; neat colour where there is no more."""
    carrier = (ratio.carrier - ratio.colour) / 2
    return MixRatio(max(carrier, Fraction(0)), ratio.colour)


def _of_strength(recipe: Recipe, strength: float) -> Recipe:
    """As many coats as need be, at a ratio that makes exactly this strength."""
    coats = max(2, int(np.ceil(strength / 0.4)))
    ratio = MixRatio(Fraction(round(100.0 * (coats / strength - 1.0)), 100), Fraction(1))
    return replace(recipe, schedule=CoatSchedule.of(coats, ratio))
