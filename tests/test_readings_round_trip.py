"""What is written and read again is the same, to the last digit and the last repeat."""

from __future__ import annotations

import csv
import dataclasses

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings

from matchlib.domain import Ground, GunSetup, Panel, Reading, Recipe
from matchlib.errors import FileError
from matchlib.readings import accepted, read_file, read_target, understand, write_table
from tests.readings_strategies import archives

_SLOW = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much]


@pytest.mark.parametrize("kind", ["csv", "xlsx", "cgats", "cxf"])
def test_panels_come_back_as_they_went_out(kind, tmp_path):
    path = tmp_path / f"panels.{kind}"

    @settings(
        max_examples={"csv": 60, "xlsx": 12, "cgats": 25, "cxf": 25}[kind],
        deadline=None,
        suppress_health_check=_SLOW,
    )
    @given(archives())
    def round_trip(panels):
        uneven = any(w % 1 for p in panels for r in p.readings for w in r.wavelengths)
        if kind == "cxf" and uneven:
            with pytest.raises(FileError, match="even steps"):
                write_table(panels, path)
            return
        write_table(panels, path)
        assert read_file(path).panels == panels

    round_trip()


def _panel(**more):
    return Panel.of("P1", Recipe(Ground.parse("silver")), (Reading(lab=(50.0, 1.0, 2.0)),), **more)


@pytest.mark.parametrize("sign", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "'=x", "''"])
@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_no_exported_cell_begins_like_a_formula(sign, kind, tmp_path):
    panel = _panel(note=f"{sign}|", customer=sign, extra=(("=name()", sign),))
    path = write_table([panel], tmp_path / f"t.{kind}")
    if kind == "csv":
        cells = [c for row in csv.reader(path.open(newline="")) for c in row]
    else:
        sheet = openpyxl.load_workbook(path).active
        assert all(c.data_type != "f" for row in sheet.iter_rows() for c in row)
        cells = [str(c.value or "") for row in sheet.iter_rows() for c in row]
    assert not [c for c in cells if c[:1] in "=+@\t\r" and c] + [c for c in cells if c == "-1"]
    assert read_file(path).panels == (panel,)


@pytest.mark.parametrize(
    "cell", ["[[1,0],[0,1]]", "1 2 3", "[" * 99_999, "[[1,2,0],[2,1,0],[0,0,1]]"]
)
def test_a_covariance_that_is_none_is_told_of_with_its_row(cell, tmp_path):
    path = tmp_path / "t.csv"
    lines = ["panel,ground,illuminant,observer,geometry,source,L,a,b,covariance"]
    lines += ["P1,silver,D65,10,photo,photo,50,0,0," + f'"{cell}"']
    path.write_text("\n".join(lines))
    assert "row 2: This covariance of a reading" in understand(path).text()


def test_codes_that_only_write_their_accents_otherwise_are_asked_about(tmp_path):
    path = tmp_path / "t.csv"
    lines = ["panel,ground,illuminant,observer,geometry,source,L,a,b"]
    lines += [f"{c},silver,D65,10,45:0,spectrophotometer,50,0,0" for c in ("P\xe9", "Pe\u0301")]
    path.write_text("\n".join(lines))
    assert [q.key for q in understand(path).questions] == ["codes"]
    (panel,) = understand(path, answers={"codes": "same"}).panels
    assert (panel.code, len(panel.readings)) == ("P\xe9", 2)


def test_numbers_are_not_guarded_on_export(tmp_path):
    panel = Panel.of("P1", Recipe(Ground.parse("silver")), (Reading(lab=(50.0, -1.5, 2.0)),))
    rows = list(csv.DictReader(write_table([panel], tmp_path / "t.csv").open()))
    assert rows[0]["a"] == "-1.5"


def test_writing_over_a_file_leaves_the_old_one_when_it_fails(tmp_path):
    path = write_table([_panel()], tmp_path / "t.csv")
    before = path.read_bytes()
    with pytest.raises(FileError, match="name of a column of the table itself"):
        write_table([_panel(extra=(("Coats", "x"),))], path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["t.csv"]


def test_the_back_of_a_card_goes_out_and_comes_back(tmp_path):
    panel = Panel.of(
        "P1",
        Recipe(Ground.parse("silver"), clear="yes"),
        (Reading(lab=(50.0, -1.5, 2.0)),),
        setup=GunSetup("big gun", 1.3, 2.0, 250.0, 180.0, 75.0),
        lots=(("carrier", "12"), ("honey", "4")),
        clear_coats=2,
        drawer="B 3",
        extra=(("gun", "an older note"),),
    )
    for name in ("t.csv", "t.xlsx"):
        path = write_table([panel], tmp_path / name)
        (back,) = read_file(path).panels
        # The note is older than the column of its name, and keeps apart from it.
        assert back == dataclasses.replace(panel, extra=(("gun (note)", "an older note"),))


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(FileError, match="cannot be written"):
        write_table([_panel()], tmp_path / "no" / "t.csv")


def test_an_unknown_ending_is_refused(tmp_path):
    with pytest.raises(FileError, match=r"ends in \.csv, \.xlsx, \.cgats or \.cxf"):
        write_table([_panel()], tmp_path / "t.doc")


def test_a_written_panel_is_a_target(tmp_path):
    path = write_table([_panel()], tmp_path / "t.csv")
    assert [r.lab for r in read_target(path)] == [(50.0, 1.0, 2.0)]


def test_an_exported_spreadsheet_has_a_sheet_of_backs_to_type_into(tmp_path):
    stated = {"sprayer": "Ines", "note": "x"}
    path = write_table([_panel(**stated)], tmp_path / "t.xlsx")
    book = openpyxl.load_workbook(path)
    assert [(s.title, s.sheet_state) for s in book] == [
        ("readings", "visible"), ("backs", "visible"), ("names", "hidden"),
    ]  # fmt: skip
    backs, names = book["backs"], book["names"]
    assert [c.value for c in names[2]] == ["silver", None, "no", "Ines"]
    choices = {str(v.sqref): v.formula1 for v in backs.data_validations.dataValidation}
    assert choices["B2:B1000"] == "names!$A$2:$A$2"
    assert choices["H2:H1000"] == "names!$D$2:$D$2"
    assert [p.code for p in read_file(path).panels] == ["P1"]
    backs.append(["P2", "silver", None, None, None, "no"])
    known = {"panel": "P2", "illuminant": "D65", "observer": "10", "geometry": "45:0"}
    known |= {"L": 60, "a": 1, "b": 2}
    made = openpyxl.Workbook()
    made.active.append(list(known))
    made.active.append(list(known.values()))
    made.save(tmp_path / "r.xlsx")
    book.remove(book["readings"])
    book.save(path)
    report = accepted(understand([path, tmp_path / "r.xlsx"]))
    assert [(p.code, str(p.recipe.ground)) for p in report.panels] == [("P2", "silver")]
