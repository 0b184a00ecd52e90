"""Thrown away and built anew from the same archive file, every page finds all that was there."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from matchlib.errors import ArchiveError, DomainError
from tests.cli_shop import copied
from tests.test_match_panel import AIM, settled, spray, type_target, words
from workbook.match import MatchApp
from workbook.match.bench import Bench
from workbook.match.hand import benches, key_of
from workbook.match.keeping import SETTING, Tried, Work, plain_of
from workbook.session import Forms, Session, draft_panel, reading_of_lab, recipe_of

ONE, TWO = "0123456789abcdef", "fedcba9876543210"
CHERRY = recipe_of(ground="silver", colour="cherry", schedule="3@6:1", clear="yes")


@contextmanager
def page(archive: Path, mark: str = "") -> Iterator[MatchApp]:
    """A match from nothing but the file, as after a restart, at a bench."""
    with Session.open(archive) as session:
        match = settled(MatchApp(session))
        if mark:
            match.seat.value = mark  # as its browser says it
            settled(match)
        yield match


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return copied(tmp_path)


def test_two_cards_side_by_side_are_there_again(archive: Path) -> None:
    with page(archive) as match:
        type_target(match, AIM)
        match.go("suggestions")
        panel = settled(match).panels["suggestions"]
        panel.cards.press("compare:0")
        panel.cards.press("compare:2")
        shown = panel.compared.html
        assert "side by side" in shown
    with page(archive) as match:
        match.go("suggestions")
        assert settled(match).panels["suggestions"].compared.html == shown


def test_all_of_a_match_is_undone_after_a_restart(archive: Path) -> None:
    with page(archive) as match:
        type_target(match, AIM)
        match.go("limits")
        match.panels["limits"].coats.value = 3
        match.bench.change("the chosen recipe", recipe=CHERRY)
        spray(match, (AIM[0] + 3, AIM[1], AIM[2]), "K8")
        match.panels["sprayed"].buttons.press("keep")
        settled(match)
        before = len(match.bench.session.archive)
        assert match.bench.work.tried[0].kept
    with page(archive) as match:
        bench, undo = match.bench, lambda: match.steps.press("undo")
        assert "Undo: keeping panels" in match.steps.buttons[-1]["label"]
        undo()
        settled(match)
        assert len(bench.session.archive) == before - 1
        assert bench.session.history("K8")[-1].action == "undone"
        assert not bench.work.tried[0].kept
        assert not bench.outdated, "what was put aside is learnt from no more"
    with page(archive) as match:
        match.steps.press("undo")
        assert match.bench.work.tried == ()
        assert match.bench.work.recipe == CHERRY
        match.steps.press("undo")
        assert match.bench.work.recipe is None
        assert match.bench.session.limits().max_coats == 3
        match.steps.press("undo")
        assert match.bench.session.limits().max_coats == 6
        assert match.bench.target_lab == AIM
        match.steps.press("undo")
        assert match.bench.target_lab is None
        assert match.steps.buttons[-1]["label"] == "Nothing to undo"


def test_what_was_undone_elsewhere_stands_in_nobodys_way(archive: Path) -> None:
    with Session.open(archive) as session:
        bench, reading = Bench(session, ONE), reading_of_lab(AIM)
        for code in ("K1", "K2"):
            tried = (*bench.work.tried, Tried(code, CHERRY, reading))
            bench.change(f"panel {code}", tried=tried)
            session.add([draft_panel(code=code, recipe=CHERRY, readings=(reading,)).panel])
            bench.kept_panels("keeping", [session.history(code)[-1].number], [code])
        session.undo(session.history("K2")[-1].number, who="log")
        session.archive.amend("K1", note="changed since")
    with Session.open(archive) as session:
        bench = Bench(session, ONE)
        assert bench.undo() == "keeping"
        assert [t.kept for t in bench.work.tried] == [True, False]
        assert session.archive.deleted() == ("K2",)
        assert bench.undo() == "panel K2"
        session.archive.amend("K1", lot="L 9", who="log")
        session.archive.delete("K1", who="log")
        # That cannot be undone any more and is said so; what was done before it can.
        with pytest.raises(ArchiveError, match="changed again since"):
            bench.undo()
    with Session.open(archive) as session:
        bench = Bench(session, ONE)
        assert bench.undo() == "panel K1"
        assert bench.work == Work()
        assert bench.undo() == ""


def test_what_is_typed_and_not_pressed_is_there_after_a_restart(archive: Path) -> None:
    with page(archive, ONE) as match:
        type_target(match, AIM)
        match.bench.change("the chosen recipe", recipe=CHERRY)
        match.go("sprayed")
        panel, target = match.panels["sprayed"], match.panels["target"]
        panel.code.value, panel.light.value, panel.red.value = "K <9>", 31.5, 40.25
        target.light.value, target.illuminant.value = 55.0, "A"
        target.sample.options = [*target.sample.options, "gone"]
        target.sample.value = "gone"
    with page(archive, ONE) as match:
        panel, target = match.panels["sprayed"], match.panels["target"]
        assert (panel.code.value, panel.light.value, panel.red.value) == ("K <9>", 31.5, 40.25)
        assert panel.yellow.value is None
        assert (target.light.value, target.red.value, target.illuminant.value) == (55, AIM[1], "A")
        assert match.bench.target_lab == AIM, "typed is not pressed"
        panel.yellow.value = 20.0
        panel.buttons.press("sprayed")
        settled(match)
        target.use.press("use")
        assert [t.code for t in match.bench.work.tried] == []
        match.bench.undo()
        assert [t.code for t in match.bench.work.tried] == ["K <9>"]
    with page(archive, ONE) as match:
        panel, target = match.panels["sprayed"], match.panels["target"]
        assert panel.code.value == ""
        assert panel.light.value is panel.red.value is panel.yellow.value is None
        assert target.light.value == AIM[0]
    with page(archive, TWO) as match:
        assert match.panels["sprayed"].code.value == ""


def test_a_refused_press_keeps_what_was_typed(archive: Path) -> None:
    with page(archive) as match:
        panel = match.panels["sprayed"]
        match.go("sprayed")
        panel.light.value = 31.5
        panel.buttons.press("sprayed")
        assert "not whole" in words(panel.said)
    with page(archive) as match:
        assert match.panels["sprayed"].light.value == 31.5


def test_two_tablets_have_a_match_each(archive: Path) -> None:
    with page(archive, ONE) as one, page(archive, TWO) as two:
        type_target(one, AIM)
        assert two.bench.work.target is None
        type_target(two, (50.0, 10.0, -20.0))
        two.bench.change("the chosen recipe", recipe=CHERRY)
        assert one.bench.work.recipe is None
        assert one.bench.target_lab == AIM
        assert {one.bench.hand.name, two.bench.hand.name} == {"Bench 1", "Bench 2"}
        assert one.bench.hand.name in words(one.glance)
    # After a reload each finds its own.
    with page(archive, TWO) as two:
        assert two.bench.target_lab == (50.0, 10.0, -20.0)
        assert two.bench.undo_words == "the chosen recipe"
    with page(archive, ONE) as one:
        assert one.bench.target_lab == AIM
        assert one.bench.undo_words == "target typed Lab"


def test_a_tablet_goes_on_at_another_bench_on_purpose(archive: Path) -> None:
    with page(archive, ONE) as one:
        type_target(one, AIM)
        panel = one.panels["bench"]
        one.go("bench")
        panel.called.value = "Booth <2>"
        assert one.bench.hand.name == "Booth <2>"
        one.panels["sprayed"].light.value = 44.0
    with page(archive, TWO) as two:
        assert two.bench.target_lab is None
        two.go("bench")
        panel = two.panels["bench"]
        assert "Booth <2>" in words(panel.view)
        assert "Booth <2>" not in panel.view.html
        panel.called.value = "Booth <2>"
        assert "name of its own" in words(panel.said)
        panel.move.press("go")
        assert "already" in words(panel.said)
        assert panel.which.options == ["own", ONE, "new"]
        panel.which.value = ONE
        panel.move.press("go")
        assert two.seat.value == ONE, "the browser keeps it from now on"
        assert two.bench.target_lab == AIM
        assert two.panels["sprayed"].light.value == 44.0
        two.seat.kept = False
        two.go("bench")
        assert "keeps nothing" in words(two.panels["bench"].view)
        # And away again, to a bench with nothing in hand.
        two.go("bench")
        panel = two.panels["bench"]
        panel.which.value = "new"
        panel.move.press("go")
        assert two.bench.work == Work()
        assert two.seat.value not in ("", ONE, TWO)


def test_one_bench_on_two_pages_loses_nothing(archive: Path) -> None:
    with page(archive, ONE) as left, page(archive, ONE) as right:
        type_target(left, AIM)
        type_target(right, (50.0, 10.0, -20.0))
        assert "went on elsewhere" in words(right.panels["target"].said)
        assert right.bench.target_lab == AIM, "it now shows what is in hand"
        right.bench.change("the chosen recipe", recipe=CHERRY)
        left.bench.note(job={"area": "2 m2"})
        assert left.bench.work.recipe == CHERRY
    with page(archive, ONE) as again:
        assert again.bench.work.recipe == CHERRY
        assert again.bench.work.job["area"] == "2 m2"


def test_limits_set_by_another_bench_are_not_undone(archive: Path) -> None:
    with page(archive, ONE) as one, page(archive, TWO) as two:
        one.bench.set_shelf("limits", {"max_coats": 3, "grounds": ["silver"]})
        two.bench.set_shelf("limits", {"max_coats": 5, "grounds": ["silver"]})
        one.bench.undo()
        assert one.bench.session.shelf() == {"max_coats": 5}


def test_a_match_from_before_there_were_benches_is_found(archive: Path) -> None:
    with Session.open(archive) as session:
        session.archive.set_setting(SETTING, plain_of(Work(target_name="old", tolerance=0.7)))
    with page(archive, ONE) as one, page(archive, TWO) as two:
        assert (one.bench.work.target_name, one.bench.work.tolerance) == ("old", 0.7)
        assert two.bench.work == Work()
        assert list(benches(one.bench.session.archive)) == [ONE]


@pytest.mark.parametrize("mark", ["", "x", "../../etc", "0" * 41, "A" * 16])
def test_what_is_no_mark_is_the_bench_without_one(mark: str) -> None:
    archive: Any = None
    assert Forms(archive, mark).bench == ""
    assert key_of(Forms(archive, mark).bench) == SETTING


def test_a_browser_is_waited_for_where_there_may_be_one(archive: Path) -> None:
    async def arrive() -> None:
        with Session.open(archive) as session:
            match = MatchApp(session)
            while match.bench.model is None:
                await asyncio.sleep(0.05)
            assert not match.panels, "nobody's match is shown before it is known whose"
            match.seat.value = ONE
            assert match.ready
            assert match.bench.mark == ONE

    asyncio.run(arrive())


def test_a_bench_has_a_name_of_its_own(archive: Path) -> None:
    with page(archive, ONE) as one:
        one.bench.rename("  Booth   2 ")
        assert one.bench.hand.name == "Booth 2"
        for odd in ("", "   "):
            with pytest.raises(DomainError, match="cannot be called"):
                one.bench.rename(odd)
