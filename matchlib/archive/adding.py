"""Adding panels: one transaction an import, nothing doubled, nothing overwritten."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import Entry, Stamp, inserted, record
from matchlib.archive.codec import panel_fields, row_of
from matchlib.archive.comparing import compare
from matchlib.archive.names import spell
from matchlib.archive.stored import StoredPanel, insert_readings, kept, write
from matchlib.domain import Panel
from matchlib.errors import ArchiveError
from matchlib.plural import counted

__all__ = ["AddResult", "add", "take"]


@dataclass(frozen=True, slots=True)
class AddResult:
    """What an import did.

    Parameters
    ----------
    added : tuple of str
        Codes of new panels.
    extended : tuple of (str, int)
        Codes of known panels and the number of readings they gained, a new stage's included.
    completed : tuple of str
        Codes of known panels of which more is written now, without a reading more.
    already : tuple of str
        Codes that were there with all their readings; nothing was doubled.
    again : tuple of str
        Codes of those new panels of which one was removed before.
    refused : tuple of (str, str)
        Codes that were left out, with the reason; only with ``on_duplicate="skip"``.
    differing : tuple of (str, str)
        Codes of which the archive says otherwise, which was kept, and what.
    replaced : tuple of (str, str)
        Codes of which the archive said otherwise, which gave way, and what.
    readings : int
        Readings added in all.
    import_id : int, optional
        Number of the import; None when nothing was new.

    Examples
    --------
    >>> from matchlib.demo import demo_archive, demo_panels
    >>> with demo_archive(2) as archive:
    ...     added = archive.add(demo_panels()[:3])
    >>> added.added, added.already
    (('T003',), ('T001', 'T002'))
    """

    SHOWN: ClassVar = (
        "added",
        ("extended", lambda r: [{"panel": code, "readings": n} for code, n in r.extended]),
        *("completed", "already", "again"),
        ("left_out", lambda r: [{"panel": code, "reason": why} for code, why in r.refused]),
        ("differing", lambda r: [{"panel": code, "what": what} for code, what in r.differing]),
        ("replaced", lambda r: [{"panel": code, "what": what} for code, what in r.replaced]),
        ("readings_added", "readings"),
    )

    added: tuple[str, ...] = ()
    extended: tuple[tuple[str, int], ...] = ()
    completed: tuple[str, ...] = ()
    already: tuple[str, ...] = ()
    again: tuple[str, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    differing: tuple[tuple[str, str], ...] = ()
    replaced: tuple[tuple[str, str], ...] = ()
    readings: int = 0
    import_id: int | None = None

    @property
    def words(self) -> str:
        """The result in one sentence."""
        parts = [f"{counted(len(self.added), 'panel')} added"]
        for codes, what in (
            (self.extended, "given more readings"),
            (self.completed, "completed on the back"),
            (self.already, "already there"),
            (self.replaced, "replaced by what the file says"),
            (self.again, "of them removed before"),
            (self.refused, "refused"),
        ):
            if codes:
                parts.append(f"{len(codes)} {what}")
        return f"{', '.join(parts)}; {counted(self.readings, 'reading')} added."


def add(
    connection: sa.Connection,
    panels: Sequence[Panel],
    *,
    file: str,
    sha256: str | None,
    stamp: Stamp,
    on_duplicate: Literal["refuse", "skip", "keep", "replace"],
    strict: bool,
    repeats: Collection[str] = (),
) -> AddResult:
    """Add panels within a write transaction."""
    refused: list[tuple[str, str]] = []
    merged = spell(connection, _merge(panels, refused, on_duplicate))
    known = kept(connection, [p.code for p in merged])
    result, items = take(
        connection,
        merged,
        known,
        loose=repeats if strict else known,
        refused=refused,
        on_duplicate=on_duplicate,
        file=file,
        sha256=sha256,
        stamp=stamp,
    )
    if items:
        action = "added" if result.added else "readings added" if result.extended else "amended"
        record(connection, action, items, stamp, import_id=result.import_id)
    return result


def take(
    connection: sa.Connection,
    panels: Sequence[Panel],
    known: Mapping[str, StoredPanel],
    *,
    loose: Collection[str],  # codes of known ones whose other readings are repeats
    refused: list[tuple[str, str]],  # what was left out before
    on_duplicate: str,
    file: str,
    stamp: Stamp,
    sha256: str | None = None,
) -> tuple[AddResult, list[Entry]]:
    """Write panels as one import, and return what became of them and what is to be recorded."""
    new: list[Panel] = []
    changed: list[tuple[StoredPanel, Panel]] = []
    extended, completed, already, differing, replaced = [], [], [], [], []
    for panel in panels:
        stored = known.get(panel.code)
        if stored is None or stored.deleted:
            new.append(panel)
            continue
        compared = compare(stored.panel, panel, strict=panel.code not in loose)
        if compared.differing and on_duplicate in ("refuse", "skip"):
            refused.append((panel.code, compared.words))
            continue
        takes = bool(compared.differing) and on_duplicate == "replace"
        wanted = compared.replaced() if takes else compared.joined
        if on_duplicate == "replace":  # notes never differ so that a file is refused
            wanted = replace(wanted, extra=(*wanted.extra, *panel.extra))
        if compared.words and not takes:
            differing.append((panel.code, compared.words))
        if wanted == stored.panel:
            already.append(panel.code)
            continue
        changed.append((stored, wanted))
        gained = wanted.times_read - stored.panel.times_read
        if takes:
            replaced.append((panel.code, compared.words))
        elif gained:
            extended.append((panel.code, gained))
        else:
            completed.append(panel.code)
    if refused and on_duplicate == "refuse":
        raise _differs(refused)
    result = AddResult(
        added=tuple(p.code for p in new),
        extended=tuple(extended),
        completed=tuple(completed),
        already=tuple(already),
        again=tuple(p.code for p in new if p.code in known),
        refused=tuple(refused),
        differing=tuple(differing),
        replaced=tuple(replaced),
        readings=sum(p.times_read for p in new) + sum(n for _, n in extended),
    )
    if not (new or changed):
        return result, []
    row = {"file": file, "sha256": sha256, "who": stamp.who, "at": stamp.at}
    values = schema.imports.insert().values(**row, readings=result.readings)
    import_id = inserted(connection.execute(values))
    items = _insert(connection, new, import_id)
    fields = [(stored, panel_fields(panel)) for stored, panel in changed]
    items += write(connection, fields, import_id=import_id)
    return replace(result, import_id=import_id), items


def _merge(
    panels: Sequence[Panel], refused: list[tuple[str, str]], on_duplicate: str
) -> list[Panel]:
    """The panels of one file, each code once."""
    merged: dict[str, Panel] = {}
    for panel in panels:
        first = merged.get(panel.code)
        compared = None if first is None else compare(first, panel, strict=False, repeats=True)
        if compared is None:
            merged[panel.code] = panel
        elif not compared.differing:
            merged[panel.code] = compared.joined
        elif on_duplicate == "skip":
            refused.append((panel.code, compared.words))
        else:
            raise _differs([(panel.code, compared.words)], "what another row says of")
    return list(merged.values())


def _differs(
    panels: Sequence[tuple[str, str]], against: str = "what the archive holds of"
) -> ArchiveError:
    first = "; ".join(f"{code}: {words}" for code, words in panels[:5])
    more = f"; and {counted(len(panels) - 5, 'more panel')}" if len(panels) > 5 else ""
    one = len(panels) == 1
    return ArchiveError(
        f"{f'Panel {panels[0][0]} differs' if one else f'{len(panels)} panels differ'} from "
        f"{against} {'it' if one else 'them'}.",
        got=first + more,
        remedy="if these are other panels, give them codes of their own; if a panel was built on, "
        "write its coats as stage 2; if the same panel was read again, say so (--repeats) or give "
        "the readings their dates; else say which holds, the archive (--keep) or the file "
        "(--replace).",
    )


def _insert(connection: sa.Connection, panels: Sequence[Panel], import_id: int) -> list[Entry]:
    """Insert new panels."""
    if not panels:
        return []
    rows, own = [], []
    for panel in panels:
        row, readings = row_of(panel)
        rows.append({**row, "import_id": import_id})
        own.append(readings)
    connection.execute(schema.panels.insert(), rows)
    p = schema.panels
    query = sa.select(p.c.code, p.c.id).where(p.c.import_id == import_id)
    ids = {row.code: row.id for row in connection.execute(query)}
    order = [ids[panel.code] for panel in panels]
    insert_readings(
        connection,
        ((i, import_id, *one) for i, some in zip(order, own, strict=True) for one in some),
    )
    return [("panel", i, None, {"deleted": False}) for i in order]
