"""What is written and read again is the same, to the last digit and the last repeat."""

from __future__ import annotations

import csv
import dataclasses
import zipfile

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings

from matchlib.domain import Ground, GunSetup, Panel, Reading, Recipe
from matchlib.errors import FileError
from matchlib.readings import read_file, read_target, write_cgats, write_table
from tests.readings_strategies import archives

_SLOW = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much]


@pytest.mark.parametrize("kind", ["csv", "xlsx", "cgats"])
def test_panels_come_back_as_they_went_out(kind, tmp_path):
    path = tmp_path / f"panels.{kind}"
    write = write_cgats if kind == "cgats" else write_table

    @settings(
        max_examples={"csv": 60, "xlsx": 12, "cgats": 25}[kind],
        deadline=None,
        suppress_health_check=_SLOW,
    )
    @given(archives())
    def round_trip(panels):
        write(panels, path)
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
    with pytest.raises(FileError, match=r"ends in \.csv or \.xlsx"):
        write_table([_panel()], tmp_path / "t.doc")


def test_a_written_panel_is_a_target(tmp_path):
    path = write_table([_panel()], tmp_path / "t.csv")
    assert [r.lab for r in read_target(path)] == [(50.0, 1.0, 2.0)]


def test_an_exported_spreadsheet_is_one_sheet(tmp_path):
    with zipfile.ZipFile(write_table([_panel()], tmp_path / "t.xlsx")) as archive:
        assert sum(n.startswith("xl/worksheets/sheet") for n in archive.namelist()) == 1
