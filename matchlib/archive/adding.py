"""Adding panels: one transaction an import, nothing doubled, nothing overwritten."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import Stamp, inserted, record
from matchlib.archive.codec import (
    fields_of,
    panel_digest,
    panel_text,
    reading_digest,
    readings_of,
)
from matchlib.archive.history import insert_readings, state_of, write
from matchlib.archive.names import spell
from matchlib.domain import NO_SETUP, GunSetup, Panel, Reading, Stage, lots_text, name_key
from matchlib.errors import ArchiveError
from matchlib.plain import to_plain

__all__ = ["AddResult", "add"]

_OF_PANEL = ("batch", "note", "customer", "drawer")
_OF_STAGE = (
    *("date", "sprayer", "lot", "temperature", "humidity", "log", "setup", "lots", "clear_coats"),
)
_EMPTY = (None, "", (), NO_SETUP)
_CHUNK = 500  # codes a query; databases limit the number of parameters


@dataclass(frozen=True, slots=True)
class AddResult:
    """What an import did.

    Parameters
    ----------
    added : tuple of str
        Codes of new panels.
    extended : tuple of (str, int)
        Codes of known panels and the number of readings they gained, a new stage's included.
    already : tuple of str
        Codes that were there with all their readings; nothing was doubled.
    again : tuple of str
        Codes of those new panels of which one was removed before.
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
    again: tuple[str, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    differing: tuple[tuple[str, str], ...] = ()
    readings: int = 0
    import_id: int | None = None

    @property
    def words(self) -> str:
        """The result in one sentence."""
        told = [f"{_count(len(self.added), 'panel')} added"]
        for codes, what in (
            (self.extended, "given more readings"),
            (self.already, "already there"),
            (self.again, "of them removed before"),
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
    merged = spell(connection, _merge(panels, refused, on_duplicate))
    known = _known(connection, [p.code for p in merged])
    new: list[Panel] = []
    changed: list[tuple[dict[str, Any], dict[str, Any]]] = []
    extended, already, differing = [], [], []
    for panel in merged:
        if not known.get(panel.code):
            new.append(panel)
            continue
        state = state_of(connection, panel.code)
        try:
            wanted, other = _joined(state["panel"], panel)
        except ArchiveError as error:
            if on_duplicate == "refuse":
                raise
            refused.append((panel.code, str(error)))
            continue
        if other:
            differing.append((panel.code, other))
        if wanted == state["panel"]:
            already.append(panel.code)
            continue
        changed.append((state, fields_of(wanted)))
        gained = len(readings_of(wanted)) - len(readings_of(state["panel"]))
        if gained:
            extended.append((panel.code, gained))
    result = AddResult(
        added=tuple(p.code for p in new),
        extended=tuple(extended),
        already=tuple(already),
        again=tuple(p.code for p in new if p.code in known),
        refused=tuple(refused),
        differing=tuple(differing),
        readings=sum(len(readings_of(p)) for p in new) + sum(n for _, n in extended),
    )
    if not (new or changed):
        return result
    row_of_import = schema.imports.insert().values(
        file=file, sha256=sha256, who=who, at=at, readings=result.readings
    )
    import_id = inserted(connection.execute(row_of_import))
    items = _insert(connection, new, import_id)
    for state, fields in changed:
        item = write(connection, state, fields, import_id=import_id)
        items += [item] if item else []
    action = "added" if new else "readings added" if extended else "amended"
    record(connection, action, items, Stamp(at, who), import_id=import_id)
    return replace(result, import_id=import_id)


def _merge(
    panels: Sequence[Panel], refused: list[tuple[str, str]], on_duplicate: str
) -> list[Panel]:
    merged: dict[str, Panel] = {}
    for panel in panels:
        first = merged.get(panel.code)
        if first is None:
            merged[panel.code] = panel
            continue
        try:
            merged[panel.code] = _joined(first, panel, repeats=True)[0]
        except ArchiveError as error:
            if on_duplicate == "refuse":
                raise
            refused.append((panel.code, str(error)))
    return list(merged.values())


def _known(connection: sa.Connection, codes: Sequence[str]) -> dict[str, bool]:
    """Whether a panel of a code is in use, for every code there is or was."""
    p = schema.panels
    known: dict[str, bool] = {}
    for start in range(0, len(codes), _CHUNK):
        some = codes[start : start + _CHUNK]
        query = sa.select(p.c.code, p.c.deleted).where(p.c.code.in_(some))
        for code, deleted in connection.execute(query):
            known[code] = known.get(code, False) or not deleted
    return known


def _joined(there: Panel, given: Panel, *, repeats: bool = False) -> tuple[Panel, str]:
    """A known panel with what another of its code adds, and what the two say otherwise."""
    stages, told = [], []
    for number, (old, new) in enumerate(zip(there.stages, given.stages, strict=False), 1):
        if not _same_recipe(old, new):
            raise _two_recipes(there.code, number, old, new)
        fill, other = _fill(old, new, _OF_STAGE)
        fresh = list(new.readings) if repeats else _fresh(old, new)
        stages.append(replace(old, readings=(*old.readings, *fresh), **fill))
        told += other
    stages += (there if len(there.stages) > len(given.stages) else given).stages[len(stages) :]
    fill, other = _fill(there, given, _OF_PANEL)
    known = dict(there.extra)
    extra = (*there.extra, *(pair for pair in given.extra if pair[0] not in known))
    joined = replace(there, stages=tuple(stages), extra=extra, **fill)
    return joined, "; ".join([*told, *other])


def _same_recipe(one: Stage, other: Stage) -> bool:
    mine, theirs = one.recipe, other.recipe
    if name_key(mine.clear or "") != name_key(theirs.clear or ""):
        return False
    return replace(mine, clear=None) == replace(theirs, clear=None)


def _two_recipes(code: str, number: int, there: Stage, given: Stage) -> ArchiveError:
    where = f" (stage {number})" if number > 1 else ""
    return ArchiveError(
        f"Panel {code}{where} is already known with another recipe.",
        expected=f"the recipe that is known: {there.recipe.words}",
        got=given.recipe.words,
        remedy="if this is another panel, give it a code of its own; if the card was built on, "
        "write its coats as stage 2; if the known recipe is wrong, amend it in the archive first.",
    )


def _fresh(there: Stage, given: Stage) -> Iterator[Reading]:
    # The n-th reading of these values is new only if the archive holds fewer than n of them.
    held, met = Counter(map(_digest, there.readings)), Counter[str]()
    for reading in given.readings:
        digest = _digest(reading)
        if met[digest] >= held[digest]:
            yield reading
        met[digest] += 1


def _digest(reading: Reading) -> str:
    return reading_digest(to_plain(reading))


def _fill(there: Any, given: Any, names: Sequence[str]) -> tuple[dict[str, Any], list[str]]:
    """What the one leaves empty and the other says, and what both say but not alike."""
    fill, other = {}, []
    for name in names:
        old, new = getattr(there, name), getattr(given, name)
        if new in _EMPTY or new == old:
            continue
        if old in _EMPTY:
            fill[name] = new
        else:
            said = f"{_said(old)} in the archive, {_said(new)} in the file"
            other.append(f"{name}: {'another log' if name == 'log' else said}")
    return fill, other


def _said(value: Any) -> object:
    if isinstance(value, GunSetup):
        return value.words
    return lots_text(value) if isinstance(value, tuple) else value


def _insert(
    connection: sa.Connection, panels: Sequence[Panel], import_id: int
) -> list[tuple[str, int, Mapping[str, Any] | None, Mapping[str, Any] | None]]:
    if not panels:
        return []
    own = [readings_of(panel) for panel in panels]
    rows = [
        {
            "code": panel.code,
            "data": panel_text(panel),
            "digest": panel_digest(panel, [(n, reading_digest(plain)) for n, plain in readings]),
            "import_id": import_id,
        }
        for panel, readings in zip(panels, own, strict=True)
    ]
    connection.execute(schema.panels.insert(), rows)
    p = schema.panels
    query = sa.select(p.c.code, p.c.id).where(p.c.import_id == import_id)
    ids = {row.code: row.id for row in connection.execute(query)}
    order = [ids[panel.code] for panel in panels]
    insert_readings(
        connection,
        [(i, import_id, r) for i, readings in zip(order, own, strict=True) for r in readings],
    )
    return [("panel", i, None, {"deleted": False}) for i in order]


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'s' * (n != 1)}"
