"""Adding panels: one transaction an import, nothing doubled, nothing overwritten."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.codec import (
    dump,
    panel_digest,
    panel_of,
    panel_record,
    reading_record,
)
from matchlib.archive.history import insert_readings, inserted, record, state_of
from matchlib.archive.names import spell
from matchlib.domain import Panel, Recipe
from matchlib.errors import ArchiveError

__all__ = ["AddResult", "add"]

_FILLED = ("date", "sprayer", "lot", "note", "customer", "temperature", "humidity")
_CHUNK = 500  # codes a query; databases limit the number of parameters


@dataclass(frozen=True, slots=True)
class AddResult:
    """What an import did.

    Parameters
    ----------
    added : tuple of str
        Codes of new panels.
    extended : tuple of (str, int)
        Codes of known panels and the number of repeat readings they gained.
    already : tuple of str
        Codes that were there with all their readings; nothing was doubled.
    deleted : tuple of str
        Codes of panels that are there but deleted; left so.
    refused : tuple of (str, str)
        Codes that were left out, with the reason; only with ``on_duplicate="skip"``.
    differing : tuple of (str, str)
        Codes whose date, sprayer or the like is written otherwise in the archive, which was kept.
    readings : int
        Readings added in all.
    import_id : int, optional
        Number of the import; None when nothing was new.
    """

    added: tuple[str, ...] = ()
    extended: tuple[tuple[str, int], ...] = ()
    already: tuple[str, ...] = ()
    deleted: tuple[str, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    differing: tuple[tuple[str, str], ...] = ()
    readings: int = 0
    import_id: int | None = None

    @property
    def words(self) -> str:
        """The result in one sentence."""
        told = [f"{_count(len(self.added), 'panel')} added"]
        for codes, what in (
            (self.extended, "given repeat readings"),
            (self.already, "already there"),
            (self.deleted, "left deleted"),
            (self.refused, "refused"),
        ):
            if codes:
                told.append(f"{len(codes)} {what}")
        return f"{', '.join(told)}; {_count(self.readings, 'reading')} added."


def add(
    connection: sa.Connection,
    panels: Sequence[Panel],
    *,
    file: str,
    sha256: str | None,
    who: str,
    at: str,
    on_duplicate: Literal["refuse", "skip"],
) -> AddResult:
    """Add panels within a write transaction.

    Parameters
    ----------
    connection : Connection
        In a write transaction.
    panels : sequence of Panel
        New ones, known ones with more readings, or the same once more.
    file : str
        Name of the file they come from, for the record.
    sha256 : str, optional
        Digest of that file.
    who, at : str
        For the record.
    on_duplicate : {"refuse", "skip"}
        What to do with a known code of another recipe: refuse all, or leave that panel out.

    Returns
    -------
    AddResult
        What was done.

    Raises
    ------
    ArchiveError
        If a code is known with another recipe.
    """
    refused: list[tuple[str, str]] = []
    merged = _merge(panels, refused, on_duplicate)
    known = _known(connection, [p.code for p in merged])
    new: list[Panel] = []
    more: list[tuple[Mapping[str, Any], list[dict[str, Any]]]] = []
    fills: list[tuple[Mapping[str, Any], dict[str, Any]]] = []
    already, deleted, differing = [], [], []
    for panel in merged:
        row = known.get(panel.code)
        if row is None:
            new.append(panel)
            continue
        there = panel_of(row, ())
        if there.recipe != panel.recipe and not _same_recipe(there.recipe, panel.recipe):
            error = _two_recipes(panel.code, there.recipe, panel.recipe, deleted=row["deleted"])
            if on_duplicate == "refuse":
                raise error
            refused.append((panel.code, str(error)))
            continue
        if row["deleted"]:
            deleted.append(panel.code)
            continue
        fresh = _fresh(panel, row["digests"])
        fill, other = _fill(there, panel)
        if other:
            differing.append((panel.code, other))
        if fill:
            fills.append((row, fill))
        if fresh:
            more.append((row, fresh))
        elif not fill:
            already.append(panel.code)
    result = AddResult(
        added=tuple(p.code for p in new),
        extended=tuple((r["code"], len(f)) for r, f in more),
        already=tuple(already),
        deleted=tuple(deleted),
        refused=tuple(refused),
        differing=tuple(differing),
        readings=sum(len(p.readings) for p in new) + sum(len(f) for _, f in more),
    )
    if not (new or more or fills):
        return result
    row_of_import = schema.imports.insert().values(
        file=file, sha256=sha256, who=who, at=at, readings=result.readings
    )
    import_id = inserted(connection.execute(row_of_import))
    _insert(connection, new, import_id, who=who, at=at)
    for known_row, fresh in more:
        _extend(connection, known_row, fresh, import_id, who=who, at=at)
    for known_row, fill in fills:
        _fill_in(connection, known_row, fill, import_id, who=who, at=at)
    return replace(result, import_id=import_id)


def _merge(
    panels: Sequence[Panel], refused: list[tuple[str, str]], on_duplicate: str
) -> list[Panel]:
    merged: dict[str, Panel] = {}
    for panel in panels:
        first = merged.get(panel.code)
        if first is None:
            merged[panel.code] = panel
        elif _same_recipe(first.recipe, panel.recipe):
            merged[panel.code] = replace(first, readings=first.readings + panel.readings)
        else:
            error = _two_recipes(panel.code, first.recipe, panel.recipe, deleted=False)
            if on_duplicate == "refuse":
                raise error
            refused.append((panel.code, str(error)))
    return list(merged.values())


def _known(connection: sa.Connection, codes: Sequence[str]) -> dict[str, dict[str, Any]]:
    p, r = schema.panels, schema.readings
    known: dict[str, dict[str, Any]] = {}
    for start in range(0, len(codes), _CHUNK):
        some = codes[start : start + _CHUNK]
        rows = connection.execute(sa.select(p).where(p.c.code.in_(some))).mappings()
        by_id = {row["id"]: {**row, "digests": []} for row in rows}
        found = connection.execute(
            sa.select(r.c.panel_id, r.c.digest)
            .join(p, p.c.id == r.c.panel_id)
            .where(p.c.code.in_(some))
        )
        for panel_id, digest in found:
            by_id[panel_id]["digests"].append(digest)
        known |= {row["code"]: row for row in by_id.values()}
    return known


def _same_recipe(one: Recipe, other: Recipe) -> bool:
    if (one.clear or "").casefold() != (other.clear or "").casefold():
        return False
    return replace(one, clear=None) == replace(other, clear=None)


def _two_recipes(code: str, there: Recipe, given: Recipe, *, deleted: bool) -> ArchiveError:
    old = there.words + (" (a deleted panel)" if deleted else "")
    return ArchiveError(
        f"Panel {code} is already known with another recipe.",
        expected=f"the recipe that is known: {old}",
        got=given.words,
        remedy="if this is another panel, give it a code of its own; if the known recipe is wrong, "
        "amend it in the archive first.",
    )


def _fresh(panel: Panel, digests: Iterable[str]) -> list[dict[str, Any]]:
    # The n-th reading of these values is new only if the archive holds fewer than n of them.
    held, met = Counter(digests), Counter[str]()
    fresh = []
    for reading in panel.readings:
        row = reading_record(reading)
        digest = row["digest"]
        if met[digest] >= held[digest]:
            fresh.append({**row, "repeat": met[digest]})
        met[digest] += 1
    return fresh


def _fill(there: Panel, given: Panel) -> tuple[dict[str, Any], str]:
    fill, other = {}, []
    for name in _FILLED:
        old, new = getattr(there, name), getattr(given, name)
        if new in (None, "") or new == old:
            continue
        if old in (None, ""):
            fill[name] = panel_record(given)[name]
        else:
            other.append(f"{name}: {old} in the archive, {new} in the file")
    known = dict(there.extra)
    extra = [pair for pair in given.extra if pair[0] not in known]
    if extra:
        fill["extra"] = dump([list(pair) for pair in (*there.extra, *extra)])
    return fill, "; ".join(other)


def _insert(
    connection: sa.Connection, panels: Sequence[Panel], import_id: int, *, who: str, at: str
) -> None:
    if not panels:
        return
    rows, readings = [], []
    for panel in spell(connection, panels):
        own = [reading_record(reading) for reading in panel.readings]
        row = panel_record(panel)
        row["digest"] = panel_digest(row, [r["digest"] for r in own])
        rows.append({**row, "import_id": import_id})
        readings.append(own)
    connection.execute(schema.panels.insert(), rows)
    p = schema.panels
    query = sa.select(p.c.code, p.c.id).where(p.c.import_id == import_id)
    ids = {row.code: row.id for row in connection.execute(query)}
    order = [ids[row["code"]] for row in rows]
    insert_readings(
        connection,
        [(i, import_id, r) for i, own in zip(order, readings, strict=True) for r in own],
    )
    after = dump({"deleted": False})
    connection.execute(
        schema.history.insert(),
        [
            {
                "panel_id": i,
                "import_id": import_id,
                "at": at,
                "who": who,
                "why": "",
                "action": "added",
                "after": after,
            }
            for i in order
        ],
    )


def _extend(
    connection: sa.Connection,
    row: Mapping[str, Any],
    fresh: Sequence[Mapping[str, Any]],
    import_id: int,
    *,
    who: str,
    at: str,
) -> None:
    before = state_of(connection, row["code"])
    insert_readings(connection, [(row["id"], import_id, r) for r in fresh])
    after = state_of(connection, row["code"])
    digest = panel_digest(after, [r["digest"] for r in after["readings"]])
    connection.execute(
        schema.panels.update().where(schema.panels.c.id == row["id"]).values(digest=digest)
    )
    record(
        connection,
        row["id"],
        "readings added",
        before={"readings": before["readings"]},
        after={"readings": after["readings"]},
        at=at,
        who=who,
        import_id=import_id,
    )


def _fill_in(
    connection: sa.Connection,
    row: Mapping[str, Any],
    fill: Mapping[str, Any],
    import_id: int,
    *,
    who: str,
    at: str,
) -> None:
    state = {**state_of(connection, row["code"]), **fill}
    digest = panel_digest(state, [r["digest"] for r in state["readings"]])
    connection.execute(
        schema.panels.update().where(schema.panels.c.id == row["id"]).values(**fill, digest=digest)
    )
    record(
        connection,
        row["id"],
        "amended",
        before={name: row[name] for name in fill},
        after=fill,
        at=at,
        who=who,
        why="filled in from the file",
        import_id=import_id,
    )


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'s' * (n != 1)}"
