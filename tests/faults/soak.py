"""A shared archive used by a whole shop for as long as asked, with everything going wrong.

``python -m tests.faults.soak --minutes 60 [--on SQLite] [--record]``: a bench, a tablet, an import
from a watched folder and a nightly audit work on one archive for so long on SQLite, then as long on
PostgreSQL, while they are killed, the disk fills, the archive is locked, its server killed, the
network cut or silent, and clocks jump. As root the disk is a small one of memory that is filled;
else no file of the program may grow. Each actor writes down what it is about to do and what it was
told is done. Afterwards every panel, job and entry of the log is accounted for: what was said to be
done is there once and as it was written, what was begun is there whole or not at all, and there is
nothing else.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import datetime as dt
import json
import os
import random
import resource
import signal
import socket
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import sqlalchemy as sa

from matchlib.archive import Archive, export_bundle
from matchlib.archive.codec import panel_text
from matchlib.domain.panel import readings_in
from matchlib.errors import MatchlibError
from matchlib.job import JOB_STATES, Job
from matchlib.readings import write_table
from tests.faults.making import panel, panels, seeded
from tests.faults.record import circumstances, write_section
from tests.faults.trying import in_process, small_disk, wait
from tests.tools.postgres_server import PostgresServer, binaries, running
from workbook.session.intake import import_file

__all__ = ["main", "soak"]

ACTORS = ("bench", "tablet", "watch", "nightly")


class Ledger:
    """What an actor is about to do, and what it was told is done: a line each, on the disk."""

    def __init__(self, folder: Path, actor: str) -> None:
        self.file = (folder / f"{actor}.ledger").open("a")
        self.actor = actor
        self.count = int(time.time_ns())

    def do(self, kind: str, what: list[str], work: Callable[[str], object]) -> bool:
        """Do one thing under a mark of its own; tell whether it was done."""
        self.count += 1
        mark = f"{self.actor}-{self.count}"
        self._write({"begun": mark, "kind": kind, "what": what})
        try:
            work(mark)
        except MatchlibError as error:
            words = str(error)
            self._write({"refused": mark, "words": words[:200]})
            return False
        self._write({"done": mark})
        return True

    def _write(self, line: dict[str, object]) -> None:
        self.file.write(f"{json.dumps(line)}\n")
        self.file.flush()
        os.fsync(self.file.fileno())


def _clock() -> dt.datetime:
    jump = dt.timedelta(days=random.uniform(-3000, 3000))  # noqa: S311  # no secret
    return dt.datetime.now(dt.UTC) + jump


def _small_disk(_signal: int, _frame: object) -> None:
    # As a disk that is full: no file grows from now on, until the next signal.
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    full = 100_000 if soft == resource.RLIM_INFINITY else resource.RLIM_INFINITY
    resource.setrlimit(resource.RLIMIT_FSIZE, (full, hard))


def _act(actor: str, place: str, folder: Path) -> None:
    signal.signal(signal.SIGUSR1, _small_disk)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    rng = random.Random(f"{actor}{os.getpid()}{time.time()}")  # noqa: S311  # no secret
    ledger = Ledger(folder, actor)
    step = {"bench": _bench, "tablet": _bench, "watch": _watch, "nightly": _nightly}[actor]
    while True:
        try:
            with Archive.open(place, clock=_clock) as archive:
                for _ in range(20):
                    step(archive, place, ledger, rng, folder)
                    time.sleep(rng.uniform(0, 0.1))
        except MatchlibError:
            time.sleep(0.2)  # cut off, or no room: tried again, as a person would


def _bench(archive: Archive, _p: str, ledger: Ledger, rng: random.Random, _f: Path) -> None:
    code = f"{ledger.actor}{ledger.count}"
    made = panel("soak", code)
    if (
        ledger.do("panel", [code], lambda mark: archive.add([made], who=mark))
        and rng.random() < 0.3
    ):
        ledger.do("amend", [code], lambda mark: archive.amend(code, stage=1, who=mark, lot=mark))
    ledger.do("job", [], lambda mark: archive.keep_job(Job(name=mark), who=mark))
    # Both tablets work on the newest jobs, so that one is often too late.
    for job in archive.jobs(done=False)[:2]:
        later = JOB_STATES[min(JOB_STATES.index(job.state) + 1, 3)]
        changed = replace(job, state=later, notes=str(rng.random()))
        ledger.do("job", [str(job.number)], lambda mark, to=changed: archive.keep_job(to, who=mark))


def _watch(_a: Archive, place: str, ledger: Ledger, _r: random.Random, folder: Path) -> None:
    name = f"in{ledger.count}-"
    batch = panels("soak", 12, name=name)
    table = write_table(batch, folder / f"{name}.csv")
    what = [p.code for p in batch]
    ledger.do("import", what, lambda mark: import_file(place, table, who=mark))
    table.unlink()


def _nightly(archive: Archive, _p: str, ledger: Ledger, rng: random.Random, folder: Path) -> None:
    faults = [words for words in archive.check() if "connection" not in words]
    assert not faults, faults
    ledger.do("backup", [], lambda _: export_bundle(archive, folder / "backup.zip"))
    key = f"reversed:{ledger.count}"
    ledger.do("finding", [key], lambda mark: archive.ignore(key, who=mark))
    time.sleep(rng.uniform(0, 0.5))


class Network:
    """The way to a server, which can be cut, or fall silent."""

    def __init__(self, to: int) -> None:
        self.to = to
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.pid = in_process(self._serve)

    def cut(self, seconds: float) -> None:
        """End every connection, and take none for so long."""
        self.stop()
        time.sleep(seconds)
        self.pid = in_process(self._serve)

    def silence(self, seconds: float) -> None:
        """Let nothing through for so long, without a word to anyone."""
        os.kill(self.pid, signal.SIGSTOP)
        time.sleep(seconds)
        os.kill(self.pid, signal.SIGCONT)

    def stop(self) -> None:
        """End it."""
        os.kill(self.pid, signal.SIGKILL)
        wait(self.pid)

    def _serve(self) -> None:
        async def run() -> None:
            server = await asyncio.start_server(self._relay, "127.0.0.1", self.port)
            await server.serve_forever()

        asyncio.run(run())

    async def _relay(self, near: asyncio.StreamReader, to_near: asyncio.StreamWriter) -> None:
        try:
            far, to_far = await asyncio.open_connection("127.0.0.1", self.to)
        except OSError:
            to_near.close()
            return
        await asyncio.gather(_pass_on(near, to_far), _pass_on(far, to_near))


async def _pass_on(source: asyncio.StreamReader, to: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError):
        while data := await source.read(65_536):
            to.write(data)
            await to.drain()
    to.close()


@dataclass
class Troubles:
    """What went wrong on purpose, counted."""

    counts: Counter[str]
    place: str
    server: PostgresServer | None
    network: Network | None
    disk: Path | None

    def make(self, rng: random.Random, pids: dict[str, int]) -> str:
        """Make one; return the actor that has to be started again, if one has."""
        ways = [] if self.network is None else ["network", "silence"]
        kind = rng.choice(["kill", "kill", "disk", "cut", *ways])
        actor = rng.choice(list(pids))
        self.counts[kind] += 1
        if kind == "kill":
            os.kill(pids[actor], signal.SIGKILL)
            return actor
        if kind == "disk" and self.disk is not None:
            filling = self.disk / "filling"
            with contextlib.suppress(OSError), filling.open("wb", buffering=0) as file:
                while file.write(bytes(100_000)):
                    pass
            time.sleep(rng.uniform(0.5, 3.0))
            filling.unlink()
        elif kind == "disk":
            for switch in (0.0, rng.uniform(0.5, 2.0)):
                time.sleep(switch)
                os.kill(pids[actor], signal.SIGUSR1)
        elif kind == "network" and self.network is not None:
            self.network.cut(rng.uniform(0, 2))
        elif kind == "silence" and self.network is not None:
            self.network.silence(rng.uniform(0.5, 7))
        elif self.server is not None:
            self.server.cut()
            time.sleep(rng.uniform(0, 1))
            self.server.restart()
        else:
            with Archive.open(self.place) as held, held.database.write():
                time.sleep(rng.uniform(1, 7))
        return ""


def soak(
    place: str,
    folder: Path,
    *,
    minutes: float,
    disk: Path | None,
    server: PostgresServer | None = None,
    network: Network | None = None,
) -> str:
    """Let the shop work for so long, and account for everything; return what came of it."""
    Archive.open(place, create=True).close()
    rng = seeded(time.time())
    troubles = Troubles(Counter(), place, server, network, disk)
    pids = {actor: in_process(lambda a=actor: _act(a, place, folder)) for actor in ACTORS}
    began = time.monotonic()
    try:
        while time.monotonic() < began + 60 * minutes:
            time.sleep(rng.uniform(0.5, 4.0))
            if server is not None and not server.runs():
                server.restart()
            again = troubles.make(rng, pids)
            for actor, pid in list(pids.items()):
                ended, status = os.waitpid(pid, os.WNOHANG if actor != again else 0)
                if ended:
                    code = os.waitstatus_to_exitcode(status)
                    assert code == -signal.SIGKILL, f"{actor} ended by itself with {code}"
                    pids[actor] = in_process(lambda a=actor: _act(a, place, folder))
    finally:
        for pid in pids.values():
            with contextlib.suppress(ProcessLookupError, ChildProcessError):
                os.kill(pid, signal.SIGKILL)
                wait(pid)
    if server is not None and not server.runs():
        server.restart()
    worked = (time.monotonic() - began) / 60
    found = _account(place, folder)
    words = {
        "kill": "kill -9",
        "disk": "disk full",
        "cut": "server killed",
        "network": "network cut",
    }
    words |= {"silence": "network silent"} | ({} if server else {"cut": "lock held"})
    wrong = ", ".join(f"{n} × {words[kind]}" for kind, n in sorted(troubles.counts.items()))
    return f"{worked:.1f} min; {wrong}; {found}"


def _account(place: str, folder: Path) -> str:
    begun, done, refused = {}, set(), Counter()
    for file in folder.glob("*.ledger"):
        for text in file.read_text().splitlines():
            line = json.loads(text)
            if "begun" in line:
                begun[line["begun"]] = line
            elif "done" in line:
                done.add(line["done"])
            else:
                refused["too late" if "changed" in line["words"] else "other"] += 1
    with Archive.open(place) as archive:
        assert archive.check() == (), archive.check()
        history = archive.history()
        there = {p.code: p for p in archive.panels(include_deleted=True)}
        jobs = {j.number: j for j in archive.jobs()}
    entries = Counter(c.who for c in history)
    assert set(entries) <= set(begun), "the log has what nobody did"
    assert max(entries.values(), default=1) == 1, "the log has something twice"
    expected: set[str] = set()
    for mark, line in begun.items():
        if line["kind"] == "backup":
            continue
        if mark in done:
            assert mark in entries, f"{mark} was told done and is not in the log"
        if line["kind"] in ("panel", "import"):
            found = [code in there for code in line["what"]]
            assert all(found) or not any(found), f"half of {mark} is there"
            assert all(found) == (mark in entries), f"{mark}: log and panels differ"
            expected |= set(line["what"]) if all(found) else set()
    assert set(there) == expected, "panels that nobody added"
    lots = {line["what"][0]: mark for mark, line in begun.items()
            if line["kind"] == "amend" and mark in entries}  # fmt: skip
    for code, now in there.items():
        was = panel("soak", code)
        first = replace(was.stages[0], lot=lots.get(code, was.stages[0].lot))
        wanted = replace(was, stages=(first, *was.stages[1:]))
        # Names are spelt as the archive first had them.
        same = panel_text(now).casefold() == panel_text(wanted).casefold()
        assert same, f"panel {code}: {panel_text(now)} is not {panel_text(wanted)}"
        same = list(readings_in([now])) == list(readings_in([wanted]))
        assert same, f"other readings of {code}"
    changes = Counter(i.name for c in history for i in c.items if i.kind == "job")
    assert sum(changes.values()) == sum(j.version for j in jobs.values()), "a job lost a change"
    return (
        f"{len(there)} panels, {len(jobs)} jobs with {sum(changes.values())} changes and "
        f"{len(history)} entries of the log accounted for; {len(begun)} things begun, {len(done)} "
        f"told done, {sum(refused.values())} refused in words "
        f"({refused['too late']} as too late)"
    )


@contextmanager
def _disk(size: str) -> Iterator[Path | None]:
    if os.geteuid() != 0:
        yield None
        return
    with small_disk(size) as disk:
        yield disk


def _on(kind: str, folder: Path, minutes: float) -> str:
    if kind == "SQLite":
        with _disk("64m") as disk:
            place = str((disk or folder) / "a.db")
            return soak(place, folder, minutes=minutes, disk=disk)
    with _disk("400m") as disk, running(disk) as server:
        url = sa.engine.make_url(server.url)
        network = Network(url.port or 0)
        place = url.set(port=network.port).render_as_string(hide_password=False)
        try:
            return soak(place, folder, minutes=minutes, disk=disk, server=server, network=network)
        finally:
            network.stop()


def main() -> int:
    """Soak an archive of each kind and print, or record, what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0, help="on each database")
    parser.add_argument("--on", choices=["SQLite", "PostgreSQL"], action="append")
    parser.add_argument("--record", action="store_true")
    asked = parser.parse_args()
    failed = False
    for kind in asked.on or ["SQLite", *["PostgreSQL"] * (binaries() is not None)]:
        with tempfile.TemporaryDirectory() as name:
            try:
                text = f"Held: {_on(kind, Path(name), asked.minutes)}."
            except Exception as error:  # recorded, and the run fails in the end
                text, failed = f"FAILED: {type(error).__name__}: {error}"[:600], True
        command = f"python -m tests.faults.soak --minutes {asked.minutes:g} --on {kind}"
        print(command, text, sep=": ", flush=True)
        if asked.record:
            write_section(f"A shop at work on {kind}", f"{text} {circumstances(command)}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
