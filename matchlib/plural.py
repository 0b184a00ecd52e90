"""A number with its noun, as all words of the package say it."""

from __future__ import annotations

__all__ = ["counted", "times"]


def counted(n: int, word: str) -> str:
    """Return a number with its noun, in the plural unless it is one.

    Parameters
    ----------
    n : int
        How many.
    word : str
        Of what, in the singular; one that takes an *s*.

    Returns
    -------
    str
        Thousands apart.

    Examples
    --------
    >>> counted(1, "card"), counted(1200, "coat")
    ('1 card', '1,200 coats')
    """
    return f"{n:,} {word}{'s' * (n != 1)}"


def times(n: float) -> str:
    """Return how often something counts.

    Parameters
    ----------
    n : float
        Its weight.

    Returns
    -------
    str
        Once, or so many times.

    Examples
    --------
    >>> times(1.0), times(0.5)
    ('once', '0.5 times')
    """
    return "once" if n == 1 else f"{n:g} times"
