"""The page of training pressed from Python."""

from __future__ import annotations

import re

from tests.pages.pressing import plain, press, words_before_folds
from workbook.session import Session
from workbook.session.record import load_attempts
from workbook.training.app import TrainingRoom


def test_every_part_of_the_training_draws(shop: Session) -> None:
    room = TrainingRoom(shop)
    page = press(room, "open")
    assert "What does the ground do to" in page
    assert words_before_folds(page) < 120
    assert page.index("Ground value") < page.index("What a ratio is") < page.index("A first day")
    for part in ("ratio", "day", "reading", "guess", "lessons", "fades", "troubles", "words"):
        page = press(room, "part", part)
        assert room.error is None
        assert len(page) > 1500


def test_another_colour_and_its_panels(shop: Session) -> None:
    room = TrainingRoom(shop)
    one = re.search(r"ground do to (\w+)", press(room, "open"))
    two = re.search(r"ground do to (\w+)", press(room, "another"))
    assert one
    assert two
    assert {one[1], two[1]} == {"violet", "lagoon"}
    page = press(room, "choose", colour="violet", grounds="black", upto="3")
    assert "never sprayed with violet" in plain(page)


def test_an_exercise_stands_in_the_address_and_is_recorded_once(shop: Session) -> None:
    room = TrainingRoom(shop)
    press(room, "open")
    press(room, "part", "guess")
    asked = press(room, "new", kind="coats", trainee="Ines")
    again = TrainingRoom(shop)
    again.address = dict(room.address)
    press(again, "open")
    offered = re.findall(r'data-do="guess".*?</button>', asked)
    assert len(offered) > 1
    assert re.findall(r'data-do="guess".*?</button>', again.draw()) == offered
    page = press(room, "guess", "1", kind="coats", trainee="Ines")
    assert "Your score: ΔE00" in page
    press(room, "guess", "0", kind="coats", trainee="Ines")
    (held,) = load_attempts(shop.archive, "Ines")
    assert f"Card {held['panel']}." in page
    assert f"ΔE00 {held['miss']:.1f} off" in page
    assert load_attempts(shop.archive, "") == []


def test_a_ratio_is_marked_with_its_sum(shop: Session) -> None:
    room = TrainingRoom(shop)
    press(room, "part", "ratio")
    page = press(room, "drill", "0")
    assert "of 1 right" in page
    press(room, "drill", "1")
    assert room.drill_done == 1
