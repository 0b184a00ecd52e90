"""The table of readings: what is taken, what is refused, and what the refusal says."""

from __future__ import annotations

import datetime as dt

import pytest

from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Viewing
from matchlib.errors import FileError, ImportRefused
from matchlib.plain import shown
from matchlib.readings import (
    _grid,
    cgats,
    read_target,
    write_table,
)
from matchlib.readings import read_file as read_any
from matchlib.readings._text import read_delimited
from matchlib.readings._twice import lab_from_xyz
from matchlib.readings.questions import Asking
from tests.declared import read_file, refusal

GOOD = """panel,Ground,colour,schedule,clear,L,a,b,Shelf
P1,silver,,,yes,80,0,1,A
P1,silver,,,yes,80.2,0.1,1,A
P2,silver 3 + black 1,teal 2 + violet 1,2@6:1 2@3:1,no,40,-20,-20,B
"""


def test_a_table_becomes_panels_with_repeats(table):
    report = read_file(table(GOOD))
    first, second = report.panels
    assert [r.lab for r in first.readings] == [(80.0, 0.0, 1.0), (80.2, 0.1, 1.0)]
    assert first.recipe.bare
    assert first.recipe.clear == "yes"
    assert first.extra == (("Shelf", "A"),)
    assert second.recipe.ground == Ground.parse("Silver 6 + black 2")
    assert second.recipe.colour == Colour.parse("teal 2 + violet 1")
    assert second.recipe.schedule == CoatSchedule.parse("2@6:1 2@3:1")
    assert [(t.panel, t.row) for t in report.taken] == [("P1", 2), ("P1", 3), ("P2", 4)]
    assert report.notes == ("Shelf",)
    assert len(report.sha256) == 64
    assert shown(report)["taken"][2] == {"panel": "P2", "row": 4}


def test_light_and_geometry_are_asked_once_and_never_assumed(table):
    with pytest.raises(ImportRefused) as caught:
        read_any(table(GOOD))
    light, geometry = caught.value.report.open
    assert (light.key, geometry.key) == ("light", "geometry")
    assert light.rows == geometry.rows == [2, 3, 4]
    assert light.choices[0].key == "D65/10"
    assert "row 2: 80, 0, 1" in light.choices[0].means
    report = read_any(table(GOOD), answers={"light": "D50/2", "geometry": "di:8"})
    assert report.panels[0].readings[0].viewing == Viewing("D50", "2", "di:8")
    assert "3 rows taken, 0 rows refused" in report.text()


def test_columns_of_viewing_are_read(table):
    report = read_file(
        table(
            "panel,ground,illuminant,observer,geometry,source,sd,L,a,b\n"
            "P,silver,d50,2°,45as15,spectrophotometer,1.5,120,0,1\n"
        )
    )
    (reading,) = report.panels[0].readings
    assert reading.viewing == Viewing("D50", "2", "45as15")
    assert (reading.source, reading.sd) == ("spectrophotometer", 1.5)
    assert report.assumed == ()


def test_ratio_and_coats_make_a_schedule_carrier_first(table):
    report = read_file(table("panel,ground,colour,ratio,coats,L,a,b\nP,gold,red,6:1,4,40,30,20\n"))
    schedule = report.panels[0].recipe.schedule
    assert schedule == CoatSchedule.of(4, MixRatio(6, 1))
    assert schedule.steps[0].ratio.fraction == pytest.approx(1 / 7, abs=1e-15)


def test_a_reversed_ratio_is_asked_about(table):
    path = table("panel,ground,colour,ratio,coats,L,a,b\nP,gold,red,1:6,4,40,30,20\n")
    words = refusal(path)
    assert "1 parts carrier to 6 colour" in words
    report = read_file(path, answers={"order": "carrier"})
    assert "looks reversed" in report.text()
    assert "Row 2" in report.warnings[0]
    panel = read_file(path, answers={"order": "colour"}).panels[0]
    assert panel.recipe.schedule == CoatSchedule.parse("4@6:1")


