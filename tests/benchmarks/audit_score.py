"""How many seeded errors the audit finds, and how often it cries wolf.

By how far the error moves the colour, at several sizes of archive; by kind over all of them. Where
an archive has several errors one may hide another: beside those found stands how many would be,
were each the only one.

``python -m tests.benchmarks audit --shops 10 --panels 20 60 133 --reading lab``
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchlib.audit import Finding, audit
from matchlib.audit.whole import LIKELY
from matchlib.domain import CoatSchedule, Colour, MixRatio, Panel, Reading, Recipe
from tests.benchmarks.command import Table, arguments, each_simulator
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import delta_e
from tests.benchmarks.panels import RATIOS, is_neat, lab_of

__all__ = ["KINDS", "Seeded", "archive_with_errors", "score"]

KINDS = (
    "reversed ratio",
    "coats miscounted",
    "another ratio",
    "wrong ground",
    "blend parts swapped",
    "mistyped reading",
    "impossible reading",
    "same panel twice",
)


LIMITS = tuple(sorted({0.2, LIKELY, 0.5, 0.7, 0.9}))
MOVES = (0.0, 2.0, 5.0, np.inf)
"""Edges between which errors are counted, by the difference that they make [ΔE00]."""


@dataclass(frozen=True)
class Seeded:
    """An error put in on purpose, the panel as it was, and by how much it moves the colour."""

    kind: str
    code: str
    right: Panel
    move: float

    @property
    def truth(self) -> Recipe:
        """The recipe that was sprayed."""
        return self.right.recipe


def _wrong(kind: str, panel: Panel, shop: Layouts, rng: np.random.Generator) -> Panel | None:
    recipe = panel.recipe
    if kind == "blend parts swapped":
        if recipe.colour is None or recipe.colour.neat:
            return None
        (one, first), (two, second) = recipe.colour.parts
        if first == second:
            return None
        return panel.having(recipe=replace(recipe, colour=Colour(((one, second), (two, first)))))
    if not is_neat(recipe) or recipe.schedule is None:
        return None
    step = recipe.schedule.steps[0]
    written = recipe
    if kind == "reversed ratio":
        turned = MixRatio(step.ratio.colour, step.ratio.carrier)
        written = replace(recipe, schedule=CoatSchedule.of(step.coats, turned))
    elif kind == "coats miscounted":
        count = step.coats + (1 if step.coats == 1 or rng.random() < 0.5 else -1)
        written = replace(recipe, schedule=CoatSchedule.of(count, step.ratio))
    elif kind == "another ratio":
        others = [MixRatio.parse(r) for r in RATIOS if MixRatio.parse(r) != step.ratio]
        other = others[rng.integers(len(others))]
        written = replace(recipe, schedule=CoatSchedule.of(step.coats, other))
    elif kind == "wrong ground":
        others = [g for g in shop.grounds if g != recipe.ground]
        written = replace(recipe, ground=others[rng.integers(len(others))])
    if written != recipe:
        return panel.having(recipe=written)
    light, red, yellow = (float(v) for v in lab_of(panel.readings[0]))
    if kind == "mistyped reading":
        changed = [(light, -red, yellow), (light, red, -yellow), (light, yellow, red)]
        values = changed[rng.integers(3)]
    else:
        values = tuple(float(v) for v in rng.uniform((5, -70, -70), (95, 70, 70)))
    reading = Reading(panel.readings[0].viewing, source=panel.readings[0].source, lab=values)
    return panel.having(readings=(reading,))


def archive_with_errors(
    shop: Layouts, *, panels: int = 90, share: float = 0.05
) -> tuple[list[Panel], list[Seeded]]:
    """Return an archive of neat panels and some blends, and what is wrong in it."""
    seed = shop.seed
    rng = np.random.default_rng([seed, 53])
    mixed = panels // 8
    made = list(shop.archive(panels - mixed, seed))
    made += [p.having(code=f"B{p.code}") for p in shop.blends(mixed, seed)]
    wrong = max(2, round(share * panels))
    seeded: list[Seeded] = []
    free = list(rng.permutation(len(made)))
    for n in range(wrong):
        kind = KINDS[(seed * wrong + n) % len(KINDS)]
        if kind == "same panel twice":
            i = next(j for j in free if not made[j].recipe.bare)
            again = made[i].readings[0]
            moved = lab_of(again) + rng.normal(0, 0.05, 3)
            again = replace(again, lab=tuple(float(v) for v in moved))
            code = f"D{made[i].code}"
            seeded.append(Seeded(kind, code, made[i], 0.0))
            made.append(made[i].having(code=code, readings=(again,)))
            free.remove(i)
            continue
        for i in free:
            changed = _wrong(kind, made[i], shop, rng)
            if changed is not None:
                move = _move(shop, made[i], changed)
                seeded.append(Seeded(kind, made[i].code, made[i], move))
                made[i] = changed
                free.remove(i)
                break
    return made, seeded


def _move(shop: Layouts, true: Panel, written: Panel) -> float:
    if true.recipe == written.recipe:
        before, after = lab_of(true.readings[0]), lab_of(written.readings[0])
    else:
        before, after = shop.truth_labs([true.recipe, written.recipe])
    return float(delta_e(np.asarray(before), np.asarray(after)))


def score(
    found: Sequence[Finding], seeded: Sequence[Seeded], panels: Sequence[Panel]
) -> dict[str, np.ndarray]:
    """Count by kind: seeded, found, named rightly, proposed rightly, said, said rightly."""
    wrong = {s.code: s for s in seeded}
    counts = {kind: np.zeros(6, int) for kind in (*KINDS, "wrong colour", "any", "right panels")}
    for s in seeded:
        mine = [f for f in found if s.code in f.codes and f.kind != "drift"]
        row = np.array(
            [
                1,
                bool(mine),
                any(f.kind == s.kind for f in mine),
                any(f.proposed == s.truth for f in mine),
                0,
                0,
            ]
        )
        counts[s.kind] += row
        counts["any"] += row
    alarms: set[str] = set()
    for f in found:
        if f.kind == "drift":
            continue
        right = any(c in wrong for c in f.codes)
        for kind in (f.kind, "any"):
            if kind in counts:
                counts[kind][4:] += np.array([1, right])
        if not right:
            alarms |= set(f.codes)
    counts["right panels"][:2] = len(panels) - len(wrong), len(alarms)
    return counts


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = arguments("audit", __doc__, shops=10)
    parser.add_argument("--panels", type=int, nargs="+", default=[20, 60, 133])
    args = parser.parse_args(argv)
    table = Table(
        *("simulator", "panels", "under ΔE00 2", "2 to 5", "over 5"),
        *("over 5, each alone", "false alarms", "right panels"),
    )
    told = {}
    for simulator, make in each_simulator(args):
        by_limit: dict[float, dict[str, np.ndarray]] = {limit: {} for limit in LIMITS}
        for count in args.panels:
            moved, alarms = np.zeros((2, len(MOVES) - 1), int), np.zeros(2, int)
            alone = 0
            for seed in range(args.first_seed, args.first_seed + args.shops):
                panels, seeded = archive_with_errors(make(seed), panels=count)
                found = audit(panels, likely=min(LIMITS))
                for limit, sums in by_limit.items():
                    some = [f for f in found if f.probability >= limit]
                    for kind, row in score(some, seeded, panels).items():
                        sums[kind] = sums.get(kind, np.zeros(6, int)) + row
                likely = [f for f in found if f.probability >= LIKELY]
                alarms += score(likely, seeded, panels)["right panels"][1::-1]
                moved += _by_move(likely, seeded)
                alone += _found_alone(likely, seeded, panels)
            hits = [f"{hit} of {seen}" for hit, seen in moved.T]
            hits.append(f"{moved[0, -1] + alone} of {moved[1, -1]}")
            cried = f"{alarms[0]} ({alarms[0] / alarms[1]:.1%})"
            table.row(simulator, count, *hits, cried, alarms[1])
        told[simulator] = by_limit
    for simulator, by_limit in told.items():
        _tell(simulator, by_limit)


def _named(found: Sequence[Finding]) -> set[str]:
    return {code for f in found if f.kind != "drift" for code in f.codes}


def _found_alone(
    found: Sequence[Finding], seeded: Sequence[Seeded], panels: Sequence[Panel]
) -> int:
    """Errors over 5 that were missed, and are found once the archive's other errors are mended."""
    right = {s.code: s.right for s in seeded if s.kind != "same panel twice"}
    hidden = {code for code in right if code not in _named(found)}
    hidden &= {s.code for s in seeded if s.move > MOVES[-2]}
    hit = 0
    for code in hidden:
        mended = [p if p.code == code else right.get(p.code, p) for p in panels]
        hit += code in _named(audit(mended, likely=LIKELY))
    return hit


