"""Hostile arguments and files for every command, by what the command line says it takes.

``python -m tests.faults.arguments [--draws 3000] [--seed 1] [--record]``. Commands, options and
their types are read from the command line itself, so that a new option is covered when it comes.
Each draw runs in a process of its own, in a workshop of its own. It has failed if it ends in a
traceback, by a signal, without a word, after more than 10 s of computing or 60 s of waiting, or
with more than 500 MB. Where root runs it, each draw is made by nobody: a broken command harms no
more than its own workshop.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import re
import resource
import shutil
import signal
import stat
import sys
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any

import click
import numpy as np
from PIL import Image

from tests.cli_shop import SMALL, run
from tests.faults.making import become_nobody, lent, seeded
from tests.faults.record import circumstances, write_section
from tests.tools.hostile_pictures import dng_of, png_header_of, tiff_header_of

__all__ = ["Outcome", "commands", "draw", "main", "make_shop", "tried"]

CPU_SECONDS, WALL_SECONDS, MOST_MB = 10, 60, 500
_CORES = os.cpu_count() or 1

WHOLE = ["0", "1", "-1", "2", "3", "17", "1000000", *map(str, (2**31, 2**63, 10**40, -(2**63)))]
NUMBERS = ["0", "1", "-1", "0.5", "nan", "inf", "-inf", "1e308", "-1e308", "1e-320", "50", "1e400"]
NOT_NUMBERS = ["", " ", "x", "1,5", "−1", "0x10", "1_000", "٣", "½", "1e", "--", "NaN ", "5 "]
_RECIPES = "1:0 0:1 0@6:1 -2@6:1 9999999@6:1 2@1e308:1 3@nan:1 45as15=nan,0,0 45as999=1,2,3"
_STANDARD = "D65 F11 E 2 10 percent . ground,panel 2024-02-30 A4 A7 A0"
TEXTS = [
    *("", " ", "\n", "\t", "x" * 100_000, "é" * 300, "名前", "\u202egnirts", "a\u0301\u0301", "💧"),
    *("'; DROP TABLE panels; --", "../../etc/passwd", "%s%n%x", "{0.__class__}", "$(id)", "-h"),
    *("--json", "=1+1", "\udcff\udcfe", "<script>", "0", "1e999", ":", "@", "6:1", "4@6:1", ","),
    *_RECIPES.split(),
    *("silver 3 + black -1", "silver + silver", "silver 1 +", "rust 1e300 + rust 1e-300"),
    *("carrier=0", "carrier=nan", "1e300 l", "-1 ml", "2 m2", "600 mm x 400 mm", "0 mm x 0 mm"),
    *_STANDARD.split(),
]
ADDRESSES = [
    *("postgresql://u@127.0.0.1:abc/x", "postgresql://u:p@127.0.0.1:1/x", "postgresql://[::1/x"),
    *("postgresql://", "postgresql:///x?host=/none", "postgresql://h:99999/x", "mysql://h/x"),
    *("tcp://nowhere:1", "tcp://127.0.0.1:1", "tcp://", "127.0.0.1:99999", "inproc://x"),
    *("sqlite://", "sqlite:///", "://", "file:///etc/passwd", "http://127.0.0.1:1/x"),
]
_FILES = """
good.csv empty.csv wide.csv long.csv missing.csv recipes.csv none/such/file.csv
panels.db other.db damaged.db text.db fifo folder loop null zero noise.bin
table.xlsx bomb.xlsx half.zip kept.zip deep.json table.cgats table.cxf
picture.jpg raw.dng huge.png huge.tif
"""
FILES = [*_FILES.split(), "n" * 300]
# What makes a command go further than its first look at what it was given.
GOOD: dict[str, str | tuple[str, ...]] = {
    "file": "good.csv", "files": "good.csv", "panels": "P3", "panel": "P3", "change": "1",
    "recipes": "recipes.csv", "targets": "good.csv", "lab": ("43", "30", "24"),
    "lab_at": "45as15=43,30,24", "read": ("44", "29", "24"), "read_at": "45as15=44,29,24",
    "read_file": "good.csv", "reading": "one.csv", "sample": "P3", "tried": "P3",
    "sprayed": "good.csv", "ground": "silver", "grounds": "silver", "colour": "rust",
    "colours": "rust", "schedule": "3@6:1", "clear": "yes", "max_coats": "5", "min_coats": "1",
    "min_ratio": "2:1", "max_ratio": "10:1", "ratio_step": "1", "max_unevenness": "3",
    "top": "2", "looks": "1", "jobs": "2", "cluster": "tcp://127.0.0.1:1", "folds": "2",
    "by": "panel", "after": "2030-01-01", "in_stock": ("2 m2", "100 ml"), "tolerance": "2",
    "difference": "cmc2:1", "box": ("1", "1", "1"), "box_lch": ("1", "1", "1"),
    "area": "2 m2", "work": "motorcycle tank",
    "sheet": "600 mm x 400 mm", "tube": "40 mm x 1.2 m", "sphere": "120 mm", "margin": "0.1",
    "dry_film_um": "12", "volume_solids": "0.2", "transfer": ("0.5", "0.7"), "chance": "0.9",
    "residue": "20 ml", "gun_cup": "600 ml", "mark": "5 ml", "least": "50 ml",
    "third": "hardener 10%", "pot_life": "120", "coat_min": "10", "set_up_min": "30",
    "rate": "60", "unit": "ml", "drain": "22 s Ford 4", "bottle": "120 ml",
    "bottle_of": "colour", "have": "300 ml", "price": "40", "out": "out.pdf", "paper": "A4",
    "archive": "panels.db", "name": "silver", "kind": "ground", "number": "1", "code": "P3",
    "other": "other.db", "damaged": "damaged.db", "backup": "kept.zip", "into": "into.db",
    "fix": "P3", "ignore": "P3", "fields": "sprayer=Ann", "to": "pewter", "on": "P1",
    "one": ("rust", "2@8:1"), "two": ("rust", "4@4:1"), "over": "silver", "since": "2024-01-01",
    "word": "ground", "illuminant": "D65", "observer": "10", "geometry": "45:0",
    "scale": "percent", "decimal": ".", "who": "Ann", "date": "2024-05-01", "temperature": "21",
    "humidity": "50", "minutes": "10", "cup_ml": "100", "prefix": "o-", "read_after": "2",
    "due": "2030-01-01", "customer": "Ann", "zones": "5", "weaker": "2", "first": "2",
}  # fmt: skip
GOOD_HERE = {
    ("export", "file"): "new.csv", ("backup", "file"): "new.zip", ("open", "work"): "notebooks",
    ("photo", "panel"): "10,10,100,100",
    ("first-day", "ratio"): "6:1", ("import", "sheet"): "", ("names join", "into"): "graphite",
    ("job sprayed", "code"): "P4", ("photo", "files"): "picture.jpg", ("label", "sheet"): "",
    ("import", "files"): "more.csv", ("names lot", "code"): "L-7", ("job new", "name"): "tank",
}  # fmt: skip
# Each says the same by itself; given together they are refused before anything else is looked at.
ONE_OF = (
    ("lab", "lab_at", "reading", "recipes", "panel", "targets"),
    ("area", "work", "sheet", "tube", "sphere"), ("read", "read_at", "read_file"),
    ("fix", "ignore"), ("jobs", "cluster"), ("difference", "tolerance", "box", "box_lch"),
    ("replace", "keep", "repeats"), ("panel", "ground"),
)  # fmt: skip


# What is done as it stands, for commands that refuse most of what is put together at random.
DONE = {
    "match": "--lab 43 30 24", "next": "--lab 43 30 24", "predict": "--recipes recipes.csv",
    "correct": "--lab 43 30 24 --ground silver --colour rust --schedule 3@6:1 --read 44 29 24",
    "add": "--panel N1 --ground silver --colour rust --schedule 2@6:1 --lab 50 20 18 --yes",
    "mix": "--colour rust --schedule 3@6:1 --area 2m2 --dry-film 12 --solids 0.2",
    "job-sheet": "--ground silver --colour rust --schedule 3@6:1", "job new": "tank --lab 43 30 24",
    "job aim": "1 --lab 43 30 24", "job pot": "1 --area 2m2 --dry-film 12 --solids 0.2",
    "job sheet": "1", "photo": "picture.jpg", "import": "more.csv", "aged": "--reading one.csv",
    "label": "P3", "fit": "", "audit": "", "demo": "--dir new", "open": "",
}  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """What came of one draw: its arguments, and what is wrong with how it ended."""

    arguments: list[str]
    code: int
    fault: str
    seconds: float
    megabytes: float
    said: str


def commands() -> dict[str, Any]:
    """Return all commands by name, those of a group with its name before theirs."""
    from workbook.cli import assembled

    found: dict[str, Any] = {}
    groups = [("", assembled())]
    for before, group in groups:
        for name, command in group.commands.items():  # type: ignore[attr-defined]  # a group
            if hasattr(command, "commands"):
                groups.append((f"{before}{name} ", command))
            else:
                found[f"{before}{name}"] = command
    return found


def hostile(rng: random.Random, parameter: Any) -> list[str]:
    """Return what is given for a parameter once: words by its type."""
    kind = parameter.type
    kinds = kind.types if isinstance(kind, click.Tuple) else [kind]
    return [_word(rng, kinds[i % len(kinds)], parameter) for i in range(max(1, parameter.nargs))]


def _word(rng: random.Random, kind: click.ParamType, parameter: Any) -> str:
    whole = isinstance(kind, type(click.INT))
    if whole or isinstance(kind, type(click.FLOAT)):
        pool = WHOLE if whole and rng.random() < 0.8 else NUMBERS
        return rng.choice(NOT_NUMBERS if rng.random() < 0.15 else pool)
    text = f"{parameter.name} {parameter.metavar or ''}".lower()
    if re.search("archive|cluster", text):
        return rng.choice([*FILES, *ADDRESSES])
    if re.search(
        r"file|path|recipes|reading|sprayed|out\b|work|dir|backup|into|other|damaged|picture|watch|codes",
        text,
    ):
        return rng.choice(FILES if rng.random() < 0.85 else TEXTS)
    return rng.choice(TEXTS if rng.random() < 0.8 else [*WHOLE, *NUMBERS, *FILES])


def draw(rng: random.Random, name: str, command: Any) -> list[str]:
    """Return the arguments of one draw: some good, some hostile, some left out, some doubled."""
    if name in DONE and rng.random() < 0.6:
        options = [p for p in command.params if p.param_type_name == "option" and p.name != "help"]
        one = rng.choice(options)
        typed = [one.opts[0], *([] if one.is_flag else hostile(rng, one))]
        return [*name.split(), *DONE[name].split(), *typed]
    given, places = [], []
    wild = rng.random() < 0.1
    there = [p.name for p in command.params]
    groups = [[n for n in group if n in there] for group in ONE_OF]
    stated = {rng.choice(group) for group in groups if group}
    left_out = {n for group in groups for n in group} - stated
    # Little is done without one of the first of them.
    needed = stated & {n for group in groups[:3] for n in group}
    spoiled = {rng.choice(command.params).name for _ in range(rng.choice([0, 1, 1, 1, 1, 2]))}
    eager = rng.random()
    for parameter in command.params:
        if parameter.name == "help":
            continue
        good = GOOD_HERE.get((name, parameter.name), GOOD.get(parameter.name))
        if good == "one.csv" and isinstance(parameter.type, type(click.INT)):
            good = "1"
        bad = parameter.name in spoiled or (wild and rng.random() < 0.2)
        flag = getattr(parameter, "is_flag", False)
        spared = not flag if good in (None, "") else parameter.name in left_out
        wanted = parameter.required or (parameter.name in needed and good)
        if not bad and not wanted and (spared or rng.random() > eager):
            continue
        words = (
            hostile(rng, parameter)
            if bad or good is None
            else list([good] if isinstance(good, str) else good)
        )
        if parameter.param_type_name == "option":
            times = rng.choice([1, 1, 1, 2]) if bad else 1
            switch = rng.choice([*parameter.opts, *parameter.secondary_opts])
            for _ in range(times):
                given += [switch] if parameter.is_flag else [switch, *words]
        else:
            places += words if rng.random() < 0.95 else []
    if rng.random() < 0.05:
        given.append(rng.choice(["--none-such", "--", "-x", "--archive", "--help"]))
    parted = ["--"] if places and rng.random() < 0.2 else []
    return [*name.split(), *given, *parted, *places]


def make_shop(folder: Path) -> None:
    """Make a small fitted workshop and the hostile files beside it."""
    (folder / "good.csv").write_text(SMALL)
    head, row = SMALL.splitlines()[:4:3]
    (folder / "one.csv").write_text("\n".join([head, row, row, row]))
    (folder / "recipes.csv").write_text("ground,colour,schedule\nsilver,rust,3@6:1\n")
    assert run("import", "good.csv", cwd=folder).exit_code == 0
    assert run("predict", "--recipes", "recipes.csv", cwd=folder).exit_code == 0
    assert run("export", "table.xlsx", cwd=folder).exit_code == 0
    assert run("job", "new", "silver", "--lab", 43, 30, 24, cwd=folder).exit_code == 0
    how = ("--ground", "silver", "--colour", "rust", "--schedule", "3@6:1")
    assert run("job", "plan", 1, *how, cwd=folder).exit_code == 0
    assert run("backup", "kept.zip", cwd=folder).exit_code == 0
    noise = np.random.default_rng(1).integers(0, 255, (600, 800, 3), np.uint8)
    Image.fromarray(noise).save(folder / "picture.jpg")
    (folder / "raw.dng").write_bytes(dng_of(noise.astype(np.uint16)))
    (folder / "huge.png").write_bytes(png_header_of(60_000, 60_000))
    (folder / "huge.tif").write_bytes(tiff_header_of(60_000, 60_000))
    (folder / "more.csv").write_text(SMALL.replace("P", "Q"))
    assert run("import", "more.csv", "--archive", "other.db", cwd=folder).exit_code == 0
    whole = bytearray((folder / "other.db").read_bytes())
    whole[len(whole) // 2 : len(whole) // 2 + 3000] = bytes(3000)
    (folder / "damaged.db").write_bytes(whole)
    (folder / "text.db").write_text("no database")
    (folder / "empty.csv").touch()
    (folder / "noise.bin").write_bytes(seeded(1).randbytes(20_000))
    (folder / "folder").mkdir()
    (folder / "loop").symlink_to("loop")
    (folder / "deep.json").write_text("[" * 100_000)
    (folder / "wide.csv").write_text(",".join(f"c{i}" for i in range(50_000)))
    (folder / "long.csv").write_text(f"{head}\n" + "P1,silver,,,yes,62,0,0,\n" * 50_000)
    (folder / "table.cgats").write_text("CGATS.17\nNUMBER_OF_SETS 99999999999\nBEGIN_DATA\n")
    (folder / "table.cxf").write_text("<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;")
    (folder / "half.zip").write_bytes((folder / "table.xlsx").read_bytes()[:3000])
    with (
        zipfile.ZipFile(folder / "table.xlsx") as good,
        zipfile.ZipFile(folder / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED) as bomb,
    ):
        for entry in good.namelist():
            inflated = good.read(entry)
            if entry.endswith("sheet1.xml"):
                inflated = inflated.replace(b"</sheetData>", b" " * 300_000_000 + b"</sheetData>")
            bomb.writestr(entry, inflated)


def tried(arguments: list[str], shop: Path) -> Outcome:
    """Run a command in a process and a workshop of its own."""
    with tempfile.TemporaryDirectory(prefix="draw-") as name:
        room = Path(name, "shop")
        # The great files are shared; nothing may write to what it was given to read.
        great = {"bomb.xlsx", "long.csv", "wide.csv"}
        shutil.copytree(shop, room, symlinks=True, ignore=lambda *_: great)
        os.mkfifo(room / "fifo")
        # Devices of its own: a command that replaces one by a file spoils no other program's.
        for each, minor in (("null", 3), ("zero", 5)):
            with contextlib.suppress(PermissionError):  # only root may make them
                os.mknod(room / each, stat.S_IFCHR | 0o666, os.makedev(1, minor))
        lent(Path(name))
        for each in great:
            os.link(shop / each, room / each)
        found = Path(name, "said")
        # A machine that does other things as well answers that much later.
        until = time.monotonic() + WALL_SECONDS * max(1.0, os.getloadavg()[0] / _CORES)
        child = os.fork()
        if child == 0:
            _run_and_exit(arguments, room, found)
        while True:
            pid, status, usage = os.wait4(child, os.WNOHANG)
            if pid:
                break
            if time.monotonic() > until:
                os.kill(child, signal.SIGKILL)
            time.sleep(0.005)
        text = found.read_text("utf-8", "replace")
    seconds = usage.ru_utime + usage.ru_stime
    megabytes = usage.ru_maxrss / 1024
    code = os.waitstatus_to_exitcode(status)
    fault = ""
    if "Traceback" in text:
        fault = "traceback"
    elif time.monotonic() > until:
        fault = "hangs"
    elif seconds > CPU_SECONDS or code == -signal.SIGXCPU:
        fault = "too long"
    elif megabytes > MOST_MB:
        fault = "too much memory"
    elif code not in (0, 1, 2):
        fault = f"ended with {code}"
    elif not text.strip():
        fault = "not a word"
    return Outcome(arguments, code, fault, seconds, megabytes, text)


def _run_and_exit(arguments: list[str], room: Path, said: Path) -> None:
    code = 70
    try:
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS + 1, CPU_SECONDS + 2))
        os.chdir(room)
        os.environ |= {"HOME": str(room), "WORKBOOK_NO_BROWSER": "1", "XDG_DATA_HOME": str(room)}
        os.environ.pop("WORKBOOK_ARCHIVE", None)
        out = os.open(said, os.O_WRONLY | os.O_CREAT, 0o600)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        for descriptor in (1, 2):
            os.dup2(out, descriptor)
        become_nobody()
        sys.stdin = open(0, closefd=False)  # noqa: SIM115  the process ends with it
        sys.stdout = open(1, "w", closefd=False, encoding="utf-8", errors="surrogateescape")  # noqa: SIM115  as above
        sys.stderr = open(2, "w", closefd=False, encoding="utf-8", errors="surrogateescape")  # noqa: SIM115  as above
        sys.argv = ["workbook", *arguments]
        from workbook import serving
        from workbook.cli import main as command_line

        # What is served is tried elsewhere; here, that it would be.
        serving.serve_workbook = _claimed  # type: ignore[assignment]
        command_line()
        code = 0
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
    except BaseException:
        traceback.print_exc()
    with contextlib.suppress(Exception):
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code)


def _claimed(archive: str, **given: Any) -> None:
    from workbook.serving.address import claim

    claim(archive, **{k: given[k] for k in ("port", "share", "renew") if k in given}).close()
    given["tell"]("It would be served.")


def _told(number: int, outcome: Outcome) -> str:
    words = [a if len(a) < 60 else f"{a[:20]}…({len(a)})" for a in outcome.arguments]
    return f"{number} {outcome.fault}: {words}\n    {outcome.said[-600:]}"


def _page(kept: dict[str, Any], seed: int) -> str:
    """The section of the record."""
    sums: Counter[str] = Counter()
    rows = []
    for name, counts in kept["counts"].items():
        sums.update(counts)
        rows.append(f"| {name} | {' | '.join(str(counts.get(k, 0)) for k in _COLUMNS)} |")
    command = f"python -m tests.faults.arguments --draws {sums['tried']} --seed {seed}"
    return "\n".join(
        [
            f"{sums['tried']} draws tried: {sums['done']} done, {sums['refused in words']} refused "
            f"in words, {sums['failed']} failed; the slowest took {kept['slowest']:.1f} s of "
            f"computing, the largest {kept['largest']:.0f} MB. {circumstances(command)}",
            "",
            f"| command | {' | '.join(_COLUMNS)} |",
            "|---" * (len(_COLUMNS) + 1) + "|",
            *rows,
        ]
    )


_COLUMNS = ("tried", "done", "refused in words", "failed")


def main() -> int:
    """Try so many draws, command by command in turn; print and record what failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--record", action="store_true")
    parser.add_argument("--go-on", type=Path, help="file of counts, from which a run is gone on")
    asked = parser.parse_args()
    known = commands()
    kept: dict[str, Any] = {"next": 0, "again": [], "slowest": 0.0, "largest": 0.0, "counts": {}}
    if asked.go_on and asked.go_on.exists():
        kept = json.loads(asked.go_on.read_text())
    # What failed when it was last tried is tried anew first.
    numbers = chain(kept["again"], range(kept["next"], asked.draws))
    kept["again"], again = [], set(kept["again"])
    end = time.monotonic() + 60 * asked.minutes
    with tempfile.TemporaryDirectory() as name:
        shop = Path(name)
        make_shop(shop)
        for number in numbers:
            if time.monotonic() > end and number not in again:
                break
            command = list(known)[number % len(known)]
            rng = seeded((asked.seed, number))
            outcome = tried(draw(rng, command, known[command]), shop)
            counts = kept["counts"].setdefault(command, {})
            came = "failed" if outcome.fault else _COLUMNS[1 + bool(outcome.code)]
            if number in again:
                counts["failed"] -= 1
            else:
                counts["tried"] = counts.get("tried", 0) + 1
                kept["next"] = number + 1
            counts[came] = counts.get(came, 0) + 1
            kept["slowest"] = max(kept["slowest"], outcome.seconds)
            kept["largest"] = max(kept["largest"], outcome.megabytes)
            if outcome.fault:
                kept["again"].append(number)
                print(_told(number, outcome), flush=True)
            if asked.go_on:
                asked.go_on.write_text(json.dumps(kept))
    text = _page(kept, asked.seed)
    print(text)
    if asked.record:
        write_section("Hostile arguments and files", text)
    return 1 if kept["again"] else 0


if __name__ == "__main__":
    sys.exit(main())
