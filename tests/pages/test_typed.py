"""Numbers as they are typed, and which change is offered to be taken back."""

from __future__ import annotations

import datetime as dt

import pytest

from matchlib.errors import DomainError
from workbook.library.app import LibraryScreen
from workbook.page import Press
from workbook.session import Session, undoing
from workbook.session.typed import number_typed, three_typed
from workbook.session.undoing import last_change


def test_numbers_are_read_as_they_are_typed() -> None:
    for text in ("27.1 45.9 28.5", "27,1 45,9 28,5", "27,1; 45,9; 28,5", "L* 27.1 a* 45.9 b* 28.5"):
        assert three_typed(text) == (27.1, 45.9, 28.5)
    assert three_typed("27.1,45.9,−28.5") == (27.1, 45.9, -28.5)
    assert three_typed("  ") is None
    assert number_typed("22,5", "x") == 22.5
    for text in ("1 2", "1 2 3 4", "a b c", "1 2 x"):
        with pytest.raises(DomainError):
            three_typed(text)


def test_what_is_old_or_a_file_is_not_offered_to_be_taken_back(
    shop: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert last_change(shop.archive) is None  # the file it was made of
    shop.archive.amend("T045", note="a run")
    change = last_change(shop.archive)
    assert change is not None
    assert change.subject == "T045"
    with monkeypatch.context() as later:
        later.setattr(undoing, "_RECENT", dt.timedelta(0))
        assert last_change(shop.archive) is None
    shop.archive.undo(change.number)
    assert last_change(shop.archive) is None


def test_undo_tells_of_what_the_command_line_changed_meanwhile(shop: Session) -> None:
    screen = LibraryScreen(shop)
    assert screen.undo_words == ""
    shop.archive.amend("T045", note="a run")
    assert screen.undo_words == "amended T045"
    shop.archive.amend("T041", note="dust")
    assert screen.undo_words == "amended T041"
    screen.do_undo(Press("undo"))
    assert screen.notice == "Taken back: amended T041."
    assert screen.undo_words == "amended T045"