@pytest.mark.parametrize(
    ("cells", "key", "answers"),
    [
        ("06:01,4,40,30,20,", "clock", {"clock": "4@6:1", "leave": "clock time"}),
        ("6:01:00,4,40,30,20,", "clock", {"clock": "4@6:1", "leave": "clock time"}),
        ("6-Jan,4,40,30,20,", "calendar", {"day": "4@6:1", "month": "4@1:6", "leave": "day of"}),
        ("6,4,40,30,20,", "bare", {"to one": "4@6:1", "leave": "not a mix ratio"}),
        ("10%,4,40,30,20,", "percent", {"pot": "4@9:1", "carrier": "4@10:1"}),
    ],
)
def test_what_a_ratio_may_mean_is_asked(table, cells, key, answers):
    path = table(f"{HEAD}Q,gold,red,4@6:1,,,40,30,20,\nP,gold,red,,{cells}\n")
    assert f"[{key}]" in refusal(path)
    for answer, wanted in answers.items():
        given = {key: answer, "order": "carrier"}
        report = read_file(path, answers=given, keep_good=True)
        if "@" in wanted:
            assert str(report.panels[1].recipe.schedule) == wanted
        else:
            assert wanted in report.refused[0].reason


def test_words_in_a_ratio_settle_its_order(table):
    path = table(HEAD + "P,gold,red,,1 colour : 6 carrier,4,40,30,20,\n")
    report = read_file(path)
    assert report.panels[0].recipe.schedule == CoatSchedule.parse("4@6:1")
    assert "6:1, carrier first" in report.text()


HEAD = "panel,ground,colour,schedule,ratio,coats,L,a,b,date\n"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("P,gold,red,4@6:1,8:1,,40,30,20,", "do not suit the schedule"),
        ("P,gold,red,4@6:1,6:1,3,40,30,20,", "do not suit the schedule"),
        ("P,gold,red,2@6:1 2@3:1,6:1,4,40,30,20,", "do not suit the schedule"),
        ("P,gold,red,,6:1,-2,40,30,20,", "not a number of coats"),
        ("P,gold,red,,6:1,0,40,30,20,", "not a number of coats"),
        ("P,gold,red,,6:1,2.5,40,30,20,", "whole number"),
        ("P,gold,red,,6:1,,40,30,20,", "no coats"),
        ("P,gold,red,,,4,40,30,20,", "no ratio"),
        ("P,gold,red,,,,40,30,20,", "no ratio and no coats"),
        ("P,gold,,4@6:1,,,40,30,20,", "coats without a colour"),
        ("P,gold,,,,4,40,30,20,", "no ratio"),
        ("P,,red,4@6:1,,,40,30,20,", "ground is blank"),
        ("P,gold,NaN,,,,40,30,20,", "no name"),
        (",gold,red,4@6:1,,,40,30,20,", "panel code"),
        ("P,gold,red,4@6:1,,,140,30,20,", "L from 0 to 100"),
        ("P,gold,red,4@6:1,,,nan,30,20,", "not a number"),
        ("P,gold,red,4@6:1,,,inf,30,20,", "not a number"),
        ("P,gold,red,4@6:1,,,1e999,30,20,", "not a number"),
        ("P,gold,red,4@6:1,,,,30,20,", "L is blank"),
        ("P,gold,red,4@6:1,,,,,,", "holds no reading"),
        ("P,gold,red,4@6:1,,,40,1,30,2,20,1", "stands under no column name"),
        ("P,gold,red,4@6:1,,,40,30,20,2025-02-30", "without guessing"),
    ],
)
def test_a_wrong_row_is_refused_by_number_and_reason(table, row, words):
    good = "Q,gold,red,4@6:1,,,40,30,20,2025-01-31\n"
    path = table(HEAD + good + row + "\n")
    with pytest.raises(ImportRefused) as caught:
        read_file(path)
    (refused,) = caught.value.report.refused
    assert refused.row == 3
    assert words in refused.reason
    assert "row 3" in str(caught.value)
    assert words in str(caught.value)
    assert "--keep-good" in str(caught.value)
    kept = read_file(path, keep_good=True)
    assert [p.code for p in kept.panels] == ["Q"]
    assert kept.panels[0].date == dt.date(2025, 1, 31)
    assert kept.refused == (refused,)
    assert words in kept.text()


def test_one_code_with_two_recipes_refuses_all_its_rows(table):
    path = table(GOOD + "P1,gold,,,yes,70,0,1,A\n")
    with pytest.raises(ImportRefused) as caught:
        read_file(path)
    assert [r.row for r in caught.value.report.refused] == [2, 3, 5]
    assert [p.code for p in read_file(path, keep_good=True).panels] == ["P2"]


