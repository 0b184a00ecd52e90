"""Restoring a backup in the place of an archive, after a look at both."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.checking import content_faults
from matchlib.archive.copies import apart, back_up
from matchlib.archive.reading_out import hash_in
from matchlib.archive.rows import fill, stored_rows
from matchlib.archive.store import Archive
from matchlib.archive.troubles import DamagedError
from matchlib.atomic import written_whole
from matchlib.errors import ArchiveError
from matchlib.plural import counted

__all__ = ["Contents", "Restored", "restore"]


class Contents(NamedTuple):
    """What an archive holds, at a glance."""

    panels: int
    removed: int
    jobs: int
    change: int  # number of its last change; 0 for none
    at: str  # when that was: UTC, ISO 8601; empty for none

    @property
    def words(self) -> str:
        """All of it in one line."""
        last = f"last change {self.change}, {self.at[:16].replace('T', ' ')} UTC"
        numbers = ((self.panels, "panel"), (self.removed, "removed one"), (self.jobs, "job"))
        counts = ", ".join(counted(n, what) for n, what in numbers)
        return f"{counts}; {last if self.change else 'never changed'}"


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restoring did, or would do."""

    backup: Contents  # what is restored
    current: Contents | None = None  # what gives way; None where there is nothing or it is damaged
    newer: int = 0  # changes made here that the backup does not have
    damage: str = ""  # what is wrong with the archive that gives way; empty for nothing
    kept: Path | None = None  # where that was kept

    @property
    def text(self) -> str:
        """Both beside each other, in plain words, a line each."""
        lines = [f"The backup: {self.backup.words}."]
        if self.current is not None:
            lines.append(f"The archive here: {self.current.words}.")
        if self.damage:
            lines.append(f"The archive here is damaged: {self.damage}")
        if self.newer:
            lines.append(
                f"{counted(self.newer, 'change')} made here that the backup does not have."
            )
        if self.kept is not None:
            lines.append(f"What was here is kept in {self.kept}")
        return "\n".join(lines)


def restore(
    path_or_url: str | Path,
    backup: str | Path,
    *,
    over_newer: bool = False,
    dry_run: bool = False,
    looked: Restored | None = None,
) -> Restored:
    """Put a backup in the place of an archive, which is itself kept beside it first.

    Parameters
    ----------
    path_or_url : str or Path
        The archive; made if there is none.
    backup : str or Path
        Another archive, or a zip that `export_bundle` wrote.
    over_newer : bool
        Restore although the archive has changes that the backup does not have.
    dry_run : bool
        Look at both, and change nothing.
    looked : Restored, optional
        What a dry run has just found, so that no archive is looked through twice; what is restored
        is checked all the same.

    Returns
    -------
    Restored
        What gave way to what.

    Raises
    ------
    ArchiveError
        If the backup is damaged, or the archive has gone on since; nothing is changed then.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.archive import back_up
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder:
    ...     with Archive.open(f"{folder}/a.db", create=True) as archive:
    ...         _ = archive.add(demo_panels()[:3])
    ...         copy = back_up(archive, to=f"{folder}/copy.db")
    ...     _ = restore(f"{folder}/new.db", copy)
    ...     with Archive.open(f"{folder}/new.db") as restored:
    ...         len(restored)
    3
    """
    place = Path(str(path_or_url)).expanduser()
    is_file = "://" not in str(path_or_url)
    with apart(backup) as source:
        if is_file and place.exists() and place.samefile(str(backup)):
            raise ArchiveError(
                "An archive cannot be restored from itself.",
                where=str(backup),
                remedy="give a backup of it; see them with 'workbook backup --list'.",
            )
        if looked is None and (faults := source.check()):
            raise DamagedError(
                "This backup is damaged.",
                got=faults[0],
                where=str(backup),
                remedy="nothing was restored; use an older one, or save what can be read: "
                "'workbook salvage'.",
            )
        with source.database.read() as old:
            held = _held(old)
            log = _log(old)
        if looked is not None:
            damage = looked.damage
        else:
            damage = _damage(place) if is_file and place.exists() else ""
        if is_file and (damage or not place.exists()):
            if dry_run:
                return Restored(held, damage=damage)
            # Made beside its place, so that nothing goes before all of it is there.
            with written_whole(place) as part:
                with Archive.open(part, create=True) as fresh, fresh.database.write() as new:
                    _fill(new, source, fresh.label)
                kept = _aside(place) if damage else None
            return Restored(held, damage=damage, kept=kept)
        with Archive.open(path_or_url, create=True) as archive:
            with archive.database.read() as now:
                done = Restored(held, _held(now), len(_log(now) - log))
            if dry_run:
                return done
            with archive.database.write() as new:
                # Once more, for another program may have gone on meanwhile.
                newer = len(_log(new) - log)
                if newer and not over_newer:
                    raise ArchiveError(
                        "The archive here is newer than the backup; nothing was restored.",
                        expected=f"no change that the backup does not have ({held.words})",
                        got=counted(newer, "change") + " made here since",
                        where=archive.label,
                        remedy="restore it into another file (--archive NEW), and merge that; or "
                        "give up those changes with --over-newer.",
                    )
                kept = back_up(archive, "before restore")
                _fill(new, source, archive.label)
        return replace(done, newer=newer, kept=kept)


def _fill(new: sa.Connection, source: Archive, where: str) -> None:
    with source.database.read() as old:
        fill(new, lambda table: stored_rows(old, table))
        if hash_in(new) != hash_in(old) or content_faults(new):
            raise DamagedError(
                "What was restored is not what the backup holds; nothing was changed.",
                where=where,
                remedy="try again; if it happens again, the disk may be failing.",
            )


def _held(connection: sa.Connection) -> Contents:
    p, h = schema.panels, schema.history
    removed = connection.execute(sa.select(sa.func.count()).where(p.c.deleted)).scalar_one()
    panels = connection.execute(sa.select(sa.func.count()).where(~p.c.deleted)).scalar_one()
    count = sa.select(sa.func.count()).select_from(schema.jobs)
    jobs = connection.execute(count).scalar_one()
    last = connection.execute(sa.select(h.c.id, h.c.at).order_by(h.c.id.desc()).limit(1)).first()
    return Contents(panels, removed, jobs, last.id if last else 0, last.at if last else "")


def _log(connection: sa.Connection) -> set[tuple[int, str, str]]:
    h = schema.history
    query = sa.select(h.c.id, h.c.at, h.c.action)
    return {(row.id, row.at, row.action) for row in connection.execute(query)}


def _damage(path: Path) -> str:
    """What is wrong with an archive through and through; empty for nothing."""
    try:
        with apart(path) as archive:
            return "; ".join(archive.check()[:3])
    except DamagedError as error:
        return str(error)


def _aside(path: Path) -> Path:
    number = 1
    while (place := path.with_name(f"{path.stem}.damaged-{number}{path.suffix}")).exists():
        number += 1
    # Its logs go with it: they belong to this file and to no other.
    for ending in ("-wal", "-shm"):
        part = Path(f"{path}{ending}")
        if part.exists():
            part.rename(f"{place}{ending}")
    try:
        os.link(path, place)  # so that there is a file at its place until the new one takes it
    except OSError:
        path.rename(place)
    return place
