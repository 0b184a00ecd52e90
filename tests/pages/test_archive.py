"""The page of the archive pressed from Python: findings, history, long work."""

from __future__ import annotations

import re
import threading
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from matchlib.demo import DEMO_WRONG_BACKS
from matchlib.domain import LoggedCoat, MixRatio, Panel, Reading, Recipe
from tests.pages.pressing import plain, press, words_before_folds
from workbook.archive_page.app import ArchiveScreen
from workbook.archive_page.findings import open_
from workbook.page import Page, Press
from workbook.page.page import Stopped
from workbook.screen import BaseScreen
from workbook.session import Session
from workbook.training.app import TrainingScreen


@pytest.fixture
def archive_screen(shop: Session) -> ArchiveScreen:
    screen = ArchiveScreen(shop)
    press(screen, "open")
    return screen


def test_every_part_of_the_archive_is_short(archive_screen: ArchiveScreen) -> None:
    for part in ("sprayed", "wrong", "reach", "repeats", "near", "drift", "next", "why"):
        page = press(archive_screen, "part", part)
        assert archive_screen.error is None
        assert words_before_folds(page) < 120, part
        assert len(re.findall(r"<h1", page)) == 1


def test_a_colour_laid_over_another_counts(shop: Session) -> None:
    whole = Recipe.of("silver", None, "2@6:1 lagoon, 2@4:1 honey", "yes")
    shop.archive.add([Panel.of("N-1", whole)])
    assert "3 colours" in plain(ArchiveScreen(shop).draw())


def test_a_ground_that_was_never_read_is_within_no_reach(few: Session) -> None:
    screen = ArchiveScreen(few)
    press(screen, "open")
    few.archive.add([Panel.of("N-1", Recipe.of("slate"))])
    assert "How far each colour goes" in press(screen, "part", "reach")
    assert "No panel in the archive" not in press(screen, "part", "reach")
    page = press(screen, "choose", ground="slate")
    assert "There is no recipe to look at" in page


def test_findings_are_acted_on_one_by_one_and_taken_back(archive_screen: ArchiveScreen) -> None:
    archive = archive_screen.session.archive
    found = {f.codes[0] for f in archive_screen.findings or ()}
    assert found & set(DEMO_WRONG_BACKS)
    silent = f"until somebody decides: {len(found & set(DEMO_WRONG_BACKS))}."
    assert silent in press(archive_screen, "part", "sprayed"), "a drift goes on counting"
    page = press(archive_screen, "part", "wrong")
    (first, *rest) = archive_screen.findings or ()
    assert "It does not count in predictions" in page
    assert first.codes[0] in page
    assert all(f.codes[0] not in plain(page) for f in rest)
    was = archive.panel(first.codes[0])
    press(archive_screen, "fix", first.key, who="Ada")
    assert archive.panel(was.code).recipe == first.proposed
    assert archive.history(was.code)[-1].who == "Ada"
    assert "now reads" in archive_screen.notice
    press(archive_screen, "undo")
    assert archive.panel(was.code) == was
    assert open_(archive_screen) == [first, *rest], "a back taken back looks wrong again"
    left = archive_screen.findings or []
    press(archive_screen, "ignore", left[0].key)
    assert left[0].key in archive.ignored()
    press(archive_screen, "again")
    assert left[0].key not in archive.ignored()
    press(archive_screen, "aside", left[0].key)
    assert left[0].codes[-1] in archive.deleted()


def test_what_was_decided_on_another_tablet_is_not_decided_again(
    archive_screen: ArchiveScreen,
) -> None:
    archive = archive_screen.session.archive
    press(archive_screen, "part", "wrong")
    first, second, *_ = (f for f in archive_screen.findings or () if f.can_fix)
    archive.amend(first.codes[0], recipe=Recipe.of("silver", "cherry", "5@9:1", "yes"))
    archive.ignore(second.key)
    before = archive.last_change()
    for finding in (first, second):
        for do in ("fix", "aside", "ignore"):
            page = press(archive_screen, do, finding.key)
            assert "was decided or changed elsewhere meanwhile" in plain(page)
    assert archive.last_change() == before


def test_a_page_left_open_learns_what_another_tablet_added(few: Session) -> None:
    archive, train = ArchiveScreen(few), TrainingScreen(few)
    for screen in (archive, train):
        press(screen, "open")
    old = archive.model
    new = (("N-1", None, (80.0, 0.0, 2.0)), ("N-2", "2@6:1", (60.0, 20.0, 20.0)))
    few.archive.add(
        [
            Panel.of(
                c, Recipe.of("pearl", "plum" if s else None, s, "yes"), readings=(Reading(lab=v),)
            )
            for c, s, v in new
        ]
    )
    for screen in (archive, train):
        screen.page = SimpleNamespace(working="Learning", task=1, later=lambda *_: None)
    for screen, part in ((archive, "drift"), (train, "value")):
        assert "pearl" in press(screen, "part", part), "drawn by the fit of before"
    assert archive.model is old
    for screen in (archive, train):
        del screen.page
    assert "No panel in the archive" not in press(archive, "part", "drift")
    assert "What does the ground do to" in press(train, "part", "value")
    assert "No panel in the archive" not in press(train, "choose", colour="plum", grounds="pearl")
    assert "plum" in archive.model.words_.colours


