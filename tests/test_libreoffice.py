"""What a spreadsheet program saves: LibreOffice, in three locales, as XLSX, ODS and CSV.

With `CI=true` LibreOffice must be there; elsewhere the test is skipped without it. Last run with
LibreOffice 7.4.7 (Debian 12).
"""

from __future__ import annotations

import datetime as dt
import os
import shutil
import subprocess

import pytest
from openpyxl import Workbook

from matchlib.readings import read_file

pytestmark = pytest.mark.skipif(
    shutil.which("soffice") is None and not os.environ.get("CI"),
    reason="LibreOffice is not installed",
)
SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse">
<value>{locale}</value></prop></item></oor:items>"""
KINDS = {"xlsx": "xlsx", "ods": "ods", "csv": "csv:Text - txt - csv (StarCalc):59,34,76,1,,0"}
STYLES = {"en-US": ("4/25/", "41.5"), "de-DE": ("25.04.", "41,5"), "fr-FR": ("25/04/", "41,5")}
ANSWERS = {"light": "D65/10", "geometry": "45:0", "order": "carrier", "above:ground": "same"}


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    book = Workbook()
    sheet = book.active
    sheet.title = "Panels"
    sheet.append(["Candy panels of the spring"])
    sheet.append([])
    sheet.append(["Card", "Base", "Candy", "Mix", "Coats", "L*", "a*", "b*", "Sprayed", "Remarks"])
    day = dt.date(2025, 4, 25)
    sheet.append(["A1", "silver", "red", "6 to 1", 4, 41.5, 38.25, 21, day, "Grün, ±1"])
    sheet.append(["A2", None, "red", "4 oz in 40", 3, 39.9, 41.7, 25.3, dt.date(2025, 3, 4), None])
    sheet.append(["A3", "gold", None, None, None, 71.125, 3.4, 28.9, day, '5" card; old'])
    for (cell,) in sheet["I4:I6"]:
        cell.number_format = "mm-dd-yy"  # the built-in short date, which follows the locale
    sheet.merge_cells("B4:B5")
    path = tmp_path_factory.mktemp("source") / "shop.xlsx"
    book.save(path)
    return path


@pytest.mark.parametrize("locale", STYLES)
def test_what_libreoffice_saves_is_read_as_it_was_written(locale, source, tmp_path):
    settings = tmp_path / "home" / "user" / "registrymodifications.xcu"
    settings.parent.mkdir(parents=True)
    settings.write_text(SETTINGS.format(locale=locale))
    wanted = read_file(source, answers=ANSWERS).panels
    assert [str(p.recipe.schedule) for p in wanted] == ["4@6:1", "3@10:1", "None"]
    assert [p.date.month for p in wanted] == [4, 3, 4]
    for ending, kind in KINDS.items():
        subprocess.run(
            ["soffice", "--headless", "--norestore", f"-env:UserInstallation=file://{tmp_path}/home",
             "--convert-to", kind, "--outdir", tmp_path, source],
            check=True, capture_output=True, timeout=120,
        )  # fmt: skip
        made = tmp_path / f"shop.{ending}"
        if ending == "csv":
            text = made.read_text("utf-8")
            assert all(words in text for words in STYLES[locale]), text
        assert read_file(made, answers=ANSWERS).panels == wanted, ending
