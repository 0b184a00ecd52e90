"""Saving what can still be read of a damaged archive, row by row, into a new one."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import Entry, Stamp, record
from matchlib.archive.checking import broken_logs, content_faults, good_reading, sha256_of
from matchlib.archive.codec import panel_digest, panel_of
from matchlib.archive.names import stored_name
from matchlib.archive.reading_out import DAMAGE
from matchlib.archive.rows import TABLES, can_hold, fill
from matchlib.archive.store import Archive
from matchlib.archive.troubles import check_kind, words_of
from matchlib.atomic import written_whole
from matchlib.domain import Panel
from matchlib.errors import ArchiveError
from matchlib.job import Job
from matchlib.plain import dump, from_plain, load, to_plain
from matchlib.plural import counted

__all__ = ["Salvaged", "salvage"]

Rows = dict[str, dict[Any, dict[str, Any]]]
"""Rows by table and number."""

_NEVER = "1970-01-01T00:00:00.000+00:00"
_MOST = 10_000_000  # rows that are looked for behind a damaged page


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What could be saved of a damaged archive."""

    panels: int  # saved, removed ones too
    lost: tuple[str, ...]  # what was not, a line each

    @property
    def text(self) -> str:
        """All of it, in plain words, a line each."""
        were = "was" if self.panels == 1 else "were"
        return "\n".join((f"{counted(self.panels, 'panel')} {were} saved.", *self.lost))


def salvage(damaged: str | Path, into: str | Path, *, who: str = "") -> Salvaged:
    """Save what can be read of a damaged archive into a new one; the damaged one is not touched.

    Parameters
    ----------
    damaged : str or Path
        The archive's file.
    into : str or Path
        The new archive, which must not be there.
    who : str
        For the history.

    Returns
    -------
    Salvaged
        What was saved and what was not.

    Raises
    ------
    MatchlibError
        If nothing can be read, or the new archive is there already or cannot be made.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder:
    ...     with Archive.open(f"{folder}/a.db", create=True) as archive:
    ...         _ = archive.add(demo_panels()[:3])
    ...     saved = salvage(f"{folder}/a.db", f"{folder}/saved.db")
    >>> saved.panels, saved.lost
    (3, ())
    """
    if Path(into).expanduser().exists():
        raise ArchiveError(
            "What is saved goes into a new archive, and there is one already.",
            where=str(into),
            remedy="give the path of a file that is not there yet.",
        )
    rows = _read(Path(damaged).expanduser())
    lost = _sift(rows)
    if not any(rows[table.name] for table in TABLES):
        raise ArchiveError(
            "Nothing in this file could be read.",
            where=str(damaged),
            remedy="restore the newest backup ('workbook restore --from last').",
        )
    with written_whole(into) as part, Archive.open(part, create=True) as archive:
        stamp = archive.stamp(who, f"from {Path(damaged).name}")
        with archive.database.write() as connection:
            fill(connection, lambda table: rows[table.name].values())
            lost += _mend_log(connection, stamp)
            lost += content_faults(connection)
    return Salvaged(len(rows["panels"]), tuple(lost))


def _read(path: Path) -> Rows:
    if path.exists():
        check_kind(path)
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, "copy.db")
        try:
            for ending in ("", "-wal"):
                part = Path(f"{path}{ending}")
                if not ending or part.exists():
                    shutil.copyfile(part, f"{copy}{ending}")
            with contextlib.closing(sqlite3.connect(copy)) as raw:
                raw.text_factory = lambda data: data.decode(errors="replace")
                # Else a file that is shorter than it says is not opened at all.
                raw.execute("PRAGMA writable_schema = ON")
                return {t.name: dict(_rows(raw, t)) for t in TABLES}
        except sqlite3.Error as error:
            raise words_of(str(error), str(path), sqlite=True) from error
        except OSError as error:
            raise ArchiveError(
                "This archive cannot be read.",
                got=error.strerror or str(error),
                where=str(path),
                remedy="check the path, and that you may read it.",
            ) from error


def _rows(raw: sqlite3.Connection, table: sa.Table) -> Iterator[tuple[Any, dict[str, Any]]]:
    """Every row that can be read, going on behind each that cannot."""
    columns = [c.name for c in table.c]
    query = f"SELECT rowid, {', '.join(columns)} FROM {table.name} WHERE rowid > ? ORDER BY rowid"  # noqa: S608  # names of our own
    last, end = 0, _end(raw, table)
    while last <= end:
        try:
            for number, *values in raw.execute(query, (last,)):
                last = number
                yield number, dict(zip(columns, values, strict=True))
            return
        except sqlite3.DatabaseError as error:
            if "no such" in str(error):
                return
            last += 1


def _end(raw: sqlite3.Connection, table: sa.Table) -> int:
    """The last row there can be."""
    found = [0]
    for query, values in (
        (f"SELECT max(rowid) FROM {table.name}", ()),  # noqa: S608  # a name of our own
        ("SELECT seq FROM sqlite_sequence WHERE name = ?", (table.name,)),
    ):
        with contextlib.suppress(sqlite3.DatabaseError):
            found += [row[0] or 0 for row in raw.execute(query, values)]
    return min(max(found), _MOST)


