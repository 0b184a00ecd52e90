"""The trainee's panels, pressed from Python."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from matchlib.lessons import KINDS, LESSONS
from workbook.training import Training, open_training
from workbook.training.record import keep, load

NAMES = ("ladders", "drill", "first_day", "reading", "exercises", "record", "lessons")
STILL = ("fades", "troubles", "words")


@pytest.fixture(scope="module")
def training(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Training]:
    place = tmp_path_factory.mktemp("school") / "panels.db"
    names = {"cherry", "honey"}
    some = [
        p for p in demo_panels() if p.recipe.colour is None or set(p.recipe.colour.names) <= names
    ]
    with Archive.open(place, create=True) as archive:
        archive.add(some, who="test")
    opened = open_training(str(place))
    assert opened.desk is not None, opened.trouble
    opened.opening()
    for name in (*NAMES, *STILL):
        getattr(opened, name)()
    opened.desk.fitting.join(60)
    assert opened.desk.model is not None, opened.desk.fitting.said.html
    opened.panels["lessons"].work.join(60)
    yield opened
    opened.desk.session.close()


def test_ladders_show_law_and_panels_with_numbers(training: Training) -> None:
    panel = training.panels["ladders"]
    panel.colour.value = "cherry"
    panel.ratio.value = "6:1"
    panel.grounds.value = ["silver", "pale gold"]
    assert "cherry over silver at 6:1, as predicted" in panel.shown.html
    assert "cherry over silver, as sprayed and read" in panel.shown.html
    assert "No panel of cherry over pale gold was ever sprayed" in panel.shown.html
    assert "T016 (3 coats): ΔE00" in panel.shown.html
    panel.coats.value = 3.0
    assert "4 coats" not in panel.shown.html.split("as sprayed")[0]
    panel.grounds.value = []
    assert "at least one ground" in panel.shown.html


@pytest.mark.parametrize("kind", list(KINDS))
def test_an_exercise_hides_its_panel_until_it_is_answered(training: Training, kind: str) -> None:
    panel = training.panels["exercises"]
    panel.trainee.value = ""
    panel.kind.value = kind
    panel.draw(11)
    asked = panel.exercise
    assert KINDS[kind] in panel.asked.html
    assert asked.panel not in panel.asked.html
    assert panel.result.html == ""
    assert [b["label"] for b in panel.answers.buttons] == list(asked.texts)
    wrong = next(i for i in range(len(asked.options)) if i != asked.right)
    panel.answers.press(str(wrong))
    assert asked.panel in panel.result.html
    assert f"ΔE00 {panel.marked.miss:.1f} off" in panel.result.html
    first = panel.result.html
    panel.answers.press(str(asked.right))  # a second guess does not count
    assert panel.result.html == first
    assert all(b["disabled"] for b in panel.answers.buttons)


def test_the_record_is_kept_with_the_archive(training: Training) -> None:
    panel, record = training.panels["exercises"], training.panels["record"]
    panel.kind.value = "coats"
    panel.trainee.value = "Ada  <i>"
    assert "0 answers on record" in record.shown.html
    panel.draw(5)
    panel.answers.press(str(panel.exercise.right))
    assert "1 answer on record" in record.shown.html
    held = load(training.desk.session.archive, "ada <I>")
    assert len(held) == 1
    assert held[0]["passed"] is True
    assert held[0]["panel"] == panel.exercise.panel
    assert held[0]["miss"] == pytest.approx(panel.marked.miss)
    assert "<i>" not in record.shown.html
    assert load(training.desk.session.archive, "someone else") == []
    # Another bench opened later reads the same record.
    again = open_training(str(training.desk.session.archive.database.path))
    assert len(load(again.desk.session.archive, "Ada <i>")) == 1
    again.desk.session.close()


def test_a_record_does_not_grow_for_ever(training: Training) -> None:
    archive = training.desk.session.archive
    for n in range(3):
        keep(archive, "long", kind="ground", panel=f"P{n}", passed=False, miss=1.0, best=0.5)
    assert [a["panel"] for a in load(archive, "long")] == ["P0", "P1", "P2"]
    archive.set_setting("training: long", [{"panel": "x"}] * 600)
    keep(archive, "long", kind="ground", panel="new", passed=True, miss=0.1, best=0.1)
    assert len(load(archive, "long")) == 500
    archive.set_setting("training: long", "spoiled")
    assert load(archive, "long") == []


def test_each_lesson_shows_what_the_archive_says(training: Training) -> None:
    panel = training.panels["lessons"]
    for key, (title, *_) in LESSONS.items():
        if panel.which.value != key:
            panel.which.value = key
            panel.work.join(60)
        assert title in panel.shown.html
        assert re.search("Your panels (agree|do not show it)", panel.shown.html)
        assert panel.work.said.html == ""
    panel.which.value = "ratio"
    panel.work.join(60)
    assert "4 of colour poured into 32 of carrier is 8:1" in panel.shown.html
    assert panel.shown.html.count('role="img"') >= 3


def test_the_drill_counts_and_shows_the_sum(training: Training) -> None:
    panel = training.panels["drill"]
    panel.draw(4)
    wrong = next(i for i in range(len(panel.drill.texts)) if i != panel.drill.right)
    before = panel.done
    panel.answers.press(str(wrong))
    assert "Not" in panel.result.html
    assert panel.done == before + 1
    panel.answers.press(str(panel.drill.right))  # a second answer does not count
    assert panel.done == before + 1
    panel.start.press("new")
    assert panel.result.html == ""


def test_a_first_day_follows_the_colour_named(training: Training) -> None:
    panel = training.panels["first day"]
    assert "A let-down set of cherry" in panel.shown.html
    panel.colour.value = "honey"
    assert "A let-down set of honey" in panel.shown.html
    assert "done: T0" in panel.shown.html
    panel.ratio.value = "six"
    assert "not a mix ratio" in panel.said.html
    panel.ratio.value = "4:1"
    assert "2@4:1" in panel.shown.html
    panel.colour.value = ""
    assert "Type the name" in panel.shown.html


def test_words_are_linked_to_where_they_are_explained(training: Training) -> None:
    there = set(re.findall(r'id="(word-[^"]+)"', training.panels["words"].view.html))
    for name in ("first day", "reading", "troubles"):
        panel = training.panels[name]
        html = panel.shown.html if name == "first day" else panel.view.html
        led = set(re.findall(r'href="#([^"]+)"', html))
        assert led <= there
        assert name == "first day" or led
    assert "read more than once" in training.panels["reading"].view.html


def test_an_archive_of_bare_grounds_can_begin(tmp_path: Path) -> None:
    place = tmp_path / "bare.db"
    with Archive.open(place, create=True) as archive:
        archive.add([p for p in demo_panels() if p.recipe.bare], who="test")
    opened = open_training(str(place))
    opened.opening()
    opened.first_day()
    panel = opened.panels["first day"]
    assert "Type the name" in panel.shown.html
    panel.colour.value = "cherry"
    assert "to spray" in panel.shown.html
    opened.desk.fitting.join(60)
    opened.desk.session.close()


def test_fades_show_every_strip_and_its_step(training: Training) -> None:
    panel = training.panels["fades"]
    panel.ground.value, panel.one.value, panel.two.value = "silver", "cherry", "honey"
    panel.strips.value = 4
    assert "cherry led into honey over silver" in panel.shown.html
    assert panel.shown.html.count("step ΔE00") >= 3
    panel.two.value = "the bare ground"
    assert "more and fewer coats beside it" in panel.shown.html
    assert ">bare<" in panel.shown.html
    panel.one_coats.value = "four"
    assert "not a coat schedule" in panel.said.html
    panel.one_coats.value = "4@6:1"