def test_rows_all_bad_are_refused_even_when_the_good_are_wanted(table):
    path = table(HEAD + "P,gold,red,4@6:1,,,400,30,20,\n")
    with pytest.raises(ImportRefused):
        read_file(path, keep_good=True)


def test_blank_rows_keep_the_numbers_of_a_spreadsheet(table):
    report = read_file(
        table('panel,ground,L,a,b,note\n\n"P",silver,80,0,1,"two\nlines"\n,,,,,\nQ,gold,70,0,1,\n')
    )
    assert [t.row for t in report.taken] == [3, 5]
    assert report.panels[0].note == "two\nlines"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        ("panel,ground,L,a,b\n", "no rows"),
        ("panel,ground;L;a,b\nP,silver,1,2,3\n", "in doubt"),
        ("panel,ground,L,a,b,l*\nP,silver,1,2,3,4\n", "Two columns have one name"),
        ("panel,ground,L,a,b,Shelf,Shelf\nP,silver,1,2,3,x,y\n", "Two columns have one name"),
        ("panel,colour,L,a,b\nP,red,1,2,3\n", "no column ground"),
        ("ground,colour,L,a,b\nP,red,1,2,3\n", "no column panel"),
        ('panel,ground,L,a,b\nP,silver,"1', "number"),
        (b"\x00\x01\x02\x03" * 50, "not a text table"),
        (b"PK\x03\x04 not a zip", "not a whole XLSX"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old spreadsheet"),
        (b"panel,ground,L,a,b\nP,\x00\x8d,1,2,3\n", "not a text table"),
        ("panel,ground," + ",".join(f"c{i}" for i in range(20_000)) + "\n", "too many columns"),
        ("panel,ground," + ",".join(f"c{i}" for i in range(1_000_000)) + "\n", "too"),
    ],
)
def test_a_file_that_is_no_table_is_refused_whole(table, content, words):
    assert words in refusal(table(content))


def test_row_limit(table):
    path = table("panel,ground,L,a,b\n" + "P,silver,80,0,1\n" * 100_001)
    assert "too many rows" in refusal(path)


@pytest.mark.parametrize("kind", ["csv", "cgats", "xlsx"])
def test_cells_are_counted_over_all_rows(table, tmp_path, monkeypatch, kind):
    module = cgats if kind == "cgats" else _grid
    path = table(GOOD)
    if kind != "csv":
        path = write_table(read_file(path).panels, tmp_path / f"t.{kind}")
    monkeypatch.setattr(module, "MAX_CELLS", 20)
    assert "too many rows" in refusal(path)


def test_a_folder_or_a_missing_file_is_said(tmp_path):
    assert "not a file" in refusal(tmp_path)
    assert "cannot be read" in refusal(tmp_path / "none.csv")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_encodings_delimiters_and_line_ends(table, encoding, delimiter, end):
    text = GOOD.replace("silver,", "Grün,").replace(",", delimiter).replace("\n", end)
    report = read_file(table(text.encode(encoding)))
    assert str(report.panels[0].recipe.ground) == "Grün"
    assert report.warnings == ()


def test_windows_1252_is_read_with_a_warning(table):
    report = read_file(table(GOOD.replace("silver,", "Grün,").encode("cp1252")))
    assert str(report.panels[0].recipe.ground) == "Grün"
    assert "Windows-1252" in report.text()


def test_a_spreadsheets_own_delimiter_mark(table):
    report = read_file(table("sep=;\r\n" + GOOD.replace(",", ";")))
    assert [t.row for t in report.taken] == [2, 3, 4]


@pytest.mark.parametrize("first", ["", "A1;", "Probe;hell;rot;gelb\nA1;"])
def test_a_delimiter_is_known_without_a_column_that_is_known(first):
    text = f"{first}45,3;-1,5;0,5\nA2;45,3;-1,5;0,5\n"
    rows = read_delimited(text.encode(), Asking()).rows
    assert all(row.cells[-3:] == ("45,3", "-1,5", "0,5") for row in rows[-2:])


def test_decimal_commas_are_known_by_the_file(table):
    text = "panel;ground;colour;ratio;coats;L;a;b\nP;gold;red;2,5:1;4;45,3;-1,5;0\n"
    panel = read_file(table(text)).panels[0]
    assert panel.readings[0].lab == (45.3, -1.5, 0.0)
    assert panel.recipe.schedule == CoatSchedule.parse("4@5:2")
    assert read_file(table(text), decimal=",").panels == (panel,)
    words = refusal(table(text), decimal=".")
    assert "decimal comma" in words
    assert "--decimal ," in words
    assert "not a number" in refusal(table(text.replace("45,3", "1.145,3")))


