"""Every change to a panel: who, when, what, before and after; and undoing it.

The tables hold the present; the history holds how it came about. An entry is never changed or
removed, an undoing is an entry of its own. Order is by the entry's number, so a clock that was set
back does no harm.
"""

from __future__ import annotations

import datetime as dt
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.codec import (
    PANEL_FIELDS,
    dump,
    panel_digest,
    panel_of,
    panel_record,
    reading_of,
    reading_record,
    words_of,
)
from matchlib.archive.names import spell
from matchlib.archive.reading_out import whole
from matchlib.errors import ArchiveError

__all__ = [
    "Change",
    "amend",
    "insert_readings",
    "inserted",
    "read_changes",
    "record",
    "set_deleted",
    "state_of",
    "undo",
]

READING_COLUMNS = (
    "source",
    "illuminant",
    "observer",
    "geometry",
    "lab",
    "wavelengths",
    "reflectance",
    "sd",
    "digest",
)


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the history.

    Parameters
    ----------
    number : int
        Its place in the order of changes.
    at : datetime.datetime
        UTC, by the clock of the machine that wrote it.
    who, why : str
        As given; empty where not.
    panel : str
        The panel's code.
    action : str
        ``added``, ``readings added``, ``amended``, ``deleted``, ``restored`` or ``undone``.
    before, after : dict
        The fields that changed, as stored; empty where there was nothing.
    undoes : int, optional
        The entry that this one undid.
    file : str
        The file it was imported from; empty where not.
    """

    number: int
    at: dt.datetime
    who: str
    why: str
    panel: str
    action: str
    before: dict[str, Any]
    after: dict[str, Any]
    undoes: int | None = None
    file: str = ""

    @property
    def words(self) -> str:
        """What changed, in words."""
        if "readings" in self.after or "readings" in self.before:
            n = len(self.before.get("readings", ()))
            m = len(self.after.get("readings", ()))
            told = [f"readings: {n} to {m}"]
        else:
            told = []
        for name in sorted({*self.before, *self.after} - {"readings", "deleted"}):
            told.append(
                f"{name}: {_say(name, self.before.get(name))} to {_say(name, self.after.get(name))}"
            )
        what = self.action if self.undoes is None else f"{self.action} (change {self.undoes})"
        return f"{what}: {'; '.join(told)}" if told else what


def record(
    connection: sa.Connection,
    panel_id: int,
    action: str,
    *,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
    at: str,
    who: str,
    why: str = "",
    import_id: int | None = None,
    undoes: int | None = None,
) -> int:
    """Write one entry and return its number.

    Parameters
    ----------
    connection : Connection
        In the transaction of the change itself.
    panel_id : int
        Row of the panel.
    action : str
        See `Change`.
    before, after : mapping, optional
        The fields that changed.
    at : str
        UTC, ISO 8601.
    who, why : str
        As given.
    import_id : int, optional
        The import it came with.
    undoes : int, optional
        The entry that it undoes.

    Returns
    -------
    int
        Number of the entry.
    """
    done = connection.execute(
        schema.history.insert().values(
            panel_id=panel_id,
            import_id=import_id,
            at=at,
            who=who,
            why=why,
            action=action,
            before=None if before is None else dump(before),
            after=None if after is None else dump(after),
            undoes=undoes,
        )
    )
    return inserted(done)


def inserted(done: sa.CursorResult[Any]) -> int:
    """Return the number that an insert of one row was given.

    Parameters
    ----------
    done : CursorResult
        Of the insert.

    Returns
    -------
    int
        Its primary key.
    """
    key = done.inserted_primary_key
    return int(key[0]) if key is not None else 0


def read_changes(connection: sa.Connection, code: str | None, *, label: str) -> tuple[Change, ...]:
    """Return the history, oldest first.

    Parameters
    ----------
    connection : Connection
        Open.
    code : str, optional
        Of one panel; None for all.
    label : str
        The archive, for errors.

    Returns
    -------
    tuple of Change
        In order of their numbers.
    """
    h, p, i = schema.history, schema.panels, schema.imports
    query = (
        sa.select(h, p.c.code, i.c.file)
        .join(p, p.c.id == h.c.panel_id)
        .outerjoin(i, i.c.id == h.c.import_id)
        .order_by(h.c.id)
    )
    if code is not None:
        query = query.where(p.c.code == code)
    rows = connection.execute(query).mappings()
    return tuple(whole(label, _change, dict(row)) for row in rows)


def state_of(connection: sa.Connection, code: str) -> dict[str, Any]:
    """Return a panel's row with its readings, held until the transaction ends.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    code : str
        The panel.

    Returns
    -------
    dict
        Columns of the panel, and ``readings``, a list of columns each.

    Raises
    ------
    ArchiveError
        If there is no such panel.
    """
    p, r = schema.panels, schema.readings
    row = connection.execute(sa.select(p).where(p.c.code == code)).mappings().first()
    if row is None:
        raise ArchiveError(
            "There is no panel of this code in the archive.",
            got=repr(code[:80]),
            remedy="check the code on the back of the panel.",
        )
    found = connection.execute(
        sa.select(*(r.c[name] for name in READING_COLUMNS))
        .where(r.c.panel_id == row["id"])
        .order_by(r.c.id)
    ).mappings()
    return {**row, "readings": [dict(x) for x in found]}


def amend(
    connection: sa.Connection, code: str, changes: Mapping[str, Any], *, at: str, who: str, why: str
) -> int | None:
    """Change fields of a panel and keep what they were.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    code : str
        The panel.
    changes : mapping
        Fields of `Panel`, its code apart, to their new values.
    at, who, why : str
        For the history.

    Returns
    -------
    int or None
        Number of the change; None if nothing differs.
    """
    state = state_of(connection, code)
    now = panel_of(state, [reading_of(r) for r in state["readings"]])
    wanted = spell(connection, [replace(now, **changes)])[0]
    stored = panel_record(wanted)
    new: dict[str, Any] = {k: v for k, v in stored.items() if v != state[k]}
    if wanted.readings != now.readings:
        new["readings"] = [reading_record(r) for r in wanted.readings]
    if not new:
        return None
    before = {name: state[name] for name in new}
    _write(connection, state, new, import_id=state["import_id"])
    return record(
        connection, state["id"], "amended", before=before, after=new, at=at, who=who, why=why
    )


def set_deleted(
    connection: sa.Connection, code: str, deleted: bool, *, at: str, who: str, why: str
) -> int | None:
    """Put a panel aside, or take it back.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    code : str
        The panel.
    deleted : bool
        Aside, or back.
    at, who, why : str
        For the history.

    Returns
    -------
    int or None
        Number of the change; None if it was so already.
    """
    state = state_of(connection, code)
    if state["deleted"] == deleted:
        return None
    _write(connection, state, {"deleted": deleted}, import_id=state["import_id"])
    return record(
        connection,
        state["id"],
        "deleted" if deleted else "restored",
        before={"deleted": not deleted},
        after={"deleted": deleted},
        at=at,
        who=who,
        why=why,
    )


def undo(connection: sa.Connection, number: int, *, at: str, who: str, why: str) -> int:
    """Undo one change, by a change of its own.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    number : int
        The change's number.
    at, who, why : str
        For the history.

    Returns
    -------
    int
        Number of the undoing.

    Raises
    ------
    ArchiveError
        If there is no such change, or the panel has been changed since in the same fields.
    """
    h, p = schema.history, schema.panels
    query = sa.select(h, p.c.code).join(p, p.c.id == h.c.panel_id).where(h.c.id == number)
    entry = connection.execute(query).mappings().first()
    if entry is None:
        raise ArchiveError(
            "There is no change of this number.",
            got=str(number),
            remedy="see the history for the numbers.",
        )
    after: dict[str, Any] = json.loads(entry["after"] or "{}")
    # A panel that was not there before is put aside, not erased.
    before = json.loads(entry["before"]) if entry["before"] else {"deleted": True}
    state = state_of(connection, entry["code"])
    changed = sorted(name for name in before if state[name] != after.get(name))
    if changed:
        raise ArchiveError(
            "This change cannot be undone, for the panel was changed again since.",
            got=f"another {', '.join(changed)} of panel {entry['code']}",
            remedy="undo the later change first.",
        )
    _write(connection, state, before, import_id=state["import_id"])
    return record(
        connection,
        state["id"],
        "undone",
        before=after,
        after=before,
        at=at,
        who=who,
        why=why,
        undoes=number,
    )


def insert_readings(
    connection: sa.Connection, rows: Sequence[tuple[int, int, Mapping[str, Any]]]
) -> None:
    """Insert readings of panels that are new or whose readings were taken out before.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    rows : sequence of (int, int, mapping)
        Panel row, import row and `reading_record`; ``repeat`` counted here unless given.
    """
    seen: Counter[tuple[int, str]] = Counter()
    values = []
    for panel_id, import_id, reading in rows:
        key = (panel_id, reading["digest"])
        value = {"repeat": seen[key], **reading, "panel_id": panel_id, "import_id": import_id}
        seen[key] += 1
        values.append(value)
    if values:
        connection.execute(schema.readings.insert(), values)


def _write(
    connection: sa.Connection, state: Mapping[str, Any], new: Mapping[str, Any], *, import_id: int
) -> None:
    panel_id = state["id"]
    if "readings" in new:
        connection.execute(schema.readings.delete().where(schema.readings.c.panel_id == panel_id))
        insert_readings(connection, [(panel_id, import_id, r) for r in new["readings"]])
    columns = {k: v for k, v in new.items() if k in PANEL_FIELDS or k == "deleted"}
    merged = {**state, **new}
    columns["digest"] = panel_digest(merged, [r["digest"] for r in merged["readings"]])
    connection.execute(
        schema.panels.update().where(schema.panels.c.id == panel_id).values(**columns)
    )


def _change(row: Mapping[str, Any]) -> Change:
    return Change(
        number=row["id"],
        at=dt.datetime.fromisoformat(row["at"]),
        who=row["who"],
        why=row["why"],
        panel=row["code"],
        action=row["action"],
        before=json.loads(row["before"] or "{}"),
        after=json.loads(row["after"] or "{}"),
        undoes=row["undoes"],
        file=row["file"] or "",
    )


def _say(name: str, value: Any) -> str:
    if value in (None, "", "[]"):
        return "empty"
    return words_of(name, value) if isinstance(value, str) else str(value)
