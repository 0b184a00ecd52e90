"""A small slice of the hostile arguments that ``tests/faults/arguments.py`` tries at full count."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.faults.arguments import commands, draw, make_shop, tried
from tests.faults.making import seeded


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    make_shop(folder)
    return folder


def test_they_end_in_words(shop: Path) -> None:
    known = commands()
    for number in range(0, len(known), 9):
        name = list(known)[number]
        outcome = tried(draw(seeded(("slice", number)), name, known[name]), shop)
        assert not outcome.fault, outcome


def test_an_archive_that_is_a_link_to_itself_is_told_of(shop: Path) -> None:
    outcome = tried(["open", "--archive", "loop"], shop)
    assert (outcome.code, outcome.fault) == (1, ""), outcome
    assert "No archive can have this path" in outcome.said


def test_a_draw_writes_nowhere_but_in_its_workshop(shop: Path, tmp_path: Path) -> None:
    assert tried(["label", "P3"], shop).code == 0
    if os.geteuid() == 0:  # else the user's own rights hold
        outcome = tried(["label", "P3", "--out", str(tmp_path / "labels.pdf")], shop)
        assert (outcome.code, outcome.fault) == (1, ""), outcome
        assert "cannot be written" in outcome.said
    assert not [*tmp_path.iterdir()]


def test_a_traceback_and_silence_are_noticed(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("workbook.cli.main", lambda: 1 // 0)
    assert tried(["words"], shop).fault == "traceback"
    monkeypatch.setattr("workbook.cli.main", lambda: None)
    assert tried(["words"], shop).fault == "not a word"
