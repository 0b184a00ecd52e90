"""Backups are made by themselves, ten are kept, and one restores only what it should."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchlib.archive import Archive, back_up, backups_of, restore
from matchlib.archive.backups import backups_in, fresh_place, prune
from matchlib.archive.database import database_of
from matchlib.archive.upgrade import copy_if_due
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job
from tests.cli_shop import SMALL, fails, json_of, refused, run
from tests.faults.making import panels
from tests.faults.places import fresh_database
from tests.test_archive_bundle import everything, fill

pytestmark = pytest.mark.usefixtures("home")


@pytest.fixture
def server() -> Iterator[str]:
    """Yield the address of an empty database on the test server."""
    yield from fresh_database()


def yesterday(path: Path) -> None:
    then = time.time() - 86400
    os.utime(path, (then, then))


def test_the_first_change_of_a_day_copies_what_was_left(tmp_path: Path) -> None:
    path = tmp_path / "panels.db"
    with Archive.open(path, create=True) as archive:
        fill(archive)
        assert backups_of(archive.label) == (), "nothing of an earlier day is there yet"
        before = everything(archive)
        yesterday(path)
        archive.panels()
        assert backups_of(archive.label) == (), "looking is no change"
        archive.amend("P1", note="today")
        archive.amend("P1", note="again today")
        (one,) = backups_of(archive.label)
        assert one.why == "daily"
    with Archive.open(one.path, read_only=True) as copy:
        assert everything(copy) == before
        assert "Customer Eight" in {p.customer for p in copy.panels()}


def test_what_was_copied_or_changed_today_is_not_copied_again(tmp_path: Path) -> None:
    path, folder = tmp_path / "panels.db", tmp_path / "panels.db-backups"

    def look() -> None:
        copy_if_due(database_of(path, read_only=False))

    with Archive.open(path, create=True) as archive:
        fill(archive)
    yesterday(path)
    log = Path(f"{path}-wal")
    log.write_text("a change of today that is not folded in yet")
    look()
    assert backups_in(folder) == ()
    log.unlink()
    for _ in range(2):
        look()
        assert [b.why for b in backups_in(folder)] == ["daily"]
    (one,) = backups_in(folder)
    earlier = one.at - dt.timedelta(days=3)
    one.path.rename(folder / f"{earlier:%Y-%m-%d %H%M%S} daily.db")
    look()
    assert len(backups_in(folder)) == 2, "a copy from before the last change is none of it"


def test_a_backup_that_fails_stops_no_change(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "panels.db"
    Archive.open(path, create=True).close()
    yesterday(path)
    Path(f"{path}-backups").write_text("in the way")
    with Archive.open(path) as archive:
        archive.add(panels(1, 3))
        assert len(archive) == 3
    assert "No backup of" in caplog.text


@pytest.mark.postgres
def test_so_does_that_of_an_archive_on_a_server(server: str) -> None:
    then = dt.datetime.now(dt.UTC) - dt.timedelta(days=1, hours=2)
    with Archive.open(server, create=True, clock=lambda: then) as archive:
        fill(archive)
        before = everything(archive)
    with Archive.open(server) as archive:
        assert backups_of(server) == ()
        archive.amend("P1", note="today")
        archive.amend("P1", note="again today")
    with Archive.open(server) as archive:
        archive.amend("P1", note="from another page")
    (one,) = backups_of(server)
    assert one.why == "daily"
    with Archive.open(one.path, read_only=True) as copy:
        assert everything(copy) == before


@pytest.mark.postgres
def test_a_backup_that_cannot_be_made_stops_no_change_on_a_server(
    server: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    then = dt.datetime.now(dt.UTC) - dt.timedelta(days=3)
    with Archive.open(server, create=True, clock=lambda: then) as archive:
        fill(archive)
    (tmp_path / "data").write_text("in the way")
    with Archive.open(server) as archive:
        archive.amend("P1", note="today")
        assert archive.panel("P1").note == "today"
    assert "No backup of" in caplog.text


def test_ten_are_kept(tmp_path: Path) -> None:
    (tmp_path / "notes.db").write_text("not one of ours")
    made = []
    for _ in range(13):
        made.append(fresh_place(tmp_path, "by hand"))
        made[-1].write_text("")
    assert [b.path for b in backups_in(tmp_path)] == made[::-1], "made within one second"
    prune(tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in made[3:]} | {"notes.db"}


def test_a_backup_restores_all_of_it(place: str, tmp_path: Path) -> None:
    with Archive.open(place, create=True) as archive:
        fill(archive)
        archive.keep_job(Job("tank", "Ann Example"))
        before = everything(archive), archive.jobs()
        copy = back_up(archive)
        other = back_up(archive, to=tmp_path / "copy.db")
        archive.add(panels(5, 2, name="later"))
        archive.keep_job(Job("door"))
    seen = restore(place, copy, dry_run=True)
    assert (seen.newer, seen.current.panels - seen.backup.panels) == (2, 2)  # type: ignore[union-attr]
    with pytest.raises(ArchiveError, match="2 changes made here since"):
        restore(place, copy)
    with Archive.open(place) as archive:
        assert len(archive.jobs()) == 2, "a restoring that was refused changed something"
    done = restore(place, copy, over_newer=True)
    with Archive.open(place) as archive:
        assert (everything(archive), archive.jobs()) == before
        assert archive.check() == ()
        assert archive.keep_job(Job("next")).number == 3, "a number was given twice"
        archive.add(panels(6, 1, name="next"))
        assert backups_of(archive.label)[0].why == "before restore"
    with Archive.open(done.kept, read_only=True) as given_up:  # type: ignore[arg-type]
        assert len(given_up.jobs()) == 2
    restore(tmp_path / "new.db", other)
    with Archive.open(tmp_path / "new.db") as archive:
        assert everything(archive) == before[0]


def test_a_damaged_archive_gives_way_and_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "panels.db"
    with Archive.open(path, create=True) as archive:
        fill(archive)
        before = everything(archive)
        copy = back_up(archive)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert "cut short" in restore(path, copy, dry_run=True).damage
    done = restore(path, copy)
    assert done.kept is not None
    assert done.kept.read_bytes() == whole[: len(whole) // 2]
    with Archive.open(path) as archive:
        assert everything(archive) == before
    bad = tmp_path / "bad.db"
    bad.write_bytes(whole[:5000] + b"\xff" * 9000 + whole[14000:])
    for wrong in (bad, tmp_path / "none.db", path):
        with pytest.raises(MatchlibError):
            restore(path, wrong)
        with pytest.raises(MatchlibError):
            restore(tmp_path / "fresh.db", wrong if wrong != path else bad)
    assert not (tmp_path / "fresh.db").exists()
    with Archive.open(path) as archive:
        assert everything(archive) == before


def test_the_commands_back_up_list_and_restore(tmp_path: Path) -> None:
    (tmp_path / "panels.csv").write_text(SMALL)
    assert run("import", "panels.csv", cwd=tmp_path).exit_code == 0
    assert "no backup yet" in run("backup", "--list", cwd=tmp_path).stdout
    assert "no such backup" in refused("restore", "--from", "last", cwd=tmp_path)
    made = Path(json_of("backup", cwd=tmp_path)["file"])
    assert made.is_file()
    assert [b["why"] for b in json_of("backup", "--list", cwd=tmp_path)] == ["by hand"]
    assert "by hand" in run("backup", "--list", cwd=tmp_path).stdout
    assert run("remove", "P1", cwd=tmp_path).exit_code == 0
    seen = run("restore", "--from", "last", "--dry-run", cwd=tmp_path).stdout
    assert "1 change made here" in seen
    assert "6 panels" in seen
    unasked = run("restore", "--from", "last", cwd=tmp_path)
    assert (unasked.exit_code, "nobody could be asked" in unasked.stderr) == (1, True)
    newer = run("restore", "--from", 1, "--yes", cwd=tmp_path)
    assert (newer.exit_code, "is newer" in newer.stderr) == (1, True)
    done = json_of("restore", "--from", 1, "--yes", "--over-newer", cwd=tmp_path)
    assert done["restored"] is True
    with Archive.open(tmp_path / "panels.db") as archive:
        assert archive.panel("P1").code in {p.code for p in archive.panels()}
    assert run("backup", "all.zip", cwd=tmp_path).exit_code == 0
    (tmp_path / "panels.db").write_bytes(b"")
    assert len(json_of("backup", "--list", cwd=tmp_path)) == 2, "a damaged archive has backups too"
    assert run("restore", "--from", 1, "--yes", cwd=tmp_path).exit_code == 0
    again = ("restore", "--from", "all.zip", "--yes", "--archive", "again.db")
    assert run(*again, cwd=tmp_path).exit_code == 0
    assert json_of("check", "--archive", "again.db", cwd=tmp_path)["panels"] == 6
    assert "name a panel" in fails(run("restore", cwd=tmp_path), 2)
    shutil.rmtree(made.parent)
    assert "from itself" in refused("restore", "--from", "panels.db", "--yes", cwd=tmp_path)
