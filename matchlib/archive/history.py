"""Changing panels, with every change written into the log; and undoing one.

The tables hold the present; the log holds how it came about. One change may touch many panels: an
import is one. An entry is never changed or removed, an undoing is an entry of its own. Order is by
the entry's number, so a clock that was set back does no harm.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from matchlib.archive import jobs, schema
from matchlib.archive.changes import Stamp, record
from matchlib.archive.codec import (
    StoredReading,
    fields_of,
    panel_digest,
    panel_of,
    panel_of_fields,
    panel_text,
    reading_digest,
)
from matchlib.archive.names import spell
from matchlib.domain import Panel
from matchlib.errors import ArchiveError
from matchlib.job import Job
from matchlib.plain import dump, from_plain

__all__ = ["amend", "insert_readings", "set_aside", "set_deleted", "state_of", "undo", "write"]

_Undone = tuple[str, int, dict[str, Any], dict[str, Any]] | None


def state_of(connection: sa.Connection, code: str) -> dict[str, Any]:
    """Return a panel's row with its readings and fields, held until the transaction ends.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    code : str
        The panel; of those removed the last, where none of this code is left.

    Returns
    -------
    dict
        Columns of the panel; ``panel``, a `Panel`; and ``fields``, as the history keeps them.

    Raises
    ------
    ArchiveError
        If there is no such panel.
    """
    p = schema.panels
    query = sa.select(p).where(p.c.code == code).order_by(p.c.deleted, p.c.id.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    if row is None:
        raise ArchiveError(
            "There is no panel of this code in the archive.",
            got=repr(code[:80]),
            remedy="check the code on the back of the panel.",
        )
    return _state(connection, dict(row))


def amend(
    connection: sa.Connection,
    code: str,
    change: Callable[[Panel], Panel],
    stamp: Stamp,
    *,
    action: str = "amended",
) -> int | None:
    """Change a panel and keep what it was.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    code : str
        The panel.
    change : callable
        From the panel as it is to the panel as it is to be; its code stays.
    stamp : Stamp
        For the history.
    action : str
        What is done, as the history says it.

    Returns
    -------
    int or None
        Number of the change; None if nothing differs.
    """
    state = state_of(connection, code)
    wanted = spell(connection, [change(state["panel"])])[0]
    item = write(connection, state, fields_of(wanted))
    return None if item is None else record(connection, action, [item], stamp)


def set_deleted(connection: sa.Connection, code: str, deleted: bool, stamp: Stamp) -> int | None:
    """Put a panel aside, or take it back.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    code : str
        The panel.
    deleted : bool
        Aside, or back.
    stamp : Stamp
        For the history.

    Returns
    -------
    int or None
        Number of the change; None if it was so already.
    """
    state = state_of(connection, code)
    item = write(connection, state, {**state["fields"], "deleted": deleted})
    action = "deleted" if deleted else "restored"
    return None if item is None else record(connection, action, [item], stamp)


def set_aside(connection: sa.Connection, key: str, aside: bool, stamp: Stamp) -> _Undone:
    """Set a finding of the audit aside, or let it be shown again.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    key : str
        The finding's.
    aside : bool
        Aside, or shown.
    stamp : Stamp
        For the record.

    Returns
    -------
    tuple or None
        The item for `record`; None if it was so already.
    """
    i = schema.ignored
    if _aside(connection, key) is aside:
        return None
    if aside:
        row = {"key": key, "at": stamp.at, "who": stamp.who, "why": stamp.why}
        connection.execute(i.insert().values(row))
    else:
        connection.execute(i.delete().where(i.c.key == key))
    # A finding has no row of its own once it is shown again; its key stands for it.
    told = {"finding": key}
    return ("finding", 0, {**told, "aside": not aside}, {**told, "aside": aside})


def _aside(connection: sa.Connection, key: str) -> bool:
    i = schema.ignored
    return connection.execute(sa.select(i.c.key).where(i.c.key == key)).first() is not None


def undo(connection: sa.Connection, number: int, stamp: Stamp) -> int:
    """Undo one change, by a change of its own.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    number : int
        The change's number.
    stamp : Stamp
        For the history.

    Returns
    -------
    int
        Number of the undoing.

    Raises
    ------
    ArchiveError
        If there is no such change, or what it touched has been changed since in the same fields.
    """
    h, t = schema.history, schema.history_items
    if connection.execute(sa.select(h.c.id).where(h.c.id == number)).first() is None:
        raise ArchiveError(
            "There is no change of this number.",
            got=str(number),
            remedy="see the history for the numbers.",
        )
    query = sa.select(t).where(t.c.change_id == number).order_by(t.c.id.desc())
    undone = []
    for entry in connection.execute(query).mappings().all():
        item = _UNDO[entry["kind"]](connection, dict(entry), stamp)
        undone += [item] if item else []
    return record(connection, "undone", undone, stamp, undoes=number)


def _undo_panel(connection: sa.Connection, entry: Mapping[str, Any], stamp: Stamp) -> _Undone:
    p = schema.panels
    # A panel that was not there before is put aside, not erased.
    before = json.loads(entry["before"]) if entry["before"] else {"deleted": True}
    row = connection.execute(sa.select(p).where(p.c.id == entry["subject"])).mappings().one()
    state = _state(connection, dict(row))
    _check_unchanged(state["fields"], before, entry, f"panel {row['code']}")
    return write(connection, state, {**state["fields"], **before})


def _undo_job(connection: sa.Connection, entry: Mapping[str, Any], stamp: Stamp) -> _Undone:
    number = entry["subject"]
    if not entry["before"]:
        raise ArchiveError(
            "The beginning of a job cannot be undone.",
            got=f"job {number}",
            remedy="close it as given up, and say why.",
        )
    there = jobs.job_of(connection, number, label="")
    now, before = jobs.fields_of(there), json.loads(entry["before"])
    _check_unchanged(now, before, entry, f"job {number}")
    plain = {k: v for k, v in {**now, **before}.items() if v is not None}
    wanted = replace(from_plain(Job, plain), number=number)
    return jobs.rewrite(connection, there, wanted, stamp)


def _undo_finding(connection: sa.Connection, entry: Mapping[str, Any], stamp: Stamp) -> _Undone:
    before = json.loads(entry["before"])
    key = before["finding"]
    _check_unchanged({**before, "aside": _aside(connection, key)}, before, entry, key)
    return set_aside(connection, key, before["aside"], stamp)


_UNDO = {"panel": _undo_panel, "job": _undo_job, "finding": _undo_finding}


def _check_unchanged(
    now: Mapping[str, Any], before: Mapping[str, Any], entry: Mapping[str, Any], what: str
) -> None:
    after = json.loads(entry["after"] or "{}")
    changed = sorted(k for k in before if now.get(k) != after.get(k))
    if changed:
        raise ArchiveError(
            f"This change cannot be undone, for the {entry['kind']} was changed again since.",
            got=f"another {', '.join(changed)} of {what}",
            remedy="undo the later change first.",
        )


def insert_readings(
    connection: sa.Connection,
    rows: Sequence[tuple[int, int, StoredReading]],
    held: Mapping[tuple[int, int, str], int] | None = None,
) -> None:
    """Insert readings of panels.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    rows : sequence of (int, int, (int, dict))
        Panel row, import row and reading.
    held : mapping, optional
        How many of a panel, stage and digest are there already.
    """
    seen = Counter(held or {})
    values = []
    for panel_id, import_id, (stage, reading) in rows:
        digest = reading_digest(reading)
        key = (panel_id, stage, digest)
        value = {"panel_id": panel_id, "import_id": import_id, "stage": stage, "digest": digest}
        values.append({**value, "data": dump(reading), "repeat": seen[key]})
        seen[key] += 1
    if values:
        connection.execute(schema.readings.insert(), values)


def write(
    connection: sa.Connection,
    state: Mapping[str, Any],
    fields: Mapping[str, Any],
    *,
    import_id: int | None = None,
) -> tuple[str, int, dict[str, Any], dict[str, Any]] | None:
    """Make a panel what its fields say, and return what that changed.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    state : mapping
        From `state_of`.
    fields : mapping
        All of its fields, as `fields_of` gives them.
    import_id : int, optional
        The import that readings come with; the panel's own if None.

    Returns
    -------
    tuple or None
        The item for `record`; None where nothing differs.
    """
    old = state["fields"]
    # Through JSON, as what is stored has gone: tuples are lists there.
    new = json.loads(dump({"deleted": old["deleted"], **fields}))
    names = sorted(k for k in {*old, *new} if old.get(k) != new.get(k))
    if not names:
        return None
    row, panel = state["id"], panel_of_fields(new)
    if old["deleted"] and not new["deleted"]:
        p = schema.panels
        in_use = sa.select(p.c.id).where(p.c.code == panel.code, p.c.deleted == sa.false())
        if connection.execute(in_use).first() is not None:
            raise ArchiveError(
                f"Panel {panel.code} cannot be taken back, for its code is in use again.",
                got="another panel of this code",
                remedy="delete the other one first.",
            )
    if "readings" in names:
        r = schema.readings
        connection.execute(r.delete().where(r.c.panel_id == row))
        source = state["import_id"] if import_id is None else import_id
        insert_readings(connection, [(row, source, (n, plain)) for n, plain in new["readings"]])
    digest = panel_digest(panel, [(n, reading_digest(plain)) for n, plain in new["readings"]])
    connection.execute(
        schema.panels.update()
        .where(schema.panels.c.id == row)
        .values(data=panel_text(panel), deleted=new["deleted"], digest=digest)
    )
    return ("panel", row, {k: old.get(k) for k in names}, {k: new.get(k) for k in names})


def _state(connection: sa.Connection, row: Mapping[str, Any]) -> dict[str, Any]:
    r = schema.readings
    query = sa.select(r.c.stage, r.c.data).where(r.c.panel_id == row["id"]).order_by(r.c.id)
    found = [(n, json.loads(text)) for n, text in connection.execute(query)]
    panel = panel_of(row["data"], found)
    fields = json.loads(dump({**fields_of(panel), "deleted": row["deleted"]}))
    return {**row, "panel": panel, "fields": fields}
