"""Suggestions and predictions as text and as plain data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from matchlib.plural import counted
from workbook.cli.common import note, show
from workbook.cli.printing import chance, number, recipe_row, table, wrapped

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Recipe
    from matchlib.forecast import Forecast, ForecastAngle
    from matchlib.steering import CardPlans
    from matchlib.suggest import Suggestion, Suggestions
    from matchlib.target import Target
    from workbook.session import Session

__all__ = [
    "matches_as_dicts",
    "matches_text",
    "plans_text",
    "predictions_text",
    "rests_on",
    "tell_left_out",
    "unit_of",
]


def matches_as_dicts(found: Suggestions) -> list[dict[str, Any]]:
    """Return suggestions as plain data.

    `found`: best first. Returned: one each, with whether the target is reached and, if not, how the
    nearest misses. What is called ΔE00 is ΔE00 at the target's first angle; the expected
    difference, its spread and the chance are by the tolerance, at the worst angle.
    """
    from matchlib.forecast import angles_of
    from matchlib.plain import recipe_cells, rounded_lab

    tolerance, rows = found.target.tolerance, []
    for rank, item in enumerate(found, 1):
        expected, sd = round(item.expected, 4), round(item.sd, 4)
        rows.append(
            {
                "rank": rank,
                **recipe_cells(item.recipe),
                "words": item.recipe.words,
                **rounded_lab(item.lab),
                "delta_e00": round(item.delta_e00, 4),
                "expected_delta_e00": expected,
                "sd_delta_e00": sd,
                **_in_delta_e00(found, item),
                "difference_kind": tolerance.unit,
                "tolerance": tolerance.value,
                "tolerance_words": tolerance.words,
                "expected_difference": expected,
                "sd_difference": sd,
                "probability": round(item.probability, 4),
                "own": None if item.own is None else round(item.own, 4),
                "known_share": round(item.known_share, 4),
                "rounding_loss": round(item.rounding_loss, 4),
                "never_sprayed": list(item.never_sprayed),
                "road": item.combination,
                "why": item.why,
                "note": item.note,
                "angles": angles_of(found.target, item.labs),
                "reachable": found.reachable,
                "reach": round(found.reach, 4),
                "miss": found.why_not,
            }
        )
    return rows


def _in_delta_e00(found: Suggestions, item: Suggestion) -> dict[str, float]:
    """Expected ΔE00 where the suggestion's own expectation is of another difference."""
    from matchlib.colorimetry import expected_delta_e00

    aim, tolerance = found.target.aims[0], found.target.tolerance
    if len(found.target.aims) == 1 and tolerance.kind == "ΔE00" and aim.weight == 1.0:
        return {}
    away = expected_delta_e00(aim.lab, item.lab, item.covariance, tolerance=1.0, dof=item.dof)
    return {
        "expected_delta_e00": round(float(away.mean), 4),
        "sd_delta_e00": round(float(away.sd), 4),
    }


def matches_text(found: Suggestions) -> str:
    """Return suggestions as text, at every angle of the target.

    `found`: best first.
    """
    from matchlib.forecast import angles_of

    aims, tolerance = found.target.aims, found.target.tolerance
    lines = [
        f"Target: {'; '.join(_aim_words(aim, len(aims) > 1) for aim in aims)}; "
        f"{tolerance.words}; {counted(found.searched, 'recipe')} searched; "
        f"clear coat: {found[0].recipe.clear or 'none'}."
    ]
    if found.why_not:
        lines.append(found.why_not)
    rows, why = [], []
    for rank, item in enumerate(found, 1):
        rows.append(
            (
                str(rank),
                *recipe_row(item.recipe),
                *map(number, item.lab),
                number(item.delta_e00),
                f"{item.expected:.2f} ± {item.sd:.2f}",
                chance(item.probability),
            )
        )
        reasons = [
            item.why,
            item.own_words,
            item.note,
            *(f"New here: {n}." for n in item.never_sprayed),
        ]
        why.append(f"{rank}. " + " ".join(s for s in reasons if s))
    header = ("", "ground", "colour", "schedule", "L", "a", "b", "ΔE00", "next panel", "chance")
    parts = [wrapped("\n".join(lines)), table(header, rows, right="r   rrrrrr")]
    if tolerance.kind != "ΔE00":
        line = (
            "The next panel's difference is the share of the box that it takes up, 1 at the edge; "
            f"the chance is that of {tolerance.words}."
            if tolerance.boxed
            else f"The next panel's difference and its chance are by {tolerance.words}."
        )
        parts.append(wrapped(line))
    if len(aims) > 1:
        ranked = [(str(i), angles_of(found.target, item.labs)) for i, item in enumerate(found, 1)]
        shown = {"ΔE00": "delta_e00", unit_of(tolerance): "difference"}
        parts.append(_angle_table("", ranked, shown))
    return "\n\n".join([*parts, wrapped("\n".join(why))])


