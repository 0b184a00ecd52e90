"""Whether film drifts: with time, by lot, by sprayer, by instrument, with the booth's air.

Every panel tells how much film it got against what its recipe should have (its reading against
the fit without it, along the direction in which film moves it). Those numbers are regressed on one
thing at a time; the chance that it matters comes from the Bayes factor of a normal effect against
none, which asks less for a large archive than a fixed p-value would (Wakefield 2009).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from matchlib.audit.finding import Evidence, Finding
from matchlib.audit.left_out import LeftOutReadings
from matchlib.domain import Panel
from matchlib.regression.law import motion
from matchlib.regression.table import RecipeTable

__all__ = ["drifts", "film_of"]

Array = NDArray[np.float64]

EFFECT = 0.05
"""Spread of an effect on log film, if there is one [-] (common practice, no source)."""

PRIOR = 0.05
"""Probability of any one of them mattering beforehand [-] (common practice, no source)."""

FEWEST = 4
"""Panels of one name, and of the others, from which anything is said; in all twice as many."""


def film_of(
    left: LeftOutReadings, keep: NDArray[np.bool_]
) -> tuple[Array, Array, NDArray[np.intp]]:
    """Return film beyond the recipe's, its variance, and of which rows these are; each (n,)."""
    solved = np.linalg.solve(left.covariance * left.scale, left.film[:, :, None])[:, :, 0]
    precision = np.sum(left.film * solved, axis=1)
    rows = np.flatnonzero(keep & (precision > 1.0 / 0.2**2))
    film = np.sum(left.residual * solved, axis=1)[rows] / precision[rows]
    return film, 1.0 / precision[rows], rows


def _learnt(left: LeftOutReadings, rows: NDArray[np.intp]) -> dict[str, Array]:
    """Log film (n,) that the law itself has learnt of each row's sprayer, lots and day."""
    law, z = left.model.fitted_.law, left.model.fitted_.z
    recipes = [p.recipe for p in left.panels]
    table = RecipeTable.of(recipes, left.viewings, left.words, left.conditions).take(rows)
    lots, days = law.sharing(table, "lot"), z[law.slices["drift"]]
    return {
        "sprayer": law.sharing(table, "sprayer") @ z[law.slices["sprayer"]],
        "lot": lots @ z[law.slices["lot"]] / np.maximum(lots.sum(axis=1), 1.0),
        "date": motion(table.time) @ days if len(days) else np.zeros(len(rows)),
    }


def drifts(left: LeftOutReadings, keep: NDArray[np.bool_]) -> Iterator[Finding]:
    """Find what film depends on and should not."""
    film, variance, rows = film_of(left, keep)
    if len(rows) < 2 * FEWEST:
        return
    panels = [left.panels[i] for i in rows]
    # What the law has learnt is put back, to be found here.
    learnt = _learnt(left, rows)
    film += learnt["sprayer"]
    # The spread as it is, where the panels vary more than the fit expects.
    level = np.average(film, weights=1.0 / variance)
    excess = float(np.mean((film - level) ** 2 / variance))
    variance = variance * max(excess, 1.0)
    for what, names in (
        ("sprayer", [p.sprayer for p in panels]),
        ("lot", [p.lot for p in panels]),
        ("source of readings", [left.sources[i] for i in rows]),
        ("instrument", [p.readings[0].instrument for p in panels]),
    ):
        own = film + learnt["lot"] if what == "lot" else film
        yield from _by_name(what, names, own, variance, panels)
    kinds: tuple[tuple[str, str, float, Callable[[Panel], float | None]], ...] = (
        ("date", "days", 365.0, lambda p: None if p.date is None else float(p.date.toordinal())),
        ("booth temperature", "°C", 10.0, lambda p: p.temperature),
        ("booth humidity", "points of humidity", 20.0, lambda p: p.humidity),
    )
    for what, unit, most, value in kinds:
        numbers = [value(p) for p in panels]
        some = np.array([v is not None for v in numbers])
        if some.sum() < 2 * FEWEST:
            continue
        x = np.array([v for v in numbers if v is not None])
        if np.ptp(x) < 0.05 * most:
            continue
        # Of two months nobody can tell what a year would do.
        size = min(most, float(np.ptp(x)))
        x = x / size
        own = film + learnt["date"] if what == "date" else film
        effect, spread, reach = _slope(x, own[some], variance[some])
        # The effect that matters is the one over the range that occurs.
        chance, evidence = _weigh(effect * reach, spread * reach**2, 1)
        words = (
            f"Film goes with {what}: {_percent(effect)} for "
            f"{'a year' if (unit, size) == ('days', most) else f'{size:.3g} {unit}'} more "
            f"({_give_or_take(effect, spread)}; {evidence.words} than no effect)."
        )
        fix = "Write it down with every panel, and hold it steadier or count with it."
        codes = tuple(p.code for p, s in zip(panels, some, strict=True) if s)
        yield Finding("drift", codes, chance, words, fix, evidence, about=what)


def _by_name(
    what: str, names: list[str], film: Array, variance: Array, panels: list[Panel]
) -> Iterator[Finding]:
    known = sorted({n for n in names if n})
    if len(known) < 2:
        return
    for name in known:
        mine = np.array([n == name for n in names])
        some = np.array([bool(n) for n in names])
        if min(mine.sum(), (some & ~mine).sum()) < FEWEST:
            continue
        effect, spread, _ = _slope(mine[some].astype(float), film[some], variance[some])
        chance, evidence = _weigh(effect, spread, len(known))
        words = (
            f"Panels of {what} {name} have {_percent(effect)} film than the others "
            f"({_give_or_take(effect, spread)}; {evidence.words} than no difference)."
        )
        fix = f"Ask whether {what} {name} was different on purpose; the model can learn it."
        codes = tuple(p.code for p, m in zip(panels, mine, strict=True) if m)
        yield Finding("drift", codes, chance, words, fix, evidence, about=f"{what} {name}")


def _slope(x: Array, film: Array, variance: Array) -> tuple[float, float, float]:
    """Slope of film on a number, or its step where that is 0 or 1; its variance, and x's range."""
    w = 1.0 / variance
    off, away = (v - np.average(v, weights=w) for v in (x, film))
    inner = float(w @ off**2)
    return float(w @ (off * away)) / inner, 1.0 / inner, 2.0 * float(np.sqrt(inner / w.sum()))


def _percent(log: float) -> str:
    share = 100.0 * float(np.expm1(log))
    return f"{abs(share):.1f}% {'more' if share > 0 else 'less'}"


def _give_or_take(log: float, variance: float) -> str:
    return f"give or take {100.0 * float(np.exp(log) * np.sqrt(variance)):.1f}%"


def _weigh(effect: float, spread: float, looked_at: int) -> tuple[float, Evidence]:
    """Probability of an effect, and its likelihood without (written) and with (proposed)."""
    none = -0.5 * (effect**2 / spread + np.log(spread))
    some = -0.5 * (effect**2 / (spread + EFFECT**2) + np.log(spread + EFFECT**2))
    evidence = Evidence(float(none), float(some))
    return evidence.probability(PRIOR / looked_at), evidence
