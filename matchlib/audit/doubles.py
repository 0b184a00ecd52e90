"""One panel under two codes, two recipes under one code, readings of one panel that disagree."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from matchlib.audit.finding import Evidence, Finding
from matchlib.audit.left_out import LeftOut
from matchlib.colorimetry import delta_e00
from matchlib.domain import Panel
from matchlib.linear import lab_of_reading
from matchlib.stepping import Step, part_of

__all__ = ["disagreeing_readings", "same_code_twice", "same_panel_twice"]

Array = NDArray[np.float64]

DOUBLE = 0.02
"""Prior of two panels of one recipe being one panel [-] (common practice, no source)."""

DOUBLE_SAME_DAY = 0.10
"""The same where date, sprayer and lot agree too [-] (common practice, no source)."""

LEAST_READING_SD = 0.05
"""Least noise of a reading an axis [ΔE*ab]: instruments print two digits, and hands shake."""

MOST_OF_A_RECIPE = 60
"""Panels of one recipe compared pair by pair, at most."""


def same_code_twice(panels: Sequence[Panel]) -> Iterator[Finding]:
    """Find codes that stand for more than one panel.

    Parameters
    ----------
    panels : sequence of Panel
        As imported; an archive does not let this happen.

    Yields
    ------
    Finding
        A code each.
    """
    by_code: dict[str, list[Panel]] = defaultdict(list)
    for panel in panels:
        by_code[panel.code].append(panel)
    for code, found in by_code.items():
        recipes = list(dict.fromkeys(p.recipe for p in found))
        if len(recipes) > 1:
            both = " and ".join(map(str, recipes))
            yield Finding(
                "same code twice",
                (code,),
                1.0,
                f"The code {code} stands for {len(recipes)} recipes: {both}.",
                "Look at the panels and give one of them a code of its own.",
            )


def same_panel_twice(left: LeftOut, *, step: Step | None = None) -> Iterator[Finding]:
    """Find panels that were entered under two codes.

    Parameters
    ----------
    left : LeftOut
        Panels with their readings and spreads.
    step : callable, optional
        Called with the share done between pieces of work; what it raises ends it.

    Yields
    ------
    Finding
        A pair each.
    """
    exact: dict[tuple[object, ...], list[int]] = defaultdict(list)
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for i, panel in enumerate(left.panels):
        first = panel.readings[0]
        exact[(first,)].append(i)
        alike[(panel.recipe, left.viewings[i], left.sources[i])].append(i)
    told: set[tuple[int, int]] = set()
    for group in exact.values():
        for i, j in combinations(group[:MOST_OF_A_RECIPE], 2):
            told.add((i, j))
            one, two = left.panels[i], left.panels[j]
            words = f"Panels {one.code} and {two.code} have the same reading, digit by digit."
            yield Finding("same panel twice", (one.code, two.code), 0.97, words, _fix(one, two))
    at = part_of(step)
    for number, group in enumerate(alike.values()):
        for i, j in combinations(group[:MOST_OF_A_RECIPE], 2):
            at(number / len(alike), "comparing panels of one recipe")
            if (i, j) in told:
                continue
            found = _double(left, i, j)
            if found is not None:
                yield found


def _fix(one: Panel, two: Panel) -> str:
    return f"If it is one panel, retire {two.code} and keep its readings as repeats of {one.code}."


def _double(left: LeftOut, i: int, j: int) -> Finding | None:
    one, two = left.panels[i], left.panels[j]
    for what in ("date", "sprayer", "lot"):
        a, b = getattr(one, what), getattr(two, what)
        if a and b and a != b:
            return None  # written down as sprayed apart
    apart = left.lab[i] - left.lab[j]
    _, _, spray, reading = left.model.predict_parts(
        [one.recipe], left.viewings[i], sources=left.sources[i]
    )
    noise = np.maximum(np.diag(reading[0]), LEAST_READING_SD**2)
    same = 2.0 * np.diag(noise)
    different = same + 2.0 * spray[0] * left.scale
    written, proposed = _likelihood(apart, different), _likelihood(apart, same)
    told = all(getattr(one, w) and getattr(two, w) for w in ("date", "sprayer", "lot"))
    prior = DOUBLE_SAME_DAY if told else DOUBLE
    odds = np.log(prior / (1 - prior)) + proposed - written
    chance = float(1.0 / (1.0 + np.exp(-np.clip(odds, -50, 50))))
    evidence = Evidence(written, proposed)
    difference = float(delta_e00(left.lab[i], left.lab[j]))
    words = (
        f"Panels {one.code} and {two.code} are of one recipe and read ΔE00 {difference:.2f} apart, "
        f"nearer than two panels come ({evidence.words})."
    )
    return Finding(
        "same panel twice", (one.code, two.code), chance, words, _fix(one, two), evidence
    )


def _likelihood(miss: Array, covariance: Array) -> float:
    _, log_det = np.linalg.slogdet(covariance)
    far = miss @ np.linalg.solve(covariance, miss)
    return float(-0.5 * (far + log_det + 3.0 * np.log(2.0 * np.pi)))


def disagreeing_readings(panels: Sequence[Panel]) -> Iterator[Finding]:
    """Find panels whose repeat readings are further apart than the archive's usually are.

    Parameters
    ----------
    panels : sequence of Panel
        The archive.

    Yields
    ------
    Finding
        A panel each, where there are at least 8 panels with repeats to compare with.
    """
    spans: dict[str, list[tuple[float, Panel]]] = defaultdict(list)
    for panel in panels:
        by_view = defaultdict(list)
        for reading in panel.readings:
            by_view[(reading.viewing, reading.source)].append(lab_of_reading(reading))
        for (_, source), labs in by_view.items():
            if len(labs) > 1:
                middle = np.median(labs, axis=0)
                spans[source].append((float(np.max(delta_e00(np.array(labs), middle))), panel))
    for source, found in spans.items():
        if len(found) < 8:
            continue
        usual = max(float(np.median([s for s, _ in found])), LEAST_READING_SD)
        for span, panel in found:
            # A chi with three degrees of freedom exceeds 4 times its middle once in 10^8.
            chance = 1.0 / (1.0 + np.exp(-6.0 * (span / usual - 5.0)))
            if span > 4.0 * usual:
                words = (
                    f"Panel {panel.code}: its readings ({source}) are up to ΔE00 {span:.2f} from "
                    f"their middle, where {usual:.2f} is usual here."
                )
                fix = f"Read panel {panel.code} again and drop the reading that is out."
                yield Finding("readings disagree", (panel.code,), float(chance), words, fix)
