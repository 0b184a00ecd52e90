"""No change is lost, and every change can be taken back."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from matchlib.archive import Archive
from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Reading, Recipe
from matchlib.errors import ArchiveError
from tests.faults.making import panel, panels
from tests.faults.places import place

__all__ = ["place"]

RECIPE = Recipe(Ground.parse("silver"), Colour.parse("teal"), CoatSchedule.of(4, "6:1"))
RIGHT = dataclasses.replace(RECIPE, schedule=CoatSchedule.of(4, "3:1"))
LAB = Reading(lab=(50.1, -20.25, -10.0))


def test_an_amendment_keeps_who_when_what_and_what_it_was(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))], who="Bo", file="/somewhere/book.csv")
        number = archive.amend("A1", recipe=RIGHT, note="checked", who="Ines", why="back says so")
        assert archive.panel("A1").recipe == RIGHT
        added, amended = archive.history("A1")
        assert (added.action, added.who, added.file) == ("added", "Bo", "book.csv")
        assert (amended.number, amended.who, amended.why) == (number, "Ines", "back says so")
        assert amended.words == "amended: note: empty to checked; schedule: 4@6:1 to 4@3:1"
        assert amended.at.utcoffset().total_seconds() == 0
        assert archive.amend("A1", recipe=RIGHT) is None
        assert archive.check() == ()


def test_undo_takes_one_change_back_and_can_be_undone(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))])
        before = archive.content_hash()
        number = archive.amend("A1", recipe=RIGHT)
        amended = archive.content_hash()
        undone = archive.undo(number)
        assert archive.content_hash() == before
        archive.undo(undone)
        assert archive.content_hash() == amended
        assert [c.action for c in archive.history()] == ["added", "amended", "undone", "undone"]
        assert archive.history()[-1].undoes == undone


def test_undoing_under_a_later_change_is_refused(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))])
        first = archive.amend("A1", note="one")
        archive.amend("A1", note="two")
        archive.amend("A1", lot="7")
        with pytest.raises(ArchiveError, match="changed again since"):
            archive.undo(first)
        with pytest.raises(ArchiveError, match="no change"):
            archive.undo(999)
        assert archive.panel("A1").note == "two"


def test_deleting_hides_and_restoring_brings_back(place: str) -> None:
    batch = panels(1, 10)
    with Archive.open(place, create=True) as archive:
        archive.add(batch)
        full = archive.content_hash()
        archive.delete("P3", who="Bo", why="dropped it")
        assert archive.delete("P3") is None
        assert "P3" not in [p.code for p in archive.panels()]
        assert archive.panels(include_deleted=True) == batch
        assert archive.deleted() == ("P3",)
        assert len(archive) == 9
        assert archive.content_hash() != full
        archive.restore("P3")
        assert archive.panels() == batch
        assert archive.content_hash() == full


def test_the_code_of_a_removed_panel_may_be_used_again(place: str) -> None:
    first, second = panels(1, 2, name="A")
    second = dataclasses.replace(second, code="A0")
    with Archive.open(place, create=True) as archive:
        archive.add([first])
        number = archive.delete("A0")
        result = archive.add([second])
        assert (result.added, result.again) == (("A0",), ("A0",))
        assert archive.panel("A0") == second
        assert archive.panels(include_deleted=True) == (first, second)
        for back in (lambda: archive.undo(number or 0), lambda: archive.undo(1)):
            with pytest.raises(ArchiveError, match="A0"):
                back()
        archive.delete("A0")
        archive.undo(number or 0)
        assert archive.panel("A0") == first
        with pytest.raises(ArchiveError, match="in use"):
            archive.undo(archive.history("A0")[-2].number)
        assert archive.check() == ()


def test_an_import_is_one_change_and_is_taken_back_as_one(place: str) -> None:
    batch = panels(4, 20)
    with Archive.open(place, create=True) as archive:
        archive.add(batch[:2])
        before = archive.content_hash()
        archive.add(batch, file="wrong light.csv")
        change = archive.history()[-1]
        assert len(archive.history()) == 2
        assert [i.name for i in change.items] == [p.code for p in batch[2:]]
        archive.undo(change.number)
        assert archive.panels() == batch[:2]
        assert archive.content_hash() == before
        right = tuple(p.having(note="right light") for p in batch[2:])
        assert archive.add(right).added == tuple(p.code for p in right)
        assert archive.panels() == (*batch[:2], *right)
        assert archive.check() == ()


def test_readings_added_by_mistake_can_be_taken_out_and_put_in_again(place: str) -> None:
    more = Reading(lab=(1.0, 2.0, 3.0))
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB, LAB))])
        archive.add([Panel.of("A1", RECIPE, (more,))])
        number = archive.history("A1")[-1].number
        undone = archive.undo(number)
        assert archive.panel("A1").readings == (LAB, LAB)
        assert archive.add([Panel.of("A1", RECIPE, (LAB, LAB))]).already == ("A1",)
        archive.undo(undone)
        assert archive.panel("A1").readings == (LAB, LAB, more)
        archive.amend("A1", readings=(more,), why="two impossible readings")
        assert archive.panel("A1").readings == (more,)
        archive.undo(archive.history("A1")[-1].number)
        assert archive.panel("A1").readings == (LAB, LAB, more)
        assert archive.check() == ()


def test_undoing_an_added_panel_puts_it_aside(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))])
        archive.undo(archive.history("A1")[0].number)
        assert archive.panels() == ()
        archive.restore("A1")
        assert archive.panel("A1").readings == (LAB,)


def test_unknown_panels_and_fields_are_refused(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))])
        for call in (
            lambda: archive.amend("A2", note="x"),
            lambda: archive.delete("A2"),
            lambda: archive.panel("A2"),
            lambda: archive.amend("A1", colour="red"),
        ):
            with pytest.raises(ArchiveError):
                call()
        assert len(archive.history()) == 1


class Shop(RuleBasedStateMachine):
    """Any order of additions, amendments, deletions and undoings, against a plain dict."""

    @initialize()
    def open_shop(self) -> None:
        import tempfile  # a machine has no tmp_path

        self.folder = tempfile.TemporaryDirectory()
        self.archive = Archive.open(f"{self.folder.name}/a.db", create=True)
        self.model: dict[str, tuple[Panel, bool]] = {}
        self.trail: list[tuple[int, str, tuple[Panel, bool]]] = []

    def _last(self, code: str) -> int:
        return self.archive.history(code)[-1].number

    @rule(code=st.sampled_from("ABC"), seed=st.integers(0, 5))
    def add(self, code: str, seed: int) -> None:
        given = panel(seed, code)
        if code in self.model:
            there, deleted = self.model[code]
            if not deleted and there.stages[0].recipe != given.stages[0].recipe:
                with pytest.raises(ArchiveError):
                    self.archive.add([given])
            return
        self.archive.add([given])
        self.model[code] = (given, False)

    @rule(code=st.sampled_from("ABC"), seed=st.integers(0, 5))
    def amend(self, code: str, seed: int) -> None:
        if code not in self.model:
            return
        was, deleted = self.model[code]
        given = panel(seed, code)
        now = was.having(stages=given.stages, note=given.note)
        number = self.archive.amend(code, stages=given.stages, note=given.note)
        if number is not None:
            self.trail.append((number, code, (was, deleted)))
        self.model[code] = (now, deleted)

    @rule(code=st.sampled_from("ABC"))
    def turn(self, code: str) -> None:
        if code not in self.model:
            return
        was, deleted = self.model[code]
        number = self.archive.restore(code) if deleted else self.archive.delete(code)
        assert number is not None
        self.trail.append((number, code, (was, deleted)))
        self.model[code] = (was, not deleted)

    @rule()
    def undo_last(self) -> None:
        if not self.trail:
            return
        number, code, before = self.trail.pop()
        if self._last(code) == number:
            self.archive.undo(number)
            self.model[code] = before

    @invariant()
    def all_is_as_modelled(self) -> None:
        if not hasattr(self, "archive"):
            return
        found = {p.code: p for p in self.archive.panels(include_deleted=True)}
        assert found == {code: sprayed for code, (sprayed, _) in self.model.items()}
        assert set(self.archive.deleted()) == {c for c, (_, gone) in self.model.items() if gone}
        assert self.archive.check() == ()

    def teardown(self) -> None:
        if hasattr(self, "archive"):
            self.archive.close()
            self.folder.cleanup()


Shop.TestCase.settings = settings(max_examples=6, stateful_step_count=10, deadline=None)
TestShop = Shop.TestCase
