"""Names: equal regardless of capitals and Unicode form, spelled as first seen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from operator import is_
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import Entry, entry_of
from matchlib.archive.reading_out import whole
from matchlib.domain import Colour, Ground, Name, Panel, Recipe, Stage, name_key
from matchlib.domain.blend import Blend, check_one_pot
from matchlib.errors import ArchiveError, DomainError
from matchlib.plain import dump, from_plain, load, stored_as, to_plain

__all__ = [
    "insert_names",
    "name_fields",
    "name_of",
    "names_of",
    "respelled",
    "rewrite_names",
    "spell",
    "spelling",
    "stored_name",
]


def names_of(connection: sa.Connection, kind: str | None = None) -> dict[int, Name]:
    """Return names by their row, in the order first seen."""
    n = schema.names
    query = sa.select(n.c.id, n.c.data).order_by(n.c.id)
    if kind is not None:
        query = query.where(n.c.kind == kind)
    found = {row.id: whole(stored_name, row.data) for row in connection.execute(query)}
    return {row: name for row, name in found.items() if name is not None}


def name_fields(name: Name | None) -> dict[str, Any]:
    """Return what the log keeps of a name."""
    return {} if name is None else stored_as(to_plain(name))


def name_of(fields: Mapping[str, Any]) -> Name | None:
    """Return the name of the log's fields."""
    plain = {k: v for k, v in fields.items() if v is not None}
    return from_plain(Name, plain) if plain else None


def stored_name(text: str) -> Name | None:
    """Return the name of a stored row; None for one that was joined to another."""
    return name_of(load(text) or {})


def rewrite_names(
    connection: sa.Connection, stored: Mapping[int, Name], wanted: Mapping[int, Name | None]
) -> list[Entry]:
    """Write names over what they were."""
    taken: dict[tuple[str, str], str] = {}
    for name in filter(None, {**stored, **wanted}.values()):
        for key in name.keys:
            other = taken.setdefault((name.kind, key), name.name)
            if other != name.name:
                raise ArchiveError(
                    f"The {name.kind}s {other} and {name.name} would have one spelling.",
                    got=key,
                    remedy="join the two instead.",
                )
    items: list[Entry] = []
    n = schema.names
    for row, then in wanted.items():
        new = name_fields(then)
        if entry := entry_of("name", row, name_fields(stored.get(row)), new):
            connection.execute(n.update().where(n.c.id == row).values(data=dump(new or None)))
            items.append(entry)
    return items


def insert_names(connection: sa.Connection, news: Iterable[Name]) -> None:
    """Note new names."""
    rows = [{"kind": n.kind, "key": name_key(n.name), "data": dump(to_plain(n))} for n in news]
    if rows:
        connection.execute(schema.names.insert(), rows)


def spelling(connection: sa.Connection) -> Callable[[str, str], str]:
    """Return what says a name, given its kind, as the archive shows it."""
    known = {(n.kind, key): n.name for n in names_of(connection).values() for key in n.keys}
    return lambda kind, text: known.get((kind, name_key(text)), text)


def spell(connection: sa.Connection, panels: Iterable[Panel]) -> list[Panel]:
    """Return panels with every name as the archive shows it, new names noted."""
    known = {(n.kind, key): n.name for n in names_of(connection).values() for key in n.keys}
    news: list[Name] = []

    def say(kind: str, text: str) -> str:
        key = (kind, name_key(text))
        if key not in known:
            if kind == "colour":
                check_one_pot(text)
            try:
                name = Name(kind, text)
            except DomainError:
                return text  # a remark where a name should be stays as it is
            news.append(name)
            known[key] = name.name
        return known[key]

    result = respelled(panels, say)
    insert_names(connection, news)
    return result


def respelled(panels: Iterable[Panel], say: Callable[[str, str], str]) -> list[Panel]:
    """Return panels with every name as it is to be said."""
    spelled: dict[object, Recipe | None] = {}

    def recipe_of(recipe: Recipe) -> Recipe:
        # Equal blends may be written with other parts, which are kept as written.
        written = (str(recipe), recipe.clear)
        if written not in spelled:
            renamed = _recipe(recipe, say)
            spelled[written] = None if (str(renamed), renamed.clear) == written else renamed
        return spelled[written] or recipe

    def stage_of(stage: Stage) -> Stage:
        values: dict[str, Any] = {
            "recipe": recipe_of(stage.recipe),
            "readings": _respelled(stage.readings, "instrument", say),
            "log": _respelled(stage.log, "sprayer", say),
        }
        changed = {k: v for k, v in values.items() if v is not getattr(stage, k)}
        if stage.sprayer and (sprayer := say("sprayer", stage.sprayer)) != stage.sprayer:
            changed["sprayer"] = sprayer
        return replace(stage, **changed) if changed else stage

    found = []
    for panel in panels:
        try:
            stages = tuple(map(stage_of, panel.stages))
            same = all(map(is_, stages, panel.stages))
            found.append(panel if same else replace(panel, stages=stages))
        except DomainError as error:
            raise error.at(f"panel {panel.code}") from None
    return found


def _respelled(
    things: tuple[Any, ...], kind: str, say: Callable[[str, str], str]
) -> tuple[Any, ...]:
    """Readings or logged coats whose instrument or sprayer is as it is to be said."""
    own = [getattr(thing, kind) for thing in things]
    names = [say(kind, name) if name else name for name in own]
    if names == own:
        return things
    return tuple(replace(t, **{kind: n}) for t, n in zip(things, names, strict=True))


def _recipe(recipe: Recipe, say: Callable[[str, str], str]) -> Recipe:
    def parts(blend: Blend) -> tuple[tuple[str, Any], ...]:
        return tuple((say(blend.kind, name), share) for name, share in blend.parts)

    clear = recipe.clear
    bare = Recipe(
        Ground(parts(recipe.ground)),
        clear=clear if clear in (None, "yes") else say("clear", str(clear)),
    )
    return bare.with_steps(
        replace(s, colour=None if s.colour is None else Colour(parts(s.colour)))
        for s in recipe.steps
    )
