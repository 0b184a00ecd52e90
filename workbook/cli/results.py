"""Suggestions as text and as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from workbook.cli.printing import number, percent, table, wrapped

if TYPE_CHECKING:
    from matchlib.suggest import Suggestions

__all__ = ["matches_as_dicts", "matches_text"]


def matches_as_dicts(found: Suggestions) -> list[dict[str, Any]]:
    """Return suggestions as plain data.

    Parameters
    ----------
    found : Suggestions
        Best first.

    Returns
    -------
    list of dict
        One each, with whether the target is reached and, if not, how the nearest misses.
    """
    told = []
    for rank, (item, data) in enumerate(zip(found, found.as_dicts(), strict=True), 1):
        recipe = item.recipe
        told.append(
            {
                "rank": rank,
                **data,
                "colour": None if recipe.colour is None else str(recipe.colour),
                "schedule": None if recipe.schedule is None else str(recipe.schedule),
                "words": recipe.words,
                "reachable": bool(found.reachable),
                "miss": found.miss,
            }
        )
    return told


def matches_text(found: Suggestions) -> str:
    """Return suggestions as text.

    Parameters
    ----------
    found : Suggestions
        Best first.

    Returns
    -------
    str
        A table, then a sentence each.
    """
    aim = found.target.aims[0]
    lines = [
        "Target: L {:.2f}, a {:.2f}, b {:.2f}; ".format(*aim.lab)
        + f"{found.target.tolerance.words}; {found.searched:,} recipes searched; "
        f"clear coat: {found[0].recipe.clear or 'none'}."
    ]
    if not found.reachable:
        lines.append(found.miss or "Out of reach within these limits.")
    rows, why = [], []
    for rank, item in enumerate(found, 1):
        recipe = item.recipe
        rows.append(
            (
                str(rank),
                str(recipe.ground),
                str(recipe.colour or "bare"),
                str(recipe.schedule or ""),
                *(number(v) for v in item.lab),
                number(item.delta_e00),
                f"{item.expected_delta_e00:.2f} ± {item.sd_delta_e00:.2f}",
                percent(item.probability),
            )
        )
        said = [item.why, item.note, *(f"Never sprayed: {n}." for n in item.never_sprayed)]
        why.append(f"{rank}. " + " ".join(s for s in said if s))
    header = ("", "ground", "colour", "schedule", "L", "a", "b", "ΔE00", "next panel", "chance")
    parts = [wrapped("\n".join(lines)), table(header, rows, right="r   rrrrrr")]
    return "\n\n".join([*parts, wrapped("\n".join(why))])
