"""Of a damaged archive every panel that can be read is saved, and the rest is named."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest

from matchlib.archive import Archive, back_up, salvage
from matchlib.archive.salvaging import Salvaged
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job
from tests.cli_shop import refused, run
from tests.faults.making import panels, seeded
from tests.test_archive_bundle import everything, fill


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    path = tmp_path / "panels.db"
    with Archive.open(path, create=True) as archive:
        fill(archive)
        archive.keep_job(Job("tank", "Ann Example", panels=("P1", "P6")))
    return path


def spoil(path: Path, *statements: str) -> None:
    raw = sqlite3.connect(path)
    for statement in statements:
        raw.execute(statement)
    raw.commit()
    raw.close()


def test_of_a_whole_archive_nothing_is_lost(shop: Path, tmp_path: Path) -> None:
    done = salvage(shop, tmp_path / "new.db")
    assert (done.panels, done.lost) == (30, ())
    with Archive.open(shop) as old, Archive.open(tmp_path / "new.db") as new:
        assert everything(new) == everything(old)
        assert new.jobs() == old.jobs()


def test_what_is_spoilt_is_named_and_all_else_saved(shop: Path, tmp_path: Path) -> None:
    with Archive.open(shop) as archive:
        before = {p.code: p for p in archive.panels(include_deleted=True)}
    spoil(
        shop,
        "UPDATE panels SET data = '{' WHERE code = 'P6'",
        "UPDATE readings SET data = replace(data, '1', '2') WHERE id = "
        "(SELECT min(id) FROM readings WHERE panel_id = (SELECT id FROM panels WHERE code = 'P7'))",
        "DELETE FROM imports WHERE id = 1",
        "UPDATE history SET at = 'then' WHERE id = 2",
        "UPDATE settings SET value = '{'",
        "UPDATE history_items SET after = '{' WHERE id = "
        "(SELECT max(id) FROM history_items WHERE kind = 'panel')",
    )
    done = salvage(shop, tmp_path / "new.db", who="Kim")
    text = done.text
    assert done.panels == 29
    assert "Panel P6 could not be read." in text
    assert "of which something is left" not in text, "it is named already"
    assert "Panel P7 was saved with" in text
    assert "without the panels P6" in text
    assert "setting limits was lost" in text
    with Archive.open(tmp_path / "new.db") as archive:
        assert archive.check() == ()
        found = {p.code: p for p in archive.panels(include_deleted=True)}
        assert {c: p for c, p in found.items() if c != "P7"} == {
            c: p for c, p in before.items() if c not in ("P6", "P7")
        }
        assert len(found["P7"].readings) == len(before["P7"].readings) - 1
        assert archive.history()[-1].action == "salvaged"
        archive.amend("P7", note="goes on")


@pytest.mark.parametrize("seed", range(4))
def test_torn_pages_lose_what_is_on_them_alone(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "panels.db"
    batch = panels(seed, 200)
    with Archive.open(path, create=True) as archive:
        archive.add(batch)
    whole = bytearray(path.read_bytes())
    rng = seeded(seed)
    pages = len(whole) // 4096
    for page in rng.sample(range(pages // 2, pages), 3):
        whole[page * 4096 : (page + 1) * 4096] = rng.randbytes(4096)
    if seed % 2:
        whole = whole[: -4096 * 5]
    path.write_bytes(whole)
    new = tmp_path / "new.db"
    done = salvage(path, new)
    sprayed = {p.code: p for p in batch}
    with Archive.open(new) as archive:
        assert archive.check() == ()
        found = archive.panels(include_deleted=True)
        exact = sum(p == sprayed[p.code] for p in found)
        named = sum(p != sprayed[p.code] and p.code in done.text for p in found)
        assert exact + named == len(found), "a panel changed without a word"
        assert exact >= 100


def test_what_cannot_be_saved_is_said(shop: Path, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="there is one already"):
        salvage(shop, shop)
    for name, data in {"text.db": b"words", "empty.db": b""}.items():
        (tmp_path / name).write_bytes(data)
        with pytest.raises(MatchlibError, match="What to do"):
            salvage(tmp_path / name, tmp_path / "new.db")
    with pytest.raises(MatchlibError, match="cannot be read"):
        salvage(tmp_path / "none.db", tmp_path / "new.db")
    os.mkfifo(tmp_path / "pipe")
    for endless in ("/dev/zero", tmp_path / "pipe"):
        with pytest.raises(ArchiveError, match="a device"):
            salvage(endless, tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()
    output = run("salvage", "panels.db", "saved.db", cwd=tmp_path)
    assert (output.exit_code, output.stdout) == (0, "30 panels were saved.\n")
    assert Salvaged(1, ()).text == "1 panel was saved."
    assert "already" in refused("salvage", "panels.db", "saved.db", cwd=tmp_path)
    with Archive.open(tmp_path / "saved.db") as archive:
        assert back_up(archive).exists()
