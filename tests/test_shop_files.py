"""Files as shops have them, written without our table in mind: taken in with questions.

The shops, names and readings are invented; how people write ratios, coats and dates is common
practice, no source.
"""

from __future__ import annotations

import datetime as dt
import unicodedata

import numpy as np
import pytest

from matchlib.colorimetry import reflectance_to_lab
from matchlib.domain import Viewing
from matchlib.readings import Stated, accepted, read_file, understand
from tests.declared import NM, SEEN, keys, spectrum


def schedules(report):
    return [str(p.recipe.schedule) for p in report.panels]


def test_1_semicolons_decimal_commas_and_german_dates(table):
    path = table(
        "Panel #;Base;Candy;Mix;Coats;L*;a*;b*;Date;Who\n"
        "A1;silver;red;6 to 1;4;41,5;38,2;21,0;03.04.2025;JK\n"
        "A2;silver;red;4-1;3;39,9;41,7;25,3;28.04.2025;JK\n"
        "A3;gold;;;;71,2;3,4;28,9;28.04.2025;MB\n"
    )
    report = understand(path)
    assert keys(report) == ["light", "geometry", "order"]
    order = next(q for q in report.open if q.key == "order")
    assert order.rows == [2, 3]
    assert "row 2: 6 parts carrier to 1 colour, 14% colour" in order.choices[0].means
    taken = accepted(understand(path, answers={**SEEN, "order": "carrier"}))
    assert schedules(taken) == ["4@6:1", "3@4:1", "None"]
    first = taken.panels[0]
    assert (first.date, first.sprayer) == (dt.date(2025, 4, 3), "JK")
    assert first.readings[0].lab == (41.5, 38.2, 21.0)


def test_2_an_instruments_block_above_the_table(table):
    head = ",".join(f"R{w}" for w in NM)
    rows = "".join(
        f"{code},silver,teal,5:1,4,{','.join(map(str, spectrum(8, 20)))}\n" for code in ("B1", "B2")
    )
    path = table(
        "Export of measurements,,,\nInstrument: sphere,,\nMode,SCE,,\nIlluminant: D65,,\n"
        f"Observer: 10°,,\n\nSample ID,Ground coat,Colour,Mix ratio (carrier:colour),Coats,{head}\n"
        + rows
    )
    report = read_file(path)
    (reading,) = report.panels[0].readings
    assert reading.viewing == Viewing("D65", "10", "de:8")
    assert reading.reflectance[0] == pytest.approx(0.08)
    assert "percent" in " ".join(report.assumed)
    assert schedules(report) == ["4@5:1", "4@5:1"]


def test_3_a_header_of_two_rows_with_merged_cells_and_units(book):
    path = book(
        ["A1:J1", "F3:H3"],
        Panels=[
            ["Candy panels, spring"],
            [],
            ["Card", "Base", "Colour", "Mix", "Coats", "D50/2° 45/0", None, None, "Booth", None],
            [None, None, None, None, None, "L*", "a*", "b*", "Temp", "RH"],
            [None, None, None, "carrier:colour", None, None, None, None, "°F", "%"],
            [101, "silver", "teal", "8:1", 2, 60.1, -20.2, -18.3, 68, 45],
            [102, "silver", "teal", "4:1", "3 coats", 48.4, -24.0, -24.9, 71.6, 50],
        ],
    )
    report = read_file(path)
    assert schedules(report) == ["2@8:1", "3@4:1"]
    assert report.panels[0].readings[0].viewing == Viewing("D50", "2", "45:0")
    assert [p.temperature for p in report.panels] == pytest.approx([20.0, 22.0])
    assert report.panels[0].code == "101"


