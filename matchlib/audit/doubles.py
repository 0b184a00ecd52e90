"""One panel under two codes, two recipes under one code, readings of one panel that disagree."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from matchlib.audit.finding import Evidence, Finding
from matchlib.audit.left_out import LeftOutReadings, normal
from matchlib.colorimetry import delta_e00
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Panel, Reading
from matchlib.progress import Callback, part_of

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
    """Find codes that stand for more than one panel."""
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


def same_panel_twice(
    left: LeftOutReadings, *, likely: float, callback: Callback | None = None
) -> Iterator[Finding]:
    """Find panels that were entered under several codes."""
    from scipy.sparse.csgraph import connected_components  # slow, and few ask

    exact: dict[Reading, list[int]] = defaultdict(list)
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for i, panel in enumerate(left.panels):
        exact[panel.readings[0]].append(i)
        alike[(left.recipes[i], left.viewings[i], left.sources[i])].append(i)
    for group in exact.values():
        if len(group) > 1:
            panels = [left.panels[i] for i in group]
            words = f"{_names(panels)} have the same reading, digit by digit."
            yield _one(panels, 0.97, words)
    at = part_of(callback)
    for number, group in enumerate(alike.values()):
        at(number / len(alike), "comparing panels of one recipe")
        # One of each reading is enough: those that read the same are told of already.
        some = list({left.panels[i].readings[0]: i for i in group[:MOST_OF_A_RECIPE]}.values())
        chances = np.zeros((len(some), len(some)))
        evidence: dict[tuple[int, int], Evidence] = {}
        for one, two in combinations(range(len(some)), 2):
            chances[one, two], evidence[one, two] = _double(left, some[one], some[two])
        near = np.where(chances >= likely, chances, 0.0)
        count, member = connected_components(near, directed=False)
        for which in (np.flatnonzero(member == c) for c in range(count)):
            if len(which) > 1:
                own = near[np.ix_(which, which)]
                best = np.unravel_index(np.argmax(own), own.shape)
                why = evidence[int(which[best[0]]), int(which[best[1]])]
                panels = [left.panels[some[i]] for i in which]
                read = left.lab[[some[i] for i in which]]
                apart = float(np.max(delta_e00(read[:, None], read[None])))
                words = (
                    f"{_names(panels)} are of one recipe and read ΔE00 {apart:.2f} apart, nearer "
                    f"than two panels come out; that they are one is {why.words}."
                )
                yield _one(panels, float(own.max()), words, why)


def _names(panels: Sequence[Panel]) -> str:
    *codes, last = (p.code for p in panels)
    return f"Panels {', '.join(codes)} and {last}"


def _one(
    panels: Sequence[Panel], chance: float, words: str, evidence: Evidence | None = None
) -> Finding:
    first, *rest = (p.code for p in panels)
    others = ", ".join(rest)
    fix = f"If it is one panel, put aside {others} and keep the readings as repeats of {first}."
    return Finding("same panel twice", (first, *rest), chance, words, fix, evidence)


def _double(left: LeftOutReadings, i: int, j: int) -> tuple[float, Evidence]:
    """Probability that two panels of one recipe are one."""
    one, two = left.panels[i], left.panels[j]
    for what in ("date", "sprayer", "lot"):
        a, b = getattr(one, what), getattr(two, what)
        if a and b and a != b:
            return 0.0, Evidence(0.0, -np.inf)  # written down as sprayed apart
    apart = left.lab[i] - left.lab[j]
    there = left.model.predict_each([left.recipes[i]], left.viewings[i], sources=left.sources[i])
    noise = np.maximum(np.diag(there.reading[0]), LEAST_READING_SD**2)
    same = 2.0 * np.diag(noise)
    different = same + 2.0 * there.spray[0] * left.scale
    evidence = Evidence(*map(float, normal(apart[None], np.stack([different, same]))))
    recorded = all(getattr(one, w) and getattr(two, w) for w in ("date", "sprayer", "lot"))
    return evidence.probability(DOUBLE_SAME_DAY if recorded else DOUBLE), evidence


def disagreeing_readings(panels: Sequence[Panel]) -> Iterator[Finding]:
    """Find panels whose repeat readings are further apart than the archive's usually are."""
    spans: dict[str, list[tuple[float, Panel]]] = defaultdict(list)
    for panel in panels:
        by_view = defaultdict(list)
        for reading in panel.readings:
            on_it = panel.stages[-1].recipe_at(reading)
            by_view[(reading.viewing, reading.source, on_it)].append(lab_of_reading(reading))
        for (_, source, _), labs in by_view.items():
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
