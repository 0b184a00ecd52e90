"""Tables as shops keep them, in what a template has not: averages, units, headers of two rows."""

from __future__ import annotations

import datetime as dt

import pytest

from matchlib.errors import FileError
from matchlib.readings import Stated, accepted, understand
from tests.declared import NM, SEEN


def test_averages_below_a_table_or_beside_its_readings_are_no_panels(book, table):
    rows = [
        ["Cards on silver"],
        ["Ground:", "silver"],
        ["Card", "Candy", "Mix", "Coats", "Meas.", "L*", "a*", "b*", "Quality"],
        ["A1", "red", "6:1", 4, 1, 40, 30, 20, "average"],
        ["A1", "red", "6:1", 4, 2, 41, 30, 20, "good"],
        ["A1", "red", "6:1", 4, "Mean", 40.5, 30, 20, None],
        ["A1", "red", "6:1", 4, "SD", 0.7, 0.1, 0.1, None],
        ["Max", "red", "6:1", 3, 1, 45, 28, 19, "average"],
        ["Average", None, None, None, None, 42.1, 29.4, 19.7, None],
        ["Std. dev.", None, None, None, None, 2.1, 0.9, 0.5, None],
        ["Max", None, None, None, None, 45, 30, 20, None],
    ]
    answers = {**SEEN, "order": "carrier"}
    report = accepted(understand(book(Silver=rows), answers=answers))
    assert [(p.code, len(p.readings)) for p in report.panels] == [("A1", 2), ("Max", 1)]
    left = [(r.row, r.reason) for r in report.rows if r.outcome == "remark"]
    named = [(9, "Average"), (10, "Std. dev."), (11, "Max")]
    assert left == [(6, "A1"), (7, "A1"), *named]
    spectra = "".join(f"{w};0,2;0,4;0,3\n" for w in NM)
    path = table(f"Card;P7;P8;Average\nBase;silver;silver;silver\nMode;SCI;SCI;SCI\n{spectra}")
    report = accepted(understand(path, answers={"scale": "0-1"}))
    assert [p.code for p in report.panels] == ["P7", "P8"]


@pytest.mark.parametrize(
    ("written", "schedule"),
    [
        ("3cts 6:1", "3@6:1"),
        ("3coats at 6to1", "3@6:1"),
        ("6:1 3cts", "3@6:1"),
        ("3c@6:1", "3@6:1"),
        ("2passes 60ml:10ml", "2@6:1"),
        ("3cts of 4oz in 40oz then 1ct of 6:1", "3@10:1 1@6:1"),
    ],
)
def test_a_number_may_touch_its_word(table, written, schedule):
    path = table(f'Card,Base,Candy,Sprayed as,L,a,b\nA1,silver,red,"{written}",40,30,20\n')
    report = accepted(understand(path, answers={**SEEN, "order": "carrier"}))
    assert [str(p.recipe.schedule) for p in report.panels] == [schedule]


def test_how_a_coat_was_laid_is_no_colour(table):
    path = table("Card,Base,Sprayed as,L,a,b\nA1,silver,3 wet coats 6:1,40,30,20\n")
    (row,) = understand(path, answers={**SEEN, "order": "carrier"}).refused
    assert "'3 wet coats 6:1'" in row.reason


def test_ounces_beside_millilitres_are_no_ratio(table):
    path = table("Card,Base,Candy,Mix,Coats,L,a,b\nA1,silver,red,1oz in 100ml,3,40,30,20\n")
    (row,) = understand(path, answers=SEEN).refused
    assert "'1oz in 100ml'" in row.reason
    path = table("Card,Base,Candy,Carrier oz,Dye ml,Coats,L,a,b\nA1,silver,red,4,10,3,40,30,20\n")
    (row,) = understand(path, answers=SEEN).refused
    assert "not measured in one unit" in row.reason


def test_a_name_in_the_upper_of_two_header_rows_that_is_over_no_group(book):
    rows = [
        ["Card", "Back", None, None, None, "Read D65/10°", None, None, "Date"],
        [None, "Ground", "Colour", "Schedule", "Clear?", "L*", "a*", "b*", None],
        ["A1", "silver", "red", "4@6:1", "cleared", 40, 30, 20, dt.date(2026, 11, 3)],
        ["A2", "silver", "red", "3@6:1", "not cleared", 45, 28, 19, dt.date(2026, 11, 4)],
    ]
    answers = {**SEEN, "order": "carrier"}
    for merged in ((), ["B1:E1", "F1:H1"], ["A1:A2", "B1:E1", "F1:H1", "I1:I2"]):
        report = accepted(understand(book(merged, All=rows), answers=answers))
        assert [(p.code, p.date.day) for p in report.panels] == [("A1", 3), ("A2", 4)]
        assert [p.recipe.clear for p in report.panels] == ["yes", None]


def test_a_file_without_readings_is_told_what_it_lacks(table):
    path = table("Ground: silver,,\n\nPanel,Density,Peel\nA1,1.2,80\n")
    with pytest.raises(FileError, match="has no column L, a, b or of a wavelength"):
        understand(path)


def test_that_no_clear_coat_is_said_is_told(table):
    head = "Card,Base,Candy,Sprayed as,L,a,b"
    path = table(f"{head}\nA1,silver,red,3@6:1,40,30,20\n")
    report = accepted(understand(path, answers={**SEEN, "order": "carrier"}))
    assert "under no clear coat, since the file does not say." in report.assumed
    path = table(f"{head},Clear\nA1,silver,red,3@6:1,40,30,20,\n")
    report = accepted(understand(path, answers={**SEEN, "order": "carrier"}))
    assert not any("clear" in words for words in report.assumed)


def test_a_number_that_an_instrument_gives_again_is_told_by_its_colour(table):
    known = understand(table("panel,ground,L,a,b\n1,silver,62,0,1\n2,gold,70,3,29\n"), answers=SEEN)
    stated = Stated(panels={p.code: p for p in known.panels})
    head = "Name,L*,a*,b*,Date\n"
    again = table(f"{head}1,62.3,0.1,1,2026-11-03\n2,70.1,3,29,2026-11-03\n", "again.csv")
    assert not accepted(understand(again, answers=SEEN, stated=stated)).warnings
    other = table(f"{head}1,30,20,10,2026-11-10\n2,69,3,28,2026-11-10\n", "other.csv")
    (told,) = accepted(understand(other, answers=SEEN, stated=stated)).warnings
    assert "apart under the same code (1)" in told
