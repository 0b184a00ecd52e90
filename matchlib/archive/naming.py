"""Names of an archive changed everywhere at once: renamed, joined, given lots."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from matchlib.archive import jobs, schema
from matchlib.archive.changes import Entry, Stamp, record
from matchlib.archive.codec import panel_fields
from matchlib.archive.findings import rename_ignored
from matchlib.archive.names import names_of, respelled, rewrite_names, spelling
from matchlib.archive.stored import kept_in, write
from matchlib.domain import NAME_KINDS, Lot, Name, Panel, clean_name, name_key
from matchlib.domain.name import near_names
from matchlib.errors import ArchiveError, DomainError
from matchlib.job import Job
from matchlib.plain import dump

if TYPE_CHECKING:
    from matchlib.archive.store import Archive

__all__ = [
    "all_names",
    "as_spelled",
    "join_names",
    "keep_lot",
    "near_spellings",
    "rename",
    "respelled_job",
]


def all_names(archive: Archive, kind: str | None = None) -> tuple[tuple[Name, int], ...]:
    """Return the names of an archive and on how many panels each stands.

    Parameters
    ----------
    archive : Archive
        Open.
    kind : str, optional
        One of `matchlib.domain.NAME_KINDS`; None for all.

    Returns
    -------
    tuple of (Name, int)
        By kind, in the order first seen.

    Examples
    --------
    >>> from matchlib.demo import demo_archive
    >>> with demo_archive() as archive:
    ...     names = all_names(archive, "colour")
    >>> [name.name for name, _ in names][:2]
    ['cherry', 'lagoon']
    """
    with archive.database.read() as connection:
        found = sorted(names_of(connection, kind).values(), key=lambda name: name.kind)
    uses = Counter(one for panel in archive.panels() for one in set(_names_on(panel)))
    return tuple((name, uses[name.kind, name.name]) for name in found)


def as_spelled(archive: Archive, kind: str, texts: Iterable[str]) -> dict[str, str]:
    """Return names as the archive shows them today, by how they were written."""
    with archive.database.read() as connection:
        say = spelling(connection)
    return {text: say(kind, text) for text in texts}


def near_spellings(archive: Archive) -> tuple[tuple[str, str, str], ...]:
    """Return names that may be one thing under two spellings.

    Parameters
    ----------
    archive : Archive
        Open.

    Returns
    -------
    tuple of (str, str, str)
        Kind, the name that fewer panels have, and the one that more have.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive, Panel, Recipe
    >>> backs = [Panel.of(f"P{i}", Recipe.of(name)) for i, name in enumerate(("silver", "slver"))]
    >>> with TemporaryDirectory() as folder, Archive.open(f"{folder}/a.db", create=True) as archive:
    ...     _ = archive.add(backs)
    ...     near_spellings(archive)
    (('ground', 'slver', 'silver'),)
    """
    found = []
    names = [(name, uses) for name, uses in all_names(archive) if uses]
    for name, uses in names:
        others = {n.name: u for n, u in names if n.kind == name.kind and n is not name}
        for other in near_names(name.name, others):
            if (uses, other) < (others[other], name.name):
                found.append((name.kind, name.name, other))
    return tuple(found)


def rename(
    archive: Archive, kind: str, name: str, to: str, *, who: str = "", why: str = ""
) -> int | None:
    """Give a thing another name, on every panel and in every job; the old one is still known.

    Parameters
    ----------
    archive : Archive
        Open for writing.
    kind : str
        One of `matchlib.domain.NAME_KINDS`.
    name : str
        As it is, in any spelling that is known.
    to : str
        As it is to be; another spelling of itself, or a name not in use.
    who, why : str
        For the history.

    Returns
    -------
    int or None
        Number of the change; None if it is so already.

    Raises
    ------
    MatchlibError
        If there is no such name, or the new one is in use.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive, Panel, Recipe
    >>> with TemporaryDirectory() as folder, Archive.open(f"{folder}/a.db", create=True) as archive:
    ...     _ = archive.add([Panel.of("P1", Recipe.of("slver"))])
    ...     _ = rename(archive, "ground", "slver", "silver")
    ...     print(archive.panel("P1").recipe)
    silver, bare
    """

    def change(stored: dict[int, Name]) -> dict[int, Name | None]:
        row, old = _found(stored, kind, name)
        new = clean_name(to, kind)
        key = name_key(new)
        taken = [n.name for r, n in stored.items() if r != row and n.kind == kind and key in n.keys]
        if taken:
            raise ArchiveError(
                f"There is a {kind} of this name already.",
                got=taken[0],
                remedy="join the two, if they are one thing; else choose another name.",
            )
        return {row: replace(old, name=new, spellings=(*old.spellings, old.name))}

    return _change(archive, kind, change, "renamed", archive.stamp(who, why))


def join_names(
    archive: Archive, kind: str, name: str, into: str, *, who: str = "", why: str = ""
) -> int | None:
    """Make two names one, on every panel and in every job; both spellings mean it from then on.

    Parameters
    ----------
    archive : Archive
        Open for writing.
    kind : str
        One of `matchlib.domain.NAME_KINDS`.
    name : str
        The one that goes.
    into : str
        The one that stays, with the lots of both.
    who, why : str
        For the history.

    Returns
    -------
    int or None
        Number of the change; None if they are one already.

    Raises
    ------
    MatchlibError
        If there is no such name, or a panel has a blend of the two.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive, Panel, Recipe
    >>> backs = [Panel.of(f"P{i}", Recipe.of(name)) for i, name in enumerate(("silver", "slver"))]
    >>> with TemporaryDirectory() as folder, Archive.open(f"{folder}/a.db", create=True) as archive:
    ...     _ = archive.add(backs)
    ...     _ = join_names(archive, "ground", "slver", "silver")
    ...     len({str(panel.recipe.ground) for panel in archive.panels()})
    1
    """

    def change(stored: dict[int, Name]) -> dict[int, Name | None]:
        (row, old), (stays, new) = _found(stored, kind, name), _found(stored, kind, into)
        if row == stays:
            return {}
        codes = {name_key(lot.code) for lot in new.lots}
        lots = (*new.lots, *(lot for lot in old.lots if name_key(lot.code) not in codes))
        spellings = (*new.spellings, old.name, *old.spellings)
        return {row: None, stays: replace(new, spellings=spellings, lots=lots)}

    try:
        return _change(archive, kind, change, "joined", archive.stamp(who, why))
    except DomainError as error:
        if error.problem != f"This is not a {kind}.":
            raise
        job = str(error.where).startswith("job ")
        raise ArchiveError(
            f"The {kind}s {name} and {into} cannot be one: a {'job' if job else 'panel'} has a "
            "blend of the two.",
            got=error.where,
            remedy="see what that job may use and its recipe, and change them first."
            if job
            else "see that panel's back; if it is wrong, amend it first.",
        ) from error


def keep_lot(
    archive: Archive, kind: str, name: str, lot: Lot, *, who: str = "", why: str = ""
) -> int | None:
    """Note a lot of a colour, or a batch of a ground or a clear coat.

    Parameters
    ----------
    archive : Archive
        Open for writing.
    kind : str
        One of `matchlib.domain.NAME_KINDS`.
    name : str
        Of what.
    lot : Lot
        In place of the one of the same code, if there is one.
    who, why : str
        For the history.

    Returns
    -------
    int or None
        Number of the change; None if it was noted so already.

    Examples
    --------
    >>> from matchlib.demo import demo_archive
    >>> from matchlib.domain import Lot
    >>> with demo_archive(30) as archive:
    ...     _ = keep_lot(archive, "colour", "cherry", Lot("C 7"))
    ...     [name.lot.code for name, _ in all_names(archive, "colour") if name.name == "cherry"]
    ['C 7']
    """

    def change(stored: dict[int, Name]) -> dict[int, Name | None]:
        row, old = _found(stored, kind, name)
        lots = {name_key(one.code): one for one in old.lots}
        lots[name_key(lot.code)] = lot
        return {row: replace(old, lots=tuple(lots.values()))}

    return _change(archive, kind, change, "lot noted", archive.stamp(who, why))


_Wanted = Callable[[dict[int, Name]], dict[int, Name | None]]


def _change(archive: Archive, kind: str, change: _Wanted, action: str, stamp: Stamp) -> int | None:
    with archive.database.write() as connection:
        stored = names_of(connection)
        wanted = change(stored)
        items = rewrite_names(connection, stored, wanted)
        if not items:
            return None
        names = [name for name in wanted.values() if name is not None]
        spelling = {key: name.name for name in names for key in name.keys}
        before = {stored[row].name for row in wanted}

        def say(of: str, text: str) -> str:
            return spelling.get(name_key(text), text) if of == kind else text

        if any(spelling.get(name_key(name)) != name for name in before):
            items += _on_panels(connection, sorted(before), say)
            items += _in_jobs(connection, say, stamp)
        for row, new in wanted.items():
            if new is not None and new.name != (old := stored[row].name):
                items += rename_ignored(connection, kind, old, new.name, stamp)
        return record(connection, action, items, stamp)


def _on_panels(
    connection: sa.Connection, names: Sequence[str], say: Callable[[str, str], str]
) -> list[Entry]:
    """Panels that may hold one of the names, written with what is to be said for it."""
    p, r = schema.panels, schema.readings
    texts = [dump(name)[1:-1] for name in names]
    by = sa.or_(
        *(p.c.data.contains(text, autoescape=True) for text in texts),
        p.c.id.in_(
            sa.select(r.c.panel_id).where(
                sa.or_(*(r.c.data.contains(text, autoescape=True) for text in texts))
            )
        ),
    )
    stored = kept_in(connection, by)
    wanted = respelled([one.panel for one in stored], say)
    return write(
        connection,
        [(one, panel_fields(panel)) for one, panel in zip(stored, wanted, strict=True)],
    )


def _in_jobs(
    connection: sa.Connection, say: Callable[[str, str], str], stamp: Stamp
) -> list[Entry]:
    items = []
    for job in jobs.jobs_of(connection):
        try:
            wanted = respelled_job(job, say)
        except DomainError as error:
            error.where = f"job {job.number}, {job.name}"
            raise
        item = jobs.rewrite_job(connection, job.number, job, wanted, stamp)
        items += [item] if item else []
    return items


def respelled_job(job: Job, say: Callable[[str, str], str]) -> Job:
    """Return a job with every name as it is to be said."""
    if job.plan is not None:
        (card,) = respelled([Panel.of("plan", job.plan.recipe)], say)
        job = replace(job, plan=replace(job.plan, recipe=card.recipe))
    if job.limits is not None:
        limits = job.limits
        usual = limits.clear in (None, "yes", "usual")
        job = replace(
            job,
            limits=replace(
                limits,
                grounds=_blends(limits.grounds, say),
                colours=_blends(limits.colours, say),
                clear=limits.clear if usual else say("clear", str(limits.clear)),
                stock=limits.stock
                if limits.stock is None
                else {say("colour", name): left for name, left in limits.stock.items()},
            ),
        )
    return job


def _blends(blends: Any, say: Callable[[str, str], str]) -> Any:
    if blends is None:
        return None
    return tuple(type(b)(tuple((say(b.kind, n), share) for n, share in b.parts)) for b in blends)


def _names_on(panel: Panel) -> Iterator[tuple[str, str]]:
    for stage in panel.stages:
        recipe = stage.recipe
        for blend in (recipe.ground, *recipe.colours):
            yield from ((blend.kind, name) for name in blend.names)
        yield "clear", recipe.clear or ""
        yield "sprayer", stage.sprayer
        yield from (("sprayer", coat.sprayer) for coat in stage.log)
        yield from (("instrument", reading.instrument) for reading in stage.readings)


def _found(stored: dict[int, Name], kind: str, text: str) -> tuple[int, Name]:
    if kind not in NAME_KINDS:
        raise ArchiveError(
            "This is no kind of name.", expected=", ".join(NAME_KINDS), got=repr(kind[:40])
        )
    for row, name in stored.items():
        if name.kind == kind and name_key(text) in name.keys:
            return row, name
    known = [name.name for name in stored.values() if name.kind == kind]
    near = near_names(text, known)
    blend = kind in ("ground", "colour") and "+" in text
    raise ArchiveError(
        f"There is no {kind} of this name in the archive.",
        expected=" or ".join(near) or ", ".join(known[:8]) or None,
        got=repr(text[:80]),
        remedy="a blend is made of names: name one of its parts."
        if blend
        else "see the list of names.",
    )
