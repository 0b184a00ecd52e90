"""Files that contradict themselves or leave something open: asked about, and told row by row."""

from __future__ import annotations

import datetime as dt

import pytest

from matchlib.errors import FileError, ImportRefused
from matchlib.readings import read_file, understand
from tests.declared import NM, SEEN, keys, spectrum


def test_two_header_candidates_are_asked_about(table):
    path = table(
        "Panel,Base,Candy,Mix,Coats,L*,a*,b*\nCode,Ground,Colour,Ratio,Passes,L,a,b\n"
        "U1,silver,red,6:1,4,40,30,20\n"
    )
    report = understand(path)
    assert keys(report) == ["header"]
    assert [c.key for c in report.open[0].choices] == ["1", "2"]
    given = {**SEEN, "order": "carrier", "header": "2"}
    assert [p.code for p in understand(path, answers=given).panels] == ["U1"]
    with pytest.raises(FileError, match="no answer to the question 'header'"):
        understand(path, answers={"header": "7"})


def test_a_units_row_that_contradicts_the_numbers_is_asked_about(table):
    head = ",".join(f"R{w}" for w in NM)
    units = ",".join("%" for _ in NM)
    row = ",".join(map(str, spectrum(0.1)))
    path = table(f"Panel,Ground,Geometry,{head}\n,,,{units}\nV1,silver,45:0,{row}\n")
    report = understand(path)
    assert keys(report) == ["scale"]
    assert "none is above 1.5%" in report.open[0].text
    (reading,) = read_file(path, answers={"scale": "0-1"}).panels[0].readings
    assert reading.reflectance[0] == pytest.approx(0.1)


def test_a_date_style_that_changes_halfway_is_asked_about(table):
    path = table(
        "Panel,Ground,L,a,b,Light,Geometry,Date\nW1,silver,80,0,1,D65/10,45:0,25/04/2025\n"
        "W2,silver,80,0,1,D65/10,45:0,3/4/2025\nW3,silver,80,0,1,D65/10,45:0,04/26/2025\n"
    )
    report = understand(path)
    assert keys(report) == ["dates"]
    assert "change their style (see row 4)" in report.open[0].text
    found = understand(path, answers={"dates": "dmy"})
    assert [r.row for r in found.refused] == [4]
    assert "without guessing" in found.refused[0].reason
    assert [p.date.month for p in found.panels] == [4, 4]


def test_ambiguous_dates_are_asked_about(table):
    path = table("Panel,Ground,L,a,b,Light,Mode,Date\nX1,silver,80,0,1,D65/10,SCI,3/4/2025\n")
    report = understand(path)
    assert keys(report) == ["dates"]
    assert "03 April 2025" in report.open[0].choices[0].means
    assert read_file(path, answers={"dates": "mdy"}).panels[0].date == dt.date(2025, 3, 4)


def test_one_code_in_two_styles(table):
    path = table(
        "Panel,Ground,L,a,b,Light,Mode\nP-014,silver,80,0,1,D65/10,SCI\n"
        "P14,silver,80.2,0,1,D65/10,SCI\nP15,silver,80.1,0,1,D65/10,SCI\n"
    )
    report = understand(path)
    (codes,) = [q for q in report.questions if q.key == "codes"]
    assert (codes.default, codes.rows) == ("different", [2, 3])
    assert len(report.panels) == 3
    same = understand(path, answers={"codes": "same"}).panels
    assert [(p.code, len(p.readings)) for p in same] == [("P-014", 2), ("P15", 1)]


def test_a_column_with_a_misspelt_name_is_asked_about(table):
    path = table("Panel,Gruond,L,a,b,Light,Mode\nY1,silver,80,0,1,D65/10,SCI\n")
    report = understand(path)
    assert keys(report) == ["column:Gruond"]
    assert report.open[0].choices[0].means == "row 2: 'silver'"
    taken = read_file(path, answers={"column:Gruond": "ground"})
    assert str(taken.panels[0].recipe.ground) == "silver"


def test_every_reason_of_every_row_is_told_at_once(table):
    path = table(
        "panel,ground,colour,schedule,L,a,b,illuminant,observer,geometry,date\n"
        "Z1,silver,red,4@6:1,40,30,20,D65,10,45:0,2025-01-31\n"
        "Z2,,red,4@6,x,30,20,D65,10,45:0,2025-02-31\n"
    )
    with pytest.raises(ImportRefused) as caught:
        read_file(path)
    (row,) = caught.value.report.refused
    words = ("ground is blank", "L is not a number", "date cannot be read")
    assert all(any(w in r for r in row.reasons) for w in words)


