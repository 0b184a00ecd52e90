"""The tables of ``RESULTS.md`` printed anew: ``python -m tests.benchmarks results [--only NAME]``.

The page itself says what is run: a section is a heading, how to read the table, a line that begins
with the command, and the table. Each command runs by itself on one core; its table takes the place
of the last one as soon as it is there, with the seeds, the day and the commit. All of them take
hours; ``--only accuracy,audit`` prints those of some commands. Of a new table, the heading, the
prose and the beginning of that line are written by hand.
"""

from __future__ import annotations

import datetime as dt
import os
import re
import resource
import shlex
import subprocess
import sys
from argparse import ArgumentParser
from collections.abc import Sequence
from pathlib import Path

from tests.faults.record import write_section

__all__ = ["PAGE", "SECTION", "main", "seeds"]

PAGE = Path(__file__).with_name("RESULTS.md")
ROOT = Path(__file__).resolve().parents[2]
SECTION = re.compile(
    r"^## (?P<title>.+)\n(?P<about>(?:(?!## ).*\n)*?)"
    r"By `python -m tests\.benchmarks (?P<run>[^`]+)`",
    re.MULTILINE,
)
"""Of a section of the page its heading, how to read its table, and the benchmark's arguments."""


def seeds(run: str) -> str:
    """Return the seeds that its shops are made from, in words; empty where there are no shops."""
    words = shlex.split(run)
    if "--shops" not in words:
        return ""
    many = int(words[words.index("--shops") + 1])
    first = int(words[words.index("--first-seed") + 1]) if "--first-seed" in words else 0
    return f", seed {first}" if many == 1 else f", seeds {first} to {first + many - 1}"


def _git(*words: str) -> str:
    done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def _print(title: str, about: str, run: str, commit: str) -> None:
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", *shlex.split(run)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    minutes = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / 60
    how = (
        f"By `python -m tests.benchmarks {run}`{seeds(run)}, on {dt.date.today()} at commit "
        f"{commit}, in {minutes:.1f} min of one core."
    )
    write_section(title, f"{about.strip()}\n\n{how}\n\n{done.stdout.strip()}", page=PAGE)
    print(f"{title}: {minutes:.1f} min", flush=True)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables of the page, or those of some commands, one after another."""
    parser = ArgumentParser(prog="python -m tests.benchmarks results", description=__doc__)
    parser.add_argument("--only", default="", help="comma list of benchmarks, as `panels,audit`")
    only = [name for name in parser.parse_args(argv).only.split(",") if name]
    tables = [found.groupdict() for found in SECTION.finditer(PAGE.read_text("utf-8"))]
    unknown = set(only) - {table["run"].split()[0] for table in tables}
    if unknown:
        parser.error(f"no table is printed by {', '.join(sorted(unknown))}")
    changed = _git("status", "--porcelain", "--", "matchlib", "tests/benchmarks/*.py")
    commit = _git("rev-parse", "--short", "HEAD") + (" with changes" if changed else "")
    for table in tables:
        if not only or table["run"].split()[0] in only:
            _print(**table, commit=commit)