def test_4_backs_and_readings_on_sheets_of_their_own(book):
    path = book(
        Cover=[["Workshop archive"], ["kept by", "the bench"]],
        Backs=[
            ["Panel", "Base", "Candy", "Sprayed as", "Clear"],
            ["C-01", "gold", "red", "2c 6:1 + 1c 3:1", "yes"],
            ["C-02", "gold", "red", "6:1 x3 then 3:1 x2", "yes"],
            ["C-03", "gold", "red", "4c 5:1", "no"],
        ],
        Readings=[
            ["Sample name", "L*", "a*", "b*", "Light", "Geometry"],
            ["C-01", 40, 35, 20, "D65/10°", "45/0"],
            ["C-02", 34, 38, 22, "D65/10°", "45/0"],
            ["C-02", 34.2, 38.1, 22, "D65/10°", "45/0"],
            ["C-09", 34.2, 38.1, 22, "D65/10°", "45/0"],
        ],
    )
    report = understand(path, answers={"order": "carrier", "join": "code"})
    assert schedules(report) == ["2@6:1 1@3:1", "3@6:1 2@3:1"]
    assert [len(p.readings) for p in report.panels] == [1, 2]
    alone = {(r.sheet, r.panel): r.reason for r in report.rows if r.outcome == "alone"}
    assert set(alone) == {("Backs", "C-03"), ("Readings", "C-09")}
    assert "No back was found" in alone["Readings", "C-09"]


def test_5_panels_in_columns(table):
    spectra = "".join(f"{w} nm;{0.2 + w / 5000:.3f};{0.1 + w / 4000:.3f}\n" for w in NM)
    text = (
        "Card;P7;P8\nBase;silver;white\nCandy;;violet\nSprayed as;;4@6:1\n"
        "Mode;SCI;SCI\nReflectance scale;0-1;0-1\n" + spectra
    )
    report = read_file(table(text), answers={"order": "carrier"})
    assert [p.code for p in report.panels] == ["P7", "P8"]
    assert report.panels[0].recipe.bare
    assert report.panels[1].readings[0].wavelengths == tuple(map(float, NM))
    assert report.panels[1].readings[0].viewing.geometry == "di:8"
    assert report.row_word == "column"


@pytest.mark.parametrize("name", ["R{}", "{}nm [%]", "{} nm", "R {} %", "R_{}", "%R {}"])
def test_6_spectra_in_columns_of_any_name(table, name):
    head = ",".join(name.format(w) for w in NM)
    row = ",".join(map(str, spectrum(10, 40)))
    path = table(f"Panel No,Basecoat,Geometry,{head}\nD1,silver,45/0,{row}\n")
    (reading,) = read_file(path).panels[0].readings
    assert reading.wavelengths == tuple(map(float, NM))
    assert reading.reflectance[0] == pytest.approx(0.10)


def test_7_ounces_in_ounces_are_said_in_our_words(table):
    path = table(
        "Panel;Base;Dye;Mix;Passes;L;a;b;Light;Geometry\n"
        "E1;black;blue;4 oz in 40;3;20;5;-30;D65/10;45/0\n"
        "E2;black;blue;1 in 8;3;18;6;-31;D65/10;45/0\n"
    )
    report = read_file(path)
    assert schedules(report) == ["3@10:1", "3@8:1"]
    assert any("'4 oz in 40' is 10:1" in line for line in report.assumed)


def test_8_several_angles_a_row(book):
    head = ["Panel", "Ground", "Colour", "Schedule"]
    head += [f"{n} {angle}°" for angle in (15, 45, 110) for n in ("L*", "a*", "b*")]
    path = book(Panels=[head, ["F1", "silver", "red", "4@6:1", 80, 40, 30, 45, 35, 20, 25, 20, 10]])
    report = read_file(path, answers={"light": "D65/10"})
    assert [r.viewing.geometry for r in report.panels[0].readings] == [
        "45as15",
        "45as45",
        "45as110",
    ]
    assert [r.lab[0] for r in report.panels[0].readings] == [80, 45, 25]


def test_9_repeats_side_by_side(table):
    path = table(
        "Panel,Base,L1,a1,b1,L2,a2,b2,Light,Geometry\nG1,silver,80,0,1,80.2,0.1,1,D50/2°,SCI\n"
    )
    report = read_file(path)
    assert [r.lab for r in report.panels[0].readings] == [(80, 0, 1), (80.2, 0.1, 1)]
    assert report.panels[0].readings[1].viewing == Viewing("D50", "2", "di:8")


