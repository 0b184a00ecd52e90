"""Panels as they are kept: read for a change, and written with what the log needs to know of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import sqlalchemy as sa

from matchlib.archive import jobs, schema
from matchlib.archive.changes import Entry, entry_of
from matchlib.archive.codec import panel_fields, panel_of, panel_of_fields, row_of
from matchlib.archive.reading_out import chunked, whole
from matchlib.domain import Panel
from matchlib.errors import ArchiveError
from matchlib.plain import dump, load, stored_as

__all__ = ["StoredPanel", "insert_readings", "kept", "kept_in", "panel_kept", "write"]


@dataclass(frozen=True)
class StoredPanel:
    """A panel as it is kept."""

    row: int
    import_id: int  # row of the import that it came with
    panel: Panel  # with its readings
    deleted: bool  # put aside

    @cached_property
    def fields(self) -> dict[str, Any]:
        """Its fields as the history keeps them, with ``deleted``."""
        fields: dict[str, Any] = stored_as({**panel_fields(self.panel), "deleted": self.deleted})
        return fields


def kept(connection: sa.Connection, codes: Iterable[str]) -> dict[str, StoredPanel]:
    """Return panels by code: the one in use, or where there is none the last removed."""
    p = schema.panels
    found: dict[str, StoredPanel] = {}
    for some in chunked(dict.fromkeys(codes)):
        for one in kept_in(connection, p.c.code.in_(some)):
            earlier = found.get(one.panel.code)
            if earlier is None or earlier.deleted:  # rows come in the order they were made
                found[one.panel.code] = one
    return found


def panel_kept(connection: sa.Connection, code: str) -> StoredPanel:
    """Return one panel as it is kept: the one in use, or the last removed."""
    code = " ".join(code.split())
    found = kept(connection, [code])
    if not found:
        raise ArchiveError(
            "There is no panel of this code in the archive.",
            got=repr(code[:80]),
            remedy="check the code on the back of the panel.",
        )
    return found[code]


def kept_in(connection: sa.Connection, where: sa.ColumnElement[bool]) -> list[StoredPanel]:
    """Return panels as they are kept."""
    p, r = schema.panels, schema.readings
    readings: dict[int, list[tuple[int, str]]] = {}
    query = sa.select(r.c.panel_id, r.c.stage, r.c.data).join(p, p.c.id == r.c.panel_id)
    for row, stage, text in connection.execute(query.where(where).order_by(r.c.id)):
        readings.setdefault(row, []).append((stage, text))
    found = []
    for row in connection.execute(sa.select(p).where(where).order_by(p.c.id)).all():
        panel = whole(_panel, row.data, tuple(readings.get(row.id, ())))
        found.append(StoredPanel(row.id, row.import_id, panel, row.deleted))
    return found


@lru_cache(maxsize=16_384)  # a command asks for the same panels several times
def _panel(data: str, readings: tuple[tuple[int, str], ...]) -> Panel:
    return panel_of(data, [(stage, load(text)) for stage, text in readings])


def insert_readings(
    connection: sa.Connection, rows: Iterable[tuple[int, int, int, dict[str, Any], str]]
) -> None:
    """Insert the readings of panels that have none: of which panel, import and stage."""
    seen: Counter[tuple[int, int, str]] = Counter()
    values = []
    for panel_id, import_id, stage, reading, digest in rows:
        key = (panel_id, stage, digest)
        value = {"panel_id": panel_id, "import_id": import_id, "stage": stage, "digest": digest}
        values.append({**value, "data": dump(reading), "repeat": seen[key]})
        seen[key] += 1
    if values:
        connection.execute(schema.readings.insert(), values)


def write(
    connection: sa.Connection,
    wanted: Iterable[tuple[StoredPanel, Mapping[str, Any]]],
    *,
    import_id: int | None = None,
) -> list[Entry]:
    """Make panels what their fields say, and return what that changed."""
    p, r = schema.panels, schema.readings
    items: list[Entry] = []
    rows, moved, emptied, readings = [], [], [], []
    gone: list[str] = []
    back: list[str] = []
    for stored, fields in wanted:
        old = stored.fields
        new = stored_as({"deleted": old["deleted"], **fields})
        entry = entry_of("panel", stored.row, old, new)
        if entry is None:
            continue
        items.append(entry)
        differing = set(entry[2] or ())
        if differing == {"deleted"}:
            (gone if new["deleted"] else back).append(stored.panel.code)
            moved.append({"row": stored.row, "deleted": new["deleted"]})
            continue
        panel = whole(panel_of_fields, new)
        row, own = row_of(panel)
        rows.append({**row, "row": stored.row, "deleted": new["deleted"]})
        moves = panel.code != stored.panel.code
        if not new["deleted"] and (old["deleted"] or moves):
            back.append(panel.code)
        if not old["deleted"] and (new["deleted"] or moves):
            gone.append(stored.panel.code)
        if "readings" in differing:
            emptied.append(stored.row)
            source = stored.import_id if import_id is None else import_id
            readings += [(stored.row, source, *one) for one in own]
    jobs.check_free(connection, set(gone) - set(back))
    for some in chunked(emptied):
        connection.execute(r.delete().where(r.c.panel_id.in_(some)))
    insert_readings(connection, readings)
    update = p.update().where(p.c.id == sa.bindparam("row"))
    # What goes makes room for what comes back under the same code.
    for deleted in (True, False):
        if not deleted:
            _check_free(connection, back)
        for written in (rows, moved):
            if some_rows := [row for row in written if row["deleted"] is deleted]:
                connection.execute(update, some_rows)
    return items


def _check_free(connection: sa.Connection, codes: Sequence[str]) -> None:
    p = schema.panels
    taken = [code for code, n in Counter(codes).items() if n > 1]
    for some in chunked(codes):
        in_use = sa.select(p.c.code).where(p.c.code.in_(some), p.c.deleted == sa.false())
        taken += connection.execute(in_use).scalars()
    if taken:
        raise ArchiveError(
            f"Panel {taken[0]} cannot be taken back, for its code is in use again.",
            got="another panel of this code",
            remedy="remove the other one first.",
        )
