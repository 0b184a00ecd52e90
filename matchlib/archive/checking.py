"""A thorough look for damage: the database's own checks, and every digest computed anew."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from functools import partial
from itertools import groupby
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import finding_of, side_of, taken_back
from matchlib.archive.codec import panel_digest, panel_of, panel_of_fields, reading_digest
from matchlib.archive.database import Database
from matchlib.archive.findings import ignored_in
from matchlib.archive.jobs import job_fields, jobs_of
from matchlib.archive.names import name_fields, name_of, names_of, stored_name
from matchlib.archive.reading_out import DAMAGE, chunked
from matchlib.archive.rows import TABLES, can_hold, stored_rows
from matchlib.archive.stored import StoredPanel, kept_in
from matchlib.domain import Reading
from matchlib.errors import MatchlibError
from matchlib.job import Job
from matchlib.plain import from_plain, load

__all__ = ["broken_logs", "check", "content_faults", "good_reading", "sha256_of"]


def check(database: Database) -> tuple[str, ...]:
    """Return what is wrong with an archive."""
    try:
        with database.read() as connection:
            wrong = _structure(connection) if database.is_sqlite else []
            return tuple(wrong or content_faults(connection))
    except MatchlibError as error:
        return (str(error),)


def _structure(connection: sa.Connection) -> list[str]:
    found = connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars().all()
    wrong = [f"The file is damaged: {line}." for line in found if line != "ok"]
    loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    wrong += [f"Row {row[1]} of {row[0]} belongs to nothing in {row[2]}." for row in loose[:20]]
    return wrong


def content_faults(connection: sa.Connection) -> list[str]:
    """Return what of the content is not as it was written, by every digest and the whole log."""
    if wrong := _column_faults(connection):
        return wrong
    p = schema.panels
    codes = {row.id: row.code for row in connection.execute(sa.select(p.c.id, p.c.code))}
    wrong = _panel_faults(connection, codes) + _other_faults(connection, codes)
    return wrong or list(broken_logs(connection).values())


def _column_faults(connection: sa.Connection) -> list[str]:
    """Return which rows hold what their columns cannot: SQLite takes anything anywhere."""
    wrong = []
    for table in TABLES:
        columns = [c for c in table.c if not isinstance(c.type, sa.LargeBinary)]
        names = ", ".join(c.name for c in columns)
        query = f"SELECT {names} FROM {table.name}"  # noqa: S608  # names of our own
        what = (
            "Change {} of the history" if table is schema.history else f"Row {{}} of {table.name}"
        )
        for row in connection.exec_driver_sql(query):
            wrong += [
                f"{what.format(str(row[0])[:40])} is not what was written: "
                f"{column.name} is {repr(value)[:40]}."
                for column, value in zip(columns, row, strict=True)
                if not can_hold(column, value)
            ]
    return wrong


def _panel_faults(connection: sa.Connection, codes: Mapping[int, str]) -> list[str]:
    p, r = schema.panels, schema.readings
    wrong = []
    digests: dict[int, list[tuple[int, str]]] = {}
    for row in connection.execute(sa.select(r)):
        digests.setdefault(row.panel_id, []).append((row.stage, row.digest))
        if not good_reading(row.data, row.digest):
            code = codes.get(row.panel_id, "?")
            wrong.append(f"A reading of panel {code} is not what was imported.")
    for row in connection.execute(sa.select(p)):
        try:
            panel = panel_of(row.data)
            good = panel_digest(panel, digests.get(row.id, [])) == row.digest
            good = good and panel.code == row.code
        except DAMAGE:
            good = False
        if not good:
            wrong.append(f"Panel {row.code} is not what was written last.")
    return wrong


def good_reading(text: str, digest: str) -> bool:
    """Whether a stored reading is what was written."""
    try:
        plain = load(text)
        from_plain(Reading, plain)
        return reading_digest(plain) == digest
    except DAMAGE:
        return False


def _other_faults(connection: sa.Connection, codes: Mapping[int, str]) -> list[str]:
    s, f, j, n = schema.settings, schema.profiles, schema.jobs, schema.names
    wrong = []
    for kept in stored_rows(connection, schema.attachments):
        if sha256_of(kept["data"]) != kept["sha256"]:
            code = codes.get(kept["panel_id"], "?")
            wrong.append(f"The file {kept['name']} of panel {code} is not what was attached.")
    for what, query, read in (
        ("The setting", sa.select(s.c.key, s.c.value), load),
        ("The profile", sa.select(f.c.name, f.c.data), load),
        ("The job", sa.select(j.c.number, j.c.data), lambda text: from_plain(Job, load(text))),
        ("The name", sa.select(n.c.key, n.c.data), stored_name),
    ):
        for key, text in connection.execute(query):
            try:
                read(text)
            except DAMAGE as error:
                wrong.append(f"{what} {key} is not what was kept: {str(error)[:150]}")
    return wrong


def broken_logs(connection: sa.Connection) -> dict[tuple[str, int], str]:
    """Return the things whose log does not lead to what is kept of them."""
    t = schema.history_items
    query = sa.select(t).order_by(t.c.kind, t.c.subject, t.c.id.desc())
    rows = connection.execute(query).mappings()
    groups = groupby(rows, key=lambda row: (row["kind"], row["subject"]))
    held = {
        "name": {row: name_fields(name) for row, name in names_of(connection).items()},
        "job": {job.number: job_fields(job) for job in jobs_of(connection)},
    }
    aside = dict.fromkeys(ignored_in(connection), True)
    wrong = {}
    for some in chunked((key, list(map(dict, entries))) for key, entries in groups):
        panels = _panels_at_once(connection, [row for (kind, row), _ in some if kind == "panel"])
        for (kind, subject), entries in some:
            change = 0
            try:
                if kind == "panel":
                    own = schema.panels.c.id == subject
                    (one,) = [panels[subject]] if subject in panels else kept_in(connection, own)
                    fields = one.fields
                else:
                    fields = aside if kind == "finding" else held[kind].get(subject, {})
                for entry in entries:
                    change = entry["change_id"]
                    fields = _before(fields, entry)
            except DAMAGE as error:
                what = f"Change {change or '?'} of the history ({kind} {subject})"
                wrong[kind, subject] = f"{what} is not what was written: {str(error)[:150]}"
    return wrong


def _panels_at_once(connection: sa.Connection, rows: list[int]) -> dict[int, StoredPanel]:
    """Panels by their row; none where one of them is damaged, so that each is read by itself."""
    try:
        return {one.row: one for one in kept_in(connection, schema.panels.c.id.in_(rows))}
    except DAMAGE:
        return {}


def _before(fields: dict[str, Any], entry: Mapping[str, Any]) -> dict[str, Any]:
    """What was, by one entry of the log: refused where an undoing would refuse it."""
    before, after = side_of(entry, "before"), side_of(entry, "after")
    is_panel = entry["kind"] == "panel"
    if entry["kind"] == "finding":
        before, after = ({key: aside or None} for key, aside in map(finding_of, (before, after)))
        if before.keys() != after.keys():
            raise ValueError("another finding")
    own, other = taken_back(entry["kind"], fields, before, after)
    if other:
        raise ValueError(f"another {', '.join(other)} than was kept after it")
    was = {k: v for k, v in {**fields, **own}.items() if v is not None}
    if was == fields and (own or after):  # of a backup without customers, nothing may be left
        raise ValueError("nothing that could be undone")
    if before is None:
        return {}
    if not (is_panel and set(own) == {"deleted"}):
        _BUILD[entry["kind"]](was)
    return was


_BUILD: dict[str, Callable[[dict[str, Any]], object]] = {
    "panel": panel_of_fields,
    "name": name_of,
    "job": partial(from_plain, Job),
    "finding": dict,
}
"""What makes a thing of its fields."""


def sha256_of(data: object) -> str:
    """Return the digest of a file that is kept; of anything else none."""
    return hashlib.sha256(data).hexdigest() if isinstance(data, bytes) else ""