def plans_text(found: CardPlans) -> str:
    """Return plans as text.

    `found`: best first. Returned: a table of first looks, then what to do with the best.
    """
    rows = []
    for rank, one in enumerate(found, 1):
        read = one.planned_readings[0] if one.planned_readings else None
        rows.append(
            (
                str(rank),
                *recipe_row(one.first)[:2],
                str(one.first.schedule or "") if read else "no look",
                *(map(number, read.lab) if read else ("", "", "")),
                str(one.whole.schedule or ""),
                chance(one.steered),
                chance(one.blind),
            )
        )
    header = (
        *("", "ground", "colour", "up to the first look", "L", "a", "b"),
        *("if all is as expected", "steered", "blind"),
    )
    times = {1: "once", 2: "twice"}.get(found.readings, f"{found.readings} times")
    begun = f"Cards read up to {times} on their way and built on:"
    parts = [f"{begun}\n{table(header, rows, right='r   rrr rr')}"]
    parts += [wrapped(f"1. {found[0].words}")]
    parts += [wrapped(n) for n in found.notes]
    return "\n\n".join(parts)


def predictions_text(found: Sequence[tuple[str | None, Forecast]], tolerance: Tolerance) -> str:
    """Return predictions as text, at every angle of the target."""
    unit = unit_of(tolerance)
    rows = [
        (
            code or "",
            *recipe_row(item.recipe),
            *map(number, (*item.lab, item.expected, item.sd)),
            chance(item.probability),
        )
        for code, item in found
    ]
    header = ("panel", "ground", "colour", "schedule", "L", "a", "b", unit, "sd", "chance")
    parts = [table(header, rows, right="    rrrrrr")]
    many = any(len(item.angles) > 1 for _, item in found)
    if many:
        named = [(code or str(i), item.angles) for i, (code, item) in enumerate(found, 1)]
        parts.append(_angle_table("panel", named, {unit: "difference"}))
    wanted = any(item.against == "target" for _, item in found)
    what = "The share of the box" if tolerance.boxed else tolerance.unit
    limit = (
        f"the chance of ΔE00 within {tolerance.value:g}"
        if tolerance.kind == "ΔE00"
        else f"the chance of passing ({tolerance.words})"
    )
    at_angles = ", at the worst angle; those at each angle are the prediction's own"
    parts.append(
        wrapped(
            f"{what}, its sd and {limit} are of the next panel sprayed against "
            f"{'the colour asked for' if wanted else 'the prediction'}"
            f"{at_angles if many else ''}."
        )
    )
    return "\n\n".join(parts)


def unit_of(tolerance: Tolerance) -> str:
    """Return what stands above differences by a tolerance."""
    return "of box" if tolerance.boxed else tolerance.unit


def _angle_table(
    head: str,
    named: Iterable[tuple[str, Iterable[ForecastAngle]]],
    differences: Mapping[str, str],
) -> str:
    """Colours at each angle; `differences`: those of an angle that are shown, by heading."""
    rows = [
        (
            name,
            angle.viewing.geometry,
            *map(number, angle.lab),
            *(number(getattr(angle, each)) for each in differences.values()),
            f"{angle.weight:g}",
        )
        for name, angles in named
        for angle in angles
    ]
    heads = (head, "angle", "L", "a", "b", *differences, "weight")
    return table(heads, rows, right=(" " if head else "r") + " rrrrrr"[: len(heads) - 1])


def rests_on(
    session: Session, recipes: Sequence[Recipe], aim: Target | None = None
) -> list[tuple[str, ...]]:
    """Note what results rest on that no panel shows; return, by recipe, the panels left out.

    `aim`: what makes it hard to meet is noted too.
    """
    from workbook.session.order import aim_words

    for words in session.gaps(recipes):
        note(words)
    if aim is not None and (unseen := aim_words(session.model, aim)):
        note(unseen)
    return session.left_out_each(recipes)


def tell_left_out(codes: Iterable[Sequence[str]]) -> None:
    """Print which panels were left out of results, where any were."""
    every = sorted({c for some in codes for c in some})
    if every:
        from matchlib.audit import excluded_words

        show(f"\n{wrapped(excluded_words(every))}")


def _aim_words(aim: Any, several: bool) -> str:
    words = "L {:.2f}, a {:.2f}, b {:.2f}".format(*aim.lab)
    if aim.viewing is not None and (aim.viewing.illuminant, aim.viewing.observer) != ("D65", "10"):
        words += f" under {aim.viewing.illuminant}/{aim.viewing.observer}°"
    if not several:
        return words
    weight = "" if aim.weight == 1.0 else f" (counts {aim.weight:g} times)"
    return f"{words} at {aim.viewing.geometry}{weight}"
