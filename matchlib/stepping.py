"""How long work says where it has come, and how it is told to stop."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Step", "part_of", "unmeasured"]

Step = Callable[[float | None, str], None]
"""Called between the steps of long work with the share done, or None where that is not known, and
with what is being done, in words. What it raises ends the work."""


def part_of(step: Step | None, start: float = 0.0, end: float = 1.0) -> Step:
    """Let a part of the work tell its own share as that of the whole.

    Parameters
    ----------
    step : callable or None
        The whole's; None tells nobody and stops for nobody.
    start, end : float
        Shares of the whole at which the part begins and ends [-].

    Returns
    -------
    callable
        The part's.
    """

    def told(share: float | None, words: str) -> None:
        if step is not None:
            step(None if share is None else start + share * (end - start), words)

    return told


def unmeasured(step: Step | None) -> Step:
    """Let a part of the work be told of, and stopped, whose share of the whole is not known.

    Parameters
    ----------
    step : callable or None
        The whole's; None tells nobody and stops for nobody.

    Returns
    -------
    callable
        The part's.
    """

    def told(_: float | None, words: str) -> None:
        if step is not None:
            step(None, words)

    return told
