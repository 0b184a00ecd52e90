"""Try every fault at full count and write its table in ``RECORDED.md`` beside this file.

``python -m tests.faults.run_faults [--kills 200] [--only WORDS] [--on SQLite]``; as root it also
mounts small disks of memory.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from functools import partial
from pathlib import Path
from typing import TypeVar

from tests.faults import moving, served, trying
from tests.faults.record import circumstances, section, write_section
from tests.tools.postgres_server import binaries, running

_T = TypeVar("_T")


def _remounted(disk: Path) -> str:
    command = ["mount", "-o", "remount,ro", str(disk)]

    def remount() -> None:
        subprocess.run(command, check=True)

    return trying.read_only_mount(disk, remount)


Fault = tuple[str, str, Callable[[], str]]
"""What goes wrong, the kind of archive, and what tries it."""


def _faults(folder: Path, kills: int) -> Iterator[Fault]:
    def room(name: str) -> Path:
        (folder / name).mkdir()
        return folder / name

    few = max(10, kills // 5)
    for fault, on_file in {
        "kill -9 at a random point of an import": lambda: trying.kill_at_random(
            folder / "k.db", kills=kills, size=60
        ),
        "kill -9 at every statement of an import": lambda: trying.kill_at_each_statement(
            folder, size=20
        ),
        "kill -9 while an archive is made": lambda: trying.kill_while_creating(folder, kills=40),
        "the same file imported by 4 processes at once": lambda: trying.same_file_at_once(
            folder / "t.db", processes=4, size=100, rounds=10
        ),
        "8 writers and 8 readers at once": lambda: served.writers_and_readers(
            folder / "w.db", each=8, imports=6, size=20
        ),
        "quota reached in mid-import": lambda: trying.full_disk_by_limit(folder),
        "no byte left on the disk": lambda: trying.no_byte_left(room("none")),
        "folder read-only": lambda: trying.read_only_folder(folder),
        "clock set back by years": lambda: trying.clock_set_back(folder / "clock.db"),
        "database cut short": lambda: trying.truncated(folder, cuts=100),
        "bytes overwritten at random": lambda: trying.damaged_bytes(folder, tries=200),
        "kill -9 at a random point of a merge, restore, backup, salvage": (
            lambda: moving.killed_at_random(room("killed"), kills=few)
        ),
        "quota reached in a merge, restore, backup, salvage": lambda: moving.no_space(room("full")),
    }.items():
        yield fault, "SQLite", on_file
    for fault, size, on_disk in _ON_DISKS if os.geteuid() == 0 else ():
        yield fault, "SQLite", partial(_within, trying.small_disk(size), on_disk)
    for fault, on_server in (
        {
            "kill -9 at a random point of an import": lambda s: trying.kill_at_random(
                s.url, kills=few, size=60
            ),
            "the same file imported by 4 processes at once": lambda s: trying.same_file_at_once(
                s.url, processes=4, size=100, rounds=5
            ),
            "8 writers and 8 readers at once": lambda s: served.writers_and_readers(
                s.url, each=8, imports=6, size=20
            ),
            "server killed in mid-import, started again": lambda s: served.server_cut(
                s, cuts=10, size=300
            ),
            "clock set back by years": lambda s: trying.clock_set_back(s.url),
            "server killed in mid-merge and mid-restore, started again": (
                lambda s: moving.server_cut_in_mid_move(s, room("moved"), cuts=10)
            ),
        }.items()
        if binaries() is not None
        else ()
    ):
        yield fault, "PostgreSQL", partial(_within, running(), on_server)


_ON_DISKS = (
    ("disk of 1 MB full in mid-import and mid-backup", "1m", trying.full_disk_by_mount),
    ("medium mounted read-only", "4m", _remounted),
)


def _within(place: AbstractContextManager[_T], work: Callable[[_T], str]) -> str:
    with place as there:
        return work(there)


_TITLE = "One fault at a time"
_COLUMNS = ("fault", "archive on", "what came of it", "", "tried on")


def _rows_before() -> dict[tuple[str, str], str]:
    """Rows of the record by fault and kind of archive."""
    rows = {}
    for line in section(_TITLE).splitlines():
        cells = [cell.strip() for cell in line.split("|")[1:-1]]
        if len(cells) == len(_COLUMNS) and cells[3] in ("held", "FAILED"):
            rows[cells[0], cells[1]] = line
    return rows


def _write(rows: dict[tuple[str, str], str], kills: int) -> None:
    failed = sum("| FAILED |" in row for row in rows.values())
    lines = [
        f"{len(rows)} faults tried, {len(rows) - failed} held, {failed} failed. "
        f"{circumstances(f'python -m tests.faults.run_faults --kills {kills}')}",
        "",
        "A row fails if a panel is lost, doubled, changed or half there, if the archive's own "
        "check finds anything, or if the error does not say in words what happened. Rows that a "
        "later run did not reach keep their own day.",
        "",
        f"| {' | '.join(_COLUMNS)} |",
        "|---" * len(_COLUMNS) + "|",
        *rows.values(),
        "",
        "A power cut of the machine itself was not tried: it rests on `synchronous=FULL` and on "
        "disks that tell the truth about what they have written.",
    ]
    write_section(_TITLE, "\n".join(lines))


def main() -> int:
    """Try what is asked for; write the rows of it anew, and leave all others."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--only", default="", help="faults with this in their words")
    parser.add_argument("--on", choices=["SQLite", "PostgreSQL"], action="append")
    asked = parser.parse_args()
    rows = _rows_before()
    failed = False
    with tempfile.TemporaryDirectory() as name:
        for fault, where, work in _faults(Path(name), asked.kills):
            if asked.only not in fault or (asked.on and where not in asked.on):
                continue
            began = time.perf_counter()
            try:
                outcome, good = work(), "held"
            except Exception as error:  # recorded, and the run fails in the end
                outcome, good, failed = f"{type(error).__name__}: {error}", "FAILED", True
            rows[fault, where] = f"| {fault} | {where} | {outcome} | {good} | {dt.date.today()} |"
            seconds = time.perf_counter() - began
            print(f"{fault} ({where}): {good}: {outcome} [{seconds:.0f} s]", flush=True)
            _write(rows, asked.kills)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