def test_10_utf_16_with_tabs_and_phones(table):
    text = (
        "Sample name\tBase\tCandy\tMix and coats\tRead with\tLight\tGeometry\tL*\ta*\tb*\n"
        "H1\tÉtoile\trouge\t4c 6:1\tspectro\tD65/10°\t45/0\t40\t30\t20\n"
        "H1\tÉtoile\trouge\t4c 6:1\tphone\tD65/10°\t45/0\t42\t28\t19\n"
    )
    report = read_file(table(text, encoding="utf-16"), answers={"order": "carrier"})
    assert [r.source for r in report.panels[0].readings] == ["spectrophotometer", "photo"]
    assert str(report.panels[0].recipe.ground) == "Étoile"


def test_11_ratios_that_a_spreadsheet_turned_into_times_and_days(book):
    rows = [
        ["Panel", "Base", "Candy", "Mix", "Coats", "L*", "a*", "b*", "Light", "Geometry"],
        ["I1", "gold", "red", dt.time(6, 1), 4, 40, 30, 20, "D65/10", "45:0"],
        ["I2", "gold", "red", dt.datetime(2025, 1, 4), 4, 38, 31, 22, "D65/10", "45:0"],
    ]
    path = book(Panels=rows)
    report = understand(path)
    assert keys(report) == ["clock", "calendar"]
    calendar = next(q for q in report.open if q.key == "calendar")
    assert "'2025-01-04' is 4:1" in calendar.choices[0].means
    given = {"clock": "clock", "calendar": "day", "order": "carrier"}
    assert schedules(read_file(path, answers=given)) == ["4@6:1", "4@4:1"]
    left = understand(path, answers={**given, "calendar": "leave"})
    assert "day of the year" in left.refused[0].reason


def test_12_a_ground_written_once_for_a_block(book, table):
    rows = [
        [
            "Card",
            "Base",
            "Colour",
            "Mix (carrier:colour)",
            "Coats",
            "L*",
            "a*",
            "b*",
            "Light",
            "Mode",
        ],
        ["J1", "silver", "red", "6:1", 2, 50, 30, 20, "D65/10", "SCE"],
        ["J2", None, "red", "6:1", 4, 40, 30, 20, "D65/10", "SCE"],
        ["J3", "black", "red", "6:1", 4, 10, 30, 20, "D65/10", "SCE"],
    ]
    merged = read_file(book(["B2:B3"], Panels=rows))
    assert [str(p.recipe.ground) for p in merged.panels] == ["silver", "silver", "black"]
    text = "\n".join(",".join("" if c is None else str(c) for c in row) for row in rows)
    report = understand(table(text))
    assert keys(report) == ["above:ground"]
    assert report.open[0].rows == [3]
    same = read_file(table(text), answers={"above:ground": "same"})
    assert same.panels == merged.panels
    missing = understand(table(text), answers={"above:ground": "missing"})
    assert "ground is blank" in missing.refused[0].reason


def test_13_lab_of_the_wrong_observer_beside_spectra_does_not_pass_unseen(table):
    red = np.array([[0.05 + (0.02 * k if w < 580 else 0.5) for w in NM] for k in (1, 2, 3)])
    labs = reflectance_to_lab(red, Viewing("D50", "2"), wavelengths=np.array(NM, dtype=float))
    head = "Panel,Ground,L*,a*,b*,Light,Geometry," + ",".join(f"R{w} [%]" for w in NM)
    rows = "".join(
        f"K{i},silver,{','.join(f'{v:.3f}' for v in lab)},D65/10,45/0,"
        + ",".join(f"{100 * v:.2f}" for v in own)
        + "\n"
        for i, (own, lab) in enumerate(zip(red, labs, strict=True))
    )
    report = understand(table(f"{head}\n{rows}"))
    assert not report.open  # spectra stand, whatever the Lab beside them
    (twice,) = [q for q in report.questions if q.key == "twice"]
    assert "far better under D50, 2°" in twice.text
    assert twice.rows == [2, 3, 4]
    alone = f"{head}\n{rows}L1,silver,40,30,20,D65/10,45/0\n"
    report = understand(table(alone))
    assert keys(report) == ["twice"]
    found = read_file(table(alone), answers={"twice": "D50/2"})
    assert found.panels[-1].readings[0].viewing == Viewing("D50", "2", "45:0")


