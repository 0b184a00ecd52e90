"""A shop's beginning on the library's page: its grounds, its colours, their first cards."""

from __future__ import annotations

import re
from types import SimpleNamespace

from matchlib.domain import (
    Colour,
    Panel,
    Reading,
    Recipe,
    Viewing,
)
from matchlib.lessons import first_four
from tests.pages.pressing import plain, press, words_before_folds
from workbook.library.app import LibraryScreen
from workbook.page import Press
from workbook.session import Session


def test_a_beginner_names_nothing_twice_and_reads_as_the_instrument_does(
    nothing: Session,
) -> None:
    screen = LibraryScreen(nothing)
    press(screen, "open")
    how = {"geometry": "di:8", "light": "D50/2", "clear": "no"}
    press(screen, "ground", new_ground="silver", **how)
    press(screen, "bare", "ground 0", **{"lab_ground 0": "61 0 1"}, **how)
    (card,) = nothing.archive.panels()
    view = card.readings[0].viewing
    assert (view.illuminant, view.observer, view.geometry) == ("D50", "2", "di:8")
    assert card.recipe.clear is None
    press(screen, "step", "colours")
    for name in ("cherry", "Cherry"):
        press(screen, "colour", new_colour=name)
    assert "named already" in screen.draw()
    press(screen, "part", "begin")
    page = screen.draw()
    assert "4 left" in page, "with a ground and a colour the cards are next"
    press(screen, "read", "0.1")
    typed = {"lab_colour 0.1": "40 30 20", "code_0.1": "my second"}
    press(screen, "bare", "colour 0.1", **typed)
    assert "my second" in {p.code for p in nothing.archive.panels()}
    press(screen, "bare", "colour 0.1", **typed | {"lab_colour 0.1": "41 30 20"})
    assert len(nothing.archive.panel("my second").readings) == 2, "a card that is there is that one"


def test_a_reading_is_of_the_card_that_its_page_showed(nothing: Session) -> None:
    grounds = (("silver", (60.0, 0.0, 1.0)), ("black", (5.0, 0.0, 0.0)))
    bare = [Panel.of(f"{g} bare", Recipe.of(g, clear="yes"), readings=(Reading(lab=v),))
            for g, v in grounds]  # fmt: skip
    nothing.archive.add(bare)
    one, two = LibraryScreen(nothing), LibraryScreen(nothing)
    for name in ("rust", "teal"):
        press(one, "colour", new_colour=name)
    for screen in (one, two):
        press(screen, "part", "begin")
    press(one, "step", "first")
    page = press(one, "read", "1.0")
    (held,) = re.findall(r'name="card colour 1.0" value="([^"]*)"', page)
    assert held == "teal over silver, 2@6:1"
    press(two, "step", "first")
    press(two, "bare", "colour 1.3", **{"lab_colour 1.3": "20 -5 -5"})  # teal now comes first
    typed = {"lab_colour 1.0": "40 -20 -10", "card_colour 1.0": held}
    before = nothing.archive.last_change()
    page = plain(press(one, "bare", "colour 1.0", **typed))
    assert "another card meanwhile" in page
    assert nothing.archive.last_change() == before
    typed = {"lab_colour 0.0": "40 -20 -10", "card_colour 0.0": held}
    press(one, "bare", "colour 0.0", **typed)
    assert str(nothing.archive.panel("teal 1").recipe) == held


def test_a_photographed_card_keeps_the_code_on_its_back(nothing: Session) -> None:
    bare = Panel.of("silver bare", Recipe.of("silver"), readings=(Reading(lab=(60.0, 0.0, 1.0)),))
    nothing.archive.add([bare])
    screen = LibraryScreen(nothing)
    press(screen, "colour", new_colour="rust")
    screen.photo_for = "colour 0.1"
    seen = Reading(Viewing(geometry="photo"), "photo", (28.0, 45.0, 29.0), sd=2.0)
    found = SimpleNamespace(reading=SimpleNamespace(reading=seen), picture=b"small JPEG")
    screen.use_photo(found, Press("photo_use", "", {"code 0.1": "R-7"}))
    assert nothing.archive.panel("R-7").readings[0].source == "photo"
    assert [a.name for a in nothing.archive.attachments("R-7")]


def test_a_shop_in_use_is_not_asked_for_its_first_cards(shop: Session) -> None:
    screen = LibraryScreen(shop)
    press(screen, "open")
    page = press(screen, "part", "begin")
    assert "Name your grounds" in page
    assert page.index("Name a ground") < page.index("<h2>silver</h2>"), "not under those read"
    assert " left" not in plain(press(screen, "step", "first"))


def test_a_shop_from_nothing_to_its_first_model(nothing: Session) -> None:
    screen = LibraryScreen(nothing)
    page = press(screen, "open")
    assert "Name your grounds" in page
    assert words_before_folds(page) < 120
    for name, lab in (("silver", "61,2 0,3 1,9"), ("white", "92 -0.5 2"), ("black", "9 0 0")):
        press(screen, "ground", new_ground=name)
        at = len(nothing.archive) - 1
        press(screen, "bare", f"ground {at}", **{f"lab_ground {at}": lab})
    assert nothing.archive.panel("silver bare").readings[0].lab == (61.2, 0.3, 1.9)
    page = press(screen, "ground", new_ground="Silver")
    assert "named already" in page
    press(screen, "step", "colours")
    press(screen, "colour", new_colour="cherry")
    page = press(screen, "step", "first")
    assert "4 left" in page
    wanted = [c.recipe for c in first_four(nothing.archive.panels(), Colour.parse("cherry"))]
    for i, lab in enumerate(("60 50 20", "35 55 30", "38 40 18", "9 12 5")):
        press(screen, "read", f"0.{i}")
        page = press(screen, "bare", f"colour 0.{i}", **{f"lab_colour 0.{i}": lab})
    assert "The first cards" in page
    assert [p.recipe for p in nothing.archive.panels()[3:]] == wanted
    assert screen.model is not None
    assert str(nothing.archive.panel("cherry 1").recipe) == "cherry over white, 2@6:1"
