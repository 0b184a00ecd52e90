"""What cannot be done to an archive, by command: each said in words, with nothing half done."""

from __future__ import annotations

from pathlib import Path

import pytest

from matchlib.archive import Archive
from tests.cli_shop import SMALL, run

HEAD, *_ROWS = SMALL.splitlines()
SECOND = f"{HEAD},stage\nP7,silver,rust,3@6:1,yes,D65,10,45:0,43,30,24,,2\n"
LOG = '"[{""coat"":1,""at"":""2024-05-06T10:30:00""},{""coat"":2,""at"":""2024-05-06T10:05:00""}]"'
LOGGED = f"{HEAD},log\nP7,silver,rust,3@6:1,yes,D65,10,45:0,43,30,24,,{LOG}\n"
LAYERS = SMALL + "P8,silver 3 + graphite 1,,,yes,D65,10,45:0,55,0,0,\n"


@pytest.fixture
def shop(place: str, tmp_path: Path) -> tuple[str, Path]:
    files = {"panels": LAYERS, "second": SECOND, "log": LOGGED}
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text)
    at = ("--archive", place)
    assert run("import", "panels.csv", *at, cwd=tmp_path).exit_code == 0
    assert run("job", "new", "tank", "--lab", 40, 33, 26, *at).exit_code == 0
    assert run("job", "sprayed", 1, "P4", *at).exit_code == 0
    assert run("backup", "old.db", *at, cwd=tmp_path).exit_code == 0
    assert run("amend", "P2", "note=seen", *at).exit_code == 0
    return place, tmp_path


def test_each_is_refused_in_words_and_nothing_changes(shop: tuple[str, Path]) -> None:
    archive, room = shop

    def state() -> object:
        with Archive.open(archive, read_only=True) as kept:
            names = kept.names("ground"), kept.names("colour")
            return kept.panels(), kept.jobs(), names, len(kept.history())

    before = state()
    for words, command in (
        ("has a stage without the one before it", ("import", "second.csv")),
        ("out of order", ("import", "log.csv")),
        ("of this name already", ("names", "rename", "ground", "silver", "graphite")),
        ("of this name already", ("names", "rename", "ground", "silver", "GRAPHITE")),
        ("a blend of the two", ("names", "join", "ground", "silver", "graphite")),
        ("name one of its parts", ("names", "join", "ground", "silver", "silver 3 + graphite 1")),
        ("a job rests on it", ("remove", "P4")),
        ("a job rests on it", ("undo", "1")),
        ("a job rests on it", ("amend", "P4", "code=P9")),
        ("merged with itself", ("merge", archive)),
        ("is newer than the backup", ("restore", "--from", "old.db", "--yes")),
        ("cannot be without its stages", ("amend", "P4", "stages=")),
        ("cannot be without its code", ("amend", "P4", "code= ")),
        ("not written as one text", ("amend", "P4", "recipe=rust")),
        ("not written as one text", ("amend", "P4", "readings=5")),
        ("has one stage only", ("remove", "P4", "--stage", "1")),
        ("no panel of this code", ("remove", "P99")),
        ("none of job 1's", ("job", "change", 1, "--without", "P1")),
    ):
        done = run(*command, "--archive", archive, cwd=room)
        assert done.exit_code == 1, (command, done.output)
        assert words in done.stderr, (command, done.stderr)
        assert state() == before, command
    assert run("check", "--archive", archive).exit_code == 0


def test_a_panel_taken_out_of_its_job_can_be_removed(shop: tuple[str, Path]) -> None:
    archive, _ = shop
    at = ("--archive", archive)
    coats = ("--schedule", "1@8:1")
    assert run("job", "plan", 1, "--on", "P4", *coats, *at).exit_code == 0
    assert "workbook job change 1 --without 'P4'" in run("remove", "P4", *at).stderr
    done = run("job", "change", 1, "--without", "P4", *at)
    assert "Waits for: recipe" in done.stdout, done.output
    assert run("remove", "P4", *at).exit_code == 0
    with Archive.open(archive, read_only=True) as kept:
        job = kept.job(1)
        assert (job.plan, job.panels) == (None, ())


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (("match", "sample.csv"), "say what it is, as --reading sample.csv"),
        (("match", "27.1", "45,9", "28.5"), "say what it is, as --lab 27.1 45,9 28.5"),
        (("panels", "P2"), "'P2' is one thing more than this command takes"),
    ],
)
def test_what_is_typed_without_its_option_is_told_which(typed: tuple[str, ...], told: str) -> None:
    refused = run(*typed)
    assert refused.exit_code == 2
    assert told in " ".join(refused.stderr.split())