def test_two_decimal_signs_in_one_file_are_asked_about(table):
    path = table("panel;ground;L;a;b\nP;gold;45,3;1;0\nQ;gold;46.5;1;0\n")
    assert "[decimal]" in refusal(path)
    found = read_file(path, answers={"decimal": "both"}).panels
    assert [p.readings[0].lab[0] for p in found] == [45.3, 46.5]
    report = read_file(path, answers={"decimal": ","}, keep_good=True)
    assert [r.row for r in report.refused] == [3]
    assert "decimal point" in report.refused[0].reason


def test_the_same_panel_under_two_capitals_is_pointed_out(table):
    report = read_file(table("panel,ground,L,a,b\np1,silver,80,0,1\nP1,silver,80,0,1\n"))
    assert len(report.panels) == 2
    assert "capitals" in report.text()


def test_repeats_that_disagree_on_the_back_are_pointed_out(table):
    report = read_file(
        table(
            "panel,ground,L,a,b,sprayer,date\nP,silver,80,0,1,AB,2025-01-02\nP,silver,80,0,1,CD,\n"
        )
    )
    assert report.panels[0].sprayer == "AB"
    assert report.panels[0].date == dt.date(2025, 1, 2)
    assert "do not agree on sprayer" in report.text()


def test_tiles_are_no_panels(table):
    report = read_file(
        table("panel,ground,tile,L,a,b,date\n,,white,95,0,1,2025-01-02\ntile:check,,,50,0,1,\n")
    )
    assert [(t.tile, t.reading.lab[0]) for t in report.tiles] == [("white", 95.0), ("check", 50.0)]
    assert report.panels == ()


def test_a_number_of_hundreds_of_digits_is_refused_in_words(table):
    path = table(HEAD + f"P,gold,red,,{'1' * 400},4,40,30,20,\n")
    assert "not a mix ratio" in refusal(path)


def test_a_hard_blank_of_an_old_encoding_is_read(table):
    path = table(GOOD.encode() + b"P9,silver\xa0,,,yes,80,0,1,A\n")
    assert str(read_file(path).panels[-1].recipe.ground) == "silver"


def test_a_target_without_a_light_says_which_it_was_read_by(tmp_path, caplog):
    path = tmp_path / "target.csv"
    path.write_text("name,L,a,b\nX,40,30,20\n")
    (usual,) = read_target(path)
    assert usual.viewing == Viewing("D65", "10", "45:0")
    assert "does not say its light and geometry: taken as D65/10 and 45:0" in caplog.text
    caplog.clear()
    (found,) = read_target(path, answers={"light": "D50/2", "geometry": "di:8"})
    assert found.viewing == Viewing("D50", "2", "di:8")
    path.write_text("name,illuminant,geometry,L,a,b\nX,D50,45:0,40,30,20\n")
    assert read_target(path)[0].viewing == Viewing("D50", "10", "45:0")
    assert "its light: taken as D50/10. To say otherwise: --answer light=D50/2" in caplog.text
    caplog.clear()
    path.write_text("name,illuminant,geometry,L,a,b\nX,F2,45:0,40,30,20\n")
    assert read_target(path)[0].viewing == Viewing("F2", "10", "45:0")
    assert caplog.messages == ["target.csv does not say its light: taken as F2/10."]
    caplog.clear()
    read_target(path, answers={"light": "F2/10"})
    assert not caplog.text


@pytest.mark.parametrize("place", range(3))
def test_no_surface_is_brighter_than_any_tristimulus_value_may_be(place: int) -> None:
    # The unit is Y of white, 100; flake near its gloss returns more, a file's other scale far more.
    most, low = [40.0, 40.0, 40.0], [40.0, 40.0, 40.0]
    most[place], low[place] = 250.0, -0.5
    assert lab_from_xyz(tuple(most), Viewing())
    low[place] = 0.0
    black = lab_from_xyz(tuple(low), Viewing())
    low[place] = -0.5
    assert lab_from_xyz(tuple(low), Viewing()) == black, "noise below nothing is nothing"
    for wrong in (250.01, -0.51, float("nan"), float("inf")):
        most[place] = wrong
        with pytest.raises(FileError, match="not possible tristimulus values"):
            lab_from_xyz(tuple(most), Viewing())
