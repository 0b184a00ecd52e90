"""Break the inputs of every reader many times over; only a `MatchlibError` may come out.

Run from the root of a checkout, and record the result::

    python -m tests.fuzz.run_fuzz --inputs 100000 --record tests/fuzz/RECORDED.md table cgats

Every input is decided by the seed, so that a finding comes back; it is also kept in a file.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from matchlib.errors import MatchlibError
from matchlib.plain import shown
from matchlib.readings import Stated, accepted, read_recipes, read_target, understand
from matchlib.readings.photo import load_picture
from tests.fuzz.mutate import READERS, mutated, seeds_of

__all__ = ["main", "run"]

LONGEST = 20  # s for one small input, on a machine that does other things as well
MEMORY = 3 * 2**30


class Slow(BaseException):
    """An input that took too long; no `Exception`, so that nothing on the way swallows it."""


def _alarm(*_: object) -> None:
    raise Slow


ANSWERS = {
    "light": ("D65/10", "D50/2"), "geometry": ("45:0", "di:8"), "order": ("carrier", "colour"),
    "scale": ("0-1", "percent"), "decimal": ("both", ".", ","), "dates": ("dmy", "mdy"),
    "clock": ("clock", "leave"), "calendar": ("day", "month", "leave"), "join": ("code",),
    "bare": ("to one", "leave"), "percent": ("pot", "carrier"), "codes": ("same", "different"),
    "above:ground": ("same", "missing"), "above:panel": ("same", "missing"),
    "temperature": ("F", "C"), "name:ground:slver": ("silver", "new", "leave"),
}  # fmt: skip
"""What may be asked of the seeds, and what it may be answered with."""


def _read(reader: str, path: Path, rng: random.Random) -> None:
    scale = rng.choice((None, None, "unit", "percent"))
    decimal = rng.choice((None, None, ".", ","))
    answers = {k: rng.choice(v) for k, v in ANSWERS.items() if rng.random() < 0.7}
    if reader == "recipes":
        read_recipes(path, decimal=decimal, scale=scale, answers=answers)
    elif reader == "target":
        read_target(path, decimal=decimal, scale=scale, answers=answers)
    elif reader in ("photo", "raw"):
        try:
            load_picture(path)
        except MatchlibError as error:
            if "MemoryError" in str(error):
                raise MemoryError from error
            raise
    else:
        stated = Stated(names={"ground": ["silver", "gold"], "colour": ["red"]})
        report = understand(
            path, answers=answers, stated=replace(stated, decimal=decimal, scale=scale)
        )
        shown(report), report.text(), report.table()
        accepted(report, keep_good=rng.random() < 0.5)


def run(reader: str, inputs: int, seed: int, folder: Path, *, seconds: float = 1e9) -> Counter[str]:
    """Try a reader on broken inputs.

    Returns counts of ``taken``, ``refused`` and ``escaped``; escapes are written to the folder.
    """
    seeds = seeds_of(reader)
    suffix = {"xlsx": ".xlsx", "ods": ".ods", "cxf": ".cxf", "cgats": ".txt", "raw": ".dng"}.get(
        reader, ".csv"
    )
    path = folder / f"input{suffix}"
    counts: Counter[str] = Counter()
    start = time.monotonic()
    for n in range(inputs):
        if time.monotonic() - start > seconds:
            break
        rng = random.Random(f"{reader} {seed} {n}")  # noqa: S311  must come back by its seed
        data = mutated(rng.choice(seeds), reader, rng)
        path.write_bytes(data)
        began = time.monotonic()
        try:
            with _in_time():
                _read(reader, path, rng)
            counts["taken"] += 1
        except MatchlibError as error:
            counts["refused"] += 1
            str(error)
        except (Exception, Slow) as error:
            counts["escaped"] += 1
            counts[f"escaped: {type(error).__name__}"] += 1
            kept = folder / f"{reader}-{seed}-{n}{suffix}"
            kept.write_bytes(data)
            kept.with_suffix(".log").write_text(traceback.format_exc(), encoding="utf-8")
        counts["slowest ms"] = max(counts["slowest ms"], int(1000 * (time.monotonic() - began)))
    return counts


@contextlib.contextmanager
def _in_time() -> Iterator[None]:
    before = signal.signal(signal.SIGALRM, _alarm)
    signal.setitimer(signal.ITIMER_REAL, LONGEST)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("readers", nargs="*", default=list(READERS))
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop a reader after this long")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for inputs that escaped")
    parser.add_argument("--record", type=Path, help="file to which a row a reader is added")
    options = parser.parse_args()
    folder = options.keep or Path(tempfile.mkdtemp(prefix="fuzz-", dir=_memory()))
    folder.mkdir(parents=True, exist_ok=True)
    escaped = 0
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, resource.getrlimit(resource.RLIMIT_AS)[1]))
    for reader in options.readers:
        cpu, wall = time.process_time(), time.monotonic()
        counts = run(reader, options.inputs, options.seed, folder, seconds=options.seconds)
        total = counts["taken"] + counts["refused"] + counts["escaped"]
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        row = (
            f"| {reader} | {total:,} | {counts['taken']:,} | {counts['refused']:,} | "
            f"{counts['escaped']} | {time.process_time() - cpu:.0f} | "
            f"{time.monotonic() - wall:.0f} | {counts['slowest ms']} | {peak} | "
            f"{options.seed} | {dt.date.today().isoformat()} |"
        )
        print(row, {k: v for k, v in counts.items() if ":" in k}, flush=True)
        escaped += counts["escaped"]
        if options.record:
            with options.record.open("a", encoding="utf-8") as stream:
                stream.write(row + "\n")
    if escaped:
        print(f"{escaped} inputs escaped; they are in {folder}", file=sys.stderr)
    return 1 if escaped else 0


def _memory() -> str | None:
    shared = Path("/dev/shm")  # noqa: S108  a RAM disk: 100,000 small files would wear a real one
    return str(shared) if shared.is_dir() else None


if __name__ == "__main__":
    raise SystemExit(main())