@pytest.mark.parametrize(
    ("schedule", "coats", "words"),
    [
        ("", "2+1", ""),
        ("", "2.5+1", "coats is not a number"),
        ("3 coats", "", ""),
        ("3 coats", "3", ""),
        ("3 coats", "4", "do not suit the schedule. Expected what 3@6:1 says"),
    ],
)
def test_coats_are_never_rounded_and_never_said_twice_in_two_ways(table, schedule, coats, words):
    path = table(
        "panel,ground,colour,schedule,ratio,coats,L,a,b,illuminant,observer,geometry\n"
        f"A,silver,red,{schedule},6:1,{coats},40,30,20,D65,10,45:0\n"
    )
    report = understand(path)
    if words:
        assert words in report.refused[0].reason
    else:
        assert [str(p.recipe) for p in report.panels] == ["red over silver, 3@6:1"]


def test_what_an_answer_means_is_said_of_a_line_where_lines_are_counted(table):
    path = table(
        "CGATS.17\nBEGIN_DATA_FORMAT\nPANEL GROUND COLOUR RATIO COATS LAB_L LAB_A LAB_B\n"
        "END_DATA_FORMAT\nBEGIN_DATA\nP1 silver red 14% 3 40 30 20\nP2 silver red 15 3 40 30 20\n"
        "END_DATA\n",
        "a.txt",
    )
    asked = {q.key: q.choices[0].means for q in understand(path, answers=SEEN).open}
    assert asked == {"percent": "line 6: 86:14", "bare": "line 7: 15:1"}


def test_the_report_as_a_table_can_be_corrected_and_taken(table):
    path = table(
        "Panel,Base,L*,a*,b*,Light,Mode\nA,silver,80,0,1,D65/10,SCI\nB,silver,8o,0,1,D65/10,SCI\n"
    )
    found = understand(path).table()
    assert found.splitlines()[0].startswith("import row,import outcome,import reasons,Panel")
    corrected = table(found.replace("8o", "80"), "report.csv")
    report = read_file(corrected)
    assert [p.code for p in report.panels] == ["B"]
    assert report.panels[0].extra == ()


def test_no_cell_of_the_report_is_run_by_a_spreadsheet_and_all_come_back(table):
    path = table(
        "Panel,Base,Candy,L*,a*,b*,Light,Mode,Bay\nA,silver,-,80,-1,+1,D65/10,SCI,'=1+1\n"
        "B,silver,-,8o,-1,1,D65/10,SCI,'@x\n"
    )
    found = understand(path).table()
    assert not [c for c in found.replace("\n", ",").split(",") if c[:1] in "=@" and c]
    (panel,) = read_file(table(found.replace("8o", "80"), "report.csv")).panels
    assert (panel.extra, panel.readings[0].lab) == ((("Bay", "@x"),), (80, -1, 1))


def test_ten_rows_are_shown_as_understood_with_what_is_unsure(table):
    path = table(
        "Panel,Base,Candy,Mix,Coats,L*,a*,b*\n"
        + "".join(f"P{i},silver,red,6:1,{1 + i % 4},40,30,20\n" for i in range(30))
    )
    report = understand(path, answers={"light": "D65/10"})
    assert len(report.preview) == 10
    assert report.preview[0]["row"] == 2
    assert report.preview[0]["unsure"] == ["geometry", "order"]
    assert ("Mix", "ratio", "") in report.columns


def test_a_place_on_a_chart_is_a_note_and_no_colour(table):
    path = table(
        "Panel,Ground,X,Y,L,a,b,Light,Mode\nA,silver,3,7,80,0,1,D65/10,SCI\n"
        "B,silver,4,8,70,0,1,D65/10,SCI\n"
    )
    report = read_file(path)
    first, second = report.panels
    assert report.notes == ("X", "Y")
    assert (first.readings[0].lab, second.readings[0].lab) == ((80, 0, 1), (70, 0, 1))
    assert (dict(first.extra), dict(second.extra)) == ({"X": "3", "Y": "7"}, {"X": "4", "Y": "8"})


def test_rows_that_end_early_are_read_as_far_as_they_go(table):
    path = table("Panel,L,a,b,Light,Mode,Gruond\nA,80,0,1,D65/10,SCI\nB,70,0,1,D65/10,SCI,silver\n")
    report = understand(path, answers={"column:Gruond": "ground"})
    assert [p.code for p in report.panels] == ["B"]
    (short,) = report.refused
    assert short.row == 2
    assert "ground is blank" in short.reason
