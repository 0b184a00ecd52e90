"""The import command: dry runs, answers, profiles, reports, folders, and a folder watched."""

from __future__ import annotations

import json

import pytest

from matchlib.archive import Archive
from tests.cli_shop import json_of, refused, run
from workbook.cli import importing
from workbook.session.intake import HowToRead, Imported, import_file, watch_folder

SHOP = (
    "Card;Base;Candy;Mix;Coats;L*;a*;b*\n"
    "A1;silver;red;6 to 1;4;41,5;38,2;21,0\nA2;silver;red;4-1;3;39,9;41,7;25,3\n"
)
GIVEN = ("--illuminant", "D65", "--observer", "10", "--geometry", "45:0")


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "shop.csv").write_text(SHOP)
    return tmp_path


def test_a_dry_run_tells_all_and_changes_nothing(shop):
    found = json_of("import", "shop.csv", "--dry-run", cwd=shop)
    assert [r["row"] for r in found["rows"]] == [2, 3]
    assert (found["taken"], found["refused"]) == ([], [])
    assert [q["key"] for q in found["unsure"]] == ["light", "geometry", "order"]
    assert all(q["question"] and q["choices"] and q["rows"] == [2, 3] for q in found["unsure"])
    words = run("import", "shop.csv", "--dry-run", cwd=shop).stdout
    assert "light, geometry, order" in words
    assert "Nothing was changed" in words
    assert sorted(p.name for p in shop.iterdir()) == ["shop.csv"]


def test_open_questions_are_refused_with_the_way_to_answer(shop):
    words = refused("import", "shop.csv", cwd=shop)
    assert "--answer 'order=carrier': the carrier – row 2: 6 parts carrier to 1 colour" in words
    assert sorted(p.name for p in shop.iterdir()) == ["shop.csv"]


def test_answers_are_kept_and_used_for_the_next_file_of_the_kind(shop):
    done = json_of("import", "shop.csv", *GIVEN, "--answer", "order=carrier", cwd=shop)
    assert done["answered"] == {"order": "carrier"}
    assert done["profile"] == "shop"
    (shop / "next.csv").write_text(SHOP.replace("A", "B"))
    again = json_of("import", "next.csv", *GIVEN, cwd=shop)
    assert again["added"] == ["B1", "B2"]
    assert "as last time, by the profile 'shop'" in " ".join(again["assumed"])
    (shop / "other.csv").write_text(SHOP.replace("A", "C").replace("Card", "Panel"))
    assert "[order]" in refused("import", "other.csv", *GIVEN, cwd=shop)
    named = json_of("import", "other.csv", *GIVEN, "--profile", "shop", cwd=shop)
    assert named["added"] == ["C1", "C2"]


def test_answers_from_a_file(shop):
    answers = {"light": "D50/2", "geometry": "di:8", "order": "colour"}
    (shop / "answers.json").write_text(json.dumps(answers))
    json_of("import", "shop.csv", "--answers", "answers.json", cwd=shop)
    with Archive.open(shop / "panels.db") as archive:
        panel = archive.panel("A1")
    assert str(panel.recipe.schedule) == "4@1:6"
    assert str(panel.readings[0].viewing) == "D50/2° di:8"
    (shop / "bad.json").write_text("[1, 2")
    assert "not a file of answers" in refused(
        "import", "shop.csv", "--answers", "bad.json", cwd=shop
    )
    words = refused("import", "shop.csv", "--answer", "order=sideways", cwd=shop)
    assert "Expected carrier or colour" in words


def test_a_name_near_a_known_one_is_joined_as_answered(shop):
    json_of("import", "shop.csv", *GIVEN, "--answer", "order=carrier", cwd=shop)
    (shop / "more.csv").write_text(SHOP.replace("A", "D").replace("D2;silver", "D2;slver"))
    assert "[name:ground:slver]" in refused("import", "more.csv", *GIVEN, cwd=shop)
    found = json_of("import", "more.csv", *GIVEN, "--answer", "name:ground:slver=silver", cwd=shop)
    assert found["added"] == ["D1", "D2"]
    with Archive.open(shop / "panels.db") as archive:
        assert archive.names("ground") == ("silver",)


