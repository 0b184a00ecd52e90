"""The command line run in this process, and the demonstration workshop made and fitted once."""

from __future__ import annotations

import atexit
import json
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from matchlib.regression import FilmPredictor
from workbook.cli import assembled
from workbook.session import Session
from workbook.session.demo import DemoShop, make_demo

__all__ = [
    "copied",
    "demo_fit",
    "demo_shop",
    "fails",
    "json_of",
    "refused",
    "run",
    "small_shop",
    "two_colours",
]

_RUNNER = CliRunner()
SMALL = """panel,ground,colour,schedule,clear,illuminant,observer,geometry,L,a,b,customer
P1,silver,,,yes,D65,10,45:0,62,-0.4,0.6,
P2,silver,rust,2@8:1,yes,D65,10,45:0,52,18,16,Ann Example
P3,silver,rust,3@6:1,yes,D65,10,45:0,43,30,24,
P4,silver,rust,4@4:1,yes,D65,10,45:0,33,38,27,
P5,graphite,,,yes,D65,10,45:0,36,-0.3,-1.4,
P6,graphite,rust,3@6:1,yes,D65,10,45:0,26,20,14,
"""


def run(*args: object, cwd: Path | None = None, typed: str = "") -> Any:
    """Run a command; the result has exit_code, stdout and stderr."""
    import contextlib

    with contextlib.chdir(cwd) if cwd else contextlib.nullcontext():
        given = [str(a) for a in args]
        return _RUNNER.invoke(assembled(given[0] if given else None), given, input=typed)


def json_of(*args: object, cwd: Path | None = None) -> Any:
    """Run a command that must succeed, with --json, and return what it printed."""
    done = run(*args, "--json", cwd=cwd)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def fails(done: Any, code: int) -> str:
    """Hold a result to an error in words; returns the words."""
    assert done.exit_code == code, done.output
    assert done.exception is None or isinstance(done.exception, SystemExit)
    assert done.stdout == ""
    assert done.stderr.strip()
    assert "Traceback" not in done.stderr
    return str(done.stderr)


def refused(*args: object, cwd: Path | None = None) -> str:
    """Run a command that must refuse what the user gave; returns the words."""
    words = fails(run(*args, cwd=cwd), 1)
    assert "What to do:" in words
    return words


@cache
def small_shop() -> Path:
    """A folder with the small table and the archive made of it; to be copied."""
    room = Path(tempfile.mkdtemp(prefix="small-"))
    atexit.register(shutil.rmtree, room, ignore_errors=True)
    (room / "panels.csv").write_text(SMALL)
    assert run("import", "panels.csv", cwd=room).exit_code == 0
    return room


@cache
def demo_shop() -> DemoShop:
    """The demonstration in a folder of its own, fitted; not to be changed."""
    room = tempfile.mkdtemp(prefix="workshop-")
    atexit.register(shutil.rmtree, room, ignore_errors=True)
    shop = make_demo(Path(room, "demo"))
    with Session.open(shop.archive) as session:
        session.fit()
    return shop


@cache
def demo_fit() -> FilmPredictor:
    """The fit of the demonstration; not to be changed."""
    with Session.open(demo_shop().archive, write=False) as session:
        return session.model


@cache
def two_colours() -> Path:
    """Two colours of the demonstration, with their wrong backs, fitted; not to be changed."""
    room = Path(tempfile.mkdtemp(prefix="two-"))
    atexit.register(shutil.rmtree, room, ignore_errors=True)
    names = {"cherry", "lagoon"}
    some = [p for p in demo_panels() if p.recipe.bare or set(p.recipe.colour.names) <= names]  # type: ignore[union-attr]
    with Archive.open(room / "panels.db", create=True) as archive:
        archive.add(some, file="panels.csv", who="test")
    with Session.open(room / "panels.db") as session:
        session.fit()
    return room / "panels.db"


def copied(room: Path, of: Path | None = None) -> Path:
    """A copy of a fitted archive that may be changed, of the demonstration's if none is named."""
    place = of or demo_shop().archive
    for file in place.parent.glob("panels.db*"):
        shutil.copy(file, room / file.name)
    return room / "panels.db"
