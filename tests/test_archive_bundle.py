"""A backup restores exactly, tells of its damage by name, and never unpacks what it should not."""

from __future__ import annotations

import json
import shutil
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from matchlib.archive import Archive, export_bundle, import_bundle
from matchlib.errors import ArchiveError, FileError
from matchlib.readings import read_file
from tests.faults.making import panels


def fill(archive: Archive) -> None:
    """Put something of every kind into an archive."""
    archive.add(panels(8, 25), who="Bo", file="book.csv")
    archive.add(panels(9, 5, name="Q"), who="Ines")
    archive.amend("P1", customer="Customer Eight", note="moved", who="Ines")
    archive.delete("P2", who="Bo", why="dropped")
    number = archive.amend("P3", lot="L-9")
    archive.undo(number)
    archive.attach("P4", "front side.jpg", bytes(range(256)) * 40, who="Bo")
    archive.attach("P5", "front side.jpg", b"another")
    archive.set_setting("limits", {"coats": 5})
    archive.ignore("drift:2020", who="Bo", why="a new lamp")


def everything(archive: Archive) -> tuple:
    """Return all that can be seen of an archive."""
    codes = [p.code for p in archive.panels(include_deleted=True)]
    return (
        archive.panels(include_deleted=True),
        archive.deleted(),
        archive.history(),
        archive.content_hash(),
        [archive.attachments(code) for code in codes],
        archive.setting("limits"),
        archive.ignored(),
        archive.names("ground"),
        archive.names("colour"),
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with an archive of something of every kind, and its backup."""
    folder = tmp_path_factory.mktemp("made")
    with Archive.open(folder / "source.db", create=True) as archive:
        fill(archive)
        export_bundle(archive, folder / "backup.zip", customers=True)
    return folder


@pytest.fixture
def bundle(made: Path, tmp_path: Path) -> Path:
    """Return a backup in a folder of its own, beside its archive."""
    return shutil.copytree(made, tmp_path, dirs_exist_ok=True) / "backup.zip"


def test_a_backup_restores_exactly(place: str, bundle: Path, tmp_path: Path) -> None:
    with (
        Archive.open(tmp_path / "source.db") as source,
        Archive.open(place, create=True) as archive,
    ):
        assert import_bundle(bundle, archive) == 30
        assert everything(archive) == everything(source)
        assert archive.check() == ()
        # Life goes on with numbers that follow those restored.
        archive.add(panels(10, 3, name="R"), who="Bo")
        archive.amend("R1", note="x")
        archive.attach("R1", "a.jpg", b"x")
        assert len(archive) == 32
        again = export_bundle(archive, tmp_path / "again.zip", customers=True)
    with Archive.open(tmp_path / "third.db", create=True) as third:
        assert import_bundle(again, third) == 33


def test_the_backup_of_a_restored_archive_is_the_same_bytes(bundle: Path, tmp_path: Path) -> None:
    with Archive.open(tmp_path / "copy.db", create=True) as archive:
        import_bundle(bundle, archive)
        again = export_bundle(archive, tmp_path / "again.zip", customers=True)
    assert again.read_bytes() == bundle.read_bytes()


def test_its_table_and_cgats_are_for_any_program(bundle: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(bundle) as opened:
        opened.extractall(tmp_path / "out")
    with Archive.open(tmp_path / "source.db") as source:
        content = source.content_hash()
        readings = {p.code: p.readings for p in source.panels()}
    table = tmp_path / "out" / "panels.csv"
    with Archive.open(tmp_path / "from table.db", create=True) as archive:
        archive.add(read_file(table).panels)
        assert archive.content_hash() == content
    cgats = read_file(tmp_path / "out" / "readings.cgats").panels
    assert {p.code: p.readings for p in cgats} == readings


def test_customers_stay_at_home_if_asked(bundle: Path, tmp_path: Path) -> None:
    with Archive.open(tmp_path / "source.db") as archive:
        archive.amend("P4", customer="Customer Eight")  # of this change nothing else is left
        private = export_bundle(archive, tmp_path / "private.zip", customers=False)
        content = archive.content_hash()

    def says(path: Path, text: bytes) -> bool:
        with zipfile.ZipFile(path) as opened:
            return any(text in opened.read(name) for name in opened.namelist())

    assert says(bundle, b"Customer Eight")
    assert says(bundle, b"Customer Seven")
    assert not says(private, b"Customer Eight")
    assert not says(private, b"Customer Seven")
    with Archive.open(tmp_path / "other.db", create=True) as archive:
        import_bundle(private, archive)
        assert archive.content_hash() == content
        assert {p.customer for p in archive.panels(include_deleted=True)} == {""}


def rewrite(bundle: Path, out: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """Write the bundle again with its members changed."""
    with zipfile.ZipFile(bundle) as opened:
        members = {name: opened.read(name) for name in opened.namelist()}
    change(members)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, data in members.items():
            opened.writestr(name, data)
    return out


def other_letter(members: dict[str, bytes], name: str) -> None:
    """Change one byte of a member."""
    data = bytearray(members[name])
    data[len(data) // 2] ^= 1
    members[name] = bytes(data)


def _bomb(members: dict[str, bytes]) -> None:
    name = "records/settings.jsonl"
    members[name] = b" " * 20_000_000


def _consistent_lie(members: dict[str, bytes]) -> None:
    # A panel's recipe changed and the manifest's hashes made to fit: the content hash tells.
    import hashlib

    name = "records/panels.jsonl"
    members[name] = members[name].replace(b'\\"sprayer\\":\\"Bo\\"', b'\\"sprayer\\":\\"Xy\\"', 1)
    manifest = json.loads(members["manifest.json"])
    manifest["members"][name]["sha256"] = hashlib.sha256(members[name]).hexdigest()
    members["manifest.json"] = json.dumps(manifest).encode()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda m: other_letter(m, "records/readings.jsonl"), "readings.jsonl is damaged"),
        (lambda m: other_letter(m, "panels.csv"), "panels.csv is damaged"),
        (lambda m: other_letter(m, "readings.cgats"), "readings.cgats is damaged"),
        (
            lambda m: other_letter(m, next(n for n in m if n.startswith("attachments/"))),
            "front side.jpg is damaged",
        ),
        (lambda m: m.pop("records/history.jsonl"), "history.jsonl is missing"),
        (lambda m: m.pop("manifest.json"), "not a backup"),
        (lambda m: m.update({"manifest.json": b"{"}), "manifest.json cannot be read"),
        (lambda m: m.update({"manifest.json": b"[]"}), "manifest.json cannot be read"),
        (lambda m: m.update({"more.txt": b"x"}), "more.txt is not in the manifest"),
        (lambda m: m.update({"../../evil.txt": b"x"}), "leave the folder"),
        (lambda m: m.update({"/evil.txt": b"x"}), "leave the folder"),
        (lambda m: m.update({"C:/evil.txt": b"x"}), "leave the folder"),
        (_bomb, "settings.jsonl has another size"),
        (_consistent_lie, "not what was written last"),
    ],
)
def test_damage_is_named_and_nothing_is_restored(
    bundle: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None], words: str
) -> None:
    spoiled = rewrite(bundle, tmp_path / "spoiled.zip", change)
    with Archive.open(tmp_path / "copy.db", create=True) as archive:
        with pytest.raises(ArchiveError, match=words):
            import_bundle(spoiled, archive)
        assert archive.panels(include_deleted=True) == ()
        assert archive.history() == ()
        assert archive.names("ground") == ()
    assert not (tmp_path / "evil.txt").exists()


def _record(members: dict[str, bytes], name: str, change: Callable[[bytes], bytes]) -> None:
    # The first line of a table changed, and the manifest made to fit.
    import hashlib

    name = f"records/{name}.jsonl"
    first, rest = members[name].split(b"\n", 1)
    members[name] = change(first) + b"\n" + rest
    manifest = json.loads(members["manifest.json"])
    digest = hashlib.sha256(members[name]).hexdigest()
    manifest["members"][name] = {"sha256": digest, "bytes": len(members[name])}
    members["manifest.json"] = json.dumps(manifest).encode()


def _field(name: str, value: object) -> Callable[[bytes], bytes]:
    return lambda line: json.dumps({**json.loads(line), name: value}).encode()


@pytest.mark.parametrize(
    "change",
    [
        lambda m: m.update({"manifest.json": b"[" * 100_000}),
        lambda m: _record(m, "settings", lambda _: b"[" * 100_000),
        lambda m: _record(m, "settings", _field("value", "{")),
        lambda m: _record(m, "settings", _field("value", {"a": 1})),
        lambda m: _record(m, "history", _field("id", 10**30)),
        lambda m: _record(m, "history", _field("at", "soon")),
        lambda m: _record(m, "history_items", _field("after", "[" * 100_000)),
        lambda m: _record(m, "history_items", _field("subject", "P1")),
        lambda m: _record(m, "panels", _field("deleted", "perhaps")),
        lambda m: _record(m, "panels", _field("code", None)),
        lambda m: _record(m, "names", _field("data", "3")),
    ],
)
def test_a_crafted_bundle_ends_in_words(
    place: str, bundle: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> None:
    spoiled = rewrite(bundle, tmp_path / "spoiled.zip", change)
    with Archive.open(place, create=True) as archive:
        with pytest.raises(ArchiveError):
            import_bundle(spoiled, archive)
        assert archive.panels(include_deleted=True) == ()
        assert archive.history() == ()


def test_a_member_that_lies_about_its_size_is_not_unpacked(bundle: Path, tmp_path: Path) -> None:
    name = "records/settings.jsonl"
    with zipfile.ZipFile(bundle) as opened:
        honest = opened.getinfo(name).file_size
    spoiled = rewrite(bundle, tmp_path / "spoiled.zip", lambda m: m.update({name: b" " * 10**7}))
    data = bytearray(spoiled.read_bytes())
    # The size in the central directory, 24 bytes in, is what a reader looks at first.
    at = data.rindex(b"PK\x01\x02", 0, data.rindex(name.encode()))
    data[at + 24 : at + 28] = struct.pack("<I", honest)
    spoiled.write_bytes(bytes(data))
    with (
        Archive.open(tmp_path / "copy.db", create=True) as archive,
        pytest.raises(ArchiveError, match=r"settings.jsonl is (damaged|larger)"),
    ):
        import_bundle(spoiled, archive)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.9, 0.999])
def test_a_bundle_cut_short_is_refused(bundle: Path, tmp_path: Path, share: float) -> None:
    cut = tmp_path / "cut.zip"
    data = bundle.read_bytes()
    cut.write_bytes(data[: int(share * len(data))])
    with Archive.open(tmp_path / "copy.db", create=True) as archive:
        with pytest.raises(ArchiveError, match="no whole zip"):
            import_bundle(cut, archive)
        assert archive.panels() == ()


def test_bytes_flipped_anywhere_are_noticed(bundle: Path, tmp_path: Path) -> None:
    data = bundle.read_bytes()
    flipped = tmp_path / "flipped.zip"
    with Archive.open(tmp_path / "source.db") as source:
        content = source.content_hash()
    with Archive.open(tmp_path / "copy.db", create=True) as archive:
        for at in range(7, len(data), len(data) // 60):
            flipped.write_bytes(data[:at] + bytes([data[at] ^ 0x10]) + data[at + 1 :])
            try:
                import_bundle(flipped, archive)
            except ArchiveError as error:
                assert "damaged" in str(error) or "backup" in str(error)  # noqa: PT017  # either way
                assert archive.panels() == ()
                continue
            # Dates and attributes in a zip's headers do no harm.
            assert archive.content_hash() == content
            break


def test_a_bundle_goes_into_an_empty_archive_only(bundle: Path, tmp_path: Path) -> None:
    with Archive.open(tmp_path / "source.db") as archive:
        before = everything(archive)
        with pytest.raises(ArchiveError, match="empty archive only"):
            import_bundle(bundle, archive)
        assert everything(archive) == before


def test_a_bundle_of_another_version_or_no_bundle_is_refused(bundle: Path, tmp_path: Path) -> None:
    def later(members: dict[str, bytes]) -> None:
        manifest = json.loads(members["manifest.json"])
        manifest["schema"] = "0099"
        members["manifest.json"] = json.dumps(manifest).encode()

    with Archive.open(tmp_path / "copy.db", create=True) as archive:
        with pytest.raises(ArchiveError, match="0099"):
            import_bundle(rewrite(bundle, tmp_path / "later.zip", later), archive)
        with pytest.raises(ArchiveError, match="cannot be read"):
            import_bundle(tmp_path / "none.zip", archive)


def test_a_backup_that_cannot_be_written_leaves_the_old_one(tmp_path: Path) -> None:
    with Archive.open(tmp_path / "a.db", create=True) as archive:
        archive.add(panels(1, 3))
        old = tmp_path / "backup.zip"
        old.write_bytes(b"old")
        with pytest.raises(FileError, match="cannot be written"):
            export_bundle(archive, tmp_path / "no such folder" / "backup.zip")
        blocked = tmp_path / "folder.zip"
        blocked.mkdir()
        with pytest.raises(FileError, match="cannot be written"):
            export_bundle(archive, blocked)
        assert old.read_bytes() == b"old"
        assert not list(tmp_path.glob(".*part*")), "half a file was left behind"
