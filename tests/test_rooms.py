"""Library, archive and training pressed from Python: what they show, change, ask and take back."""

from __future__ import annotations

import dataclasses
import datetime as dt
import html
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from matchlib.archive import Archive, export_bundle
from matchlib.demo import DEMO_WRONG_BACKS, demo_panels
from matchlib.domain import CoatSchedule, CoatStep, Colour, MixRatio, Reading
from matchlib.errors import DomainError, TargetError
from matchlib.lessons import first_four
from matchlib.overview import arranged
from workbook.archive_page.app import ArchiveRoom
from workbook.library.app import LibraryRoom
from workbook.page import Press
from workbook.room import Room, Stopped
from workbook.session import Session
from workbook.session.library import last_change, look_at_card, match_card
from workbook.session.record import load_attempts
from workbook.session.typed import number_typed, three_typed
from workbook.training.app import TrainingRoom


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two colours of the demonstration, two of its wrong backs among them, and their fit."""
    place = tmp_path_factory.mktemp("shop") / "panels.db"
    names = {"violet", "lagoon"}
    with Archive.open(place, create=True) as archive:
        some = [p for p in demo_panels() if p.recipe.bare or set(p.recipe.colour.names) <= names]  # type: ignore[union-attr]
        archive.add(some, file="panels.csv", who="test")
    with Session.open(place) as session:
        session.fit()
    return place


@pytest.fixture
def shop(fitted: Path, tmp_path: Path) -> Iterator[Session]:
    for file in fitted.parent.glob("panels.db*"):
        shutil.copy(file, tmp_path / file.name)
    with Session.open(tmp_path / "panels.db") as session:
        yield session


@pytest.fixture
def nothing(tmp_path: Path) -> Iterator[Session]:
    with Session.open(tmp_path / "new.db", create=True) as session:
        yield session


def press(room: Room, do: str, value: object = "", content: bytes = b"", **fields: str) -> str:
    """Press as a browser does; an error is kept by the room, and the page drawn."""
    done = Press(do, str(value), {k.replace("_", " "): v for k, v in fields.items()}, content)
    try:
        room.press(done)
    except Exception as error:  # as `Page.act` has it
        room.wrong(error, done)
    return room.draw()


def plain(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def words_before_folds(page: str) -> int:
    folded = r"<details.*?</details>|<option.*?</option>|<nav.*?</nav>|<svg.*?</svg>"
    shown = re.sub(folded, "", page, flags=re.S)
    shown = re.sub(r'<div class="wb-tiles">.*?</div>', "", shown, flags=re.S)
    return len(re.findall(r"[A-Za-zΔ]{2,}", plain(shown)))


# Library


def test_a_card_is_found_near_a_colour_and_by_its_code(shop: Session) -> None:
    room = LibraryRoom(shop)
    press(room, "open")
    lab = look_at_card(shop.archive, "T045").lab
    assert lab is not None
    typed = " ".join(f"{v:.1f}".replace(".", ",") for v in lab)
    for near in (typed, "t045"):
        page = press(room, "arrange", near=near)
        first = re.findall(r'data-do="card" data-value="(T\d+)"', page)[0]
        assert first == "T045"
    page = press(room, "arrange", near="", ground="silver", colour="lagoon", by="lightness")
    codes = set(re.findall(r'data-do="card" data-value="(T\d+)"', page))
    panels = shop.archive.panels()
    want = {p.code for p in panels if str(p.recipe).startswith("lagoon over silver,")}
    assert codes == want
    assert "A colour is three numbers" in press(room, "arrange", near="12 x")


def test_a_card_shows_its_back_and_begins_a_job(shop: Session) -> None:
    room = LibraryRoom(shop)
    press(room, "open")
    page = plain(press(room, "card", "T045"))
    panel = shop.archive.panel("T045")
    assert f"{panel.recipe.colour} over {panel.recipe.ground}" in page
    assert panel.sprayer in page
    assert "prediction and reading" in page
    page = press(room, "match", "T045")
    (job,) = shop.archive.jobs()
    assert (job.name, job.state) == ("like T045", "recipe")
    assert job.target[0].viewing == panel.readings[0].viewing
    assert f'href="match_a_sample.ipynb?job={job.number}"' in page
    shop.archive.add([panel.having(code="N-1", readings=())])
    with pytest.raises(TargetError, match="never read"):
        match_card(shop.archive, "N-1")


def test_a_back_is_amended_questioned_and_taken_back(shop: Session) -> None:
    room = LibraryRoom(shop)
    press(room, "open")
    press(room, "amend", "T045")
    was = shop.archive.panel("T045")
    fields = {"code": "T045", "ground": str(was.recipe.ground), "colour": "lagoon", "clear": "yes"}
    fields |= {"date": str(was.date), "sprayer": "Ada", "lot": was.lot, "source": "photo"}
    page = press(room, "keep", **fields, schedule="3@1:6")
    assert "Was 6:1 meant" in plain(page)
    assert shop.archive.panel("T045") == was
    press(room, "keep", **fields, schedule="3@6:1")
    now = shop.archive.panel("T045")
    assert str(now.recipe) == f"lagoon over {was.recipe.ground}, 3@6:1"
    assert now.sprayer == "Ada"
    assert now.readings == was.readings
    assert "amended T045" in press(room, "card", "T001")
    press(room, "undo")
    assert shop.archive.panel("T045") == was


def test_a_new_card_is_kept_with_its_typed_reading(shop: Session) -> None:
    room = LibraryRoom(shop)
    press(room, "open")
    press(room, "room", "back")
    fields = {"code": "N-1", "ground": "silver", "colour": "violet", "clear": "yes"}
    fields |= {"source": "spectrophotometer", "geometry": "45:0", "date": "2024-11-02"}
    page = press(room, "typed", **fields, ratio="1:6", coats="3", lab="40,5 -9 -40")
    assert "Turn the ratio round" in page
    page = press(room, "turn", **fields, ratio="1:6", coats="3", lab="40,5 -9 -40")
    assert 'value="6:1"' in page
    press(room, "keep", **fields, ratio="6:1", coats="3", lab="40,5 -9 -40")
    kept = shop.archive.panel("N-1")
    assert str(kept.recipe) == "violet over silver, 3@6:1"
    assert kept.readings[0].lab == (40.5, -9.0, -40.0)
    press(room, "amend", "N-1")
    press(room, "takeout", "1")
    assert shop.archive.panel("N-1").readings == ()
    press(room, "undo")
    assert len(shop.archive.panel("N-1").readings) == 1


def test_all_that_is_on_a_back_is_kept_and_amended(shop: Session) -> None:
    room = LibraryRoom(shop)
    fields = {"code": "N-2", "ground": "silver", "colour": "violet", "clear": "yes"}
    fields |= {"ratio": "6:1", "coats": "3", "source": "spectrophotometer", "geometry": "45:0"}
    rest = {"temperature": "21,5", "humidity": "40", "gun": "blue", "tip": "1.2", "batch": "S7"}
    rest |= {"drawer": "4", "customer": "Ann", "note": "a run", "lots": "carrier: 12"}
    press(room, "room", "back")
    content = b"panel,L,a,b,illuminant,observer,geometry\nx,41,-9,-40,D65,10,45:0\n"
    press(room, "reading", "one.csv", content, **fields)
    assert "1 reading taken from one.csv" in room.notice
    press(room, "keep", **fields, **rest, lab="40 -9 -40")
    card = shop.archive.panel("N-2")
    assert [r.lab[0] for r in card.readings] == [40.0, 41.0]
    stage = card.stages[-1]
    assert (stage.temperature, stage.humidity, card.setup.gun, card.setup.tip) == (
        *(21.5, 40.0, "blue", 1.2),
    )
    assert (card.batch, card.drawer, card.customer, card.note) == ("S7", "4", "Ann", "a run")
    press(room, "amend", "N-2")
    other = {"temperature": "23", "tip": "1.4", "note": "flat", "drawer": ""}
    press(room, "keep", **fields, **rest | other, lab="42 -9 -40")
    now = shop.archive.panel("N-2")
    assert (now.stages[-1].temperature, now.setup.tip, now.note, now.drawer) == (
        *(23.0, 1.4, "flat", ""),
    )
    assert [r.lab[0] for r in now.readings] == [40.0, 41.0, 42.0], "those there stay"
    press(room, "amend", "N-2")
    press(room, "keep", **fields, **rest | other, lab="", **{"schedule": ""})
    assert "Nothing on the back" in room.notice


def test_a_ratio_that_looks_turned_is_kept_only_when_somebody_is_sure(shop: Session) -> None:
    room = LibraryRoom(shop)
    press(room, "room", "back")
    fields = {"code": "N-3", "ground": "silver", "colour": "violet", "ratio": "1:6", "coats": "3"}
    press(room, "keep", **fields)
    assert room.error is not None
    press(room, "keep", **fields, carrier="60", poured="10")
    assert "nothing was kept" in str(room.error), "what was poured says otherwise too"
    press(room, "keep", **fields, sure="yes")
    assert str(shop.archive.panel("N-3").recipe.schedule) == "3@1:6"


def test_a_reading_is_taken_out_of_the_stage_that_is_shown(shop: Session) -> None:
    room, archive = LibraryRoom(shop), shop.archive
    card = archive.panel("T045")
    more = CoatSchedule((*card.recipe.schedule.steps, CoatStep(1, MixRatio(9, 1))))
    archive.build_on(
        "T045", dataclasses.replace(card.recipe, schedule=more), readings=card.readings[:1]
    )
    press(room, "amend", "T045")
    press(room, "takeout", "1")
    stages = archive.panel("T045").stages
    assert [len(s.readings) for s in stages] == [len(card.readings), 0]
    press(room, "takeout", "")
    assert "T045" in archive.deleted()


def test_cards_are_shown_by_what_was_ticked(shop: Session) -> None:
    archive, room = shop.archive, LibraryRoom(shop)
    shown = lambda page: set(re.findall(r'data-do="card" data-value="([^"]+)"', page))  # noqa: E731
    press(room, "open")
    archive.amend("T045", date=dt.datetime.now(dt.UTC).date())
    archive.amend("T001", readings=[Reading(lab=(50, 1, 1), source="photo")])
    assert shown(press(room, "arrange", only="year")) == {"T045"}
    assert shown(press(room, "arrange", only="photo")) == {"T001"}
    page = press(room, "arrange", by="lightness")
    assert room.address["by"] == "lightness"
    darkest = re.findall(r'data-do="card" data-value="([^"]+)"', page)[-1]
    assert darkest == [p.code for p, _ in arranged(archive.panels(), "lightness")][-1]
    press(room, "card", "T045")
    assert room.address["by"] == "lightness", "looking at a card leaves the order"
    assert room.address["card"] == "T045"
    press(room, "card", "T045")
    assert room.address["card"] == ""
    press(room, "room", "back")
    assert room.address["by"] == "lightness"
    room.shown = 5
    assert len(shown(press(room, "room", "cards"))) == 5
    assert "Show more of the" in room.draw()
    press(room, "more")
    assert len(shown(room.draw())) > 5


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
    room = LibraryRoom(shop)
    assert f"Sprayed for job {job.number}" in press(room, "card", "T045")


def test_a_beginner_names_nothing_twice_and_reads_as_the_instrument_does(
    nothing: Session,
) -> None:
    room = LibraryRoom(nothing)
    press(room, "open")
    how = {"geometry": "di:8", "light": "D50/2", "clear": "no"}
    press(room, "ground", new_ground="silver", **how)
    press(room, "bare", "ground 0", **{"lab_ground 0": "61 0 1"}, **how)
    (card,) = nothing.archive.panels()
    view = card.readings[0].viewing
    assert (view.illuminant, view.observer, view.geometry) == ("D50", "2", "di:8")
    assert card.recipe.clear is None
    press(room, "step", "colours")
    for name in ("cherry", "Cherry"):
        press(room, "colour", new_colour=name)
    assert "named already" in room.draw()
    press(room, "room", "begin")
    page = room.draw()
    assert "4 left" in page, "with a ground and a colour the cards are next"
    press(room, "read", "0.1")
    typed = {"lab_colour 0.1": "40 30 20", "code_0.1": "my second"}
    press(room, "bare", "colour 0.1", **typed)
    assert "my second" in {p.code for p in nothing.archive.panels()}
    press(room, "bare", "colour 0.1", **typed | {"lab_colour 0.1": "41 30 20"})
    assert len(nothing.archive.panel("my second").readings) == 2, "a card that is there is that one"


def test_a_bundle_and_a_file_with_bad_rows_are_told_apart(
    shop: Session, nothing: Session, tmp_path: Path
) -> None:
    room = LibraryRoom(nothing)
    head = b"panel,ground,colour,schedule,clear,L,a,b,illuminant,observer,geometry\n"
    good = b"A1,silver,,,yes,60,0,1,D65,10,45:0\nA2,silver,rust,3@6:1,yes,40,9,9,D65,10,45:0\n"
    press(room, "room", "file")
    page = press(room, "file", "x.csv", head + good + b"A3,silver,rust,3@6,yes,x,9,9,D65,10,45:0\n")
    assert "Take the good rows, leave 1" in page
    press(room, "import", "")
    assert len(nothing.archive) == 0, "not without being told that one is left"
    press(room, "import", "good")
    assert {p.code for p in nothing.archive.panels()} == {"A1", "A2"}
    assert "2 panels" in room.notice
    bundle = export_bundle(shop.archive, tmp_path / "all.zip")
    press(room, "room", "file")
    assert "This is a backup" in press(room, "file", "all.zip", bundle.read_bytes())


def test_a_customer_sees_no_recipe_and_no_name(shop: Session) -> None:
    shop.archive.amend("T045", customer="Fairground Works", note="for Zora")
    room = LibraryRoom(shop)
    press(room, "open")
    press(room, "room", "show")
    page = press(room, "card", "T045")
    assert "T045" in page
    names = {str(g) for g in shop.archive.grounds()} | {"lagoon", "violet", "Fairground", "Zora"}
    names |= {p.sprayer for p in shop.archive.panels() if p.sprayer}
    assert not [name for name in names if name in page]


def test_a_file_is_asked_about_and_taken_in(nothing: Session) -> None:
    room = LibraryRoom(nothing)
    press(room, "open")
    press(room, "room", "file")
    rows = "Card,Base,Mix,Coats,L*,a*,b*\nA1,silver,4 to 1,3,40,10,12\nA2,silver,,,60,0,1\n"
    page = press(room, "file", "old cards.csv", rows.encode())
    assert "Go on with these answers" in page
    assert "The first rows as understood" in page
    assert "light, geometry, order" in plain(page), "what is unsure of a row stands beside it"
    assert len(nothing.archive) == 0
    for _ in range(6):
        if not room.take.report or not room.take.report.open:
            break
        given = {
            f"answer_{i}": q.choices[0].key
            for i, q in enumerate(room.take.report.questions)
            if q.answer is None
        }
        page = press(room, "answer", **given)
    assert "Take in" in page
    press(room, "import", "good")
    assert {p.code for p in nothing.archive.panels()} >= {"A2"}
    assert "panel" in room.notice
    press(room, "room", "file")
    german = "Karte;Lack;Farbe;Mischung;Lagen;L*;a*;b*\nB1;Silber;Rot;6:1;3;40;30;20\n"
    page = press(room, "file", "alte.csv", german.encode())
    assert "No column is named as the ground" in plain(page)
    assert "row 2: 'Silber'" in plain(page)
    press(room, "room", "file")
    page = press(room, "file", "x.csv", b"Card\nA1\n")
    assert "has no column" in plain(page)
    assert len(nothing.archive) == 1


def test_a_shop_from_nothing_to_its_first_model(nothing: Session) -> None:
    room = LibraryRoom(nothing)
    page = press(room, "open")
    assert "Name your grounds" in page
    assert words_before_folds(page) < 120
    for name, lab in (("silver", "61,2 0,3 1,9"), ("white", "92 -0.5 2"), ("black", "9 0 0")):
        press(room, "ground", new_ground=name)
        at = len(nothing.archive) - 1
        press(room, "bare", f"ground {at}", **{f"lab_ground {at}": lab})
    assert nothing.archive.panel("silver bare").readings[0].lab == (61.2, 0.3, 1.9)
    page = press(room, "ground", new_ground="Silver")
    assert "named already" in page
    press(room, "step", "colours")
    press(room, "colour", new_colour="cherry")
    page = press(room, "step", "first")
    assert "4 left" in page
    wanted = [c.recipe for c in first_four(nothing.archive.panels(), Colour.parse("cherry"))]
    for i, lab in enumerate(("60 50 20", "35 55 30", "38 40 18", "9 12 5")):
        press(room, "read", f"0.{i}")
        page = press(room, "bare", f"colour 0.{i}", **{f"lab_colour 0.{i}": lab})
    assert "The first cards are in" in page
    assert [p.recipe for p in nothing.archive.panels()[3:]] == wanted
    assert room.model is not None
    assert str(nothing.archive.panel("cherry 1").recipe) == "cherry over white, 2@6:1"


# Archive


@pytest.fixture
def archive_room(shop: Session) -> ArchiveRoom:
    room = ArchiveRoom(shop)
    press(room, "open")
    return room


def test_every_part_of_the_archive_is_short(archive_room: ArchiveRoom) -> None:
    for part in ("sprayed", "wrong", "reach", "repeats", "near", "drift", "next", "why"):
        page = press(archive_room, "part", part)
        assert archive_room.error is None
        assert words_before_folds(page) < 120, part
        assert len(re.findall(r"<h1", page)) == 1


def test_findings_are_acted_on_one_by_one_and_taken_back(archive_room: ArchiveRoom) -> None:
    archive = archive_room.session.archive
    found = {f.codes[0] for f in archive_room.findings or ()}
    assert found & set(DEMO_WRONG_BACKS)
    page = press(archive_room, "part", "wrong")
    (first, *rest) = archive_room.findings or ()
    assert first.codes[0] in page
    assert all(f.codes[0] not in plain(page) for f in rest)
    was = archive.panel(first.codes[0])
    press(archive_room, "fix", first.key, who="Ada")
    assert archive.panel(was.code).recipe == first.proposed
    assert archive.history(was.code)[-1].who == "Ada"
    assert "now reads" in archive_room.notice
    press(archive_room, "undo")
    assert archive.panel(was.code) == was
    press(archive_room, "look")
    left = archive_room.findings or []
    press(archive_room, "ignore", left[0].key)
    assert left[0].key in archive.ignored()
    press(archive_room, "again")
    assert left[0].key not in archive.ignored()
    press(archive_room, "aside", left[0].key)
    assert left[0].codes[-1] in archive.deleted()


def test_history_undoes_one_change(archive_room: ArchiveRoom) -> None:
    archive = archive_room.session.archive
    number = archive.amend("T045", note="a run")
    press(archive_room, "part", "history")
    press(archive_room, "undo_change", number)
    assert archive.panel("T045").note == ""


def test_what_is_worked_out_is_shown(archive_room: ArchiveRoom) -> None:
    press(archive_room, "part", "repeats")
    assert "What makes cards differ" in press(archive_room, "repeats")
    press(archive_room, "part", "next")
    page = press(archive_room, "plan", count="2")
    assert page.count("should read") >= 2
    press(archive_room, "part", "near")
    page = press(archive_room, "validate", by="recipe")
    assert "recipes left out: median miss" in page
    press(archive_room, "part", "why")
    page = press(archive_room, "coats", coats="4", ratio="6:1")
    assert "4 coats of 6 parts carrier" in plain(page)
    assert "This is not a mix ratio" in press(archive_room, "choose", ratio="six")


def test_stop_ends_the_work_at_its_next_step(shop: Session) -> None:
    room, heard = Room(shop), []

    def compute(step: Any) -> str:
        step(0.1)
        room.press(Press("stop"))
        step(0.2)
        return "never"

    with pytest.raises(Stopped):
        room.work("Counting", compute, heard.append)
    assert heard == []
    room.wrong(Stopped(), None)
    assert room.error is None


# Training


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


# What they stand on


def test_numbers_are_read_as_they_are_typed() -> None:
    for text in ("27.1 45.9 28.5", "27,1 45,9 28,5", "27,1; 45,9; 28,5", "L* 27.1 a* 45.9 b* 28.5"):
        assert three_typed(text) == (27.1, 45.9, 28.5)
    assert three_typed("27.1,45.9,−28.5") == (27.1, 45.9, -28.5)
    assert three_typed("  ") is None
    assert number_typed("22,5", "x") == 22.5
    for text in ("1 2", "1 2 3 4", "a b c", "1 2 x"):
        with pytest.raises(DomainError):
            three_typed(text)


def test_what_is_old_or_a_file_is_not_offered_to_be_taken_back(shop: Session) -> None:
    assert last_change(shop.archive) is None  # the file it was made of
    shop.archive.amend("T045", note="a run")
    change = last_change(shop.archive)
    assert change is not None
    assert change.subject == "T045"
    tomorrow = dt.datetime.now(dt.UTC) + dt.timedelta(days=1)
    assert last_change(shop.archive, now=tomorrow) is None
    shop.undo(change.number)
    assert last_change(shop.archive) is None
