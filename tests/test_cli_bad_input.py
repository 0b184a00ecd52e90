"""Bad input at the command line: each gets words that help, exit code 1, and changes nothing."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from matchlib.archive import Archive
from tests.cli_shop import SMALL, fails, refused, run

ROOT = Path(__file__).resolve().parents[1]
HEAD = SMALL.splitlines()[0]


@pytest.fixture(scope="module")
def fitted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fitted")
    (folder / "good.csv").write_text(SMALL)
    assert run("import", "good.csv", cwd=folder).exit_code == 0
    assert run("predict", "--recipes", "good.csv", cwd=folder).exit_code == 0
    return folder


@pytest.fixture
def shop(fitted, tmp_path):
    return shutil.copytree(fitted, tmp_path / "shop")


def content(folder: Path) -> dict[str, str]:
    """Every file's digest, the archive's by its content, for a database may touch its own pages."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.name.endswith((".db-wal", ".db-shm", ".db")):
            found[str(path)] = hashlib.sha256(path.read_bytes()).hexdigest()
        elif path.suffix == ".db" and path.read_bytes().startswith(b"SQLite"):
            with Archive.open(path, read_only=True) as archive:
                found[str(path)] = f"{archive.content_hash()} {len(archive.history())}"
        elif path.suffix == ".db":
            found[str(path)] = path.read_bytes().hex()[:200]
    return found


TABLES = {
    "empty": (b"", "empty"),
    "NaN": (SMALL.replace("62,-0.4", "nan,-0.4").encode(), "nan"),
    "words of a ratio that contradict each other": (
        SMALL.replace("2@8:1", "2@1 part colour to 8 parts colour").encode(),
        "row 3",
    ),
    "one code, two recipes": (SMALL.replace("P3,", "P2,").encode(), "P2"),
    "not text": (bytes(range(256)) * 20, "What to do"),
}


@pytest.mark.parametrize(("data", "says"), TABLES.values(), ids=TABLES)
def test_a_bad_table_is_refused_whole(shop, data, says):
    (shop / "bad.csv").write_bytes(data)
    before = content(shop)
    assert says in refused("import", "bad.csv", cwd=shop)
    assert says in refused("import", "bad.csv", "--archive", "new.db", cwd=shop)
    assert content(shop) == before


def test_a_folder_or_nothing_given_as_a_file(shop, tmp_path):
    before = content(shop)
    assert "not a file" in refused("import", tmp_path, cwd=shop)
    assert "cannot be read" in refused("import", "missing.csv", cwd=shop)
    assert "folder" in refused("check", "--archive", ".", cwd=shop)
    assert "no folder" in refused("import", "good.csv", "--archive", "no/such/a.db", cwd=shop)
    assert content(shop) == before


RECIPES = {
    "unknown ground": ("ground,colour,schedule\ngold,rust,3@6:1\n", "gold"),
    "a colour on no panel": ("ground,colour,schedule\nsilver,teal,3@6:1\n", "teal"),
    "a reversed ratio": ("ground,colour,ratio,coats\nsilver,rust,1:6,3\n", "[order]"),
}


def test_bad_recipes_are_refused_before_the_model_is_fitted(shop, monkeypatch):
    (shop / "recipes.csv").write_text("colour,schedule\nrust,3@6:1\n")

    def fit(*_: object, **__: object) -> None:
        raise AssertionError("fitted first")

    monkeypatch.setattr("workbook.session.Session.fit", fit)
    assert "no column ground" in refused("predict", "--recipes", "recipes.csv", cwd=shop)


@pytest.mark.parametrize(("table", "says"), RECIPES.values(), ids=RECIPES)
def test_bad_recipes_are_refused(shop, table, says):
    (shop / "recipes.csv").write_text(table)
    before = content(shop)
    words = refused("predict", "--recipes", "recipes.csv", cwd=shop)
    assert says in words
    assert "recipes.csv" in words
    assert content(shop) == before


