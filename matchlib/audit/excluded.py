"""Which panels a fit left out whose backs, if they are right after all, would move a result."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from matchlib.domain import Recipe
from matchlib.regression.vocabulary import names_of

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["excluded", "excluded_words"]


def excluded(
    model: FilmPredictor, recipes: Iterable[Recipe], recipe_of: Callable[[str], Recipe]
) -> tuple[str, ...]:
    """Return the panels left out of a fit that share a ground or a colour with recipes.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipes : iterable of Recipe
        What is predicted.
    recipe_of : callable
        From a panel's code to what its back says.

    Returns
    -------
    tuple of str
        Codes, in order.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model, demo_panels
    >>> backs = {panel.code: panel.recipe for panel in demo_panels()}
    >>> "T029" in excluded(demo_model(), [Recipe.of("silver", "honey", "3@6:1")], backs.get)
    True
    """
    silent = [code for code, trust in model.trust_.items() if not trust]
    if not silent:
        return ()
    names = set[tuple[str, str]]().union(*map(names_of, recipes))
    return tuple(sorted(code for code in silent if names & names_of(recipe_of(code))))


def excluded_words(codes: Sequence[str]) -> str:
    """Say that panels were left out of what is told.

    Parameters
    ----------
    codes : sequence of str
        Which; none for no words.

    Returns
    -------
    str
        A sentence or two.

    Examples
    --------
    >>> excluded_words(["T029"]).partition(",")[0]
    'Left out: T029'
    """
    if not codes:
        return ""
    one = len(codes) == 1
    return (
        f"Left out: {', '.join(codes)}, whose back{'' if one else 's'} and reading"
        f"{' do' if one else 's do'} not agree: {'it shares' if one else 'they share'} a ground or "
        "colour with this and would mislead it. See the audit."
    )
