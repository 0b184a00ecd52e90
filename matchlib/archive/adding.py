"""Adding panels: one transaction an import, nothing doubled, nothing overwritten."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.changes import Entry, Stamp, inserted, record
from matchlib.archive.codec import (
    fields_of,
    panel_digest,
    panel_text,
    reading_digest,
    readings_of,
)
from matchlib.archive.kept import Kept, insert_readings, kept, write
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
        Codes of which the archive says otherwise, which was kept, and what.
    replaced : tuple of (str, str)
        Codes of which the archive said otherwise, which gave way, and what.
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
    replaced: tuple[tuple[str, str], ...] = ()
    readings: int = 0
    import_id: int | None = None

    @property
    def words(self) -> str:
        """The result in one sentence."""
        told = [f"{_count(len(self.added), 'panel')} added"]
        for codes, what in (
            (self.extended, "given more readings"),
            (self.already, "already there"),
            (self.replaced, "replaced by what the file says"),
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
    on_duplicate: Literal["refuse", "skip", "keep", "replace"],
    strict: bool,
    repeats: Collection[str] = (),
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
    on_duplicate : {"refuse", "skip", "keep", "replace"}
        What to do where a known panel is said to be another: refuse all, leave that panel out,
        keep what is known and take the rest, or write what the file says.
    strict : bool
        Whether other readings of one kind, and other words on the back, differ too; if not, such
        readings are repeats and such words are left as known.
    repeats : collection of str
        Codes of panels whose other readings are repeats all the same.

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
    known = kept(connection, [p.code for p in merged])
    new: list[Panel] = []
    changed: list[tuple[Kept, Panel]] = []
    extended, already, differing, replaced = [], [], [], []
    for panel in merged:
        there = known.get(panel.code)
        if there is None or there.fields["deleted"]:
            new.append(panel)
            continue
        met = _meet(there.panel, panel, strict=strict and panel.code not in repeats)
        if met.differing and on_duplicate in ("refuse", "skip"):
            refused.append((panel.code, met.words))
            continue
        takes = bool(met.differing) and on_duplicate == "replace"
        wanted = met.replaced() if takes else met.joined
        if (met.differing or met.other) and not takes:
            differing.append((panel.code, met.words))
        if wanted == there.panel:
            already.append(panel.code)
            continue
        changed.append((there, wanted))
        gained = len(readings_of(wanted)) - len(readings_of(there.panel))
        if takes:
            replaced.append((panel.code, met.words))
        elif gained:
            extended.append((panel.code, gained))
    if refused and on_duplicate != "skip":
        raise _differs(refused)
    result = AddResult(
        added=tuple(p.code for p in new),
        extended=tuple(extended),
        already=tuple(already),
        again=tuple(p.code for p in new if p.code in known),
        refused=tuple(refused),
        differing=tuple(differing),
        replaced=tuple(replaced),
        readings=sum(len(readings_of(p)) for p in new) + sum(n for _, n in extended),
    )
    if not (new or changed):
        return result
    row_of_import = schema.imports.insert().values(
        file=file, sha256=sha256, who=who, at=at, readings=result.readings
    )
    import_id = inserted(connection.execute(row_of_import))
    items = _insert(connection, new, import_id)
    wanted_fields = [(there, fields_of(wanted)) for there, wanted in changed]
    items += write(connection, wanted_fields, import_id=import_id)
    action = "added" if new else "readings added" if extended else "amended"
    record(connection, action, items, Stamp(at, who), import_id=import_id)
    return replace(result, import_id=import_id)


def _merge(
    panels: Sequence[Panel], refused: list[tuple[str, str]], on_duplicate: str
) -> list[Panel]:
    """The panels of one file, each code once."""
    merged: dict[str, Panel] = {}
    for panel in panels:
        first = merged.get(panel.code)
        met = None if first is None else _meet(first, panel, strict=False, repeats=True)
        if met is None:
            merged[panel.code] = panel
        elif not met.differing:
            merged[panel.code] = met.joined
        elif on_duplicate == "skip":
            refused.append((panel.code, met.words))
        else:
            raise _differs([(panel.code, met.words)], "what another row says of")
    return list(merged.values())


@dataclass(frozen=True, slots=True)
class _Met:
    """A known panel and another of its code."""

    there: Panel
    given: Panel
    joined: Panel
    """The known one with what the other adds and does not say otherwise."""
    differing: tuple[str, ...]
    """What cannot both be."""
    other: tuple[str, ...]
    """What is left as it is known, for it counts little."""

    @property
    def words(self) -> str:
        return "; ".join((*self.differing, *self.other))

    def replaced(self) -> Panel:
        """The known one with all that the other says in its place."""
        stages = []
        for old, new in zip(self.there.stages, self.given.stages, strict=False):
            kinds = {_kind(r) for r in new.readings}
            left = [r for r in old.readings if _kind(r) not in kinds]
            said = _said(new, _OF_STAGE)
            readings = (*left, *new.readings)
            stages.append(replace(old, recipe=new.recipe, readings=readings, **said))
        said = _said(self.given, _OF_PANEL)
        longer = max(self.there, self.given, key=lambda panel: len(panel.stages))
        return replace(self.joined, stages=(*stages, *longer.stages[len(stages) :]), **said)


def _meet(there: Panel, given: Panel, *, strict: bool, repeats: bool = False) -> _Met:
    stages: list[Stage] = []
    differing: list[str] = []
    other: list[str] = []
    for number, (old, new) in enumerate(zip(there.stages, given.stages, strict=False), 1):
        where = f"stage {number}: " if number > 1 else ""
        fill, said = _fill(old, new, _OF_STAGE)
        other += [where + line for line in said]
        if not _same_recipe(old, new):
            differing.append(where + _both(old.recipe.words, new.recipe.words))
            stages += there.stages[number - 1 :]
            break
        fresh = list(new.readings) if repeats else list(_without(new.readings, old.readings))
        gone = list(_without(old.readings, new.readings)) if strict else []
        clash = {*map(_kind, fresh)} & {*map(_kind, gone)}
        if clash:
            was, now = (next(r for r in side if _kind(r) in clash) for side in (gone, fresh))
            differing.append(f"{where}read as {_both(_values(was), _values(now))}")
        readings = (*old.readings, *(r for r in fresh if _kind(r) not in clash))
        stages.append(replace(old, readings=readings, **fill))
    else:
        longer = there if len(there.stages) > len(given.stages) else given
        stages += longer.stages[len(stages) :]
    fill, said = _fill(there, given, _OF_PANEL)
    other += said
    known = dict(there.extra)
    extra = (*there.extra, *(pair for pair in given.extra if pair[0] not in known))
    joined = replace(there, stages=tuple(stages), extra=extra, **fill)
    if strict:
        differing, other = [*differing, *other], []
    return _Met(there, given, joined, tuple(differing), tuple(other))


def _same_recipe(one: Stage, other: Stage) -> bool:
    mine, theirs = one.recipe, other.recipe
    if name_key(mine.clear or "") != name_key(theirs.clear or ""):
        return False
    return replace(mine, clear=None) == replace(theirs, clear=None)


def _differs(
    panels: Sequence[tuple[str, str]], there: str = "what the archive holds of"
) -> ArchiveError:
    first = "; ".join(f"{code}: {words}" for code, words in panels[:5])
    more = f"; and {len(panels) - 5} more panels" if len(panels) > 5 else ""
    one = len(panels) == 1
    return ArchiveError(
        f"{f'Panel {panels[0][0]} differs' if one else f'{len(panels)} panels differ'} from "
        f"{there} {'it' if one else 'them'}.",
        got=first + more,
        remedy="if these are other panels, give them codes of their own; if a card was built on, "
        "write its coats as stage 2; if the same card was read again, say so (--repeats) or give "
        "the readings their dates; else say which holds, the archive (--keep) or the file "
        "(--replace).",
    )


def _without(readings: Iterable[Reading], others: Iterable[Reading]) -> Iterator[Reading]:
    # The n-th reading of these values is another only if there are fewer than n of them there.
    held, met = Counter(map(_digest, others)), Counter[str]()
    for reading in readings:
        digest = _digest(reading)
        if met[digest] >= held[digest]:
            yield reading
        met[digest] += 1


def _kind(reading: Reading) -> tuple[object, ...]:
    """What tells that a reading is of another day, state or instrument, and so another one."""
    r = reading
    return (r.date, r.state, name_key(r.instrument), r.source, r.viewing.geometry)


def _digest(reading: Reading) -> str:
    return reading_digest(to_plain(reading))


def _words(value: Any) -> object:
    if isinstance(value, GunSetup):
        return value.words
    return lots_text(value) if isinstance(value, tuple) else value


def _both(old: object, new: object) -> str:
    return f"{old} in the archive, {new} in the file"


def _values(reading: Reading) -> str:
    light = f"{reading.viewing.illuminant}/{reading.viewing.observer}"
    if reading.lab is not None:
        return f"Lab {' '.join(f'{v:.2f}' for v in reading.lab)} ({light})"
    shown = reading.reflectance or ()
    return f"reflectances {shown[0]:.4f} to {shown[-1]:.4f}" if shown else "nothing"


def _said(given: Any, names: Sequence[str]) -> dict[str, Any]:
    values = {name: getattr(given, name) for name in names}
    return {name: value for name, value in values.items() if value not in _EMPTY}


def _fill(there: Any, given: Any, names: Sequence[str]) -> tuple[dict[str, Any], list[str]]:
    """What the one leaves empty and the other says, and what both say but not alike."""
    known, said = _said(there, names), _said(given, names)
    fill = {name: new for name, new in said.items() if name not in known}
    other = []
    for name in said.keys() & known.keys():
        old, new = known[name], said[name]
        if old != new:
            both = "another log" if name == "log" else _both(_words(old), _words(new))
            other.append(f"{name}: {both}")
    return fill, sorted(other)


def _insert(connection: sa.Connection, panels: Sequence[Panel], import_id: int) -> list[Entry]:
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
