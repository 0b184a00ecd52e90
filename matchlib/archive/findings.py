"""Findings of the audit that were set aside, by what they are known by."""

from __future__ import annotations

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import Entry, Stamp

__all__ = ["ignored_in", "rename_ignored", "set_ignored"]


def ignored_in(connection: sa.Connection) -> frozenset[str]:
    """Return what the findings set aside are known by."""
    return frozenset(connection.execute(sa.select(schema.ignored.c.key)).scalars())


def set_ignored(connection: sa.Connection, key: str, ignored: bool, stamp: Stamp) -> list[Entry]:
    """Set a finding aside, or let it be shown again."""
    i = schema.ignored
    was_ignored = connection.execute(sa.select(i.c.key).where(i.c.key == key)).first() is not None
    if was_ignored == ignored:
        return []
    if ignored:
        row = {"key": key, "at": stamp.at, "who": stamp.who, "why": stamp.why}
        connection.execute(i.insert().values(row))
    else:
        connection.execute(i.delete().where(i.c.key == key))
    # A finding has no row of its own once it is shown again; its key stands for it.
    was, now = ({"finding": key, "aside": aside} for aside in (was_ignored, ignored))
    return [("finding", 0, was, now)]


def rename_ignored(
    connection: sa.Connection, kind: str, name: str, to: str, stamp: Stamp
) -> list[Entry]:
    """Let what was set aside of a name stay so under its new one."""
    # as `Finding.key` writes them
    about = "beyond the law: " if kind in ("ground", "colour") else f"drift: {kind} "
    gone = set_ignored(connection, about + name, False, stamp)
    return gone and gone + set_ignored(connection, about + to, True, stamp)
