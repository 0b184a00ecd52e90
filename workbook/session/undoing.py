"""What can be taken back: the changes that stand, and the last one of cards, names or findings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matchlib.archive import Archive, Change

__all__ = ["last_change", "standing"]

_RECENT = dt.timedelta(hours=12)
_KINDS = {"panel", "name", "finding"}


def standing(history: Sequence[Change]) -> Iterator[Change]:
    """Yield the changes that hold, the newest first: neither undone nor an undoing.

    `history`: oldest first. What was undone and then brought back holds again.
    """
    undone = set()
    for change in reversed(history):
        if change.number in undone:
            continue
        if change.undoes is None:
            yield change
        else:
            undone.add(change.undoes)


def last_change(archive: Archive, *, now: dt.datetime | None = None) -> Change | None:
    """Return the last change of cards, names or findings that can be taken back from a page.

    `now`: what counts as now; the clock's time if None. Returned: the newest of the last twelve
    hours that was not undone; files taken in, and what is older, are taken back from the history,
    where it is seen what came after them.
    """
    when = dt.datetime.now(dt.UTC) if now is None else now
    for change in standing(archive.history()):
        if when - change.at > _RECENT:
            return None
        if change.items and not change.file and {item.kind for item in change.items} <= _KINDS:
            return change
    return None
