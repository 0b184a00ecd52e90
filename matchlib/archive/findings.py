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
    """Let what was set aside of a name, or of a panel by its code, stay so under its new one."""
    entries = []
    for key in sorted(ignored_in(connection)):
        if (renamed := _renamed(key, kind, name, to)) != key:
            entries += set_ignored(connection, key, False, stamp)
            entries += set_ignored(connection, renamed, True, stamp)
    return entries


def _renamed(key: str, kind: str, name: str, to: str) -> str:
    # as `Finding.key` writes them
    what, parted, about = key.rpartition(": ")
    if what == "drift":
        return f"drift: {kind} {to}" if about == f"{kind} {name}" else key
    if what == "beyond the law":
        return f"{what}: {to}" if about == name and kind in ("ground", "colour") else key
    codes = about.split(", ")
    if kind != "panel" or name not in codes:
        return to if (kind, key) == ("panel", name) else key
    return what + parted + ", ".join(sorted(to if code == name else code for code in codes))
