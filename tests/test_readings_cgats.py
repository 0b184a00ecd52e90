"""CGATS text: keywords, formats, several tables, and files that contradict themselves."""

from __future__ import annotations

from functools import partial

import pytest

from matchlib.colorimetry import lab_to_xyz, white_point
from matchlib.domain import CoatSchedule, Viewing
from matchlib.errors import FileError, MatchlibError
from matchlib.readings import read_target, understand
from tests.declared import read_file

NM = range(400, 701, 20)
LAB = '''CGATS.17
ORIGINATOR "someone"   # a comment, with "quotes
KEYWORD "GROUND"
GROUND "silver 3 + black 1"
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"
MEASUREMENT_GEOMETRY "45/0"
NUMBER_OF_FIELDS 7
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A
LAB_B COLOUR SCHEDULE
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 "Panel ""one""" 45.5 2 -3 "" ""
2 P2 41 2 3 "teal 2 + violet 1" "2@6:1 2@3:1"
END_DATA
'''


def spectral(spelling, values="0.25", more=""):
    fields = " ".join(spelling.format(w) for w in NM)
    return (
        f"CGATS.17\nGROUND gold\n{more}BEGIN_DATA_FORMAT\nSAMPLE_ID {fields}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\nS1 {' '.join(values for _ in NM)}\nEND_DATA\n"
    )


@pytest.fixture
def cgats(table):
    return partial(table, name="t.txt")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_keywords_formats_comments_and_line_ends(cgats, end):
    report = read_file(cgats(LAB.replace("\n", end)))
    first, second = report.panels
    assert first.code == 'Panel "one"'
    assert first.recipe.bare
    assert str(first.recipe.ground) == "silver 3 + black 1"
    assert first.readings[0].lab == (45.5, 2.0, -3.0)
    assert first.readings[0].viewing == Viewing("D50", "2", "45:0")
    assert second.recipe.schedule == CoatSchedule.parse("2@6:1 2@3:1")
    assert [t.row for t in report.taken] == [15, 16]
    assert report.row_word == "line"
    assert report.notes == ()  # running numbers are no notes


@pytest.mark.parametrize(
    "spelling",
    ["SPECTRAL_NM{}", "SPECTRAL_NM_{}", "NM{}", "nm{}", "SPECTRAL_{}", "R_{}", "R{}", "nm_{}"],
)
def test_spectral_fields_in_common_spellings_need_a_declared_scale(cgats, spelling):
    with pytest.raises(MatchlibError, match="percent, or 0-1"):
        read_file(cgats(spectral(spelling)))
    (reading,) = read_file(cgats(spectral(spelling)), scale="unit").panels[0].readings
    assert reading.wavelengths == tuple(map(float, NM))
    (reading,) = read_file(cgats(spectral(spelling, more='SCALE "0-1"\n'))).panels[0].readings
    assert set(reading.reflectance) == {0.25}


@pytest.mark.parametrize(
    ("spelling", "value"), [("SPECTRAL_PCT{}", "25"), ("SPECTRAL_DEC{}", "0.25")]
)
def test_pct_and_dec_declare_the_scale(cgats, spelling, value):
    (reading,) = read_file(cgats(spectral(spelling, value))).panels[0].readings
    assert set(reading.reflectance) == {0.25}


@pytest.mark.parametrize(("name", "value"), [("SPECTRAL_PCT", "25"), ("SPECTRAL_DEC", "0.25")])
def test_pairs_of_wavelength_and_value(cgats, name, value):
    fields = f"SPECTRAL_NM {name} " * len(NM)
    rows = "".join(f"S{i} " + " ".join(f"{w} {value}" for w in NM) + "\n" for i in (1, 2))
    text = (
        f"CGATS.17\nGROUND gold\nBEGIN_DATA_FORMAT\nSAMPLE_ID {fields}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{rows}END_DATA\n"
    )
    report = read_file(cgats(text))
    assert len(report.panels) == 2
    assert report.panels[1].readings[0].wavelengths == tuple(map(float, NM))
    assert set(report.panels[1].readings[0].reflectance) == {0.25}
    with pytest.raises(FileError, match="differ from row to row"):
        read_file(cgats(text.replace("S2 400", "S2 401")))


