"""An archive of every earlier schema version opens with all it held."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
import threading
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from matchlib.archive import Archive, apart, backups_of, schema
from matchlib.archive.database import Database, database_of
from matchlib.archive.upgrade import migrate
from matchlib.domain import Panel
from matchlib.errors import ArchiveError
from tests.faults.making import panels
from tests.old_records import panel_record, reading_record

BATCH = panels(6, 40, plain=True)
# Version 1 had no place for these.
FIRST = tuple(
    Panel.of(
        p.code,
        p.recipe,
        p.readings,
        **{n: getattr(p, n) for n in ("date", "sprayer", "lot", "note", "extra")},
    )
    for p in BATCH
)


def earlier(place: str, version: str, batch: tuple[Panel, ...]) -> None:
    """Make an archive of an earlier version by its own steps, and fill it by plain SQL."""
    if "://" not in place:
        raw = sqlite3.connect(place)
        raw.execute("PRAGMA journal_mode = WAL")
        raw.close()
    database = database_of(place, read_only=False)
    _steps(database, version)
    with database.write() as connection:
        tables = sa.MetaData()
        tables.reflect(connection)
        _insert(connection, tables, "imports", file="old.csv", at="2020-01-01T10:00:00+00:00",
                who="Bo", readings=0, id=1)  # fmt: skip
        for number, panel in enumerate(batch, 1):
            columns = tables.tables["panels"].c.keys()
            record = {k: v for k, v in panel_record(panel).items() if k in columns}
            _insert(connection, tables, "panels", id=number, import_id=1, **record)
            for nth, reading in enumerate(panel.readings):
                _insert(connection, tables, "readings", panel_id=number, import_id=1, repeat=nth,
                        **reading_record(reading))  # fmt: skip
        _insert(connection, tables, "settings", key="limits", value='{"coats":5}')
        for kind in ("ground", "colour"):
            blends = [b for p in batch if (b := getattr(p.recipe, kind)) is not None]
            found = {name.casefold(): name for blend in blends for name in blend.names}
            for key, name in found.items():
                _insert(connection, tables, "names", kind=kind, key=key, spelling=name)
    database.close()


def _steps(database: Database, version: str) -> None:
    from matchlib.archive.upgrade import _run_steps  # what opening runs

    with database.write() as connection:
        _run_steps(connection, version)


def _insert(connection: sa.Connection, tables: sa.MetaData, table: str, **values: object) -> None:
    connection.execute(tables.tables[table].insert().values(**values))


@pytest.mark.parametrize("version", schema.VERSIONS[:-1])
def test_an_earlier_archive_opens_with_its_panels(place: str, version: str) -> None:
    batch = FIRST if version == "0001" else BATCH
    earlier(place, version, batch)
    with Archive.open(place) as archive:
        assert archive.panels() == batch
        assert archive.setting("limits") == {"coats": 5}
        if version == "0001":
            assert archive.check() == (), "digests were not filled in"
            assert {(c.action, c.who) for c in archive.history()} == {("added", "Bo")}
            assert len(archive.history()) == len(batch)
            with Archive.open(f"{place}.new" if "://" not in place else place, create=True) as new:
                new.add(batch)
                assert new.content_hash() == archive.content_hash()
        archive.attach("P1", "a.jpg", b"x")
        archive.amend("P1", temperature=20.0)
        assert archive.panel("P1").temperature == 20.0


def test_what_was_changed_before_the_stages_can_still_be_undone(place: str) -> None:
    earlier(place, "0003", BATCH)
    database = database_of(place, read_only=False)
    was, now = BATCH[0], BATCH[0].having(lot="L-99", note="turned")
    old, new = panel_record(was), panel_record(now)
    fields = {"lot", "note"}
    with database.write() as connection:
        tables = sa.MetaData()
        tables.reflect(connection)
        p = tables.tables["panels"]
        connection.execute(p.update().where(p.c.id == 1).values({k: new[k] for k in fields}))
        connection.execute(p.update().where(p.c.id == 2).values(deleted=True))
        at = "2021-01-01T10:00:00+00:00"
        _insert(connection, tables, "history", id=7, panel_id=1, at=at, who="Ines", why="misread",
                action="amended", before=json.dumps({k: old[k] for k in fields}),
                after=json.dumps({k: new[k] for k in fields}))  # fmt: skip
        _insert(connection, tables, "history", id=8, panel_id=2, at=at, who="Bo", why="",
                action="deleted", before='{"deleted":false}', after='{"deleted":true}')  # fmt: skip
        readings = [reading_record(r) for r in BATCH[2].readings]
        _insert(connection, tables, "history", id=9, panel_id=3, at=at, who="Bo", why="",
                action="readings added", before=json.dumps({"readings": readings[:-1]}),
                after=json.dumps({"readings": readings}))  # fmt: skip
        _insert(connection, tables, "attachments", panel_id=1, name="a.jpg", at=at, who="",
                sha256=hashlib.sha256(b"x").hexdigest(), data=b"x")  # fmt: skip
    database.close()
    with Archive.open(place) as archive:
        assert archive.check() == ()
        assert archive.panel(was.code) == now
        assert [c.number for c in archive.history()] == [7, 8, 9]
        assert "lot: " in archive.history(was.code)[0].words
        assert archive.deleted() == (BATCH[1].code,)
        assert archive.attachments(was.code)[0].data == b"x"
        for number in (9, 8, 7):
            archive.undo(number)
        assert archive.panels() == (*BATCH[:2], BATCH[2].having(readings=BATCH[2].readings[:-1]),
                                    *BATCH[3:])  # fmt: skip
        assert archive.names("ground")[:1] == (BATCH[0].recipe.ground.names[0],)
        assert set(archive.names("sprayer")) == {p.sprayer for p in BATCH if p.sprayer}
        assert archive.check() == ()


@pytest.mark.parametrize("version", schema.VERSIONS[:-1])
def test_a_copy_is_made_before_migrating(tmp_path: Path, version: str) -> None:
    path = tmp_path / "panels.db"
    earlier(str(path), version, FIRST)
    Archive.open(path).close()
    (copy,) = tmp_path.glob("panels.db-backups/*.db")
    assert f"before upgrade of {version}" in copy.name
    raw = sqlite3.connect(copy)
    assert raw.execute("SELECT version_num FROM alembic_version").fetchall() == [(version,)]
    assert raw.execute("SELECT count(*) FROM panels").fetchone() == (len(FIRST),)
    raw.close()
    Archive.open(path).close()
    assert len(list(tmp_path.glob("panels.db-backups/*.db"))) == 1, "a current archive was copied"


@pytest.mark.parametrize("version", schema.VERSIONS[:-1])
def test_the_copy_made_before_holds_all_of_it(
    place: str, version: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))  # of an archive on a server
    earlier(place, version, FIRST)
    with Archive.open(place) as archive:
        panels = archive.panels()
    (copy,) = backups_of(place)
    assert copy.why == f"before upgrade of {version}"
    with apart(copy.path) as before:
        assert before.panels() == panels


def test_the_steps_arrive_at_the_tables_of_a_new_archive(place: str) -> None:
    database = database_of(place, read_only=False)
    if database.path is not None:
        sqlite3.connect(place).close()
    _steps(database, "head")
    with database.read() as connection:
        # SQLite gives an empty text as a default back in another form; there the shape below tells.
        defaults = database.path is None
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": defaults}
        )
        assert compare_metadata(context, schema.metadata) == []
        migrated = sorted(_shape(connection))
    database.close()
    if database.path is not None:
        new = f"{place}.new"
        Archive.open(new, create=True).close()
        with database_of(new, read_only=True).read() as connection:
            assert sorted(_shape(connection)) == migrated


def _shape(connection: sa.Connection) -> list[tuple[str, str]]:
    seer = sa.inspect(connection)
    shape = []
    for table in seer.get_table_names():
        shape += [(table, repr(sorted(map(repr, seer.get_columns(table)))))]
        for part in ("get_unique_constraints", "get_foreign_keys", "get_indexes"):
            shape += [
                (table, re.sub(" at 0x[0-9a-f]+", "", repr(item)))
                for item in getattr(seer, part)(table)
            ]
    return shape


def test_a_step_that_fails_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "panels.db"
    earlier(str(path), "0001", FIRST)
    raw = sqlite3.connect(path)
    # Version 3 makes this table, so its step will fail after that of version 2 has gone through.
    raw.execute("CREATE TABLE ignored (x TEXT)")
    raw.close()
    with pytest.raises(ArchiveError):
        Archive.open(path)
    raw = sqlite3.connect(path)
    assert raw.execute("SELECT version_num FROM alembic_version").fetchall() == [("0001",)]
    assert "deleted" not in [row[1] for row in raw.execute("PRAGMA table_info(panels)")]
    raw.execute("DROP TABLE ignored")
    raw.close()
    with Archive.open(path) as archive:
        assert archive.panels() == FIRST


def test_two_that_open_an_earlier_archive_at_once_both_succeed(tmp_path: Path) -> None:
    path = tmp_path / "panels.db"
    earlier(str(path), "0001", FIRST)
    together = threading.Barrier(2)
    found = []

    def work() -> None:
        database = database_of(path, read_only=False)
        together.wait()
        migrate(database, "0001")
        database.close()
        with Archive.open(path) as archive:
            found.append(archive.panels())

    # Alembic's own context is one a process; the second process of a shop is a thread here only
    # as far as the database's lock is concerned.
    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [FIRST, FIRST]


def test_a_newer_or_read_only_earlier_archive_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "panels.db"
    earlier(str(path), "0001", FIRST)
    with pytest.raises(ArchiveError, match="earlier version and is open for reading only"):
        Archive.open(path, read_only=True)
    raw = sqlite3.connect(path)
    raw.execute("UPDATE alembic_version SET version_num = '0099'")
    raw.commit()
    raw.close()
    with pytest.raises(ArchiveError, match=r"newer version of this tool.*0099.*update"):
        Archive.open(path)