def _by_move(found: Sequence[Finding], seeded: Sequence[Seeded]) -> np.ndarray:
    """Errors found and seeded, by how far they move the colour; doubles move none."""
    hit = _named(found)
    some = [s for s in seeded if s.kind != "same panel twice"]
    every = np.histogram([s.move for s in some], MOVES)[0]
    return np.array([np.histogram([s.move for s in some if s.code in hit], MOVES)[0], every])


def _tell(simulator: str, by_limit: dict[float, dict[str, np.ndarray]]) -> None:
    table = Table(
        *("simulator", "error", "seeded", "found", "kind named", "recipe proposed", "precision")
    )
    for kind, (seen, hit, named, proposed, said, good) in by_limit[LIKELY].items():
        if kind == "right panels" or (not seen and not said):
            continue
        recall = f"{hit / seen:.0%}" if seen else "–"
        name = f"{named / seen:.0%}" if seen else "–"
        has_recipe = seen and kind != "any" and "reading" not in kind and "twice" not in kind
        truth = f"{proposed / seen:.0%}" if has_recipe else "–"
        table.row(simulator, kind, seen, recall, name, truth, f"{good}/{said}" if said else "–")
    table = Table("simulator", "shown from a probability of", "errors found", "false alarms")
    for limit, sums in by_limit.items():
        many, cried = sums["right panels"][:2]
        recall = f"{sums['any'][1] / sums['any'][0]:.0%}"
        table.row(simulator, limit, recall, f"{cried / many:.1%}")