def test_several_tables_share_the_preamble_and_may_share_the_format(cgats):
    more = (
        'NUMBER_OF_SETS 1\nBEGIN_DATA\n3 P3 50 0 0 "" ""\nEND_DATA\n'
        "NUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_NAME XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\n"
        "NUMBER_OF_SETS 1\nBEGIN_DATA\nP4 {} {} {}\nEND_DATA\n"
    )
    xyz = lab_to_xyz([60, 10, -20], white_point("D50", "2"))
    report = read_file(cgats(LAB + more.format(*xyz)))
    assert [p.code for p in report.panels] == ['Panel "one"', "P2", "P3", "P4"]
    assert str(report.panels[3].recipe.ground) == "silver 3 + black 1"
    assert report.panels[3].readings[0].lab == pytest.approx((60, 10, -20), abs=1e-9)


def test_a_set_may_run_over_several_lines(cgats):
    text = LAB.replace('1 "Panel', '1\n"Panel').replace("2 P2 41 2 3", "2 P2 41\n2 3")
    report = read_file(cgats(text))
    assert [p.readings[0].lab[0] for p in report.panels] == [45.5, 41.0]
    assert [t.row for t in report.taken] == [15, 17]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: t.replace("NUMBER_OF_SETS 2", "NUMBER_OF_SETS 3"), "number of rows it says"),
        (lambda t: t.replace("NUMBER_OF_FIELDS 7", "NUMBER_OF_FIELDS 8"), "number of fields"),
        (lambda t: t.replace("NUMBER_OF_SETS 2", "NUMBER_OF_SETS x"), "not a number"),
        (lambda t: t.replace("END_DATA\n", ""), "breaks off"),
        (lambda t: t[: t.index("END_DATA_FORMAT")], "breaks off"),
        (lambda t: t[: t.index("NUMBER_OF_SETS")], "holds no data"),
        (lambda t: t.replace('one"""', 'one""'), "never closed"),
        (lambda t: t.replace("41 2 3", "41 3"), "stand|not a number|blank"),
        (lambda t: t.replace("41 2 3", "41,5 2 3"), r"\[decimal\]"),
        (lambda t: t.replace("41 2 3", "410 2 3"), "L from 0 to 100"),
        (lambda t: t.replace("LAB_A", "LAB_L"), "Two columns have one name"),
        (lambda t: "CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", "no data format"),
    ],
)
def test_files_that_contradict_themselves(cgats, change, words):
    with pytest.raises(MatchlibError, match=words):
        read_file(cgats(change(LAB)))


def test_a_target_in_cgats_needs_no_recipe(cgats):
    path = cgats(LAB.replace('GROUND "silver 3 + black 1"\n', ""))
    assert read_target(path, panel="P2")[0].lab == (41.0, 2.0, 3.0)


DOUBTS = """CGATS.17
ILLUMINANT "D65"
OBSERVER "10"
GEOMETRY "45:0"
BEGIN_DATA_FORMAT
PANEL GROUND LAB_L LAB_A LAB_B DATE TILE
END_DATA_FORMAT
BEGIN_DATA
p1 silver 40,5 2 3 3/4/2025 ""
P1 silver 41.5 2 3 3/5/2025 ""
P2 silver 41.5 2 3 3/5/2025 ""
P2 gold 41.5 2 3 3/5/2025 ""
"" "" 95 0 1 "" white
"" "" 93 0 1 "" white
END_DATA
"""


def test_what_is_asked_and_told_counts_lines(cgats):
    path = cgats(DOUBTS)
    (decimal,) = understand(path).open
    assert decimal.choices[0].means == "line 9: 40,5 is 40.5"
    (dates,) = understand(path, answers={"decimal": "both"}).open
    assert dates.choices[0].means == "line 9: 3/4/2025 is 03 April 2025"
    report = understand(path, answers={"decimal": "both", "dates": "dmy"})
    (codes,) = [q for q in report.questions if q.key == "codes"]
    assert codes.choices[1].means == "line 10: a reading of p1"
    assert "more than one recipe (lines 11, 12)" in report.text()
    assert "from its first reading in line 14" in report.text()
    mixed = DOUBTS.replace("3/4/2025", "25/4/2025").replace("3/5", "4/26")
    (dates,) = understand(cgats(mixed), answers={"decimal": "both"}).open
    assert "change their style (see line 10)" in dates.text
