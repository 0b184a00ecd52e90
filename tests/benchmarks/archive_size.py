"""Time and memory of commands on a large archive, each in a process of its own.

Panels have recipes and readings drawn at random, for what is measured is the archive and not the
fit. Times are the processor's own, on one core.

``python -m tests.benchmarks archive --panels 1000,100000``
"""

from __future__ import annotations

import argparse
import csv
import random
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.command import Table

__all__ = ["main", "measured", "write_panels"]

_COLUMNS = (
    *("panel", "ground", "colour", "schedule", "clear", "L", "a", "b"),
    *("date", "illuminant", "observer", "geometry"),
)
_SEEN = ("2024-05-06", "D65", "10", "45:0")
_GROUNDS, _POTS = ("silver", "pale gold", "graphite", "copper"), ("cherry", "teal", "violet")


def write_panels(place: Path, count: int, *, seed: int = 0) -> Path:
    """Write a table of so many panels, each read once."""
    dice = random.Random(seed)  # noqa: S311  no secret
    with place.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(_COLUMNS)
        for number in range(count):
            back = (f"P{number}", dice.choice(_GROUNDS), dice.choice(_POTS))
            coats = f"{dice.randint(1, 6)}@{dice.choice((3, 4, 5, 6, 8))}:1"
            lab = [round(dice.uniform(*ends), 2) for ends in ((15, 70), (-40, 50), (-40, 50))]
            rows.writerow((*back, coats, "yes", *lab, *_SEEN))
    return place


_RUN = """
import atexit, pathlib, resource, sys
from workbook.cli import main

@atexit.register
def tell():
    used = resource.getrusage(resource.RUSAGE_SELF)
    # What resource tells of memory is at least the parent's.
    peak = pathlib.Path("/proc/self/status").read_text().partition("VmHWM:")[2].split()[0]
    print(used.ru_utime + used.ru_stime, int(peak) / 1024, file=sys.stderr)

main()
"""


def measured(*words: object) -> tuple[float, float]:
    """Run a command of the workbook; return its processor's time [s] and peak memory [MiB]."""
    run = [sys.executable, "-c", _RUN, *map(str, words)]
    done = subprocess.run(
        run, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    if done.returncode:
        raise SystemExit(f"workbook {' '.join(map(str, words))}: {done.stderr}")
    seconds, peak = done.stderr.split("\n")[-2].split()
    return float(seconds), float(peak)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks archive", description=__doc__)
    parser.add_argument("--panels", default="1000,100000")
    table = Table("panels", "command", "CPU s", "peak MiB")
    for count in map(int, parser.parse_args(argv).panels.split(",")):
        with tempfile.TemporaryDirectory() as name:
            room = Path(name)
            file = write_panels(room / "panels.csv", count)
            place = ("--archive", room / "panels.db")
            for words in (
                ("import", file),
                ("check",),
                ("undo", "1"),
                ("undo", "2"),
                ("history", "1-3"),
                ("amend", "P7", "note=seen"),
                ("panels", "--ground", "copper", "--csv"),
                ("names", "join", "colour", "teal", "violet"),
                ("import", file),
                ("export", room / "panels.zip"),
                ("backup",),
                ("restore", "--from", "last", "--yes"),
            ):
                told = " ".join(w if isinstance(w, str) else w.name for w in words)
                table.row(f"{count:,}", told, *measured(*words, *place))
