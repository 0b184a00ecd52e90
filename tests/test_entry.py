"""The form for the back of a panel: said back, questioned, kept, undone, labelled."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from workbook.desk import Desk
from workbook.entry import EntryForm
from workbook.session import Session


@pytest.fixture
def form(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[EntryForm]:
    with Archive.open(tmp_path / "panels.db", create=True) as archive:
        archive.add(demo_panels()[:25], who="test")
    desk = Desk(Session.open(tmp_path / "panels.db"))
    monkeypatch.setattr(desk, "fit", lambda: None)  # what a fit does is tested elsewhere
    yield EntryForm(desk)
    desk.session.close()


def fill(form: EntryForm, ratio: str = "6:1") -> None:
    form.code.value = "N-1"
    form.ground.value = "silver"
    form.colour.value = "cherry"
    form.ratio.value = ratio
    form.coats.value = 4.0
    form.date.value = "2024-11-02"
    form.sprayer.value = "<b>Ada</b>"


def button(form: EntryForm, name: str) -> bool:
    return not next(b for b in form.actions.buttons if b["name"] == name).get("disabled")


def test_it_says_the_ratio_back_in_words_and_as_a_cup(form: EntryForm) -> None:
    assert "Not complete" in form.back.html
    fill(form)
    assert "4 coats of 6 parts carrier to 1 part colour (6:1)" in form.back.html
    assert "<svg" in form.back.html
    assert "6 parts carrier, then 1 part colour (cherry)" in form.back.html
    assert "<b>Ada" not in form.back.html, "a name must be escaped"
    form.schedule.value, form.ratio.value, form.coats.value = "2@6:1 2@3:1", "", None
    assert form.back.html.count("<figcaption>") == 2, "one cup a pot"


def test_a_whole_panel_is_kept_undone_and_labelled(form: EntryForm) -> None:
    fill(form)
    form.light.value, form.red.value, form.yellow.value = 25.0, 39.0, 16.0
    changed: list[int] = []
    form.desk.on_change(lambda: changed.append(1))
    form.actions.press("keep")
    kept = form.desk.session.archive.panel("N-1")
    assert str(kept.recipe) == "cherry over silver, 4@6:1"
    assert kept.readings[0].lab == (25.0, 39.0, 16.0)
    assert kept.sprayer == "<b>Ada</b>"
    assert changed == [1]
    assert button(form, "undo")
    assert button(form, "label")
    form.actions.press("label")
    found = re.search(r"data:application/pdf;base64,([\w+/=]+)", form.download.html)
    assert found
    assert base64.b64decode(found[1]).startswith(b"%PDF")
    form.actions.press("undo")
    assert "N-1" in form.desk.session.archive.deleted()
    assert not button(form, "undo")


def test_a_ratio_that_looks_reversed_is_asked_about(form: EntryForm) -> None:
    fill(form, "1:6")
    assert "Was 6:1 meant" in form.back.html
    assert form.sure.layout.display == ""
    form.actions.press("keep")
    assert "Was 6:1 meant" in form.said.html
    assert "N-1" not in {p.code for p in form.desk.session.archive.panels()}, "kept unasked"
    form.actions.press("turn")
    assert form.ratio.value == "6:1"
    assert form.sure.layout.display == "none"
    # An answer given is no answer to what is typed afterwards.
    form.ratio.value = "1:6"
    form.sure.value = form.sure.options
    form.ratio.value = "1:5"
    form.actions.press("keep")
    assert "Was 5:1 meant" in form.said.html
    form.sure.value = form.sure.options
    form.actions.press("keep")
    assert str(form.desk.session.archive.panel("N-1").recipe.schedule) == "4@1:5"


def test_what_was_poured_is_held_against_the_ratio(form: EntryForm) -> None:
    fill(form)
    form.carrier.value, form.poured.value = 32.0, 4.0
    assert "4 of colour into 32 of carrier is 8:1" in form.back.html
    form.actions.press("keep")
    assert "N-1" not in {p.code for p in form.desk.session.archive.panels()}
    form.ratio.value = "8:1"
    form.actions.press("keep")
    assert str(form.desk.session.archive.panel("N-1").recipe.schedule) == "4@8:1"


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("ratio", "6", "not a mix ratio"),
        ("date", "2 November", "not a date"),
        ("coats", 2.5, "not a whole number"),
        ("code", "", "not a usable panel code"),
        ("light", 30.0, "reading is not whole"),
        ("ground", "another, typed below", "ground is not named"),
    ],
)
def test_what_is_wrong_is_said_in_words(
    form: EntryForm, field: str, value: object, words: str
) -> None:
    fill(form)
    getattr(form, field).value = value
    assert words in form.back.html
    form.actions.press("keep")
    assert words in form.said.html
    assert "Traceback" not in form.said.html
    assert len(form.desk.session.archive) == 25


def test_a_code_already_used_is_refused_in_words(form: EntryForm) -> None:
    fill(form)
    form.code.value = demo_panels()[20].code
    form.actions.press("keep")
    assert "Not done" in form.said.html
    assert len(form.desk.session.archive) == 25


def test_a_blend_a_bare_ground_and_a_file(form: EntryForm) -> None:
    fill(form)
    form.colour.value = "no colour: a bare ground"
    assert "silver, bare" in form.back.html
    form.ground.value = "another, typed below"
    form.ground_other.value = "silver 3 + black 1"
    assert "silver 3 + black 1, bare" in form.back.html
    form.file.receive(
        "read.csv",
        b"panel,source,illuminant,observer,geometry,L,a,b\nN-1,spectrophotometer,D65,10,45:0,50,1,2\n",
    )
    assert "1 reading taken from read.csv" in form.said.html
    form.actions.press("keep")
    kept = form.desk.session.archive.panel("N-1")
    assert kept.recipe.bare
    assert kept.readings[0].lab == (50.0, 1.0, 2.0)
    assert "silver 3 + black 1" in form.ground.options, "a new ground is offered from now on"
    form.file.receive("broken.csv", b"\x00\x01")
    assert "Not done" in form.said.html
