"""Spoiled pictures by the thousand: ``python -m tests.photo_fuzz [COUNT] [SEED]``.

Good small files of every kind (see `tests.tools.hostile_pictures`) with bytes changed, cut, doubled
or mixed, given to `load_picture`. Anything but a picture or a `MatchlibError` ends the run with
the bytes that did it. Memory is limited by the system, so that a bomb kills the run too.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import numpy as np

from matchlib.errors import MatchlibError
from matchlib.readings.photo import load_picture
from tests.tools.hostile_pictures import seeds

LIMIT = 3 * 2**30  # bytes of address space, of which libraries take about a third
EDGES = np.array([0, 1, 2, 4, 8, 16, 127, 128, 254, 255], np.uint8)


def spoiled(whole: bytes, other: bytes, rng: np.random.Generator) -> bytes:
    """One file, changed in one to four ways."""
    data = np.frombuffer(whole, np.uint8).copy()
    for _ in range(rng.integers(1, 5)):
        # Headers do most harm, and hold few of the bytes.
        end = min(len(data), int(rng.choice([32, 256, 1024, len(data) or 1])))
        if end < 2:
            break
        start = int(rng.integers(0, end - 1))
        length = int(min(rng.integers(1, 9), len(data) - start))
        way = rng.integers(0, 6)
        if way == 0:
            data[start : start + length] = rng.integers(0, 256, length)
        elif way == 1:
            data[start : start + length] = rng.choice(EDGES, length)
        elif way == 2:
            data[start] ^= np.uint8(1 << int(rng.integers(0, 8)))
        elif way == 3:
            data = np.delete(data, slice(start, start + length))
        elif way == 4:
            data = np.insert(data, start, data[start : start + length])
        else:
            donor = np.frombuffer(other, np.uint8)
            piece = donor[start : start + 64]
            data[start : start + len(piece)] = piece[: len(data) - start]
    if rng.random() < 0.1:
        data = data[: int(rng.integers(0, len(data) + 1))]
    return data.tobytes()


def main(arguments: list[str]) -> int:
    """Run, and say what came of it."""
    count = int(arguments[0]) if arguments else 100_000
    rng = np.random.default_rng(int(arguments[1]) if len(arguments) > 1 else 1)
    resource.setrlimit(resource.RLIMIT_AS, (LIMIT, LIMIT))
    files = seeds()
    names = sorted(files)
    began, slowest = time.perf_counter(), 0.0
    read, refused = 0, 0
    for number in range(count):
        name, other = (names[int(i)] for i in rng.integers(0, len(names), 2))
        data = spoiled(files[name], files[other], rng)
        # Kept first: should a decoder bring the interpreter down, this is what did it.
        last = Path("/tmp") / f"photo_fuzz_last_{name}"  # noqa: S108 - a scratch file for a person
        last.write_bytes(data)
        started = time.perf_counter()
        try:
            load_picture(data, name=name)
            read += 1
        except MatchlibError as error:
            refused += 1
            if "MemoryError" in str(error):
                print(f"input {number}: asked for more memory than there is; kept in {last}")
                return 1
        slowest = max(slowest, time.perf_counter() - started)
    took = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{count:,} pictures: {read:,} read, {refused:,} refused in words, nothing else; "
        f"slowest {slowest:.2f} s, most memory {peak:,.0f} MiB, {took:.0f} s in all."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
