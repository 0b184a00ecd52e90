"""How long work says where it has come, and how it is stopped."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Callback", "part_of", "unmeasured"]

Callback = Callable[[float | None, str], None]
"""Called between the steps of long work with the share done, or None where that is not known, and
with what is being done, in words. What it raises ends the work."""


def part_of(callback: Callback | None, start: float = 0.0, end: float = 1.0) -> Callback:
    """Report the share of a part of the work as that of the whole."""

    def report(share: float | None, words: str) -> None:
        if callback is not None:
            callback(None if share is None else start + share * (end - start), words)

    return report


def unmeasured(callback: Callback | None) -> Callback:
    """Report a part of the work whose share of the whole is not known."""

    def report(_: float | None, words: str) -> None:
        if callback is not None:
            callback(None, words)

    return report