def test_14_cgats_of_the_printing_trade_asks_for_its_light(table):
    text = (
        "CGATS.17\nGROUND silver\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\n"
        "END_DATA_FORMAT\nBEGIN_DATA\nM1 50 1 2\nM2 60 1 2\nEND_DATA\n"
    )
    report = understand(table(text, "m.txt"))
    assert keys(report) == ["light", "geometry"]
    assert "ISO 13655" in report.open[0].text


def test_15_readings_in_one_file_and_backs_in_another(table):
    backs = table(
        "Panel;Base;Candy;Mix (carrier to colour);Coats\nN007;gold;red;6:1;4\n"
        "N008;gold;red;3:1;4\n",
        "backs.csv",
    )
    readings = table(
        "Sample name,L*,a*,b*,Light,Geometry\nScan_N007_1,40,30,20,D65/10,45:0\n"
        "Scan_N007_2,40.2,30,20,D65/10,45:0\nScan_N008_1,33,32,22,D65/10,45:0\n",
        "scan.csv",
    )
    report = understand([backs, readings])
    assert keys(report) == ["join"]
    assert "3 of 3 readings meet" in report.open[0].choices[0].text
    assert "'Scan_N007_1' would be of 'N007'" in report.open[0].choices[0].means
    taken = accepted(understand([backs, readings], answers={"join": "part"}))
    assert [(p.code, len(p.readings)) for p in taken.panels] == [("N007", 2), ("N008", 1)]


def test_16_readings_in_the_order_of_the_backs(table):
    backs = table("Panel,Base\nO1,gold\nO2,silver\n", "backs.csv")
    readings = table(
        "Name,L*,a*,b*,Light,Geometry\n1,40,3,2,A/10,SCI\n2,70,0,1,A/10,SCI\n", "r.csv"
    )
    report = understand([backs, readings])
    assert [c.key for c in report.open[0].choices] == ["order", "code"]
    taken = accepted(understand([backs, readings], answers={"join": "order"}))
    assert [(p.code, p.readings[0].lab[0]) for p in taken.panels] == [("O1", 40), ("O2", 70)]


def test_17_american_dates_fahrenheit_and_a_misspelt_ground(table):
    path = table(
        "Panel,Base,Candy,Mix,Coats,L*,a*,b*,Sprayed,Temp,Who\n"
        "Q1,Silver,Teal,6:1,2,60,-20,-20,4/25/2025,72,Al\n"
        "Q2,Slver,Teal,6:1,3,55,-22,-22,4/3/2025,75,Al\n"
    )
    known = Stated(names={"ground": ["silver", "gold"], "colour": ["teal"]})
    report = understand(path, stated=known)
    assert set(keys(report)) == {*SEEN, "order", "name:ground:Slver", "temperature"}
    name = next(q for q in report.open if q.key == "name:ground:Slver")
    assert (name.rows, [c.key for c in name.choices]) == ([3], ["silver", "new", "leave"])
    given = {**SEEN, "order": "carrier", "name:ground:Slver": "silver", "temperature": "F"}
    taken = accepted(understand(path, stated=known, answers=given))
    assert [str(p.recipe.ground) for p in taken.panels] == ["Silver", "silver"]
    assert taken.panels[1].date == dt.date(2025, 4, 3)
    assert taken.panels[0].temperature == pytest.approx(22.2, abs=0.05)
    new = understand(path, stated=known, answers={**given, "name:ground:Slver": "new"})
    assert str(new.panels[1].recipe.ground) == "Slver"


