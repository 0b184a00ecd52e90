"""What is typed and done in the archive's and the trainee's notebooks, there after a restart."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from matchlib.archive import Archive
from matchlib.audit import Finding
from matchlib.demo import demo_panels
from matchlib.domain import Recipe
from tests.cli_shop import copied
from workbook.archive_view.findings import FindingsPanel
from workbook.archive_view.history import HistoryPanel
from workbook.controls import Choice, NumberField, TextField
from workbook.desk import Desk, Typed
from workbook.entry import EntryForm
from workbook.match.keeping import SETTING, Work, plain_of
from workbook.session import Forms, Session, recipe_of
from workbook.training.exercises import ExercisePanel

ONE, TWO = "0123456789abcdef", "fedcba9876543210"


@contextmanager
def desk(archive: Path, monkeypatch: pytest.MonkeyPatch, mark: str = "") -> Iterator[Desk]:
    with Session.open(archive) as session:
        made = Desk(session)
        monkeypatch.setattr(made, "fit", lambda: None)  # what a fit does is tested elsewhere
        if mark:
            made.seat.value = mark
        yield made


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return copied(tmp_path)


@pytest.fixture
def few(tmp_path: Path) -> Path:
    with Archive.open(tmp_path / "few.db", create=True) as made:
        made.add(demo_panels()[:25], who="test")
    return tmp_path / "few.db"


CHERRY = recipe_of(ground="silver", colour="cherry", schedule="3@6:1", clear="yes")


def test_an_exercise_is_asked_again_and_its_answer_recorded_once(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with desk(archive, monkeypatch) as made:
        made._fitted(made.fresh_model())
        panel = ExercisePanel(made)
        panel.trainee.value = "Ines"
        panel.draw(7)
        asked = panel.asked.html
        options = panel.answers.buttons
    with desk(archive, monkeypatch) as made:
        panel = ExercisePanel(made)
        assert panel.exercise is None  # there is no model yet
        made._fitted(made.fresh_model())
        assert panel.asked.html == asked
        assert panel.answers.buttons == options
        panel.answer("1")
        result = panel.result.html
        assert len(panel.attempts) == 1
    with desk(archive, monkeypatch) as made:
        made._fitted(made.fresh_model())
        panel = ExercisePanel(made)
        assert panel.result.html == result
        assert all(b["disabled"] for b in panel.answers.buttons)
        assert len(panel.attempts) == 1
        panel.answer("0")
        assert len(panel.attempts) == 1
        panel.draw(8)
        assert panel.result.html == ""


def test_the_back_of_a_panel_half_typed(few: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = (
        b"panel,source,illuminant,observer,geometry,L,a,b\nN,spectrophotometer,A,2,de:8,50,1,2\n"
    )
    with desk(few, monkeypatch, ONE) as here:
        form = EntryForm(here)
        form.code.value, form.ground.value, form.colour.value = "N-1", "silver", "cherry"
        form.ratio.value, form.coats.value, form.note.value = "6:1", 4.0, "<i>left"
        form.date.value, form.customer.value = "2024-11-02", "Someone"
        form.file.receive("read.csv", table)
    with desk(few, monkeypatch, TWO) as here:
        assert EntryForm(here).code.value == "", "another bench's form is its own"
    with desk(few, monkeypatch) as here:
        form = EntryForm(here)
        assert form.code.value == ""
        here.seat.value = ONE
        assert (form.code.value, form.coats.value, form.note.value) == ("N-1", 4.0, "<i>left")
        assert "N-1: cherry over silver: 4 coats" in form.back.html
        form.actions.press("keep")
        kept = here.session.archive.panel("N-1")
        assert str(kept.recipe) == "cherry over silver, 4@6:1"
        assert str(kept.readings[0].viewing) == "A/2° de:8"
        assert (kept.date.isoformat(), kept.note) == ("2024-11-02", "<i>left")
        form.code.value = "N-2"
        assert not form.draft().panel.readings, "a file's reading is one panel's"
        form.actions.press("keep")
    with desk(few, monkeypatch, ONE) as here:
        form = EntryForm(here)
        assert form.code.value == ""
        assert form.customer.value == ""
        pressable = {b["name"] for b in form.actions.buttons if not b.get("disabled")}
        assert {"undo", "label"} <= pressable
        form.actions.press("undo")
        assert here.session.archive.deleted() == ("N-2",)
        # The other one is undone in the log, so here is nothing left to undo.
        here.session.undo(here.session.history("N-1")[-1].number)
        here.changed()
        pressable = {b["name"] for b in form.actions.buttons if not b.get("disabled")}
        assert "undo" not in pressable


def test_a_sharing_of_the_archive_leaves_the_half_typed_customer_out(few: Path) -> None:
    import zipfile

    with Session.open(few) as session:
        Forms(session.archive, ONE).keep_typed("back", {"customer": "Ann Example", "code": "N-1"})
        job = {"sheet.customer": "Ann Example", "area": "2 m2"}
        session.archive.set_setting(SETTING, plain_of(Work(job=job)))
        held = {}
        for customers in (True, False):
            file = session.export(few.with_name(f"{customers}.zip"), customers=customers).file
            with zipfile.ZipFile(file) as bundle:
                held[customers] = bundle.read("records/settings.jsonl").decode()
    assert held[True].count("Ann Example") == 2
    assert "Ann Example" not in held[False]
    assert "N-1" in held[False]
    assert "2 m2" in held[False]


def finding(code: str, kind: str, proposed: Recipe | None = None) -> Finding:
    return Finding(
        kind=kind,
        codes=(code,),
        probability=0.9,
        words=f"{code} looks wrong.",
        fix="change it",
        proposed=proposed,
    )


def test_decisions_of_the_audit_are_undone_after_a_restart(
    few: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two, three = (p.code for p in demo_panels()[20:23])
    with desk(few, monkeypatch, ONE) as here:
        was = here.session.archive.panel(one).recipe
        panel = FindingsPanel(here)
        panel.findings = [
            finding(one, "wrong ground", CHERRY),
            finding(two, "impossible reading"),
            finding(three, "drift"),
        ]
        panel.who.value = "Ada"
        panel.shown.press("fix 0")
        panel.shown.press("aside 0")
        panel.shown.press("ignore 0")
        panel.actions.press("again")
        archive = here.session.archive
        assert archive.panel(one).recipe == CHERRY
        assert archive.deleted() == (two,)
        assert not archive.ignored()
        panel.actions.press("undo")
        assert len(archive.ignored()) == 1
    with desk(few, monkeypatch, TWO) as here:
        other = FindingsPanel(here)
        assert other.actions.buttons[1]["disabled"], "another bench decided nothing"
    for left in (1, 0):  # a restart between any two
        with desk(few, monkeypatch, ONE) as here:
            panel = FindingsPanel(here)
            assert panel.who.value == "Ada"
            assert not panel.actions.buttons[1]["disabled"]
            panel.actions.press("undo")
            archive = here.session.archive
            assert not archive.ignored()
            assert len(archive.deleted()) == left
    with desk(few, monkeypatch, ONE) as here:
        panel = FindingsPanel(here)
        panel.actions.press("undo")
        last = here.session.history(one)[-1]
        assert (last.who, last.action) == ("Ada", "undone")
        assert here.session.archive.panel(one).recipe == was
        assert f"{one} is as it was" in panel.said.html
        assert panel.actions.buttons[1]["disabled"]


def test_the_log_undoes_what_any_kernel_did(few: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code = demo_panels()[20].code
    with desk(few, monkeypatch) as here:
        number = here.session.archive.amend(code, note="wrong", who="Bo")
        HistoryPanel(here).who.value = "Bo"
    with desk(few, monkeypatch) as here:
        log = HistoryPanel(here)
        assert log.who.value == "Bo"
        log.shown.press(str(number))
        assert here.session.archive.panel(code).note != "wrong"
        assert here.session.history(code)[-1].who == "Bo"


# Keeping while typing


def test_a_burst_of_keys_is_one_writing(few: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Session.open(few) as session:
        forms, written = Forms(session.archive, ONE), []
        keep = forms.keep_typed
        monkeypatch.setattr(
            forms, "keep_typed", lambda form, fields: (written.append(fields), keep(form, fields))
        )

        async def typing() -> None:
            note = TextField(label="Note")
            typed = Typed("note", {"note": note})
            typed.sit(forms)
            for k in range(1, 6):
                note.value = "words"[:k]
            assert written == []
            while not written:
                await asyncio.sleep(0.02)
            note.value = "words, more"
            typed.sit(Forms(session.archive, TWO))  # what waits is not another bench's
            assert note.value == ""

        asyncio.run(typing())
        assert [w["note"] for w in written] == ["words", "words, more"]
        assert forms.typed("note") == {"note": "words, more"}
        assert Forms(session.archive, TWO).typed("note") == {}


def test_who_types_on_and_on_is_not_waited_for(few: Path) -> None:
    with Session.open(few) as session:
        forms = Forms(session.archive, ONE)

        async def typing() -> str:
            note = TextField(label="Note")
            Typed("note", {"note": note}).sit(forms)
            for _ in range(500):
                note.value += "x"
                await asyncio.sleep(0.02)  # no longer than between two keys
                if kept := forms.typed("note"):
                    return str(kept["note"])
            return "nothing is kept until the keys rest"

        assert set(asyncio.run(typing())) == {"x"}


def test_what_cannot_be_filled_in_again_is_passed_over(few: Path) -> None:
    with Session.open(few) as session:
        forms = Forms(session.archive, ONE)
        held = {"ground": "no longer there", "coats": "many", "note": "kept", "unknown": 1}
        forms.keep_typed("form", held)
        ground, coats = Choice(["silver"], label="Ground"), NumberField(label="Coats")
        note = TextField(label="Note")
        Typed("form", {"ground": ground, "coats": coats, "note": note}).sit(forms)
        assert (ground.value, coats.value, note.value) == ("silver", None, "kept")
        here = Desk(session)
        back = {"code": "N-1", "readings": [{"lab": "spoiled"}]}
        Forms(session.archive).keep_typed("panel's back", back)
        form = EntryForm(here)
        assert form.code.value == "N-1"
        assert form._readings == ()
        for odd in ("spoiled", ["x"], {"fields": 3}):
            session.archive.set_setting(f"typed: form: {ONE}", odd)
            session.archive.set_setting(f"done: form: {ONE}", odd)
            assert forms.typed("form") == {}
            assert forms.done("form") == []


def test_an_archive_that_cannot_be_written_can_be_typed_over(few: Path) -> None:
    with Archive.open(few, read_only=True) as closed:
        forms = Forms(closed, ONE)
        forms.keep_typed("form", {"note": "x"})
        forms.did("form", number=1)
        forms.took_back("form")
        assert forms.typed("form") == {}
        assert forms.done("form") == []
