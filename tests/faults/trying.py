"""Each fault as a function that tries it and says what came of it.

Every one raises AssertionError if a panel was lost, doubled or half there, or if the words were not
clear. ``run_faults.py`` runs them at full count and writes the table; the tests run a small slice.
"""

from __future__ import annotations

import datetime as dt
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa

from matchlib.archive import Archive, export_bundle, schema
from matchlib.domain.panel import readings_in
from matchlib.errors import ArchiveError, FileError
from tests.cli_shop import SMALL
from tests.faults.making import become_nobody, panels, seeded
from workbook.session import Session
from workbook.session.intake import import_file

__all__ = [
    "clock_set_back",
    "damaged_bytes",
    "full_disk_by_limit",
    "full_disk_by_mount",
    "in_process",
    "kill_at_each_statement",
    "kill_at_random",
    "kill_while_creating",
    "no_byte_left",
    "read_only_folder",
    "read_only_mount",
    "same_file_at_once",
    "small_disk",
    "truncated",
]


@contextmanager
def small_disk(size: str) -> Iterator[Path]:
    """Mount a small disk of memory; needs root."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=True)
        try:
            yield Path(folder)
        finally:
            subprocess.run(["umount", folder], check=True)


def in_process(work: Callable[[], None]) -> int:
    """Run work in a process of its own; return its number to wait for, or to kill."""
    pid = os.fork()
    if pid:
        return pid
    status = 1
    try:
        work()
        status = 0
    except BaseException:  # the process ends here, whatever happened
        traceback.print_exc()
    finally:
        os._exit(status)


def wait(pid: int) -> int:
    """Return the exit status; minus the signal if it was killed."""
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def _make(place: Path, kept: tuple) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add(kept)


def kill_at_random(place: str | Path, *, kills: int, size: int, seed: int = 0) -> str:
    """Kill an import at a random point, again and again, in one archive that grows."""
    rng = seeded(seed)
    with Archive.open(place, create=True) as archive:
        kept = {p.code: p for p in archive.panels()}
        usual = 10.0
        for number in range(3):
            batch = panels((seed, "usual", number), size, name=f"usual{seed}.{number}-")
            began = time.perf_counter()
            archive.add(batch)
            usual = min(usual, time.perf_counter() - began)
            kept |= {p.code: p for p in batch}
    whole = gone = 0
    for number in range(kills):
        batch = panels((seed, number), size, name=f"k{seed}.{number}-")
        read, write = os.pipe()

        def work(batch: tuple = batch, write: int = write) -> None:
            with Archive.open(place) as archive:
                os.write(write, b"o")
                archive.add(batch)
                os.write(write, b"k")
                time.sleep(60)

        pid = in_process(work)
        os.close(write)
        assert os.read(read, 1) == b"o", "the archive did not open after a kill"
        time.sleep(rng.uniform(0, 1.8 * usual))
        os.kill(pid, signal.SIGKILL)
        assert wait(pid) == -signal.SIGKILL
        reported = os.read(read, 1) == b"k"
        os.close(read)
        with Archive.open(place) as archive, archive.database.read() as connection:
            codes = set(connection.execute(sa.select(schema.panels.c.code)).scalars())
            mine = codes & {p.code for p in batch}
            ids = sa.select(schema.panels.c.id).where(schema.panels.c.code.in_(mine))
            query = sa.select(sa.func.count()).where(schema.readings.c.panel_id.in_(ids))
            readings = connection.execute(query).scalar_one()
        assert len(mine) in (0, size), f"half an import is there: {len(mine)} of {size}"
        assert mine or not reported, "an import that was reported kept is lost"
        assert readings == (sum(1 for _ in readings_in(batch)) if mine else 0)
        kept |= {p.code: p for p in batch} if mine else {}
        assert codes == kept.keys(), "a panel of an earlier import was lost"
        if number % 20 == 19 or number == kills - 1:
            with Archive.open(place) as archive:
                assert archive.check() == (), archive.check()
                assert {p.code: p for p in archive.panels()} == kept, "a panel was changed"
        whole += bool(mine)
        gone += not mine
    return (
        f"{kills} imports of {size} panels killed: {gone} not there at all, {whole} whole; "
        f"{len(kept)} panels, every one as written"
    )


def kill_at_each_statement(folder: Path, *, size: int) -> str:
    """Kill an import before and after each statement that it sends, commit included."""
    points = 0
    first, second = panels(1, 5, name="first-"), panels(2, size, name="second-")
    _make(folder / "s.db", first)
    while True:
        place = folder / f"s{points}.db"
        shutil.copy(folder / "s.db", place)

        def work(place: Path = place, at: int = points, second: tuple = second) -> None:
            with Archive.open(place) as archive:
                count = 0

                def step(*_: object) -> None:
                    nonlocal count
                    if count == at:
                        os.kill(os.getpid(), signal.SIGKILL)
                    count += 1

                for event in ("before_cursor_execute", "after_cursor_execute", "commit"):
                    sa.event.listen(archive.database.engine, event, step)
                archive.add(second)

        status = wait(in_process(work))
        with Archive.open(place) as archive:
            found = archive.panels()
            assert archive.check() == ()
        if status == 0:
            assert found == first + second
            return f"{points} points, one before and after each statement: nothing of it, all else"
        assert status == -signal.SIGKILL
        assert found == first, f"half an import is there after point {points}"
        points += 1


def kill_while_creating(folder: Path, *, kills: int) -> str:
    """Kill the making of a new archive at random points."""
    rng = seeded(5)
    made = 0
    for number in range(kills):
        place = folder / f"c{number}.db"
        pid = in_process(lambda place=place: Archive.open(place, create=True).close())
        time.sleep(rng.uniform(0, 0.3))
        os.kill(pid, signal.SIGKILL)
        wait(pid)
        made += place.exists()
        with Archive.open(place, create=True) as archive:
            archive.add(panels(number, 2))
            assert len(archive) == 2
            assert archive.check() == ()
    return f"{kills} killed: {made} whole archives, {kills - made} not there; all usable afterwards"


def same_file_at_once(place: str | Path, *, processes: int, size: int, rounds: int) -> str:
    """Import the same panels from several processes at the same moment."""
    for number in range(rounds):
        batch = panels(number, size, name=f"r{number}-")
        start = time.time() + 0.2

        def work(batch: tuple = batch, start: float = start) -> None:
            with Archive.open(place, create=True) as archive:
                time.sleep(max(0.0, start - time.time()))
                archive.add(batch)

        pids = [in_process(work) for _ in range(processes)]
        assert [wait(pid) for pid in pids] == [0] * processes
    with Archive.open(place) as archive:
        found = archive.panels()
        wanted = [p for n in range(rounds) for p in panels(n, size, name=f"r{n}-")]
        assert archive.check() == ()
        assert list(found) == wanted, "panels doubled, lost or changed"
        added = [change for change in archive.history() if change.action == "added"]
        assert sum(len(change.items) for change in added) == len(wanted)
    return f"{rounds} rounds of {processes} processes: {len(found)} panels, none doubled"


def _refused_for_space(place: Path, before: tuple, batch: tuple) -> None:
    with (
        Archive.open(place) as archive,
        pytest.raises(ArchiveError, match=r"disk.*nothing of this change was kept"),
    ):
        archive.add(batch)
    with Archive.open(place, read_only=True) as archive:
        assert archive.panels() == before


def full_disk_by_limit(folder: Path) -> str:
    """Let no file grow past a limit, as a quota does, and import more than fits."""
    place = folder / "limit.db"
    before = panels(1, 30)
    _make(place, before)
    batch = panels(2, 800, name="big-")

    def work() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))
        _refused_for_space(place, before, batch)

    assert wait(in_process(work)) == 0
    with Archive.open(place) as archive:
        assert archive.check() == ()
        assert archive.panels() == before
        archive.add(batch)
        assert archive.panels() == before + batch
    return "import refused in words; with space again it goes through"


def no_byte_left(folder: Path) -> str:
    """Let no file grow at all, and ask for what needs nothing kept, then for what does."""
    place = folder / "none.db"
    table = folder / "table.csv"
    table.write_text(SMALL)
    import_file(place, table, who="trial")
    before = {p.name for p in folder.iterdir()}

    def work() -> None:
        os.environ["XDG_CACHE_HOME"] = str(folder)
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
        with Session.open(place, write=False) as session:
            assert session.fit().file is None
            assert session.archive.check() == ()
            found = session.archive.panels()
        _refused_for_space(place, found, panels(2, 3, name="no-"))

    assert wait(in_process(work)) == 0
    left = {p.name for p in folder.iterdir() if not p.is_dir()} - before
    assert left <= {"none.db-shm", "none.db-wal"}, left
    with Archive.open(place) as archive:
        archive.add(panels(2, 3, name="yes-"))
        assert archive.check() == ()
    return "the archive is read, checked and fitted without keeping; a change is refused in words"


def full_disk_by_mount(mount: Path) -> str:
    """Import more than fits on a small disk of its own, mounted at the path."""
    place = mount / "full.db"
    before = panels(1, 30)
    _make(place, before)
    _refused_for_space(place, before, panels(2, 5000, name="big-"))
    backup = mount / "backup.zip"
    backup.write_bytes(b"the last good backup")
    (mount / "filler").write_bytes(b"\0" * (shutil.disk_usage(mount).free - 4096))
    with (
        Archive.open(place, read_only=True) as archive,
        pytest.raises(FileError, match="space"),
    ):
        export_bundle(archive, backup)
    assert backup.read_bytes() == b"the last good backup"
    (mount / "filler").unlink()
    with Archive.open(place) as archive:
        assert archive.check() == ()
        archive.add(panels(3, 10, name="small-"))
        assert len(archive) == 40
    return "import and backup refused in words, the old backup untouched; small imports go on"


def read_only_folder(folder: Path) -> str:
    """Open in a folder that this user cannot write to."""
    room = folder / "room"
    room.mkdir()
    before = panels(1, 20)
    _make(room / "a.db", before)
    folder.chmod(0o755)
    (room / "a.db").chmod(0o444)
    room.chmod(0o555)

    def work() -> None:
        become_nobody()
        _only_readable(room, before)

    try:
        assert wait(in_process(work)) == 0
    finally:
        room.chmod(0o755)
    return "opening for writing and creating refused in words; opening for reading works"


def read_only_mount(mount: Path, remount: Callable[[], None]) -> str:
    """Open on a medium that was made read-only."""
    before = panels(1, 20)
    _make(mount / "a.db", before)
    remount()
    _only_readable(mount, before)
    return "opening for writing and creating refused in words; opening for reading works"


def _only_readable(room: Path, before: tuple) -> None:
    for path, create in ((room / "a.db", False), (room / "new.db", True)):
        with pytest.raises(ArchiveError, match="read-only"):
            Archive.open(path, create=create)
    with Archive.open(room / "a.db", read_only=True) as archive:
        assert archive.panels() == before
        with pytest.raises(ArchiveError, match="reading only"):
            archive.add(panels(2, 1, name="no-"))
    assert {p.name for p in room.iterdir()} == {"a.db"}


def clock_set_back(place: str | Path) -> str:
    """Set the clock ten years back between changes."""
    times = iter([dt.datetime(2030, 1, 1, tzinfo=dt.UTC) - dt.timedelta(days=1000 * i)
                  for i in range(10)])  # fmt: skip
    with Archive.open(place, create=True, clock=lambda: next(times)) as archive:
        archive.add(panels(1, 1))
        archive.amend("P0", note="one")
        last = archive.amend("P0", note="two")
        archive.delete("P0")
        archive.restore("P0")
        changes = archive.history("P0")
        assert [c.action for c in changes] == ["added", "amended", "amended", "deleted", "restored"]
        assert [c.number for c in changes] == sorted(c.number for c in changes)
        assert [c.at for c in changes] == sorted((c.at for c in changes), reverse=True)
        assert last is not None
        archive.undo(last)
        assert archive.panel("P0").note == "one"
    return "order of changes kept, the last change undone is the last made"


def truncated(folder: Path, *, cuts: int) -> str:
    """Cut an archive short at many lengths."""
    whole = folder / "whole.db"
    _make(whole, panels(1, 60))
    data = whole.read_bytes()
    for number in range(cuts):
        length = len(data) * number // cuts
        cut = folder / f"cut{number}.db"
        cut.write_bytes(data[:length])
        with pytest.raises(
            ArchiveError, match=r"(cut short|0 bytes|not an archive).*(backup|path)"
        ):
            Archive.open(cut)
        assert cut.read_bytes() == data[:length], "the damaged file was changed"
    return f"{cuts} lengths: refused on opening each time, the file left as it was"


def damaged_bytes(folder: Path, *, tries: int) -> str:
    """Overwrite bytes at random places; reading gives the truth or an error, never a lie."""
    whole = folder / "sound.db"
    sound = panels(1, 60)
    _make(whole, sound)
    data = whole.read_bytes()
    rng = seeded(3)
    refused = reported = harmless = 0
    for number in range(tries):
        spoiled = bytearray(data)
        for _ in range(1 + number % 3):
            spoiled[rng.randrange(100, len(data))] = rng.randrange(256)
        place = folder / f"spoiled{number}.db"
        place.write_bytes(bytes(spoiled))
        try:
            with Archive.open(place) as archive:
                faults = archive.check()
                found = archive.panels(include_deleted=True)
        except ArchiveError:
            refused += 1
            continue
        assert faults or found == sound, "damage was neither refused nor reported"
        reported += bool(faults)
        harmless += not faults
    return (
        f"{tries} files: {refused} refused, {reported} reported by the check, {harmless} where "
        "only free space or history text was hit"
    )


def not_an_archive(folder: Path) -> dict[str, Path]:
    """Return files of other kinds by what they are."""
    text = folder / "table.csv"
    text.write_text("panel,ground\nA1,silver\n")
    other = folder / "other.db"
    raw = sqlite3.connect(other)
    raw.execute("CREATE TABLE songs (title TEXT)")
    raw.close()
    empty = folder / "empty.db"
    empty.touch()
    noise = folder / "noise.db"
    noise.write_bytes(seeded(1).randbytes(5000))
    half = folder / "half.db"
    half.write_bytes(b"SQLite format 3\x00" + seeded(2).randbytes(9000))
    return {"text": text, "other": other, "empty": empty, "noise": noise, "half": half}
