"""Files written whole or not at all, and leftovers taken away."""

from __future__ import annotations

import os
import resource
import stat
import time
from pathlib import Path

import pytest

from matchlib.atomic import sweep, written_whole
from matchlib.errors import FileError
from tests.faults.trying import in_process, wait


def test_what_ends_badly_leaves_the_old_file_and_nothing_beside_it(tmp_path: Path) -> None:
    target = tmp_path / "a.csv"
    target.write_text("old")

    def half(problem: type[BaseException]) -> None:
        with written_whole(target) as part:
            part.write_text("half")
            raise problem

    for problem in (RuntimeError, KeyboardInterrupt, OSError):
        with pytest.raises((problem, FileError)):
            half(problem)
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]
    with written_whole(target) as part:
        part.write_text("new")
    assert target.read_text() == "new"
    assert list(tmp_path.iterdir()) == [target]


def test_a_disk_that_fills_is_told_of_and_nothing_is_left(tmp_path: Path) -> None:
    def work() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
        with (
            pytest.raises(FileError, match=r"cannot be written.*space"),
            written_whole(tmp_path / "a") as part,
        ):
            part.write_bytes(b"x" * 5000)

    assert wait(in_process(work)) == 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["no/such/folder/a.csv", "a\0b.csv", "x" * 300])
def test_names_that_cannot_be_are_told_of(tmp_path: Path, name: str) -> None:
    with pytest.raises(FileError), written_whole(tmp_path / name) as part:
        part.write_text("x")


def test_devices_pipes_and_folders_are_left_as_they_are(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "round").symlink_to("round")
    ends = os.openpty()  # a device of the test's own, whatever stands in the machine's /dev
    device = os.ttyname(ends[1])
    try:
        for place in (device, tmp_path / "pipe", tmp_path, tmp_path / "round"):
            with pytest.raises(FileError, match="What to do"), written_whole(place) as part:
                part.write_text("new")
        assert stat.S_ISCHR(os.stat(device).st_mode)
    finally:
        for end in ends:
            os.close(end)
    assert stat.S_ISFIFO(os.stat(tmp_path / "pipe").st_mode)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["pipe", "round"]


def test_a_link_stays_and_what_it_leads_to_is_written(tmp_path: Path) -> None:
    (tmp_path / "shelf").mkdir()
    (tmp_path / "link").symlink_to("shelf/file")
    for text in ("first", "second"):
        with written_whole(tmp_path / "link") as part:
            part.write_text(text)
        assert (tmp_path / "shelf" / "file").read_text() == text
    assert (tmp_path / "link").is_symlink()


def test_old_leftovers_go_and_young_and_foreign_files_stay(tmp_path: Path) -> None:
    names = (".a.0123456789ab.part.csv", ".a.fit.0123456789ab.part.npz", ".a.ba9876543210.part")
    names += (".a.0123456789ab.part-wal",)
    foreign = (".a.part.csv", "a.0123456789ab.part.csv", ".mine", "a.csv")
    for name in (*names, *foreign):
        (tmp_path / name).write_text("x")
        os.utime(tmp_path / name, (time.time() - 9000,) * 2)
    (tmp_path / ".b.0123456789ab.part.csv").write_text("being written")
    sweep(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        [*foreign, ".b.0123456789ab.part.csv"]
    )
    sweep(tmp_path / "none")
