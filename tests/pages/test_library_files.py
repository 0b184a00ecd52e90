"""Files taken in on the page of the library: questions, refused rows, cards that are known."""

from __future__ import annotations

from pathlib import Path

from matchlib.archive import export_bundle
from tests.pages.pressing import plain, press
from workbook.library.app import LibraryScreen
from workbook.session import Session


def test_a_bundle_and_a_file_with_bad_rows_are_told_apart(
    shop: Session, nothing: Session, tmp_path: Path
) -> None:
    screen = LibraryScreen(nothing)
    head = b"panel,ground,colour,schedule,clear,L,a,b,illuminant,observer,geometry\n"
    good = b"A1,silver,,,yes,60,0,1,D65,10,45:0\nA2,silver,rust,3@6:1,yes,40,9,9,D65,10,45:0\n"
    press(screen, "part", "file")
    page = press(
        screen, "file", "x.csv", head + good + b"A3,silver,rust,3@6,yes,x,9,9,D65,10,45:0\n"
    )
    assert "Take in 2 cards, leave 1 row" in page
    press(screen, "import", "")
    assert len(nothing.archive) == 0, "not without being told that one is left"
    press(screen, "import", "good")
    assert {p.code for p in nothing.archive.panels()} == {"A1", "A2"}
    assert "2 panels" in screen.notice
    bundle = export_bundle(shop.archive, tmp_path / "all.zip")
    press(screen, "part", "file")
    assert "This is a backup" in press(screen, "file", "all.zip", bundle.read_bytes())


def test_refused_rows_wait_folded_until_the_questions_are_answered(few: Session) -> None:
    screen = LibraryScreen(few)
    press(screen, "part", "file")
    rows = "".join(f"C{i},silver,rust,6:1,{i}x,40,30,20\n" for i in range(9))
    text = f"panel,ground,colour,ratio,coats,L,a,b\nB1,slver,rust,6:1,3,40,30,20\n{rows}"
    page = press(screen, "file", "a.csv", text.encode())
    assert screen.take.report is not None
    assert screen.take.report.open
    assert "Refused" not in page.split("<details")[0]
    assert "Rows not taken, and why" in page
    while screen.take.report.open:
        given = {
            f"answer_{i}": q.choices[0].key
            for i, q in enumerate(screen.take.report.questions)
            if q.answer is None
        }
        page = press(screen, "answer", **given)
    assert page.split("<details")[0].count("Refused") == 3
    assert "Take in 1 card, leave 9 rows" in page
    press(screen, "import", "good")
    assert "9 rows refused" in screen.notice
    assert "Refused:" not in screen.notice, "which, and why, was said before"


def test_a_file_is_asked_about_and_taken_in(nothing: Session) -> None:
    screen = LibraryScreen(nothing)
    press(screen, "open")
    press(screen, "part", "file")
    rows = "Card,Base,Mix,Coats,L*,a*,b*\nA1,silver,4 to 1,3,40,10,12\nA2,silver,,,60,0,1\n"
    page = press(screen, "file", "old cards.csv", rows.encode())
    assert "Go on with these answers" in page
    assert "The first rows as understood" in page
    assert "light, geometry, order" in plain(page), "what is unsure of a row stands beside it"
    assert "as seen so" not in plain(page), "what every light would make of it alike"
    assert "the carrier – row 2: 4 parts carrier" in plain(page)
    assert len(nothing.archive) == 0
    for _ in range(6):
        if not screen.take.report or not screen.take.report.open:
            break
        given = {
            f"answer_{i}": q.choices[0].key
            for i, q in enumerate(screen.take.report.questions)
            if q.answer is None
        }
        page = press(screen, "answer", **given)
    assert "Take in" in page
    press(screen, "import", "good")
    assert {p.code for p in nothing.archive.panels()} >= {"A2"}
    assert "panel" in screen.notice
    press(screen, "part", "file")
    german = "Karte;Lack;Farbe;Mischung;Lagen;L*;a*;b*\nB1;Silber;Rot;6:1;3;40;30;20\n"
    page = press(screen, "file", "alte.csv", german.encode())
    assert "No column is named as the ground" in plain(page)
    assert "row 2: 'Silber'" in plain(page)
    press(screen, "part", "file")
    page = press(screen, "file", "x.csv", b"Card\nA1\n")
    assert "has no column" in plain(page)
    assert len(nothing.archive) == 1


