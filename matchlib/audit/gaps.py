"""What an archive lacks that a result rests on: bare grounds, colours on one ground, one recipe."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from matchlib.domain import Panel, Recipe

__all__ = ["gaps"]


def gaps(panels: Iterable[Panel], recipes: Iterable[Recipe]) -> tuple[str, ...]:
    """Say what results rest on that no panel shows.

    Parameters
    ----------
    panels : iterable of Panel
        The archive.
    recipes : iterable of Recipe
        What is predicted or suggested, of names that it knows.

    Returns
    -------
    tuple of str
        A sentence each.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_panels
    >>> gaps(demo_panels(), [Recipe.of("pale gold", "cherry", "3@3:1", "yes")])
    ()
    """
    bare: set[str] = set()
    under: dict[str, set[str]] = defaultdict(set)
    films: dict[str, set[float]] = defaultdict(set)
    for panel in panels:
        for stage in panel.stages:
            if not stage.readings:
                continue
            grounds = stage.recipe.ground.shares
            for colour, schedule in stage.recipe.layers:
                for name, share in colour.shares.items():
                    under[name] |= set(grounds)
                    films[name].add(round(share * schedule.strength, 6))
            if stage.recipe.bare and len(grounds) == 1:
                bare |= set(grounds)
    found: dict[str, None] = {}
    for recipe in recipes:
        for ground in recipe.ground.shares:
            if ground not in bare:
                found[
                    f"{ground} was never read bare, so it is known only through what lies on it: "
                    "one reading of the bare ground makes this surer."
                ] = None
        for name in (n for colour in recipe.colours for n in colour.shares):
            seen = under[name]
            if len(seen) == 1 and not seen & set(recipe.ground.shares):
                found[
                    f"{name} was sprayed over {min(seen)} alone: over any other ground it was "
                    "never seen."
                ] = None
            if len(films[name]) == 1:
                found[
                    f"{name} was read at one strength alone: how it darkens with coats and ratio "
                    "is taken as usual."
                ] = None
    return tuple(found)
