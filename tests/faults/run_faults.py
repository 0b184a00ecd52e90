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
from collections.abc import Callable
from pathlib import Path

from tests.faults import moving, served, trying
from tests.faults.record import circumstances, section, write_section
from tests.tools.postgres_server import PostgresServer, binaries


def _remounted(disk: Path) -> str:
    command = ["mount", "-o", "remount,ro", str(disk)]

    def remount() -> None:
        subprocess.run(command, check=True)

    return trying.read_only_mount(disk, remount)


def _room(folder: Path, name: str) -> Path:
    room = folder / name
    room.mkdir()
    return room


def _on_files(folder: Path, kills: int) -> list[tuple[str, Callable[[], str]]]:
    return [
        (
            "kill -9 at a random point of an import",
            lambda: trying.kill_at_random(folder / "k.db", kills=kills, size=60),
        ),
        (
            "kill -9 at every statement of an import",
            lambda: trying.kill_at_each_statement(folder, size=20),
        ),
        ("kill -9 while an archive is made", lambda: trying.kill_while_creating(folder, kills=40)),
        (
            "the same file imported by 4 processes at once",
            lambda: trying.same_file_at_once(folder / "t.db", processes=4, size=100, rounds=10),
        ),
        (
            "8 writers and 8 readers at once",
            lambda: served.writers_and_readers(folder / "w.db", each=8, imports=6, size=20),
        ),
        ("quota reached in mid-import", lambda: trying.full_disk_by_limit(folder)),
        ("no byte left on the disk", lambda: trying.no_byte_left(_room(folder, "none"))),
        ("folder read-only", lambda: trying.read_only_folder(folder)),
        ("clock set back by years", lambda: trying.clock_set_back(folder / "clock.db")),
        ("database cut short", lambda: trying.truncated(folder, cuts=100)),
        ("bytes overwritten at random", lambda: trying.damaged_bytes(folder, tries=200)),
        (
            "kill -9 at a random point of a merge, restore, backup, salvage",
            lambda: moving.killed_at_random(_room(folder, "killed"), kills=max(10, kills // 5)),
        ),
        (
            "quota reached in a merge, restore, backup, salvage",
            lambda: moving.no_space(_room(folder, "full")),
        ),
    ]


def _on_servers(kills: int) -> list[tuple[str, Callable[[PostgresServer], str]]]:
    return [
        (
            "kill -9 at a random point of an import",
            lambda s: trying.kill_at_random(s.url, kills=max(10, kills // 5), size=60),
        ),
        (
            "the same file imported by 4 processes at once",
            lambda s: trying.same_file_at_once(s.url, processes=4, size=100, rounds=5),
        ),
        (
            "8 writers and 8 readers at once",
            lambda s: served.writers_and_readers(s.url, each=8, imports=6, size=20),
        ),
        (
            "server killed in mid-import, started again",
            lambda s: served.server_cut(s, cuts=10, size=300),
        ),
        ("clock set back by years", lambda s: trying.clock_set_back(s.url)),
        (
            "server killed in mid-merge and mid-restore, started again",
            lambda s: moving.server_cut_in_mid_move(s, Path(tempfile.mkdtemp()), cuts=10),
        ),
    ]


def _rows_before() -> dict[tuple[str, str], str]:
    """Rows of the record by fault and kind of archive."""
    rows = {}
    for line in section(_TITLE).splitlines():
        cells = [cell.strip() for cell in line.split("|")[1:-1]]
        if len(cells) == len(_COLUMNS) and cells[3] in ("held", "FAILED"):
            rows[cells[0], cells[1]] = line
    return rows


def main() -> int:
    """Try what is asked for; write the rows of it anew, and leave all others."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--only", default="", help="faults with this in their words")
    parser.add_argument("--on", choices=["SQLite", "PostgreSQL"], action="append")
    asked = parser.parse_args()
    rows = _rows_before()
    failed = False

    def tried(fault: str, where: str, work: Callable[[], str]) -> None:
        nonlocal failed
        if asked.only not in fault or (asked.on and where not in asked.on):
            return
        began = time.perf_counter()
        try:
            outcome, good = work(), "held"
        except Exception as error:  # recorded, and the run fails in the end
            outcome, good = f"{type(error).__name__}: {error}", "FAILED"
            failed = True
        rows[fault, where] = f"| {fault} | {where} | {outcome} | {good} | {dt.date.today()} |"
        seconds = time.perf_counter() - began
        print(f"{fault} ({where}): {good}: {outcome} [{seconds:.0f} s]", flush=True)
        _write(rows, asked.kills)

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for fault, work in _on_files(folder, asked.kills):
            tried(fault, "SQLite", work)
    for fault, size, on_disk in _ON_DISKS if os.geteuid() == 0 else ():
        tried(fault, "SQLite", lambda size=size, on=on_disk: _on_disk(size, on))
    for fault, on_server in _on_servers(asked.kills) if binaries() is not None else ():
        tried(fault, "PostgreSQL", lambda on=on_server: _on_server(on))
    return int(failed)


def _on_disk(size: str, work: Callable[[Path], str]) -> str:
    with trying.small_disk(size) as disk:
        return work(disk)


def _on_server(work: Callable[[PostgresServer], str]) -> str:
    with served.server() as running:
        return work(running)


_ON_DISKS = (
    ("disk of 1 MB full in mid-import and mid-backup", "1m", trying.full_disk_by_mount),
    ("medium mounted read-only", "4m", _remounted),
)
_TITLE = "One fault at a time"
_COLUMNS = ("fault", "archive on", "what came of it", "", "tried on")


def _write(rows: dict[tuple[str, str], str], kills: int) -> None:
    lines = [
        f"{circumstances(f'python -m tests.faults.run_faults --kills {kills}')} Each row fails "
        "if a panel is lost, doubled, changed or half there, if the archive's own check finds "
        "anything, or if the error does not say in words what happened. Rows that a later run "
        "did not reach keep their own day.",
        "",
        f"| {' | '.join(_COLUMNS)} |",
        "|---" * len(_COLUMNS) + "|",
        *rows.values(),
        "",
        "A power cut of the machine itself was not tried: it rests on `synchronous=FULL` and on "
        "disks that tell the truth about what they have written.",
    ]
    write_section(_TITLE, "\n".join(lines))


if __name__ == "__main__":
    sys.exit(main())