def test_what_is_assumed_of_a_file_is_said_before_it_is_taken_in(nothing: Session) -> None:
    screen = LibraryScreen(nothing)
    press(screen, "open")
    head = "Card,Base,Light,Geometry,L*,a*,b*\n"
    press(screen, "part", "file")
    page = press(screen, "file", "grounds.csv", f"{head}A1,silver,D65/10,45:0,60,0,1\n".encode())
    assert "Take in 1 card" in page
    assert "Assumed: under no clear coat" in plain(page)


def test_an_answer_can_be_changed_though_an_earlier_file_gave_it(nothing: Session) -> None:
    screen = LibraryScreen(nothing)
    press(screen, "open")
    head = "Card,Base,Candy,Mix,Coats,Light,Geometry,L*,a*,b*\n"
    row = "{},silver,rust,6 to 1,3,D65/10,45:0,40,10,12\n"
    for code, order, ratio in (("A1", "colour", "1:6"), ("A2", "carrier", "6:1")):
        press(screen, "part", "file")
        page = press(screen, "file", "cards.csv", (head + row.format(code)).encode())
        press(screen, "answer", answer_0=order)
        press(screen, "import")
        recipe = nothing.archive.panel(code).recipe
        assert str(recipe.schedule) == f"3@{ratio}"
    assert "What was answered" in page
    assert "Which comes first in this file" in page


def test_backs_and_readings_in_two_files_are_taken_in_together(nothing: Session) -> None:
    screen = LibraryScreen(nothing)
    assert "choose one, then add the other" in plain(press(screen, "part", "file"))
    head = b"panel,L,a,b,illuminant,observer,geometry\n"
    read = head + b"A1,60,0,1,D65,10,45:0\nA2,40,9,9,D65,10,45:0\n"
    page = plain(press(screen, "file", "export.csv", read))
    assert "give both" in page
    backs = b"panel,ground,colour,schedule,clear\nA1,silver,,,yes\nA2,silver,rust,3@6:1,yes\n"
    page = plain(press(screen, "add", "export.csv", backs))
    assert "Take in 2 cards" in page
    assert "Take in export.csv, export.csv" in page, "of two folders they may be called alike"
    press(screen, "import")
    assert str(nothing.archive.panel("A2").recipe) == "rust over silver, 3@6:1"
    press(screen, "part", "file")
    press(screen, "file", "export.csv", read)
    assert "Take in export.csv 0" not in plain(press(screen, "file", "backs.csv", backs))
    assert len(screen.take.files) == 1, "another file stands instead of it"


def test_a_known_card_that_differs_is_answered_in_the_pages_words(few: Session) -> None:
    screen = LibraryScreen(few)
    press(screen, "part", "file")
    card = few.archive.panel("P3")
    head = "panel,ground,colour,schedule,clear,L,a,b,illuminant,observer,geometry\n"
    cells = card.recipe.cells
    row = f"P3,{cells['ground']},{cells['colour']},{cells['schedule']},{cells['clear']},11,2,3"
    press(screen, "file", "again.csv", f"{head}{row},D65,10,45:0\n".encode())
    page = press(screen, "import")
    assert "P3 differs" in plain(page)
    assert "--" not in plain(page).split("P3 differs")[1]
    assert "which holds, the archive (the library is right) or the file" in plain(page)
    assert 'id="wb-fold-known" open' in page, "where it is answered"
    press(screen, "import", known="repeats")
    assert len(few.archive.panel("P3").readings) == len(card.readings) + 1
