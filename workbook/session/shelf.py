"""The shop's usual limits: those remembered with the archive, and how far its own panels go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.domain import Panel
    from matchlib.mixing import Limits

__all__ = ["habit_of", "keep_shelf", "shelf_of", "usual_limits"]

_KEY = "shelf"

_NOT_KEPT = ("stock", "area", "use", "max_unevenness", "carrier")
"""Fields of `Limits` that hold for one job, and one that follows from others."""


def shelf_of(archive: Archive) -> dict[str, Any]:
    """Return the limits remembered with the archive.

    Returned: fields of `Limits` that were set, as plain data.
    """
    return dict(archive.setting(_KEY, {}))


def keep_shelf(archive: Archive, limits: Mapping[str, Any] | None) -> None:
    """Keep limits with the archive, for the next search.

    `limits`: fields of `Limits` by name; None forgets them.
    """
    from matchlib.mixing import Limits
    from matchlib.plain import from_plain, to_plain

    kept = {k: to_plain(v) for k, v in (limits or {}).items() if k not in _NOT_KEPT}
    from_plain(Limits, kept)
    archive.set_setting(_KEY, kept or None)


def usual_limits(archive: Archive) -> Limits:
    """Return the remembered limits, else as far as the archive's own panels go, else the usual."""
    from matchlib.mixing import Limits
    from matchlib.plain import from_plain

    return from_plain(Limits, {**habit_of(archive.panels()), **shelf_of(archive)})


def habit_of(panels: Iterable[Panel]) -> dict[str, Any]:
    """Return how far the shop goes by its own panels, beyond what is usual anywhere.

    A habit is what two panels show: one alone may carry a wrong back.

    Returned: fields of `Limits` by name; empty where the usual limits hold all panels.
    """
    from matchlib.mixing import Limits

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
