"""The shop's limits as they are remembered with the archive: plain words, no types."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matchlib.correction import Booth
    from matchlib.domain import Panel
    from matchlib.suggest import Limits

__all__ = ["SHELF", "booth_of", "habit_of", "limits_of", "shelf_of"]

SHELF = "shelf"
"""Name of the setting."""

_FIELDS = (
    "grounds",
    "colours",
    "min_ratio",
    "max_ratio",
    "min_coats",
    "max_coats",
    "ratio_step",
    "blends",
    "blend_parts",
    "step_ups",
    "ground_blends",
    "ground_parts",
    "clear",
)


def shelf_of(limits: object) -> dict[str, Any]:
    """Return limits as JSON can hold them.

    `limits`: fields of `Limits` by name, or what a setting holds; anything else is no limit.
    Returned: known fields that are set; names as texts.
    """
    if not isinstance(limits, Mapping):
        return {}
    found: dict[str, Any] = {}
    for name in _FIELDS:
        value = limits.get(name)
        if value is None:
            continue
        if name in ("grounds", "colours"):
            items = [value] if isinstance(value, str) else value
            found[name] = [str(item) for item in items]
        elif name in ("min_ratio", "max_ratio") and not isinstance(value, int | float):
            found[name] = str(value)
        else:
            found[name] = value
    return found


def habit_of(panels: Iterable[Panel]) -> dict[str, Any]:
    """Return how far the shop goes by its own panels, beyond what is usual anywhere.

    A habit is what two panels show: one alone may carry a wrong back.

    Returned: fields of `Limits` by name; empty where the usual limits hold all panels.
    """
    from matchlib.suggest import Limits

    usual = Limits()
    schedules = [p.recipe.schedule for p in panels if p.recipe.schedule is not None]
    if len(schedules) < 2:
        return {}
    carriers = [[float(s.ratio.carrier / s.ratio.colour) for s in c.steps] for c in schedules]
    low, high = usual.carrier
    richest = sorted(min(c) for c in carriers)[1]
    weakest = sorted(max(c) for c in carriers)[-2]
    coats = sorted(c.coats for c in schedules)[-2]
    found: dict[str, Any] = {}
    if richest < low:
        found["min_ratio"] = richest
    if weakest > high:
        found["max_ratio"] = weakest
    if coats > usual.max_coats:
        found["max_coats"] = coats
    return found


def limits_of(limits: Mapping[str, Any]) -> Limits:
    """Return limits as `suggest` takes them."""
    from matchlib.suggest import Limits

    return Limits(**limits)


def booth_of(limits: Limits) -> Booth:
    """Return the same limits as a correction takes them."""
    from matchlib.correction import Booth

    more: dict[str, Any] = {} if limits.clear == "usual" else {"clear": limits.clear}
    return Booth(
        ratios=tuple(limits.ratios()),
        most_coats=limits.max_coats,
        grounds=limits.grounds or (),
        colours=limits.colours or (),
        **more,
    )
