"""The library pressed from Python: cards found, shown, amended, taken in, and a beginning."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from pathlib import Path

import pytest

from matchlib.archive import Archive
from matchlib.domain import (
    CoatSchedule,
    CoatStep,
    MixRatio,
    Panel,
    Reading,
    Recipe,
)
from matchlib.errors import TargetError
from matchlib.job import Job
from matchlib.overview import arranged
from tests.pages.pressing import plain, press
from workbook.library.app import LibraryScreen
from workbook.page import Press
from workbook.screen import screen_page
from workbook.session import Session
from workbook.session.library import look_at_card, match_card


def test_a_card_is_found_near_a_colour_and_by_its_code(shop: Session) -> None:
    screen = LibraryScreen(shop)
    press(screen, "open")
    lab = look_at_card(shop.archive, "T045").lab
    assert lab is not None
    typed = " ".join(f"{v:.1f}".replace(".", ",") for v in lab)
    for near in (typed, "t045"):
        page = press(screen, "arrange", near=near)
        first = re.findall(r'data-do="card" data-value="(T\d+)"', page)[0]
        assert first == "T045"
    page = press(screen, "arrange", near="", ground="silver", colour="lagoon", by="lightness")
    codes = set(re.findall(r'data-do="card" data-value="(T\d+)"', page))
    panels = shop.archive.panels()
    want = {p.code for p in panels if str(p.recipe).startswith("lagoon over silver,")}
    assert codes == want
    assert "A colour is three numbers" in press(screen, "arrange", near="12 x")
    shop.archive.add([shop.archive.panel("T045").having(code="N-1", readings=())])
    assert "N-1 was never read" in press(screen, "arrange", near="n-1")


def test_a_card_shows_its_back_and_begins_a_job(shop: Session) -> None:
    screen = LibraryScreen(shop)
    press(screen, "open")
    page = plain(press(screen, "card", "T045"))
    panel = shop.archive.panel("T045")
    assert f"{panel.recipe.colour} over {panel.recipe.ground}" in page
    assert panel.sprayer in page
    assert "prediction and reading" in page
    page = press(screen, "match", "T045")
    (job,) = shop.archive.jobs()
    assert (job.name, job.state) == ("like T045", "recipe")
    assert job.target[0].viewing == panel.readings[0].viewing
    assert f'href="match_a_sample.ipynb?job={job.number}"' in page
    shop.archive.add([panel.having(code="N-1", readings=())])
    with pytest.raises(TargetError, match="never read"):
        match_card(shop.archive, "N-1")


def test_a_free_label_is_a_whole_number(few: Session) -> None:
    screen = LibraryScreen(few)
    code = few.archive.panels()[0].code
    press(screen, "card", code)
    for typed in ("second", "1.5"):
        assert "First free label is not a" in plain(press(screen, "label", code, first=typed))
    assert "first label 0" in plain(press(screen, "label", code, first="0"))
    assert f"The label of {code} was handed" in plain(press(screen, "label", code, first=""))


def test_the_back_of_a_card_that_another_tablet_renamed_leads_to_the_cards(few: Session) -> None:
    screen = LibraryScreen(few)
    code = few.archive.panels()[0].code
    press(screen, "amend", code)
    few.archive.amend(code, code="Z-9")
    page = plain(press(screen, "typed", code=code))
    assert "There is no panel of this code" in page
    assert "Library · 6 cards" in page
    assert "no panel" not in plain(press(screen, "card", "Z-9"))


def test_a_back_that_was_changed_meanwhile_is_not_written_over(few: Session) -> None:
    screen, archive = LibraryScreen(few), few.archive
    page = press(screen, "amend", "P3")
    fields = {"code": "P3", "ground": "silver", "colour": "rust", "clear": "yes", "ratio": "6:1"}
    press(screen, "typed", **fields, coats="3", drawer="B2")
    grown = archive.panel("P3").recipe.then(CoatSchedule.parse("1@8:1"), clear="yes")
    archive.build_on("P3", grown, readings=(Reading(lab=(40.0, 33.0, 25.0)),))
    archive.amend("P3", note="a run")
    now = archive.panel("P3")
    for do, value in (("keep", ""), ("takeout", "1"), ("takeout", "")):
        page = press(screen, do, value, **fields, coats="3", drawer="B2")
        assert "was changed meanwhile" in page
        assert archive.panel("P3") == now
        assert "B2" not in page, "it shows the back as it is"
        assert "3@6:1 1@8:1" in page
        screen.entry.of = dataclasses.replace(now, note="")  # as if it were changed once more
    screen.entry.of = now
    press(screen, "takeout", "1")
    assert archive.panel("P3").readings == ()
    again = fields | {"ratio": "", "coats": "3@6:1 1@8:1", "note": "a run", "drawer": "B2"}
    press(screen, "keep", **again)
    assert screen.error is None
    assert archive.panel("P3").drawer == "B2"


def test_an_undo_that_is_refused_says_why(few: Session) -> None:
    screen = LibraryScreen(few)
    press(screen, "open")
    few.archive.add([few.archive.panel("P3").having(code="N-1", readings=())])
    few.archive.keep_job(Job("ring").sprayed("N-1"))
    page = press(screen, "undo")
    assert "a job rests on it" not in page
    page = press(screen, "undo")
    assert "N-1 cannot be removed, for a job rests on it" in page
    assert page.count('role="alert"') == 1
    page = press(screen, "arrange", near="12 x")
    assert page.count("A colour is three numbers") == 1, "beside its cause alone"


def test_an_archive_that_could_not_be_opened_is_tried_again(few: Session, tmp_path: Path) -> None:
    place = tmp_path / "shop.db"
    place.write_bytes(b"no archive")
    page = screen_page(LibraryScreen, place)
    page.act(Press("open"))
    assert "The archive cannot be opened" in page.html
    page.screen.address = {"card": few.archive.panels()[0].code}
    page.act(Press("open"))
    assert "Try again" in page.html
    place.write_bytes((tmp_path / "panels.db").read_bytes())
    page.act(Press("open"))
    assert "Library · 6 cards" in page.html
    assert "Amend the back" in page.html, "it goes on where its address says"


def test_a_missing_archive_is_made_when_asked(tmp_path: Path) -> None:
    page = screen_page(LibraryScreen, tmp_path / "none.db")
    page.act(Press("open"))
    assert "There is no archive of your own" in page.html
    assert not (tmp_path / "none.db").exists()
    page.act(Press("make"))
    assert "Name your grounds" in page.html
    assert (tmp_path / "none.db").exists()


def test_a_back_is_amended_questioned_and_taken_back(few: Session) -> None:
    screen = LibraryScreen(few)
    press(screen, "open")
    press(screen, "amend", "P4")
    was = few.archive.panel("P4")
    fields = {"code": "P4", "ground": str(was.recipe.ground), "colour": "rust", "clear": "yes"}
    fields |= {"date": "2024-11-02", "sprayer": "Ada", "lot": "7", "source": "photo"}
    page = press(screen, "keep", **fields, coats="3@1:6")
    assert "Was 6:1 meant" in plain(page)
    assert few.archive.panel("P4") == was
    press(screen, "keep", **fields, coats="3@6:1")
    now = few.archive.panel("P4")
    assert str(now.recipe) == f"rust over {was.recipe.ground}, 3@6:1"
    assert now.sprayer == "Ada"
    assert now.readings == was.readings
    assert "amended P4" in press(screen, "card", "P1")
    with Archive.open(few.archive.label) as elsewhere:
        elsewhere.amend("P1", note="by command")
    page = press(screen, "undo")
    assert "Undo now takes back amended P1" in plain(page)
    assert few.archive.panel("P4") == now, "no more than the page said is taken back"
    press(screen, "undo")
    assert few.archive.panel("P1").note == ""
    press(screen, "undo")
    assert few.archive.panel("P4") == was


def test_a_new_card_is_kept_with_its_typed_reading(few: Session) -> None:
    screen = LibraryScreen(few)
    press(screen, "open")
    press(screen, "part", "back")
    fields = {"code": "N-1", "ground": "silver", "colour": "rust", "clear": "yes"}
    fields |= {"source": "spectrophotometer", "geometry": "45:0", "date": "2024-11-02"}
    page = press(screen, "typed", **fields, ratio="1:6", coats="3", lab="40,5 -9 -40")
    assert "Turn the ratio round" in page
    assert "a \N{MINUS SIGN}9" in plain(page), "said back with the minus of a number"
    page = press(screen, "turn", **fields, ratio="1:6", coats="3", lab="40,5 -9 -40")
    assert 'value="6:1"' in page
    press(screen, "keep", **fields, ratio="6:1", coats="3", lab="40,5 -9 -40")
    kept = few.archive.panel("N-1")
    assert str(kept.recipe) == "rust over silver, 3@6:1"
    assert kept.readings[0].lab == (40.5, -9.0, -40.0)
    press(screen, "amend", "N-1")
    press(screen, "takeout", "1")
    assert few.archive.panel("N-1").readings == ()
    press(screen, "undo")
    assert len(few.archive.panel("N-1").readings) == 1


def test_a_card_is_typed_in_as_read_before_its_clear_coat_and_after_it(few: Session) -> None:
    screen = LibraryScreen(few)
    press(screen, "part", "back")
    fields = {"code": "N-4", "ground": "silver", "colour": "rust", "clear": "yes"}
    fields |= {"ratio": "6:1", "coats": "3", "source": "spectrophotometer", "geometry": "45:0"}
    page = press(screen, "typed", **fields, lab="41 -9 -40", state="before clear")
    assert "before clear" in page.split("Said back")[1]
    press(screen, "keep", **fields, lab="41 -9 -40", state="before clear")
    press(screen, "amend", "N-4")
    press(screen, "keep", **fields, lab="40 -9 -42", state="")
    card = few.archive.panel("N-4")
    assert [r.state for r in card.readings] == ["before clear", ""]
    stage = card.stages[-1]
    assert [stage.recipe_at(r).clear for r in card.readings] == [None, "yes"]


def test_all_that_is_on_a_back_is_kept_and_amended(few: Session) -> None:
    screen = LibraryScreen(few)
    fields = {"code": "N-2", "ground": "silver", "colour": "rust", "clear": "yes"}
    fields |= {"ratio": "6:1", "coats": "3", "source": "spectrophotometer", "geometry": "45:0"}
    rest = {"temperature": "21,5", "humidity": "40", "gun": "blue", "tip": "1.2", "batch": "S7"}
    rest |= {"drawer": "4", "customer": "Ann", "note": "a run", "lots": "carrier: 12"}
    press(screen, "part", "back")
    content = b"panel,L,a,b,illuminant,observer,geometry\nx,41,-9,-40,D65,10,45:0\n"
    press(screen, "reading", "one.csv", content, **fields)
    assert "1 reading taken from one.csv" in screen.notice
    press(screen, "keep", **fields, **rest, lab="40 -9 -40")
    card = few.archive.panel("N-2")
    assert [r.lab[0] for r in card.readings] == [40.0, 41.0]
    stage = card.stages[-1]
    assert (stage.temperature, stage.humidity, card.setup.gun, card.setup.tip) == (
        *(21.5, 40.0, "blue", 1.2),
    )
    assert (card.batch, card.drawer, card.customer, card.note) == ("S7", "4", "Ann", "a run")
    press(screen, "amend", "N-2")
    other = {"temperature": "23", "tip": "1.4", "note": "flat", "drawer": ""}
    press(screen, "keep", **fields, **rest | other, lab="42 -9 -40")
    now = few.archive.panel("N-2")
    assert (now.stages[-1].temperature, now.setup.tip, now.note, now.drawer) == (
        *(23.0, 1.4, "flat", ""),
    )
    assert [r.lab[0] for r in now.readings] == [40.0, 41.0, 42.0], "those there stay"
    press(screen, "amend", "N-2")
    press(screen, "keep", **fields, **rest | other, lab="")
    assert "Nothing on the back" in screen.notice


def test_a_ratio_that_looks_turned_is_kept_only_when_somebody_is_sure(few: Session) -> None:
    screen = LibraryScreen(few)
    press(screen, "part", "back")
    fields = {"code": "N-3", "ground": "silver", "colour": "rust", "ratio": "1:6", "coats": "3"}
    press(screen, "keep", **fields)
    assert screen.error is not None
    press(screen, "keep", **fields, carrier="60", poured="10")
    assert "nothing was kept" in str(screen.error), "what was poured says otherwise too"
    press(screen, "keep", **fields, sure="yes")
    assert str(few.archive.panel("N-3").recipe.schedule) == "3@1:6"


def test_a_reading_is_taken_out_of_the_stage_that_is_shown(few: Session) -> None:
    screen, archive = LibraryScreen(few), few.archive
    card = archive.panel("P3")
    more = CoatSchedule((*card.recipe.schedule.steps, CoatStep(1, MixRatio(9, 1))))
    archive.build_on(
        "P3", dataclasses.replace(card.recipe, schedule=more), readings=card.readings[:1]
    )
    press(screen, "amend", "P3")
    press(screen, "takeout", "1")
    stages = archive.panel("P3").stages
    assert [len(s.readings) for s in stages] == [len(card.readings), 0]
    press(screen, "takeout", "")
    assert "P3" in archive.deleted()


def test_cards_are_shown_by_what_was_ticked(few: Session) -> None:
    archive, screen = few.archive, LibraryScreen(few)
    shown = lambda page: set(re.findall(r'data-do="card" data-value="([^"]+)"', page))  # noqa: E731
    press(screen, "open")
    archive.amend("P4", date=dt.datetime.now(dt.UTC).date())
    archive.amend("P1", date="2020-05-04", readings=[Reading(lab=(50, 1, 1), source="photo")])
    assert shown(press(screen, "arrange", only="year")) == {"P4"}
    assert shown(press(screen, "arrange", only="photo")) == {"P1"}
    page = press(screen, "arrange", by="lightness")
    assert screen.address["by"] == "lightness"
    darkest = re.findall(r'data-do="card" data-value="([^"]+)"', page)[-1]
    assert darkest == [p.code for p, _ in arranged(archive.panels(), "lightness")][-1]
    press(screen, "card", "P4")
    assert screen.address["by"] == "lightness", "looking at a card leaves the order"
    assert screen.address["card"] == "P4"
    press(screen, "card", "P4")
    assert screen.address["card"] == ""
    press(screen, "part", "back")
    assert screen.address["by"] == "lightness"
    screen.shown = 5
    assert len(shown(press(screen, "part", "cards"))) == 5
    assert "Show more of the" in screen.draw()
    press(screen, "more")
    assert len(shown(screen.draw())) > 5


def test_a_card_is_shown_by_every_layer_and_a_blend_however_it_is_written(few: Session) -> None:
    archive, screen = few.archive, LibraryScreen(few)
    layers = Recipe.of("silver", None, "2@6:1 lagoon, 1@4:1 sloe")
    blends = [Recipe.of(g, "lagoon", "2@6:1") for g in ("silver 3 + black 1", "black 1 + silver 3")]
    archive.add(
        [Panel.of(f"X{i}", r, [Reading(lab=(40, 1, 1))]) for i, r in enumerate([layers, *blends])]
    )
    press(screen, "open")
    shown = lambda page: set(re.findall(r'data-do="card" data-value="([^"]+)"', page))  # noqa: E731
    assert shown(press(screen, "arrange", colour="sloe")) == {"X0"}
    assert {"X0", "X1"} < shown(press(screen, "arrange", colour="lagoon"))
    assert shown(press(screen, "arrange", ground="silver 3 + black 1")) == {"X1", "X2"}
    bare = {p.code for p in archive.panels() if p.recipe.bare}
    assert shown(press(screen, "arrange", colour="bare")) == bare


def test_a_card_says_for_which_job_it_was_and_what_the_law_says(shop: Session) -> None:
    archive = shop.archive
    archive.amend("T045", customer="Ann")
    job = match_card(archive, "T045")
    assert job.customer == "Ann"
    archive.keep_job(dataclasses.replace(job, panels=("T045",), state="read"))
    archive.attach("T045", "front.jpg", b"jpeg")
    seen = look_at_card(archive, "T045", shop.fit().model)
    assert [j.number for j in seen.jobs] == [job.number]
    assert seen.pictures == (("front.jpg", b"jpeg"),)
    assert len(seen.coats) == seen.panel.recipe.schedule.coats + 1
    lights = [lab[0] for lab in seen.coats]
    assert lights == sorted(lights, reverse=True), "coat by coat it gets darker"
    assert len(set(lights)) == len(lights)
    assert seen.trust.startswith("prediction and reading agree")
    screen = LibraryScreen(shop)
    assert f"Sprayed for job {job.number}" in press(screen, "card", "T045")


def test_a_customer_sees_no_recipe_and_no_name(shop: Session) -> None:
    shop.archive.amend("T045", customer="Fairground Works", note="for Zora")
    screen = LibraryScreen(shop)
    press(screen, "open")
    press(screen, "part", "show")
    page = press(screen, "card", "T045")
    assert "T045" in page
    names = {str(g) for g in shop.archive.grounds()} | {"lagoon", "cherry", "Fairground", "Zora"}
    names |= {p.sprayer for p in shop.archive.panels() if p.sprayer}
    assert not [name for name in names if name in page]