@pytest.mark.parametrize(
    ("lab", "says"),
    [
        ((500, 0, 0), "500"),
        (("nan", 0, 0), "nan"),
        ((50, -128, 127), "-128"),
    ],
    ids=str,
)
def test_a_target_that_no_surface_can_have(shop, lab, says):
    before = content(shop)
    for command in (("match",), ("next",), ("predict", "--recipes", "good.csv")):
        words = refused(*command, "--lab", *lab, cwd=shop)
        assert says in words
    assert content(shop) == before


@pytest.mark.parametrize("tolerance", ["0", "-1", "nan"])
def test_a_tolerance_that_is_none(shop, tolerance):
    refused("match", "--lab", 40, 20, 10, "--tolerance", tolerance, cwd=shop)
    refused("predict", "--recipes", "good.csv", "--tolerance", tolerance, cwd=shop)


@pytest.mark.parametrize(
    "limits",
    [
        ("--max-coats", "0"),
        ("--max-coats", "-2"),
        ("--min-ratio", "colour 1 : carrier 6"),
        ("--min-ratio", "many"),
        ("--grounds", "gold"),
        ("--colours", "teal"),
    ],
    ids=" ".join,
)
def test_limits_that_are_none(shop, limits):
    before = content(shop)
    refused("match", "--lab", 40, 20, 10, *limits, cwd=shop)
    assert content(shop) == before


ARCHIVES = {
    "one panel": [HEAD, "P1,silver,rust,3@6:1,yes,D65,10,45:0,43,30,24,"],
    "one bare panel": [HEAD, "P1,silver,,,yes,D65,10,45:0,62,0,1,"],
    "all panels alike": [HEAD]
    + [f"P{i},silver,rust,3@6:1,yes,D65,10,45:0,43,30,24," for i in range(9)],
    "bare grounds alone": [
        HEAD,
        "P1,silver,,,yes,D65,10,45:0,62,0,1,",
        "P2,graphite,,,yes,D65,10,45:0,36,0,-1,",
    ],
    "no reading": ["panel,ground,colour,schedule,source", "P1,silver,rust,3@6:1,none"],
}


@pytest.mark.parametrize("lines", ARCHIVES.values(), ids=ARCHIVES)
def test_an_archive_from_which_nothing_can_be_learnt(tmp_path, lines):
    (tmp_path / "p.csv").write_text("\n".join(lines))
    assert run("import", "p.csv", cwd=tmp_path).exit_code == 0
    before = content(tmp_path)
    for command in (
        ("match", "--lab", 40, 20, 10),
        ("predict", "--recipes", "p.csv"),
        ("next",),
    ):
        refused(*command, cwd=tmp_path)
    assert content(tmp_path) == before


def test_an_archive_that_is_no_database(shop):
    (shop / "other.db").write_text(SMALL)
    before = content(shop)
    for command in (
        ("check",),
        ("history",),
        ("match", "--lab", 40, 20, 10),
        ("import", "good.csv"),
        ("export", "out.csv"),
        ("add", "--panel", "X", "--ground", "silver", "--yes"),
    ):
        assert "archive" in refused(*command, "--archive", "other.db", cwd=shop)
    assert content(shop) == before


EACH = """
import json, sys
from tests.cli_shop import run
done = [run(*args) for args in json.loads(sys.argv[1])]
print(json.dumps([(one.exit_code, one.stdout, one.stderr) for one in done]))
"""


@pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX's")
def test_a_folder_that_cannot_be_written(shop):
    # Permissions do not bind root, so the command runs without root's power to override them. It
    # stays the same user, who may read the environment wherever that is.
    setpriv = shutil.which("setpriv") if os.geteuid() == 0 else None
    powers = "-dac_override,-dac_read_search,-fowner"
    lower = [setpriv, f"--bounding-set={powers}", "--inh-caps=-all"] if setpriv else []
    assert lower or os.geteuid() != 0, "run as root without setpriv"
    locked = shop / "locked"
    shutil.copytree(shop, locked, ignore=shutil.ignore_patterns("locked"))
    for path in locked.iterdir():
        path.chmod(0o444)
    locked.chmod(0o555)
    environment = {
        "PATH": os.environ["PATH"],
        "PYTHONPATH": str(ROOT),
        "PYTHONDONTWRITEBYTECODE": "1",
        "HOME": "/nonexistent",
        "OMP_NUM_THREADS": "1",
    }
    commands = [
        ("import", "good.csv"),
        ("import", "good.csv", "--archive", "new.db"),
        ("export", "out.csv"),
        ("undo", "1"),
        ("label", "P1"),
        # Reading is no trouble, and a fit that cannot be kept is made all the same.
        ("predict", "--recipes", "good.csv"),
    ]
    before = content(shop)
    try:
        done = subprocess.run(
            [*lower, sys.executable, "-c", EACH, json.dumps(commands)],
            cwd=locked,
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        *refusals, (code, out, _) = json.loads(done.stdout)
        assert (code, "P6" in out) == (0, True)
        for args, (code, out, err) in zip(commands, refusals, strict=False):
            assert (code, out) == (1, ""), (args, err)
            assert "Traceback" not in err
            assert "What to do" in err, err
    finally:
        locked.chmod(0o755)
    assert content(shop) == before


@pytest.mark.parametrize(
    "arguments",
    [
        ("fit", "--folds", "0"),
        ("fit", "--folds", "1"),
        ("fit", "--folds", "100000"),
        ("next", "--top", "100000"),
        ("next", "--top", "0"),
        ("match", "--lab", "40", "20", "10", "--top", "0"),
    ],
    ids=" ".join,
)
def test_numbers_out_of_range_are_refused_before_any_work(shop, arguments):
    before = content(shop)
    words = fails(run(*arguments, cwd=shop), 2)
    assert "is not in the range" in words
    assert content(shop) == before


def test_minutes_that_are_no_number_are_refused(shop):
    words = fails(run("correct", "--lab", 43, 30, 24, "--looks", 1, "--minutes", "nan"), 2)
    assert "--minutes is 0 or more" in words


@pytest.mark.parametrize(
    "address",
    ["postgresql://u@127.0.0.1:abc/x", "postgresql://[::1/x", "fifo", "x" * 300, "loop"],
)
def test_an_archive_that_cannot_be_one(shop, address):
    os.mkfifo(shop / "fifo")
    (shop / "loop").symlink_to("loop")
    for command in (("check",), ("match", "--lab", 40, 20, 10), ("import", "good.csv")):
        refused(*command, "--archive", address, cwd=shop)


def test_a_pipe_or_a_device_is_not_waited_on(shop):
    os.mkfifo(shop / "pipe")
    os.mkfifo(shop / "pipe.zip")
    for file in ("pipe", "pipe.zip", "/dev/zero"):
        for command in (("import",), ("predict", "--recipes"), ("match", "--reading")):
            assert "a device" in refused(*command, file, cwd=shop)
    for command in (("import", "good.csv", "--answers"), ("photo", "good.csv", "--chart")):
        assert "a device" in refused(*command, "pipe", cwd=shop)


def test_signs_that_are_no_text_are_told_of(shop):
    words = fails(run("label", "\udcff\udcfe", cwd=shop), 1)
    assert "no text" in words


@pytest.mark.parametrize("stopped", [False, True])
def test_a_locked_archive_is_said_and_waited_for(shop, stopped):
    code = "from workbook.cli import main; main()"
    holder = sqlite3.connect(shop / "panels.db", isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with subprocess.Popen(
        [sys.executable, "-c", code, "import", "good.csv", "--who", "Bo"],
        cwd=shop,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as waiting:
        output = waiting.stderr.readline()  # comes while it waits, not only afterwards
        ended = waiting.poll()
        if stopped:
            waiting.terminate()
            waiting.wait()
        holder.close()
    assert "Another program is writing to" in output
    assert ended is None
    # Stopped, it ends by its own way out, which takes away what is half written.
    assert waiting.returncode == (128 + signal.SIGTERM if stopped else 0)