def test_18_a_header_on_every_page_and_a_remark_below(table):
    head = "Panel,Base,Candy,Mix,Coats,L*,a*,b*,Light,Geometry\n"
    path = table(
        f"{head}R1,silver,red,6:1,4,40,30,20,D65/10,45:0\n{head}"
        "R2,silver,red,6:1,5,38,31,21,D65/10,45:0\nAll panels cleared the next day,,,,,,,,,\n"
    )
    report = read_file(path, answers={"order": "carrier"})
    assert [p.code for p in report.panels] == ["R1", "R2"]
    assert [(r.row, r.outcome) for r in report.rows] == [(2, "taken"), (4, "taken"), (5, "remark")]


@pytest.mark.parametrize("encoding", ["cp1252", "mac_roman", "cp850", "cp1250"])
def test_19_old_encodings(table, encoding):
    text = "Panel;Base;L*;a*;b*;Light;Geometry\nS1;grün;40;3;2;D65/10;45:0\n"
    text += "S2;blé;40;3;2;D65/10;45:0\n"
    report = read_file(table(text, encoding=encoding))
    assert [str(p.recipe.ground) for p in report.panels] == ["grün", "blé"]


def test_20_bars_percentages_and_parts_in_columns(table):
    path = table(
        "Card no|Undercoat|Toner|Carrier ml|Toner ml|Coats|L|a|b|Light|Geometry\n"
        "T1|white|pink|60|10|3|70|30|5|D65/10|45:0\nT2|white|pink|40|10|3|66|33|6|D65/10|45:0\n"
    )
    assert schedules(read_file(path)) == ["3@6:1", "3@4:1"]


def test_21_the_colour_in_one_cell_with_its_mix(table):
    rows = ["bare;", "ruby 4 to 1;3", "ruby 8/1;2", "4c Ruby-red 5:1;", "2c 6:1 + 1c 3:1 ruby;"]
    lines = [f"{i};silver;{row};{70 - 9 * i};{2 * i};1" for i, row in enumerate(rows)]
    path = table("\n".join(["Panel #;Base;Mix;Coats;L*;a*;b*", *lines]))
    report = accepted(understand(path, answers={**SEEN, "order": "carrier"}))
    assert schedules(report) == ["None", "3@4:1", "2@8:1", "4@5:1", "2@6:1 1@3:1"]
    assert [str(p.recipe.colour) for p in report.panels] == [
        *("None", "ruby", "ruby", "Ruby-red", "ruby")
    ]
    assert any("'ruby' beside a mix is its colour" in words for words in report.assumed)


def test_a_percentage_that_a_spreadsheet_keeps_as_a_part_of_1_is_read_as_typed(book):
    head = ["Panel", "Base", "Candy", "Dye %", "Coats", "L*", "a*", "b*"]
    rows = [["A1", "silver", "red", 0.14, 3, 40, 30, 20], ["A2", "gold", "red", 0.2, 2, 40, 30, 20]]
    report = understand(book(cards=[head, *rows]), answers=SEEN)
    (asked,) = report.open
    assert "such as 14%" in asked.text
    assert asked.choices[0].means == "row 2: 86:14"
    assert "Rows 2-3: the ratio was taken as a part of 1." in report.assumed
    report = understand(book(cards=[head, *rows]), answers={**SEEN, "percent": "pot"})
    assert schedules(report) == ["3@43:7", "2@4:1"]


def test_a_name_or_code_in_another_unicode_form_is_the_same(table):
    head = "Panel,Base,L*,a*,b*,Light,Geometry\n"
    path = table(f"{head}1,ｃafé  Pearl,60,0,0,D65/10,45:0\n")
    assert not keys(understand(path, stated=Stated(names={"ground": ["café pearl"]})))
    backs = table("Panel,Base\nÉ 1,gold\n", "backs.csv")
    apart = unicodedata.normalize("NFD", "É 1")
    scan = table(f"Name,L*,a*,b*,Light,Geometry\n{apart},40,3,2,D65/10,45:0\n", "scan.csv")
    assert [p.code for p in accepted(understand([backs, scan])).panels] == ["É 1"]