def test_what_is_learnt_elsewhere_neither_begins_twice_nor_ends_work(few: Session) -> None:
    screen, begun = ArchiveScreen(few), []
    press(screen, "open")

    def later(words: str, *_: Any) -> None:
        begun.append(words)
        screen.page.task += 1

    screen.page = SimpleNamespace(working="", task=1, later=later, drop=lambda: None)
    few.archive.amend("P3", recipe=Recipe.of("silver", "rust", "3@5:1", "yes"))
    for part in ("near", "drift"):
        press(screen, "part", part)
    assert begun == [""]
    press(screen, "validate", by="recipe")
    screen.page.working = "Fitting without some of the cards"
    press(screen, "part", "reach")
    assert len(begun) == 2, "somebody waits for it"
    screen.page.working = ""
    press(screen, "part", "near")
    assert len(begun) == 3, "what was dropped is learnt after it"


def test_history_undoes_one_change(archive_screen: ArchiveScreen) -> None:
    archive = archive_screen.session.archive
    number = archive.amend("T045", note="a run")
    press(archive_screen, "part", "history")
    press(archive_screen, "undo_change", number)
    assert archive.panel("T045").note == ""


def test_an_archive_that_was_emptied_by_an_undo_is_filled_again(few: Session) -> None:
    screen, count = ArchiveScreen(few), len(few.archive)
    press(screen, "part", "history")
    page = press(screen, "undo_change", 1)
    assert len(few.archive) == 0
    assert "Change 1 was undone" in plain(page)
    assert 'data-value="2"' in page, "what took it back can be taken back"
    page = press(screen, "undo_change", 2)
    assert len(few.archive) == count
    assert "is there again" in plain(page)
    assert "brought back" in plain(page)


def test_a_finding_of_many_cards_is_headed_by_their_number(archive_screen: ArchiveScreen) -> None:
    found = archive_screen.findings or []
    codes = [p.code for p in archive_screen.session.archive.panels()[:9]]
    one = replace(found[0], kind="drift", codes=tuple(codes), proposed=None)
    archive_screen.findings = [one]
    page = press(archive_screen, "part", "wrong")
    assert "<h2>9 cards: drift" in page
    assert "The back says" not in page, "the first one's says nothing of the rest"
    assert ", ".join(codes) in page.split("Why it looks wrong")[1]


def test_of_what_repeats_only_the_furthest_apart_stand_open(archive_screen: ArchiveScreen) -> None:
    page = press(archive_screen, "part", "repeats")
    before = page.split("<details")[0]
    assert before.count("apart</p>") == 3 < page.count("apart</p>")


def test_what_is_worked_out_is_shown(few: Session) -> None:
    screen = ArchiveScreen(few)
    press(screen, "open")
    press(screen, "part", "repeats")
    assert "What makes cards differ" in press(screen, "repeats")
    press(screen, "part", "next")
    page = press(screen, "plan", count="2")
    assert page.count("should read") >= 2
    press(screen, "part", "near")
    page = press(screen, "validate", by="recipe")
    assert "recipes left out: median miss" in page
    press(screen, "part", "why")
    page = press(screen, "coats", coats="4", ratio="6:1")
    assert "4 coats of 6 parts carrier" in plain(page)
    assert "This is not a mix ratio" in press(screen, "choose", ratio="six")


@pytest.mark.parametrize("steps", [2, 1])
def test_stop_ends_the_work_at_its_next_step(shop: Session, steps: int) -> None:
    screen, heard, ended = BaseScreen(shop), [], []
    screen.page = page = Page(screen)
    begun, stopped = threading.Event(), threading.Event()

    def compute(step: Any) -> str:
        step(0.1)
        begun.set()
        assert stopped.wait(20)
        if steps == 2:
            try:
                step(0.2)
            except Stopped:
                ended.append("stopped")
                raise
        return "never, though it came to its end"

    others = set(threading.enumerate())
    page.later("Counting", compute, heard.append)
    assert begun.wait(20)
    assert page.working == "Counting"
    screen.press(Press("stop"))
    assert page.working == ""
    stopped.set()
    for thread in set(threading.enumerate()) - others:
        thread.join(20)
    assert (heard, ended) == ([], ["stopped"] * (steps - 1))
    assert (screen.error, page.html) == (None, ""), "nothing comes of it"


def test_of_a_long_history_the_newest_stand_open(few: Session) -> None:
    for i in range(15):
        few.archive.amend("P2", note=f"seen {i}")
    before, older = press(ArchiveScreen(few), "part", "history").split("<summary>Older")
    assert (before.count("undo_change"), older.count("undo_change")) == (10, 6)


def test_history_says_what_changed_in_words(few: Session) -> None:
    archive, screen = few.archive, ArchiveScreen(few)
    press(screen, "open")
    panel = archive.panels()[-1]
    (*before, last) = panel.stages
    log = (LoggedCoat(1, ratio=MixRatio.parse("6:1")),)
    archive.amend(panel.code, stages=(*before, replace(last, log=log)))
    shown = plain(press(screen, "part", "history"))
    assert "coats noted: 0 to 1" in shown
    assert "{" not in shown