def test_the_report_is_written_refused_or_not_and_imports_when_corrected(shop):
    (shop / "shop.csv").write_text(SHOP.replace("39,9", "x"))
    options = (*GIVEN, "--answer", "order=carrier", "--report", "report.csv")
    lines = refused("import", "shop.csv", *options, cwd=shop).splitlines()
    assert any(line.startswith("Refused: row 3: L is not a number") for line in lines)
    assert lines[-1].startswith("What to do: correct them in the file")
    table = (shop / "report.csv").read_text("utf-8-sig")
    assert "L is not a number" in table
    output = run("import", "shop.csv", *options, "--keep-good", cwd=shop)
    assert output.exit_code == 0
    assert "Refused: row 3: L is not a number" in output.stdout
    (shop / "report.csv").write_text(table.replace(",x,", ',"39,9",'), "utf-8")
    done = json_of("import", "report.csv", *GIVEN, "--answer", "order=carrier", cwd=shop)
    assert done["added"] == ["A2"]


def test_a_refused_import_prints_its_rows_as_json_too(shop):
    (shop / "shop.csv").write_text(SHOP.replace("39,9", "x"))
    done = run("import", "shop.csv", *GIVEN, "--answer", "order=carrier", "--json", cwd=shop)
    assert done.exit_code == 1
    found = json.loads(done.stdout)
    assert found["refused"][0]["row"] == 3
    assert "What to do:" in done.stderr


def test_a_folder_of_exports_meets_backs_and_known_panels(shop):
    (shop / "exports").mkdir()
    for i in (1, 2):
        (shop / "exports" / f"{i}.csv").write_text(
            f"Sample name,L*,a*,b*,Light,Geometry\nA{i},{40 + i},30,20,D65/10,45:0\n"
        )
    (shop / "exports" / "notes.doc").write_text("not a table")
    (shop / "backs.csv").write_text("\n".join(r.rsplit(";", 3)[0] for r in SHOP.splitlines()))
    done = json_of("import", "backs.csv", "exports", "--answer", "order=carrier", cwd=shop)
    assert done["added"] == ["A1", "A2"]
    (shop / "again.csv").write_text(
        "Sample name,L*,a*,b*,Light,Geometry\nA1,41.1,30,20,D65/10,45:0\nZ9,1,2,3,D65/10,45:0\n"
    )
    words = refused("import", "again.csv", cwd=shop)
    assert "No back was found for the reading 'Z9'" in words
    found = json_of("import", "again.csv", "--keep-good", cwd=shop)
    assert found["extended"] == [{"panel": "A1", "readings": 1}]


def test_a_watched_folder_takes_each_file_once_it_is_whole(shop):
    archive, folder = shop / "panels.db", shop / "in"
    folder.mkdir()
    given = {"illuminant": "D65", "observer": "10", "geometry": "45:0"}
    how = HowToRead(given, answers={"order": "carrier"})
    looks = iter(range(8))

    def pause():
        n = next(looks)
        if n == 0:
            (folder / "a.csv").write_text(SHOP[:60])  # half written
        elif n == 1:
            (folder / "a.csv").write_text(SHOP)
        elif n == 3:
            (folder / "bad.csv").write_text("nothing of use\n")
        return n < 7

    found = list(watch_folder(archive, folder, how, pause=pause))
    assert [p.name for p, _ in found] == ["a.csv", "bad.csv"]
    assert found[0][1].result.added == ("A1", "A2")
    assert "What to do:" in str(found[1][1])


def test_questions_at_the_keyboard(shop, monkeypatch):
    typed = iter([2, 3, 9, 1])
    monkeypatch.setattr(importing.click, "prompt", lambda *_, **__: next(typed))
    how = importing._asked("panels.db", [str(shop / "shop.csv")], HowToRead())
    assert how.answers == {"light": "D50/2", "geometry": "de:8", "order": "carrier"}
    done = import_file(shop / "panels.db", shop / "shop.csv", how)
    assert done.result.added == ("A1", "A2")


def test_a_backup_of_one_panel_is_said_to_be_of_one():
    assert Imported("panels.db", False, restored=1).text == "1 panel restored from the backup."


def test_nothing_to_import_is_a_usage_error(shop):
    done = run("import", cwd=shop)
    assert done.exit_code == 2
    assert "name a file" in done.stderr
