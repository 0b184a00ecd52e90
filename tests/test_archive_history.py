"""No change is lost, and every change can be taken back."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from matchlib.archive import Archive
from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Reading, Recipe, Viewing
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job
from tests.faults.making import panel, panels

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
        archive.amend("A1", reading=1, instrument="bench")
        assert archive.history()[-1].words == "amended: readings: 1 of 1 changed"
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


def test_what_was_emptied_since_is_a_later_change_too(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        job = archive.keep_job(Job("tank", notes="for Friday"))
        archive.keep_job(dataclasses.replace(job, notes=""))
        with pytest.raises(ArchiveError, match=r"changed again since.*another notes of job 1"):
            archive.undo(1)
        assert len(archive.jobs()) == 1


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
            lambda: archive.amend("A1", dye="red"),
        ):
            with pytest.raises(ArchiveError):
                call()
        assert len(archive.history()) == 1


def test_a_range_is_undone_whole_or_not_at_all(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))])
        before = archive.content_hash()
        numbers = [archive.amend("A1", lot=str(i)) or 0 for i in range(5)]
        undoings = archive.undo_range(numbers[0], numbers[-1], who="Bo", why="a bad hour")
        assert archive.content_hash() == before
        undone = archive.history()[-5:]
        assert [c.number for c in undone] == undoings
        assert [c.undoes for c in undone] == numbers[::-1]
        assert {(c.who, c.why) for c in undone} == {("Bo", "a bad hour")}
        archive.undo_range(undoings[0], undoings[-1])
        assert archive.panel("A1").lot == "4"
        count = len(archive.history())
        for first, end in ((numbers[0], numbers[3]), (1, 10**30), (-3, 2), (0, 0)):
            with pytest.raises(ArchiveError):
                archive.undo_range(first, end)
        assert len(archive.history()) == count
        assert archive.check() == ()


def test_a_stage_and_a_reading_are_amended_removed_and_restored(place: str) -> None:
    longer = dataclasses.replace(RECIPE, schedule=CoatSchedule.parse("4@6:1 1@10:1"))
    card = Panel.of("A1", RECIPE, (LAB, LAB), sprayer="Bo").built_on(longer, readings=(LAB,))
    with Archive.open(place, create=True) as archive:
        archive.add([card])
        archive.amend("A1", stage=1, sprayer="Ines", schedule="3@6:1 1@6:1")
        archive.amend("A1", stage=1, reading=2, lab="51 -20 -10", illuminant="D50")
        there = archive.panel("A1")
        assert (there.stages[0].sprayer, there.stages[1].sprayer) == ("Ines", "")
        assert there.stages[0].readings[0] == LAB
        assert there.stages[0].readings[1].lab == (51.0, -20.0, -10.0)
        assert there.stages[0].readings[1].viewing.illuminant == "D50"
        archive.delete("A1", stage=1, reading=1, why="a finger on it")
        archive.delete("A1", stage=2)
        assert [len(s.readings) for s in archive.panel("A1").stages] == [1]
        archive.restore("A1", what="stage")
        archive.restore("A1", what="reading")
        assert archive.panel("A1") == there
        with pytest.raises(ArchiveError, match="not back already"):
            archive.restore("A1", what="reading")
        for call in (
            lambda: archive.delete("A1", stage=3),
            lambda: archive.delete("A1", stage=1, reading=0),
            lambda: archive.amend("A1", stage=1, note="a note is the panel's"),
            lambda: archive.amend("A1", lab="1 2"),
            lambda: archive.amend("A1", temperature="warm"),
            lambda: archive.amend("A1", stage=2, schedule="1@6:1"),
        ):
            with pytest.raises(MatchlibError):
                call()
        assert archive.panel("A1") == there
        assert archive.check() == ()


def test_a_code_is_amended_and_the_old_one_is_free(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,)), Panel.of("A2", RIGHT, (LAB,))])
        number = archive.amend("A1", code="B1") or 0
        assert [p.code for p in archive.panels()] == ["B1", "A2"]
        with pytest.raises(ArchiveError, match="in use"):
            archive.amend("A2", code="B1")
        archive.add([Panel.of("A1", RIGHT, (LAB,))])
        with pytest.raises(ArchiveError, match="in use"):
            archive.undo(number)
        assert archive.check() == ()


def test_a_panel_that_a_job_rests_on_stays(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))], file="book.csv")
        job = archive.keep_job(Job("tank", panels=("A1",)))
        for call in (
            lambda: archive.delete("A1"),
            lambda: archive.undo(1),
            lambda: archive.amend("A1", code="B1"),
        ):
            with pytest.raises(ArchiveError, match="a job rests on it"):
                call()
        archive.keep_job(dataclasses.replace(job, panels=()))
        assert archive.delete("A1")


def test_an_undone_job_rests_on_no_panel_that_is_gone(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))])
        job = archive.keep_job(Job("tank", panels=("A1",)))
        archive.keep_job(dataclasses.replace(job, panels=()))
        gone = archive.delete("A1") or 0
        with pytest.raises(ArchiveError, match="names a panel that is not in the archive"):
            archive.undo(gone - 1)
        archive.undo_range(gone - 1, gone)
        assert archive.jobs()[0].panels == ("A1",)
        assert archive.check() == ()


def test_a_file_that_differs_says_so_and_is_answered(place: str) -> None:
    wrong = Reading(Viewing("D50"), lab=(49.0, -21.0, -9.0))
    later = dataclasses.replace(LAB, date=dt.date(2027, 1, 5))
    first = [
        Panel.of("A1", RECIPE, (wrong,), sprayer="Bo", batch="1"),
        Panel.of("A2", RECIPE, (LAB,)),
    ]
    given = [
        Panel.of("A1", RIGHT, (LAB,), sprayer="Ines", batch="2"),
        Panel.of("A2", RECIPE, (LAB, later)),
        Panel.of("A3", RECIPE, (LAB,)),
    ]
    with Archive.open(place, create=True) as archive:
        archive.add(first)
        before = archive.panels()
        with pytest.raises(ArchiveError, match=r"A1: .*6:1.* in the archive, .*3:1.* in the file"):
            archive.add(given, strict=True)
        assert archive.panels() == before
        kept = archive.add(given, strict=True, on_duplicate="keep")
        assert archive.panel("A1") == first[0]
        assert archive.panel("A2").readings == (LAB, later)
        assert (kept.added, kept.extended) == (("A3",), (("A2", 1),))
        for both in ("sprayer: Bo in the archive, Ines", "batch: 1 in the archive, 2"):
            assert f"{both} in the file" in kept.differing[0][1]
        replaced = archive.add(given, strict=True, on_duplicate="replace")
        assert [code for code, _ in replaced.replaced] == ["A1"]
        assert archive.panels() == tuple(given)
        assert archive.add(given, strict=True).already == ("A1", "A2", "A3")
        archive.undo(archive.history()[-1].number)
        assert archive.panel("A1") == first[0]
        assert archive.check() == ()


def test_other_readings_of_the_same_day_differ_only_where_it_matters(place: str) -> None:
    again = dataclasses.replace(LAB, lab=(50.3, -20.0, -10.2))
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", RECIPE, (LAB,))])
        with pytest.raises(ArchiveError, match="A1 differs"):
            archive.add([Panel.of("A1", RECIPE, (again,))], strict=True)
        assert archive.add([Panel.of("A1", RECIPE, (LAB, again))], strict=True).extended
        assert archive.panel("A1").readings == (LAB, again)


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
