"""A history that was spoiled or written by hand: what an undoing would refuse, the check says."""

from __future__ import annotations

import contextlib
import dataclasses
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchlib.archive import Archive, export_bundle, history, salvage, schema
from matchlib.archive.checking import content_faults
from matchlib.archive.naming import rename
from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Reading, Recipe
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job

RECIPE = Recipe(Ground.parse("silver"), Colour.parse("teal"), CoatSchedule.of(4, "6:1"))
LAB = Reading(lab=(50.1, -20.25, -10.0))


def make(place: str | Path) -> Archive:
    """An archive with changes of every kind, each of which can be undone."""
    archive = Archive.open(place, create=True)
    archive.add([Panel.of("A1", RECIPE, (LAB,)), Panel.of("A2", RECIPE, (LAB,))], file="b.csv")
    archive.amend("A1", note="one", customer="Customer Nine")
    archive.amend("A1", readings=(LAB, LAB))
    archive.delete("A2")
    job = archive.keep_job(Job("tank"))
    archive.keep_job(dataclasses.replace(job, notes="by Friday"))
    archive.ignore("drift|A1|")
    archive.unignore("drift|A1|")
    archive.ignore("late|A1|")
    rename(archive, "ground", "silver", "pewter")
    return archive


def undo_all(archive: Archive) -> list[str]:
    """Undo everything, the last change first; tell what the check says then, and keep nothing."""
    with archive.database.engine.connect() as connection:
        history.undo(connection, range(1, 11), archive.stamp("", ""))
        return content_faults(connection)  # closed without a commit


@pytest.fixture
def archive(place: str) -> Iterator[Archive]:
    with make(place) as archive:
        yield archive


NO_JSON = ["", "{", "[" * 100_000, '{"note":' + "9" * 5000 + "}"]
NO_FIELDS = ["null", "[]", "3", "{}", '{"":0}', '{"never":"written"}']
NO_PANELS = [
    *('{"deleted":null}', '{"deleted":"yes"}', '{"deleted":1}', '{"note":5}', '{"code":""}'),
    *('{"readings":3}', '{"readings":[[0,{"lab":[1,2,3]}]]}', '{"readings":[["1",{}]]}'),
    *('{"stage 99 sprayer":"x"}', '{"stage 0 lot":"x"}', '{"stage ' + "9" * 5000 + ' lot":"x"}'),
]
NO_FINDINGS = [
    *('{"finding":[1],"aside":false}', '{"finding":"q","aside":"x"}', '{"finding":"q"}'),
    '{"finding":"' + "k" * 5000 + '","aside":true}',
    '{"finding":"another","aside":false}',
]
NO_OTHERS = ['{"kind":"moon"}', '{"kind":null}', '{"spellings":[1]}', '{"state":"moon"}']


SAID_ANOTHER_WAY = ('{"note":5}', '{"spellings":[1]}')


@pytest.mark.parametrize("side", ["before", "after"])
def test_what_an_undoing_would_refuse_the_check_says(archive: Archive, side: str) -> None:
    assert archive.check() == ()
    t = schema.history_items
    with archive.database.read() as connection:
        rows = connection.execute(t.select().order_by(t.c.id)).mappings().all()
    one_each = {row["change_id"]: row for row in rows}
    for change in (1, 3, 4, 6, 9, 10):
        row = one_each[change]
        kinds = {"panel": NO_PANELS, "finding": NO_FINDINGS}.get(row["kind"], NO_OTHERS)
        for text in [*NO_JSON, *NO_FIELDS, *kinds]:
            own = t.update().where(t.c.id == row["id"])
            with archive.database.write() as connection:
                connection.execute(own.values({side: text}))
            if archive.check():
                with contextlib.suppress(MatchlibError):
                    undo_all(archive)
            else:
                assert text in SAID_ANOTHER_WAY, (row, text)
                assert undo_all(archive) == []
            with archive.database.write() as connection:
                connection.execute(own.values({side: row[side]}))
    assert archive.check() == ()
    assert undo_all(archive) == []


@pytest.mark.parametrize("change", [{"subject": 2**31 - 1}, {"kind": "moon"}])
def test_an_entry_about_nothing_is_found(archive: Archive, change: dict[str, object]) -> None:
    t = schema.history_items
    number = archive.amend("A1", note="two") or 0
    with archive.database.write() as connection:
        connection.execute(t.update().where(t.c.change_id == number).values(change))
    assert any("history" in fault for fault in archive.check())
    assert archive.history()
    with pytest.raises(ArchiveError):
        archive.undo(number)


SPOILED = {
    "a number that is too large": "UPDATE history SET id = 4611686018427387904 WHERE id = 5",
    "a number below one": "UPDATE history SET id = -1 WHERE id = 5",
    "a time that is none": "UPDATE history SET at = 'noon'",
    "a time that no clock shows": "UPDATE history SET at = '9999-12-31T23:59:59-12:00'",
    "bytes for a time": "UPDATE history SET at = x'ff'",
    "bytes for a name": "UPDATE history SET who = x'ff'",
    "no text": "UPDATE history SET why = CAST(x'eda080' AS TEXT)",
    "bytes for fields": "UPDATE history_items SET before = CAST(before AS BLOB)",
    "bytes for a file": "UPDATE imports SET file = x'ff'",
    "text for bytes": "UPDATE attachments SET data = 'text'",
    "a key that is too long": "UPDATE ignored SET key = hex(zeroblob(300))",
    "a finding that is gone": "DELETE FROM ignored",
    "a code that is no text": "UPDATE panels SET code = CAST(x'eda080' AS TEXT) WHERE id = 1",
    "a panel neither there nor not": "UPDATE panels SET deleted = 7",
    "a job's version": "UPDATE jobs SET version = 'x'",
}


@pytest.mark.parametrize("spoiling", SPOILED.values(), ids=SPOILED)
def test_what_no_column_can_hold_is_found_and_salvaged(tmp_path: Path, spoiling: str) -> None:
    path = tmp_path / "a.db"
    with make(path) as archive:
        archive.attach("A1", "a.jpg", b"as it was")
    raw = sqlite3.connect(path)
    raw.execute(spoiling)
    # What belongs to a change goes with its number.
    new = {row[0] for row in raw.execute("SELECT id FROM history")} - set(range(1, 11))
    for number in new:
        raw.execute("UPDATE history_items SET change_id = ? WHERE change_id = 5", (number,))
    raw.commit()
    raw.close()
    with Archive.open(path) as archive:
        assert archive.check(), spoiling
    assert salvage(path, tmp_path / "saved.db").panels == 2
    with Archive.open(tmp_path / "saved.db") as saved:
        assert saved.check() == ()
        assert saved.panel("A1").note == "one"


def test_no_backup_of_what_is_damaged_and_the_words_say_why(tmp_path: Path) -> None:
    with make(tmp_path / "a.db") as archive:
        with archive.database.write() as connection:
            connection.exec_driver_sql("UPDATE history SET why = CAST(x'eda080' AS TEXT)")
        with pytest.raises(ArchiveError, match=r"a\.db: This archive is damaged"):
            export_bundle(archive, tmp_path / "b.zip")
    assert {p.suffix for p in tmp_path.iterdir()} <= {".db", ".db-backups"}
