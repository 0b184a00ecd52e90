"""All rows of an archive, taken from one database into another, whole or not at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema

__all__ = ["TABLES", "can_hold", "fill", "give_back", "numbers_given", "stored_rows"]

TABLES = (
    schema.imports,
    schema.names,
    schema.panels,
    schema.readings,
    schema.jobs,
    schema.profiles,
    schema.settings,
    schema.history,
    schema.history_items,
    schema.ignored,
    schema.attachments,
)
"""Every table, those that others rest on first."""

_AT_ONCE = 1000


def stored_rows(connection: sa.Connection, table: sa.Table) -> Iterator[dict[str, Any]]:
    """Yield the rows of a table in their order, by column."""
    if table.name != schema.attachments.name:
        query = sa.select(table).order_by(*table.primary_key.columns)
        yield from map(dict, connection.execute(query).mappings())
        return
    # Photos one by one: all of them at once may be more than fits in memory.
    for number in connection.execute(sa.select(table.c.id).order_by(table.c.id)).scalars().all():
        one = sa.select(table).where(table.c.id == number)
        yield dict(connection.execute(one).mappings().one())


def fill(
    connection: sa.Connection,
    rows: Callable[[sa.Table], Iterable[dict[str, Any]]],
    tables: Sequence[sa.Table] = TABLES,
) -> None:
    """Put other rows in the place of all that an archive holds."""
    for table in reversed(tables):
        connection.execute(table.delete())
    for table in tables:
        at_once = 1 if table.name == schema.attachments.name else _AT_ONCE
        left = iter(rows(table))
        while some := list(islice(left, at_once)):
            connection.execute(table.insert(), some)
        _move_sequence(connection, table)


def _move_sequence(connection: sa.Connection, table: sa.Table) -> None:
    # The rows came with their own numbers, of which PostgreSQL takes no notice by itself. A number
    # that was given once is not given again.
    key = table.autoincrement_column
    if connection.dialect.name != "postgresql" or key is None:
        return
    top = sa.select(sa.func.coalesce(sa.func.max(key), 0) + 1).scalar_subquery()
    sequence = sa.func.pg_get_serial_sequence(table.name, key.name)
    free = sa.func.greatest(top, sa.func.nextval(sequence))
    connection.execute(sa.select(sa.func.setval(sequence, free, sa.false())))


def numbers_given(connection: sa.Connection) -> list[tuple[str, int | None]]:
    """Which number each table gave last, where a rollback does not give them back."""
    if connection.dialect.name != "postgresql":
        return []
    keys = [t.autoincrement_column for t in TABLES]
    own = [sa.func.pg_get_serial_sequence(k.table.name, k.name) for k in keys if k is not None]
    s = sa.table("pg_sequences", *map(sa.column, ("schemaname", "sequencename", "last_value")))
    name = sa.func.concat(s.c.schemaname, ".", s.c.sequencename)
    query = sa.select(name, s.c.last_value).where(name.in_(own))
    return [(name, last) for name, last in connection.execute(query)]


def give_back(connection: sa.Connection, given: Sequence[tuple[str, int | None]]) -> None:
    """Let each table go on from the number that it gave last then."""
    for sequence, last in given:
        again = sa.func.setval(sequence, last or 1, last is not None)
        connection.execute(sa.select(again))


def can_hold(column: sa.Column[Any], value: object) -> bool:
    """Whether a column can hold a value."""
    if value is None:
        return bool(column.nullable)
    if isinstance(column.type, sa.LargeBinary):
        return isinstance(value, bytes)
    if isinstance(column.type, sa.Boolean):
        return value in (0, 1)
    if isinstance(column.type, sa.Integer):
        return type(value) is int and int(column.primary_key) <= value <= schema.LARGEST
    if column.name == "at":
        return _is_time(value)
    most = getattr(column.type, "length", None)
    return isinstance(value, str) and (most is None or len(value) <= most)


def _is_time(text: object) -> bool:
    """Whether this is a time of the history, which every clock can show."""
    try:
        time = dt.datetime.fromisoformat(str(text))
        return isinstance(text, str) and time.tzinfo is not None and 1 < time.year < dt.MAXYEAR
    except ValueError:
        return False
