"""Faults of what moves a whole archive: merges, backups, restores, salvages."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from matchlib.archive import Archive, back_up, backups_of, merge, restore, salvage
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job
from tests.faults.making import panels, seeded
from tests.faults.trying import in_process, wait
from tests.tools.postgres_server import PostgresServer

__all__ = ["killed_at_random", "no_space", "server_cut_in_mid_move"]

_SIZE = 60


def _shops(folder: Path, place: str | Path) -> tuple[Path, Path]:
    """Make an archive at a place, another one, and a backup of the first of before it went on."""
    with Archive.open(place, create=True) as archive:
        archive.add(panels("ours", _SIZE))
        archive.keep_job(Job("tank", "Ann Example", panels=("P1",)))
        copy = back_up(archive, to=folder / "earlier.db")
        archive.add(panels("later", 10, name="later-"))
    other = folder / "other.db"
    with Archive.open(other, create=True) as archive:
        archive.add(panels("theirs", _SIZE, name="Q"))
        archive.keep_job(Job("door", "Bo Example", panels=("Q1",)))
    return other, copy


def _state(place: str | Path) -> tuple[object, ...]:
    with Archive.open(place) as archive:
        assert archive.check() == (), archive.check()
        actions = [change.action for change in archive.history()]
        return archive.content_hash(), [job.name for job in archive.jobs()], actions


def _merge(place: str | Path, other: Path) -> None:
    with Archive.open(place) as archive, Archive.open(other, read_only=True) as theirs:
        merge(archive, theirs)


def _works(folder: Path, place: Path) -> dict[str, Callable[[], object]]:
    other, copy = _shops(folder, place)
    new = folder / "new.db"

    def backup() -> None:
        with Archive.open(place) as archive:
            back_up(archive)

    return {
        "merge": lambda: _merge(place, other),
        "restore": lambda: restore(place, copy, over_newer=True),
        "restore to a new file": lambda: restore(new, copy),
        "backup": backup,
        "salvage": lambda: salvage(place, new),
    }


def killed_at_random(folder: Path, *, kills: int, seed: int = 0) -> str:
    """Kill each of these at random points; what is there is as before or as after, never between.

    A new file is whole or not there, and so is every backup.
    """
    rng = seeded(seed)
    kills_done = []
    place, new, start = folder / "a.db", folder / "new.db", folder / "start.db"
    for what, work in _works(folder, place).items():
        if not start.exists():
            shutil.copy(place, start)
        shutil.copy(start, place)
        before = _state(place)
        began = time.perf_counter()
        work()
        usual = time.perf_counter() - began
        after = _state(new if new.exists() else place)
        new.unlink(missing_ok=True)
        done = 0
        for _ in range(kills):
            for ending in ("-wal", "-shm"):
                Path(f"{place}{ending}").unlink(missing_ok=True)
            shutil.copy(start, place)
            pid = in_process(lambda work=work: work() and None)
            time.sleep(rng.uniform(0, 1.1 * usual))
            os.kill(pid, signal.SIGKILL)
            wait(pid)
            now = _state(place)
            assert now in (before, after), f"half a {what} is there"
            assert not new.exists() or _state(new) == after, f"half a {what} is there"
            done += new.exists() or now != before
            new.unlink(missing_ok=True)
            for backup in backups_of(place):
                _state(backup.path)
                backup.path.unlink()
        kills_done.append(f"{what} {done}")
    return f"{kills} kills each, done all the same: {', '.join(kills_done)}; nothing half"


def no_space(folder: Path) -> str:
    """Let each of these reach a quota; it is refused in words and changes nothing."""
    place, new = folder / "a.db", folder / "new.db"
    for what, work in _works(folder, place).items():
        before = _state(place)
        names = {p.name for p in folder.rglob("*") if not p.name.endswith(("-wal", "-shm"))}

        def limited(work: Callable[[], object] = work) -> None:
            limit = place.stat().st_size // 2
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            with pytest.raises(MatchlibError, match="What to do"):
                work()

        assert wait(in_process(limited)) == 0, what
        assert _state(place) == before
        assert not new.exists()
        left = {p.name for p in folder.rglob("*") if not p.name.endswith(("-wal", "-shm"))}
        assert left - names <= {"a.db-backups"}, f"{what} left {left - names}"
    return "merge, restore, backup and salvage refused in words, nothing changed, nothing left over"


def server_cut_in_mid_move(running: PostgresServer, folder: Path, *, cuts: int) -> str:
    """Kill the server at random points of merges and restores; all is there or nothing."""
    rng = seeded(7)
    os.environ["XDG_DATA_HOME"] = str(folder / "data")
    other, copy = _shops(folder, running.url)
    whole = 0
    words: list[str] = []
    before = _state(running.url)
    works: list[Callable[[], object]] = [
        lambda: _merge(running.url, other),
        lambda: restore(running.url, copy, over_newer=True),
    ]
    back = folder / "back.db"
    with Archive.open(running.url) as archive:
        back_up(archive, to=back)
    tries = 0
    while len(words) < cuts and tries < 4 * cuts:
        work, sooner = works[tries % 2], 0.7 ** (tries - len(words))  # some came too late
        tries += 1
        began = time.perf_counter()
        work()
        usual = time.perf_counter() - began
        after = _state(running.url)
        restore(running.url, back, over_newer=True)
        delay = rng.uniform(0.3, 0.95) * usual * sooner

        def cut(delay: float = delay) -> None:
            time.sleep(delay)
            running.cut()

        pid = in_process(cut)
        try:
            work()
        except ArchiveError as error:
            words.append(str(error))
        assert wait(pid) == 0
        running.restart()
        now = _state(running.url)
        assert now in (before, after), "half of it is there"
        whole += now == after
        restore(running.url, back, over_newer=True)
        assert _state(running.url) == before
    assert words, "no cut fell into a merge or restore"
    assert all("connection" in line for line in words), words
    return f"{tries} cuts, {len(words)} told in words, {whole} whole, none half"
