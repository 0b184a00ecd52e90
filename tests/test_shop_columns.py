"""Columns and cells as shops have them: other languages, units in cells, several numbers in one.

The shops, names and readings are invented; how people write is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from openpyxl import Workbook

from matchlib.archive import Archive
from matchlib.readings import accepted, read_file, understand
from tests.declared import keys
from workbook.session.intake import HowToRead, import_file

SEEN = {"light": "D65/10", "geometry": "45:0", "order": "carrier"}
HEAD = "Panel,Base,Candy,Mix,Coats,L,a,b"


GERMAN = (
    "Nr.;Grundlack;Farbe;Mischung;Gänge;L*;a*;b*\n"
    "1;Silber;Rot;6:1;3;40,1;30,2;20,3\n2;Silber;Rot;4:1;4;36,0;31,0;21,0\n"
)
GERMAN_COLUMNS = {
    "column:ground": "Grundlack",
    "column:colour": "Farbe",
    "column:ratio": "Mischung",
    "column:coats": "Gänge",
}


def test_columns_in_another_language_are_asked_for_in_one_breath(table):
    report = understand(table(GERMAN))
    assert keys(report) == list(GERMAN_COLUMNS)
    assert report.open[0].choices[0].means == "row 2: 'Silber'"
    taken = read_file(table(GERMAN), answers={**SEEN, **GERMAN_COLUMNS})
    assert [str(p.recipe) for p in taken.panels] == [
        "Rot over Silber, 3@6:1",
        "Rot over Silber, 4@4:1",
    ]
    assert ("Mischung", "ratio", "") in taken.columns


def test_what_they_mean_is_known_for_the_next_file_of_the_kind(table, tmp_path):
    archive = tmp_path / "panels.db"
    import_file(archive, table(GERMAN), HowToRead(answers={**SEEN, **GERMAN_COLUMNS}))
    again = GERMAN.replace("\n1;", "\n3;").replace("\n2;", "\n4;")
    done = import_file(archive, table(again, "next.csv"))
    assert done.result.added == ("3", "4")
    with Archive.open(archive) as kept:
        assert len(kept) == 4


def test_a_code_under_no_known_name_is_asked_for(table):
    path = table("Karte,Base,Candy,Mix,Coats,L,a,b\nA1,silver,red,6:1,3,40,30,20\n")
    report = understand(path, answers=SEEN)
    assert keys(report) == ["column:panel"]
    given = {**SEEN, "column:panel": "Karte"}
    assert [p.code for p in read_file(path, answers=given).panels] == ["A1"]
    with pytest.raises(Exception, match="no column panel"):
        understand(path, answers={**SEEN, "column:panel": "none"})


def test_a_colour_under_no_known_name_is_asked_for(table):
    path = table("Panel,Base,Schicht,Mix,Coats,L,a,b\nA1,silver,red,6:1,3,40,30,20\n")
    report = understand(path, answers=SEEN)
    assert keys(report) == ["column:colour"]
    assert report.open[0].choices[0].means == "row 2: 'red'"
    given = {**SEEN, "column:colour": "Schicht"}
    assert [str(p.recipe) for p in read_file(path, answers=given).panels] == [
        "red over silver, 3@6:1"
    ]


def test_a_column_of_paint_is_the_colour(table):
    path = table("Panel,Base,Paint,Mix,Coats,L,a,b\nA1,silver,red,6:1,3,40,30,20\n")
    assert [str(p.recipe.colour) for p in read_file(path, answers=SEEN).panels] == ["red"]


def test_units_beside_the_numbers(table):
    path = table(
        f"{HEAD},Temp,RH,Pressure (psi),Tip,Distance\n"
        "A1,silver,red,6:1,3,40,30,20,21 °C,45%,29,1.3 mm,20 cm\n"
        "A2,silver,red,6:1,4,36,30,20,70 F,50 % RH,2 bar,1.3,8 in\n"
    )
    one, two = (p.stages[0] for p in read_file(path, answers=SEEN).panels)
    assert (one.temperature, one.humidity) == (21.0, 45.0)
    assert two.temperature == pytest.approx(21.11, abs=0.01)
    # 1 psi = 6.894757 kPa, NIST SP 811 (2008), appendix B.8
    assert (one.setup.pressure, two.setup.pressure) == (pytest.approx(1.99948), 2.0)
    assert (one.setup.tip, one.setup.distance, two.setup.distance) == (1.3, 200.0, 203.2)
    odd = understand(table(f"{HEAD},Pressure\nA1,silver,red,6:1,3,40,30,20,2 atm\n"), answers=SEEN)
    assert "Expected bar or psi or kpa or mpa. Got '2 atm'" in odd.refused[0].reason


def test_a_units_row_that_the_temperatures_contradict(table):
    path = table(f"{HEAD},Temp\n,,,,,,,,°C\nA1,silver,red,6:1,3,40,30,20,68\n")
    (question,) = understand(path, answers=SEEN).open
    assert question.key == "temperature"
    assert "though the column says °C" in question.text
    (panel,) = read_file(path, answers={**SEEN, "temperature": "F"}).panels
    assert panel.temperature == pytest.approx(20.0)


def test_per_cent_that_a_spreadsheet_keeps_as_parts_of_one(tmp_path):
    made = Workbook()
    made.active.append([*HEAD.split(","), "RH"])
    made.active.append(["A1", "silver", "red", "6:1", 3, 40, 30, 20, 0.45])
    made.active.append(["A2", "silver", "red", "6:1", 4, 36, 30, 20, 0.5])
    made.save(tmp_path / "shop.xlsx")
    report = read_file(tmp_path / "shop.xlsx", answers=SEEN)
    assert [p.humidity for p in report.panels] == [45.0, 50.0]
    assert "Rows 2-3: the humidity was taken as a part of 1." in report.assumed


@pytest.mark.parametrize(("cell", "ratio"), [("20%", "4:1"), ("20", "4:1")])
def test_a_column_of_per_cent_of_colour(table, cell, ratio):
    path = table(f"Panel,Base,Candy,Colour %,Coats,L,a,b\nA1,silver,red,{cell},3,40,30,20\n")
    report = understand(path, answers=SEEN)
    assert keys(report) == ["percent"]
    assert f"row 2: 80:{cell.rstrip('%')}" in report.open[0].choices[0].means
    (panel,) = read_file(path, answers={**SEEN, "percent": "pot"}).panels
    assert str(panel.recipe.schedule) == f"3@{ratio}"


@pytest.mark.parametrize("written", ["40.5/30/-20.1", "40,5; 30; -20,1", "(40.5, 30, -20.1)"])
def test_lab_in_one_cell(table, written):
    path = table(f'Panel;Base;Candy;Mix;Coats;L*a*b*;Note\nA1;silver;red;6:1;3;"{written}";x\n')
    (panel,) = read_file(path, answers=SEEN).panels
    assert panel.readings[0].lab == (40.5, 30.0, -20.1)
    assert panel.note == "x"


def test_chroma_and_hue_beside_lightness(table):
    # CIE 15:2018, 8.2.1.2: C*ab = (a² + b²)^½, hab = arctan(b/a); 3, 4, 5 is a right triangle
    path = table(
        "Panel,Base,L*,C*,h°\nA1,silver,50,5,53.1301\nA2,silver,50,5,306.8699\nA3,silver,50,,\n"
    )
    report = understand(path, answers=SEEN)
    labs = np.array([p.readings[0].lab for p in report.panels])
    np.testing.assert_allclose(labs, [[50, 3, 4], [50, 3, -4]], atol=1e-5)
    assert "C is blank" in report.refused[0].reason
    accepted(report, keep_good=True)


@pytest.mark.parametrize(
    ("order", "told"), [("carrier", "2@6:1 cherry, 1@8:1 violet"), ("colour", "2@1:6 cherry")]
)
def test_coats_of_several_colours_in_one_cell(table, order, told):
    path = table('Panel,Base,Sprayed as,L,a,b\nA1,silver,"2@6:1 cherry, 1@8:1 violet",40,30,20\n')
    assert "order" in keys(understand(path))
    (panel,) = read_file(path, answers={**SEEN, "order": order}).panels
    assert str(panel.recipe.schedule).startswith(told)