def _sift(rows: Rows) -> list[str]:
    """Take out what is not as it was written; return what that loses."""
    lost = _fit(rows)
    readings: dict[int, list[dict[str, Any]]] = {}
    for number, row in list(rows["readings"].items()):
        if good_reading(row["data"], row["digest"]):
            readings.setdefault(row["panel_id"], []).append(row)
        else:
            del rows["readings"][number]
    panels: dict[int, Panel] = {}
    unread = set()
    for number, row in list(rows["panels"].items()):
        try:
            panels[number] = panel_of(row["data"])
        except DAMAGE:
            del rows["panels"][number]
            unread.add(number)
            lost.append(f"Panel {row['code']} could not be read.")
            continue
        row["code"] = panels[number].code
        own = [r for r in readings.get(number, ()) if r["stage"] <= len(panels[number].stages)]
        digest = panel_digest(panels[number], [(r["stage"], r["digest"]) for r in own])
        if digest != row["digest"]:
            row["digest"] = digest
            lost.append(
                f"Panel {row['code']} was saved with {counted(len(own), 'reading')}; it had "
                "others, or said something else: compare it with the panel itself."
            )
        readings[number] = own
    kept = {id(r) for number in panels for r in readings.get(number, ())}
    rows["readings"] = {n: r for n, r in rows["readings"].items() if id(r) in kept}
    numbers = {r["panel_id"] for r in rows["attachments"].values()} | set(readings)
    numbers |= {r["subject"] for r in rows["history_items"].values() if r["kind"] == "panel"}
    if gone := numbers - set(panels) - unread:
        lost.append(f"{counted(len(gone), 'panel')} of which something is left could not be read.")
    lost += _sift_others(rows, panels)
    _sift_log(rows, set(panels))
    return lost


def _fit(rows: Rows) -> list[str]:
    """Make every value one that its column can hold; return what that loses."""
    lost = []
    for table in TABLES:
        for number, row in list(rows[table.name].items()):
            wrong = [c for c in table.c if not can_hold(c, row[c.name])]
            if any(c.primary_key or c.foreign_keys for c in wrong):
                del rows[table.name][number]
                lost.append(f"Row {str(number)[:20]} of {table.name} was lost.")
                continue
            for column in wrong:
                row[column.name] = _instead(column, row[column.name])
    return lost


def _instead(column: sa.Column[Any], value: object) -> object:
    if column.nullable:
        return None
    if isinstance(column.type, sa.Boolean | sa.Integer):
        return 0
    if isinstance(column.type, sa.LargeBinary):
        return b""
    text = value.decode(errors="replace") if isinstance(value, bytes) else str(value)
    most = getattr(column.type, "length", None)
    return _NEVER if column.name == "at" else text[:most]


def _sift_others(rows: Rows, panels: dict[int, Panel]) -> list[str]:
    lost = []
    codes = {p.code for n, p in panels.items() if not rows["panels"][n]["deleted"]}
    for number, row in list(rows["attachments"].items()):
        if row["panel_id"] not in panels or sha256_of(row["data"]) != row["sha256"]:
            del rows["attachments"][number]
            lost.append(f"The file {row['name']} was lost.")
    for table, column, what, key, read in (
        ("names", "data", "name", "key", stored_name),
        ("profiles", "data", "profile", "name", load),
        ("settings", "value", "setting", "key", load),
    ):
        for number, row in list(rows[table].items()):
            try:
                read(row[column])
            except DAMAGE:
                del rows[table][number]
                lost.append(f"The {what} {row[key]} was lost.")
    for number, row in list(rows["jobs"].items()):
        try:
            job = from_plain(Job, load(row["data"]))
        except DAMAGE:
            del rows["jobs"][number]
            lost.append(f"Job {row['number']} was lost.")
            continue
        if gone := [c for c in job.panels if c not in codes]:
            plan = job.plan and replace(job.plan, on=job.plan.on if job.plan.on in codes else "")
            panels_left = tuple(c for c in job.panels if c in codes)
            row["data"] = dump(to_plain(replace(job, panels=panels_left, plan=plan)))
            lost.append(f"Job {number} was saved without the panels {', '.join(gone)}.")
    return lost


def _sift_log(rows: Rows, panels: set[int]) -> None:
    """Take out what belongs to nothing that was saved, and stand in for imports that are gone."""
    imports = rows["imports"]
    for table in ("panels", "readings", "history"):
        for row in rows[table].values():
            number = row["import_id"]
            if number is not None and number not in imports:
                imports[number] = {
                    **{"id": number, "file": "", "sha256": None, "who": "", "readings": 0},
                    "at": _NEVER,
                }
    history = rows["history"]
    for number, row in list(history.items()):
        if row["undoes"] is not None and row["undoes"] not in history:
            del history[number]
    rows["history_items"] = {
        n: r
        for n, r in rows["history_items"].items()
        if r["change_id"] in history and (r["kind"] != "panel" or r["subject"] in panels)
    }


def _mend_log(connection: sa.Connection, stamp: Stamp) -> list[str]:
    """Begin the history of what was saved anew, where it no longer leads there."""
    t = schema.history_items
    broken = broken_logs(connection)
    for kind, subject in broken:
        connection.execute(t.delete().where(t.c.kind == kind, t.c.subject == subject))
    p = schema.panels
    in_use = set(connection.execute(sa.select(p.c.id).where(p.c.deleted == sa.false())).scalars())
    entries: list[Entry] = [
        ("panel", subject, None, {"deleted": False})
        for kind, subject in broken
        if kind == "panel" and subject in in_use
    ]
    if entries:
        record(connection, "salvaged", entries, stamp)
    return [f"The history of {len(broken)} panels, names or jobs was lost."] if broken else []
