"""How long a command takes as a process, from the first letter to the last.

``python -m tests.benchmarks commands`` makes the demonstration workshop, whose fit is kept, and
asks it for a match. The floor is what the libraries alone take that no match does without: arrays,
the archive's database, plain data, and a command line that reads one option and opens one database
in memory. Beside it stands what its own modules take to load besides. Bytecode is kept, as of what
is installed. Times are the processor's own, the least of several runs, the rows in turns.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from argparse import ArgumentParser
from collections.abc import Sequence

from tests.benchmarks.command import Table

__all__ = ["main"]

OPTION = """
import click
@click.command()
@click.option("--times", type=int)
def command(times: int | None) -> None: ...
command(standalone_mode=False)
"""
DATABASE = """
import sqlalchemy
sqlalchemy.create_engine("sqlite://").connect().close()
"""
LIBRARIES = "import cattrs, numpy" + OPTION + DATABASE
MODULES = """
import workbook.cli.modelling, workbook.cli.results, workbook.session
import matchlib.archive, matchlib.forecast, matchlib.readings, matchlib.steering
"""
WORKBOOK = "from workbook.cli import main; main()"
MATCH = "match", "--reading", "samples/carousel-ring.csv"


def seconds(folder: str, *words: str) -> float:
    """Processor's seconds of one run of Python."""
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    environment |= {"PYTHONDONTWRITEBYTECODE": "", "PYTHONPYCACHEPREFIX": f"{folder}/bytecode"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, *words],
        cwd=folder,
        env=environment,
        stdout=subprocess.DEVNULL,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = ArgumentParser(prog="python -m tests.benchmarks commands", description=__doc__)
    parser.add_argument("--times", type=int, default=9)
    times = parser.parse_args(argv).times
    asked = {
        "Python alone": ("pass",),
        "one option read": (OPTION,),
        "an empty database opened": (DATABASE,),
        "both, and the other libraries loaded: the floor": (LIBRARIES,),
        "that, and the modules of a match loaded": (MODULES + LIBRARIES,),
        "match, a card sprayed blind": (WORKBOOK, *MATCH, "--readings", "0"),
        "match, cards steered by two looks": (WORKBOOK, *MATCH),
    }
    table = Table("process", "CPU s")
    with tempfile.TemporaryDirectory() as folder:
        seconds(folder, "-c", WORKBOOK, "demo", "--dir", ".", "--no-open")
        # In turns, so that what else the machine does in a spell slows all rows alike; the first
        # round only leaves bytecode behind.
        rounds = [
            [seconds(folder, "-c", *words) for words in asked.values()] for _ in range(times + 1)
        ]
        for told, taken in zip(asked, zip(*rounds[1:], strict=True), strict=True):
            table.row(told, min(taken))
