"""XLSX: what spreadsheets do to values, and what hostile files try."""

from __future__ import annotations

import datetime as dt
import io
import zipfile

import pytest
from openpyxl import Workbook

from matchlib.domain import CoatSchedule
from matchlib.errors import FileError, ImportRefused, MatchlibError
from tests.declared import read_file

HEADER = ["panel", "ground", "colour", "ratio", "coats", "L", "a", "b", "date"]
ROW = ["P1", "gold", "red", "6:1", 4, 40, 30.5, 20, dt.datetime(2025, 1, 31)]


def book(tmp_path, *rows, header=HEADER, sheets=("one",)):
    made = Workbook()
    made.remove(made.active)
    for title in sheets:
        sheet = made.create_sheet(title)
        for row in (header, *rows):
            sheet.append(row)
    path = tmp_path / "t.xlsx"
    made.save(path)
    return path


def changed(path, part, change):
    """The same file with one part changed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, change(data) if name == part else data)
    path.write_bytes(stream.getvalue())
    return path


def test_a_spreadsheet_is_read_like_a_table(tmp_path):
    report = read_file(book(tmp_path, ROW, [None] * 9, ["P2", *ROW[1:]]))
    assert [(t.panel, t.row) for t in report.taken] == [("P1", 2), ("P2", 4)]
    panel = report.panels[0]
    assert panel.recipe.schedule == CoatSchedule.of(4, "6:1")
    assert panel.readings[0].lab == (40.0, 30.5, 20.0)
    assert panel.date == dt.date(2025, 1, 31)


def test_numbers_as_names_lose_nothing_but_the_decimal_point(tmp_path):
    report = read_file(book(tmp_path, [101, *ROW[1:]], [102.0, *ROW[1:]]))
    assert [p.code for p in report.panels] == ["101", "102"]


@pytest.mark.parametrize(
    "clock", [dt.time(6, 1), dt.timedelta(hours=25, minutes=1), dt.datetime(1900, 1, 1, 6, 1)]
)
def test_a_ratio_that_became_a_clock_time_is_refused_with_the_remedy(tmp_path, clock):
    path = book(tmp_path, ROW, ["P2", "gold", "red", clock, 4, 40, 30, 20, None])
    with pytest.raises(ImportRefused, match=r"\[clock\]"):
        read_file(path)
    assert str(read_file(path, answers={"clock": "clock"}).panels[1].recipe.schedule)[:2] == "4@"
    (refused,) = read_file(path, answers={"clock": "leave"}, keep_good=True).refused
    assert refused.row == 3
    assert "clock time" in refused.reason
    assert "format the column ratio as text" in refused.reason


def test_a_geometry_that_became_a_clock_time_is_refused(tmp_path):
    path = book(tmp_path, [*ROW, dt.timedelta(hours=45)], header=[*HEADER, "geometry"])
    with pytest.raises(ImportRefused, match="geometry has become a clock time"):
        read_file(path)


def test_a_formula_without_a_stored_value_is_refused(tmp_path):
    path = book(tmp_path, ROW, ["P2", "gold", "red", "6:1", 4, "=40+1", 30, 20, None])
    with pytest.raises(ImportRefused, match="formula without a stored value") as caught:
        read_file(path)
    assert [r.row for r in caught.value.report.refused] == [3]


def test_a_formula_with_a_stored_value_is_read(tmp_path):
    path = book(tmp_path, ["P2", "gold", "red", "6:1", 4, "=40+1", 30, 20, None])

    def store(xml):
        assert b"<v />" in xml or b"<v/>" in xml or b"<v></v>" in xml
        for empty in (b"<v />", b"<v/>", b"<v></v>"):
            xml = xml.replace(b"</f>" + empty, b"</f><v>41</v>")
        return xml

    changed(path, "xl/worksheets/sheet1.xml", store)
    assert read_file(path).panels[0].readings[0].lab[0] == 41


def test_an_error_value_is_no_number(tmp_path):
    with pytest.raises(ImportRefused, match="L is not a number"):
        read_file(book(tmp_path, [*ROW[:5], "#DIV/0!", 30, 20, None]))


def test_sheets_are_named_not_guessed(tmp_path):
    path = book(tmp_path, ROW, sheets=("first", "second"))
    assert [r.sheet for r in read_file(path).rows] == ["first", "second"]
    assert len(read_file(path, sheet="second").rows) == 1
    with pytest.raises(FileError, match="no such sheet"):
        read_file(path, sheet="third")


def test_an_empty_sheet_is_said(tmp_path):
    made = Workbook()
    made.save(tmp_path / "t.xlsx")
    with pytest.raises(FileError, match="empty"):
        read_file(tmp_path / "t.xlsx")


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path):
    path = book(tmp_path, ROW)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        for i in range(3):
            with archive.open(f"xl/big{i}.xml", "w", force_zip64=True) as part:
                for _ in range(50):
                    part.write(bytes(2**20))
    assert path.stat().st_size < 2**20
    with pytest.raises(FileError, match="unpacks to more than 128 MiB"):
        read_file(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused(tmp_path, encoding):
    laughs = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>'
    path = book(tmp_path, ROW)
    changed(
        path,
        "xl/worksheets/sheet1.xml",
        lambda xml: (laughs + xml.decode().split("?>")[-1]).encode(encoding),
    )
    with pytest.raises(FileError, match="XML entities"):
        read_file(path)


def test_a_sheet_wider_than_any_table_is_refused(tmp_path):
    path = book(tmp_path, ROW)
    changed(path, "xl/worksheets/sheet1.xml", lambda xml: xml.replace(b'r="I2"', b'r="XFD2"'))
    with pytest.raises(MatchlibError, match="too wide"):
        read_file(path)


def test_a_cut_off_spreadsheet_is_said(tmp_path):
    path = book(tmp_path, ROW)
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(FileError, match="not a whole XLSX"):
        read_file(path)


def test_a_zip_of_something_else_is_said(tmp_path):
    path = tmp_path / "t.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("hello.txt", "hello")
    with pytest.raises(FileError, match="damaged"):
        read_file(path)
