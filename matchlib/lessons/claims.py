"""Lessons: a rule, what this archive's panels say of it in numbers, and whether they can.

A difference between two recipes is believed when it is at least twice its standard deviation by
the law's own covariance (about 95 %), which counts what the two predictions have in common.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from matchlib.colorimetry import delta_e00
from matchlib.domain import CoatSchedule, Colour, MixRatio, Panel, Recipe, three
from matchlib.errors import DomainError
from matchlib.evenness import film_tolerance
from matchlib.evenness.film import coat_shares
from matchlib.lessons.evidence import Evidence, Lesson, LessonBasis, by_recipe, cannot
from matchlib.lessons.on_card import another_ground, stop_short, weak_last
from matchlib.mixing.stated import ratio_of
from matchlib.plural import counted
from matchlib.suggest.words import direction

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["LESSONS", "lesson"]

Array = NDArray[np.float64]

SURE = 2.0
"""Standard deviations from which on a difference is believed."""

CAST = 4.0
"""Least difference of b* between a yellow ground and the neutral one it is compared with."""


def lesson(model: FilmPredictor, panels: Sequence[Panel], key: str) -> Lesson:
    """Work a lesson out from an archive.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    panels : sequence of Panel
        The archive.
    key : str
        One of `LESSONS`.

    Returns
    -------
    Lesson
        With its numbers, also where the archive does not bear it out.

    Raises
    ------
    DomainError
        If there is no such lesson.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> from matchlib.lessons import LESSONS
    >>> found = lesson(demo_model(), demo_panels(), next(iter(LESSONS)))
    >>> found.supported
    True
    """
    if key not in LESSONS:
        raise DomainError(
            "There is no such lesson.", expected=", ".join(LESSONS), got=key, remedy="choose one."
        )
    title, rule, work = LESSONS[key]
    # A card that nobody has read yet may name a ground or colour of which no reading tells.
    panels = [p for p in panels if model.words_.knows(p.recipe)]
    own = _usual(panels)
    if own is None or own.schedule is None:
        said = cannot(
            "it has no panel of one neat colour over a neat ground, at one ratio with no more "
            "colour than carrier."
        )
    else:
        said = work(LessonBasis(model, panels, own, own.schedule.steps[0]))
    return Lesson(key, title, rule, *said)


def _usual(panels: Sequence[Panel]) -> Recipe | None:
    """The recipe sprayed most often in one neat colour at one ratio over a neat ground."""
    plain = [
        p.recipe
        for p in panels
        if p.recipe.colour is not None
        and p.recipe.schedule is not None
        and p.recipe.colour.neat
        and p.recipe.ground.neat
        and len(p.recipe.schedule.steps) == 1
        and not p.recipe.schedule.steps[0].ratio.looks_reversed
    ]
    counts = Counter(plain).most_common(1)
    return counts[0][0] if counts else None


def _ratio(asked: LessonBasis) -> Evidence:
    coats, ratio = asked.step.coats, asked.step.ratio
    poured = ratio_of(colour_volume=4, carrier_volume=32)
    turned = MixRatio(ratio.colour, ratio.carrier)
    tries = [ratio, poured, turned]
    recipes = [replace(asked.own, schedule=CoatSchedule.of(coats, r)) for r in dict.fromkeys(tries)]
    labs = asked.labs(recipes)
    away = np.asarray(delta_e00(labs[0], labs))
    wrong = float(away[-1])
    finding = (
        f"4 of colour poured into 32 of carrier is {poured}, {poured.words}: one part in "
        f"{1 / poured.fraction:.0f} of the pot, {poured.fraction:.1%}. {ratio} is {ratio.words}, "
        f"{ratio.fraction:.1%} colour. "
    )
    held = turned != ratio
    if held:
        finding += (
            f"{asked.own} the wrong way round, at {turned}, would read ΔE00 {wrong:.1f} from what "
            f"was meant: {', '.join(direction(labs[0], labs[-1])[:2]) or 'hardly different'}."
        )
    else:
        finding += f"{asked.own} is sprayed at a ratio which is the same the wrong way round."
    rows = (
        (r.schedule, lab, f"{r.steps[0].ratio.fraction:.1%}", f"{d:.1f}")
        for r, lab, d in zip(recipes, labs, away, strict=True)
    )
    columns = ("schedule", "colour in the pot", "ΔE00 from the first")
    return by_recipe(finding, held and wrong > 1.0, columns=columns, rows=rows)


def _step_up(asked: LessonBasis) -> Evidence:
    ratio = asked.step.ratio
    rich = MixRatio(ratio.carrier / 2, ratio.colour)
    schedules = [
        CoatSchedule.of(4, ratio),
        CoatSchedule.parse(f"2@{ratio} 2@{rich}"),
        CoatSchedule.parse(f"2@{rich} 2@{ratio}"),
        CoatSchedule.of(4, rich),
    ]
    recipes = [replace(asked.own, schedule=s) for s in schedules]
    labs = asked.labs(recipes)
    away = np.asarray(delta_e00(labs[0], labs))
    middle, swapped = float(away[1]), float(delta_e00(labs[1], labs[2]))
    sprayed = sum(
        len(p.recipe.layers) == 1 and len({s.ratio for s in p.recipe.steps}) > 1
        for p in asked.panels
    )
    finding = (
        f"{asked.own.colour} over {asked.own.ground}: two coats at {ratio} and two at {rich} read "
        f"ΔE00 {middle:.1f} from four coats at {ratio}; four coats at {rich} read "
        f"{float(away[3]):.1f} from them. The order of the two steps makes ΔE00 {swapped:.1f}. "
        f"{counted(sprayed, 'panel')} of this archive "
        f"{'is' if sprayed == 1 else 'are'} sprayed in steps"
    )
    finding += "." if sprayed else ", so this is only a prediction."
    finding += _last_coats(asked, schedules)
    rows = (
        (s, lab, f"{s.strength:.2f}", f"{d:.1f}")
        for s, lab, d in zip(schedules, labs, away, strict=True)
    )
    columns = ("schedule", "strength", "ΔE00 from the first")
    between = 0.0 < middle < float(away[3])
    return by_recipe(finding, between and sprayed > 0, columns=columns, rows=rows)


def _last_coats(asked: LessonBasis, schedules: Sequence[CoatSchedule]) -> str:
    """What the last coats bring in either order of the two steps."""
    shares = [coat_shares(asked.model, replace(asked.own, schedule=s)) for s in schedules[1:3]]
    last = [float(share[-2:].sum()) for share in shares]
    return (
        f" The last two coats bring {last[0]:.0%} of the colour when the strong ones come last, "
        f"{last[1]:.0%} when the weak ones do; no coat follows to even the last ones out (common "
        "practice, no source)."
    )


def _value(asked: LessonBasis) -> Evidence:
    bare = asked.bare()
    order = np.argsort(-bare[:, 0])
    grounds = [asked.grounds[int(i)] for i in order]
    if len(grounds) < 2:
        return cannot("it has panels over one ground only.")
    recipes = asked.over(grounds)
    labs = asked.labs(recipes)
    _, sd = asked.shift(recipes[0], recipes[-1])
    drop = float(labs[0, 0] - labs[-1, 0])
    share = np.corrcoef(bare[order, 0], labs[:, 0])[0, 1] if len(grounds) > 2 else np.sign(drop)
    finding = (
        f"{asked.own.colour}, {asked.own.schedule}: over {grounds[0]} L* {labs[0, 0]:.1f}, over "
        f"{grounds[-1]} L* {labs[-1, 0]:.1f}, {abs(drop):.1f} (±{SURE * sd[0]:.1f}) "
        f"{'darker' if drop > 0 else 'lighter'} by the ground alone. "
    )
    finding += (
        f"Over the {len(grounds)} grounds: the darker the bare ground, the darker the panel."
        if share > 0.5
        else f"Over the {len(grounds)} grounds the panel does not go with how dark the ground is."
    )
    rows = ((g, lab, f"{b:.1f}") for g, lab, b in zip(grounds, labs, bare[order, 0], strict=True))
    held = drop > SURE * sd[0] and share > 0.5
    return by_recipe(finding, held, columns=("ground", "L* of the bare ground"), rows=rows)


def _gold(asked: LessonBasis) -> Evidence:
    bare = asked.bare()
    yellow = int(np.argmax(bare[:, 2]))
    # Compared with the ground nearest in lightness that has no cast, so that value is not cast.
    neutral = [i for i in range(len(bare)) if bare[yellow, 2] - bare[i, 2] >= CAST]
    if not neutral:
        return cannot("none of its grounds is yellower than another.")
    plain = min(neutral, key=lambda i: abs(float(bare[i, 0] - bare[yellow, 0])))
    gold, grey = asked.grounds[yellow], asked.grounds[plain]
    rows, yellower = [], 0
    for colour in asked.colours:
        pair = [*asked.over([grey], colour), *asked.over([gold], colour)]
        by, sd = asked.shift(*pair)
        sure = bool(abs(by[2]) > SURE * sd[2])
        yellower += sure and bool(by[2] > 0)
        there = asked.labs(pair)
        # Said by the colour itself: over gold a red turns orange, a blue green or grey.
        how = ", ".join(w.split(" (")[0] for w in direction(*there)[:2]) if sure else ""
        rows.append(
            (
                colour,
                there[1],
                f"{by[0]:+.1f}",
                f"{by[2]:+.1f} ± {SURE * sd[2]:.1f}",
                f"{float(delta_e00(*there)):.1f}",
                how or "cannot be told",
            )
        )
    finding = (
        f"{gold} (b* {bare[yellow, 2]:.1f} bare) against {grey} (b* {bare[plain, 2]:.1f}): "
        f"{yellower} of {len(rows)} colours come out yellower over {gold} (b* rises beyond doubt), "
        f"{asked.own.schedule} each; the last column says what that makes of them."
    )
    columns = (f"over {gold}", "ΔL*", "Δb*", f"ΔE00 from {grey}", "so it comes out")
    return by_recipe(finding, yellower > len(rows) / 2, columns=columns, rows=rows)


def _even(asked: LessonBasis) -> Evidence:
    recipes = asked.over(asked.grounds)
    bare = asked.bare()
    shown = film_tolerance(asked.model, recipes, changes=(0.1, 0.2))
    order = [int(i) for i in np.argsort(-bare[:, 0])]
    labs = asked.labs(recipes)
    if len(order) < 3:
        return cannot("it takes three grounds, light to dark, to tell.")
    share = float(np.corrcoef(bare[:, 0], shown[:, 0])[0, 1])
    worst, least = (int(f(shown[:, 0])) for f in (np.argmax, np.argmin))
    finding = (
        f"{asked.own.colour}, {asked.own.schedule}: a tenth more or less film shows most over "
        f"{asked.grounds[worst]} (ΔE00 {shown[worst, 0]:.2f}) and least over "
        f"{asked.grounds[least]} ({shown[least, 0]:.2f}). "
    )
    finding += (
        f"Over its {len(order)} grounds: the brighter the ground, the more it shows."
        if share > 0.5
        else f"Over its {len(order)} grounds it does not go with how bright the ground is."
    )
    rows = (
        (asked.grounds[i], labs[i], f"{bare[i, 0]:.1f}", *(f"{v:.2f}" for v in shown[i]))
        for i in order
    )
    columns = ("ground", "bare L*", "ΔE00 at ±10% film", "ΔE00 at ±20% film")
    return by_recipe(finding, share > 0.5, columns=columns, rows=rows)


def _metamerism(asked: LessonBasis) -> Evidence:
    pots = [*asked.colours]
    for one, two in combinations(asked.colours, 2):
        pots += [Colour.parse(f"{one} {a} + {two} {b}") for a, b in ((2, 1), (1, 1), (1, 2))]
    recipes = [
        replace(
            asked.own,
            ground=g,
            colour=c,
            schedule=CoatSchedule.of(n, MixRatio(Fraction(r), Fraction(1))),
        )
        for g in asked.grounds
        for c in pots
        for r in (3, 4, 6, 8, 10)
        for n in range(1, 7)
    ]
    day, lamp = asked.labs(recipes), asked.labs(recipes, "A")
    pairs = cKDTree(day).query_pairs(2.0, output_type="ndarray")
    other = np.array([recipes[i].colour != recipes[j].colour for i, j in pairs], bool)
    pairs = pairs[other] if len(pairs) else pairs
    alike = delta_e00(day[pairs[:, 0]], day[pairs[:, 1]]) if len(pairs) else np.empty(0)
    pairs = pairs[np.asarray(alike) <= 1.0]
    if not len(pairs):
        return cannot("no two of its recipes in different colours match in daylight.")
    apart = np.asarray(delta_e00(lamp[pairs[:, 0]], lamp[pairs[:, 1]]))
    first, second = (int(i) for i in pairs[int(np.argmax(apart))])
    by_day, by_lamp = float(delta_e00(day[first], day[second])), float(apart.max())
    finding = (
        f"{recipes[first]} and {recipes[second]} match in daylight (D65: ΔE00 {by_day:.1f}); under "
        f"a filament lamp (A) they are ΔE00 {by_lamp:.1f} apart, the most of {len(pairs)} such "
        "pairs."
    )
    if bool(asked.model.rests_on_lab([recipes[first], recipes[second]]).any()):
        finding += " Part of them was read as Lab only, so the lamp's number is a guess."
    rows = tuple(
        (str(recipes[i]), light, *(f"{v:.1f}" for v in lab))
        for i in (first, second)
        for light, lab in (("D65", day[i]), ("A", lamp[i]))
    )
    labs = tuple(three(lab) for i in (first, second) for lab in (day[i], lamp[i]))
    columns = ("recipe", "light", "L*", "a*", "b*")
    return Evidence(finding, by_lamp > max(1.0, 1.5 * by_day), columns, rows, labs)


LESSONS: dict[str, tuple[str, str, Callable[[LessonBasis], Evidence]]] = {
    "value": (
        "The ground sets the value",
        "The same coats of the same colour come out darker over a darker ground.",
        _value,
    ),
    "ratio": (
        "Which way round a ratio goes",
        "A mix ratio is carrier to colour, carrier first. Say it in words before pouring.",
        _ratio,
    ),
    "gold": (
        "Transparent colour over gold",
        "A gold ground returns little blue light: reds over it turn orange, blues turn green or "
        "grey.",
        _gold,
    ),
    "evenness": (
        "Bright grounds show unevenness",
        "The brighter the ground, the more an uneven film shows.",
        _even,
    ),
    "step-up": (
        "Stepping up",
        "The colour depends on how much of it is there in the end. Evenness depends on no single "
        "stroke bringing much: strong coats laid last stripe, weaker finishing coats even out.",
        _step_up,
    ),
    "stop-short": (
        "Stopping a coat short",
        "Too dark cannot be taken back, and one coat more can always be laid: stop before the last "
        "coats, read the dry card, and lay what is missing.",
        stop_short,
    ),
    "weak-last": (
        "A weak last coat",
        "The less of the film the last coat brings, the less it shows where it was laid unevenly.",
        weak_last,
    ),
    "another-ground": (
        "When coats cannot help",
        "Coats move a card along one line of colours. What lies beside that line, most of all in "
        "hue, needs another ground or another pot.",
        another_ground,
    ),
    "metamerism": (
        "A match in one light only",
        "Two different recipes may match in daylight and not under a lamp.",
        _metamerism,
    ),
}
"""Lessons in a beginner's order: title, rule, and how it is worked out."""
