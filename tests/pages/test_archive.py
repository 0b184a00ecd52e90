"""The page of the archive pressed from Python: findings, history, long work."""

from __future__ import annotations

import re
from typing import Any

import pytest

from matchlib.demo import DEMO_WRONG_BACKS
from tests.pages.pressing import plain, press, words_before_folds
from workbook.archive_page.app import ArchiveRoom
from workbook.page import Press
from workbook.room import Room, Stopped
from workbook.session import Session


@pytest.fixture
def archive_room(shop: Session) -> ArchiveRoom:
    room = ArchiveRoom(shop)
    press(room, "open")
    return room


def test_every_part_of_the_archive_is_short(archive_room: ArchiveRoom) -> None:
    for part in ("sprayed", "wrong", "reach", "repeats", "near", "drift", "next", "why"):
        page = press(archive_room, "part", part)
        assert archive_room.error is None
        assert words_before_folds(page) < 120, part
        assert len(re.findall(r"<h1", page)) == 1


def test_findings_are_acted_on_one_by_one_and_taken_back(archive_room: ArchiveRoom) -> None:
    archive = archive_room.session.archive
    found = {f.codes[0] for f in archive_room.findings or ()}
    assert found & set(DEMO_WRONG_BACKS)
    page = press(archive_room, "part", "wrong")
    (first, *rest) = archive_room.findings or ()
    assert first.codes[0] in page
    assert all(f.codes[0] not in plain(page) for f in rest)
    was = archive.panel(first.codes[0])
    press(archive_room, "fix", first.key, who="Ada")
    assert archive.panel(was.code).recipe == first.proposed
    assert archive.history(was.code)[-1].who == "Ada"
    assert "now reads" in archive_room.notice
    press(archive_room, "undo")
    assert archive.panel(was.code) == was
    press(archive_room, "look")
    left = archive_room.findings or []
    press(archive_room, "ignore", left[0].key)
    assert left[0].key in archive.ignored()
    press(archive_room, "again")
    assert left[0].key not in archive.ignored()
    press(archive_room, "aside", left[0].key)
    assert left[0].codes[-1] in archive.deleted()


def test_history_undoes_one_change(archive_room: ArchiveRoom) -> None:
    archive = archive_room.session.archive
    number = archive.amend("T045", note="a run")
    press(archive_room, "part", "history")
    press(archive_room, "undo_change", number)
    assert archive.panel("T045").note == ""


def test_what_is_worked_out_is_shown(archive_room: ArchiveRoom) -> None:
    press(archive_room, "part", "repeats")
    assert "What makes cards differ" in press(archive_room, "repeats")
    press(archive_room, "part", "next")
    page = press(archive_room, "plan", count="2")
    assert page.count("should read") >= 2
    press(archive_room, "part", "near")
    page = press(archive_room, "validate", by="recipe")
    assert "recipes left out: median miss" in page
    press(archive_room, "part", "why")
    page = press(archive_room, "coats", coats="4", ratio="6:1")
    assert "4 coats of 6 parts carrier" in plain(page)
    assert "This is not a mix ratio" in press(archive_room, "choose", ratio="six")


def test_stop_ends_the_work_at_its_next_step(shop: Session) -> None:
    room, heard = Room(shop), []

    def compute(step: Any) -> str:
        step(0.1)
        room.press(Press("stop"))
        step(0.2)
        return "never"

    with pytest.raises(Stopped):
        room.work("Counting", compute, heard.append)
    assert heard == []
    room.wrong(Stopped(), None)
    assert room.error is None
