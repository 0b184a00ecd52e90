"""Names of grounds and colours: equal regardless of capitals, spelled as first seen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.domain import Blend, Colour, Ground, Panel, Recipe

__all__ = ["names_of", "spell"]


def names_of(connection: sa.Connection, kind: str) -> dict[str, str]:
    """Return names by casefolded key, spelled as first seen, in that order.

    Parameters
    ----------
    connection : Connection
        Open.
    kind : {"ground", "colour"}
        Names of what.

    Returns
    -------
    dict
        Key to spelling.
    """
    n = schema.names
    query = sa.select(n.c.key, n.c.spelling).where(n.c.kind == kind).order_by(n.c.id)
    return {row.key: row.spelling for row in connection.execute(query)}


def spell(connection: sa.Connection, panels: Iterable[Panel]) -> list[Panel]:
    """Return panels with every name spelled as the archive first saw it, new names noted.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    panels : iterable of Panel
        As written in the file.

    Returns
    -------
    list of Panel
        Equal to those given.
    """
    known = {kind: names_of(connection, kind) for kind in ("ground", "colour")}
    news: list[dict[str, str]] = []
    spelled: dict[object, Recipe] = {}

    def say(blend: Blend) -> tuple[tuple[str, Any], ...]:
        names = known[blend.kind]
        parts = []
        for name, share in blend.parts:
            key = name.casefold()
            if key not in names:
                names[key] = name
                news.append({"kind": blend.kind, "key": key, "spelling": name})
            parts.append((names[key], share))
        return tuple(parts)

    result = []
    for panel in panels:
        recipe = panel.recipe
        # Equal blends may be written with other parts, which are kept as written.
        colour_parts = None if recipe.colour is None else recipe.colour.parts
        written = (recipe.ground.parts, colour_parts, recipe.schedule, recipe.clear)
        if written not in spelled:
            ground = Ground(say(recipe.ground))
            colour = None if recipe.colour is None else Colour(say(recipe.colour))
            spelled[written] = replace(recipe, ground=ground, colour=colour)
        result.append(replace(panel, recipe=spelled[written]))
    if news:
        connection.execute(schema.names.insert(), news)
    return result
