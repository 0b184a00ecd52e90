"""Names: equal regardless of capitals and Unicode form, spelled as first seen."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.domain import (
    Blend,
    CoatSchedule,
    Colour,
    Ground,
    Name,
    Panel,
    Recipe,
    Stage,
    name_key,
)
from matchlib.errors import DomainError
from matchlib.plain import dump, from_plain, to_plain

__all__ = ["names_of", "spell"]


def names_of(connection: sa.Connection, kind: str | None = None) -> dict[int, Name]:
    """Return names by their row, in the order first seen.

    Parameters
    ----------
    connection : Connection
        Open.
    kind : str, optional
        One of `matchlib.domain.NAME_KINDS`; None for all.

    Returns
    -------
    dict
        Row to name.
    """
    n = schema.names
    query = sa.select(n.c.id, n.c.data).order_by(n.c.id)
    if kind is not None:
        query = query.where(n.c.kind == kind)
    return {row.id: from_plain(Name, json.loads(row.data)) for row in connection.execute(query)}


def spell(connection: sa.Connection, panels: Iterable[Panel]) -> list[Panel]:
    """Return panels with every name as the archive shows it, new names noted.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    panels : iterable of Panel
        As written in the file.

    Returns
    -------
    list of Panel
        With names that are joined to another under that one.
    """
    known = {(n.kind, key): n.name for n in names_of(connection).values() for key in n.keys}
    news: list[Name] = []

    def say(kind: str, text: str) -> str:
        key = (kind, name_key(text))
        if key not in known:
            try:
                name = Name(kind, text)
            except DomainError:
                return text  # a remark where a name should be stays as it is
            news.append(name)
            known[key] = name.name
        return known[key]

    spelled: dict[object, Recipe] = {}

    def recipe_of(recipe: Recipe) -> Recipe:
        # Equal blends may be written with other parts, which are kept as written.
        written = (str(recipe), recipe.clear)
        if written not in spelled:
            spelled[written] = _recipe(recipe, say)
        return spelled[written]

    def stage_of(stage: Stage) -> Stage:
        return replace(
            stage,
            recipe=recipe_of(stage.recipe),
            readings=tuple(
                replace(r, instrument=say("instrument", r.instrument)) if r.instrument else r
                for r in stage.readings
            ),
            sprayer=say("sprayer", stage.sprayer) if stage.sprayer else "",
        )

    result = [replace(p, stages=tuple(map(stage_of, p.stages))) for p in panels]
    if news:
        rows = [{"kind": n.kind, "key": name_key(n.name), "data": dump(to_plain(n))} for n in news]
        connection.execute(schema.names.insert(), rows)
    return result


def _recipe(recipe: Recipe, say: Callable[[str, str], str]) -> Recipe:
    def parts(blend: Blend) -> tuple[tuple[str, Any], ...]:
        return tuple((say(blend.kind, name), share) for name, share in blend.parts)

    schedule = recipe.schedule
    if schedule is not None:
        schedule = CoatSchedule(
            tuple(
                replace(s, colour=None if s.colour is None else Colour(parts(s.colour)))
                for s in schedule.steps
            )
        )
    clear = recipe.clear
    return Recipe(
        Ground(parts(recipe.ground)),
        None if recipe.colour is None else Colour(parts(recipe.colour)),
        schedule,
        clear if clear in (None, "yes") else say("clear", str(clear)),
    )
