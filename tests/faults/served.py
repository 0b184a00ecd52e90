"""Faults of an archive that many share: writers and readers at once, a server that is cut."""

from __future__ import annotations

import time
from pathlib import Path

from matchlib.archive import Archive
from matchlib.errors import ArchiveError
from tests.faults.making import panels, seeded
from tests.faults.trying import in_process, wait
from tests.tools.postgres_server import PostgresServer

__all__ = ["server_cut", "writers_and_readers"]


def writers_and_readers(place: str | Path, *, each: int, imports: int, size: int) -> str:
    """Let writers import their own and common panels while readers look on."""
    Archive.open(place, create=True).close()
    common = panels("common", size, name="common-")
    last = each * imports * size + size

    def write(number: int) -> None:
        with Archive.open(place) as archive:
            for k in range(imports):
                archive.add(panels((number, k), size, name=f"w{number}.{k}-"))
                archive.add(common)

    def read(number: int) -> None:
        seen = 0
        until = time.time() + 120
        with Archive.open(place, read_only=True) as archive:
            while seen < last and time.time() < until:
                now = archive.panels()
                assert len(now) >= seen, "a panel went away"
                assert len(now) % size == 0, "half an import was seen"
                assert len({p.code for p in now}) == len(now), "a panel was seen doubled"
                seen = len(now)
                time.sleep(0.01 * (1 + number % 3))
        assert seen == last, f"{seen} of {last} panels were ever seen"

    pids = [in_process(lambda n=n: read(n)) for n in range(each)]
    pids += [in_process(lambda n=n: write(n)) for n in range(each)]
    assert [wait(pid) for pid in pids] == [0] * (2 * each)
    wanted = {p.code: p for p in common} | {
        p.code: p
        for n in range(each)
        for k in range(imports)
        for p in panels((n, k), size, name=f"w{n}.{k}-")
    }
    with Archive.open(place) as archive:
        found = archive.panels()
        assert archive.check() == ()
    assert len(found) == last
    assert {p.code: p for p in found} == wanted, "a panel was lost or changed"
    return f"{each} writers × {imports} imports, {each} readers: {len(found)} panels, none lost"


def server_cut(running: PostgresServer, *, cuts: int, size: int, seed: int = 0) -> str:
    """Kill the whole server at a random point of an import, start it again, import again."""
    rng = seeded(seed)
    with Archive.open(running.url, create=True) as archive:
        began = time.perf_counter()
        archive.add(panels("usual", size, name="usual-"))
        usual = time.perf_counter() - began
        kept = {p.code: p for p in archive.panels()}
        reported = 0
        done = 0
        # The first import of all is slow, and a cut timed by it may come too late.
        while done < cuts or (not reported and done < cuts + 8):
            number, done = done, done + 1
            batch = panels((seed, number), size, name=f"cut{number}-")
            delay = rng.uniform(0.05, 0.9) * usual

            def cut(delay: float = delay) -> None:
                time.sleep(delay)
                running.cut()

            pid = in_process(cut)
            words = ""
            try:
                archive.add(batch)
            except ArchiveError as error:
                words = str(error)
            assert not words or ("connection" in words and "doubles nothing" in words), words
            reported += bool(words)
            assert wait(pid) == 0
            running.restart()
            # The same open archive finds its way back.
            now = {p.code for p in archive.panels()} - kept.keys()
            assert len(now) in (0, size), f"half an import is there: {len(now)} of {size}"
            began = time.perf_counter()
            archive.add(batch)
            usual = min(usual, time.perf_counter() - began) if not now else usual
            kept |= {p.code: p for p in batch}
            assert {p.code: p for p in archive.panels()} == kept
            assert archive.check() == ()
    assert reported, "no cut fell into an import"
    return f"{done} cuts, {reported} of them told in words: nothing half, imported again each time"
