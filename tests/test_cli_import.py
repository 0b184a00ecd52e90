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


def test_a_watched_folder_takes_each_file_once_it_is_whole(shop, monkeypatch):
    archive, folder = shop / "panels.db", shop / "in"
    folder.mkdir()
    given = {"illuminant": "D65", "observer": "10", "geometry": "45:0"}
    how = HowToRead(given, answers={"order": "carrier"})
    looks = iter(range(8))

    def pause(_):
        n = next(looks)
        if n == 0:
            (folder / "a.csv").write_text(SHOP[:60])  # half written
        elif n == 1:
            (folder / "a.csv").write_text(SHOP)
        elif n == 3:
            (folder / "bad.csv").write_text("nothing of use\n")
        elif n == 7:
            raise KeyboardInterrupt

    found = []
    monkeypatch.setattr("time.sleep", pause)
    with pytest.raises(KeyboardInterrupt):
        found.extend(watch_folder(archive, folder, how))
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


STAGED = (
    "panel,stage,ground,colour,schedule,clear,illuminant,observer,geometry,L,a,b,note\n"
    "S1,1,silver,red,2@6:1,no,D65,10,45:0,48,24,20,\n"
    "S1,2,silver,red,4@6:1,yes,D65,10,45:0,36,35,26,\n"
    "S2,1,silver,red,4@6:1,yes,D65,10,45:0,36,35,26,thin\n"
)
LATER = (
    "panel,stage,L,a,b,illuminant,observer,geometry,date,Booth,note,humidity\n"
    "S1,1,48.1,24.1,20.1,D65,10,45:0,2027-03-01,B2,,\n"
    "S1,2,36.1,35.1,26.1,D65,10,45:0,2027-03-01,,,\n"
    "S1,,36.2,35.2,26.2,D65,10,45:0,2027-03-02,,,\n"
    "S2,,36.2,35.2,26.2,D65,10,45:0,2027-03-02,B2,thick,55\n"
)


def test_readings_by_stage_are_laid_to_the_stage_they_name(shop):
    (shop / "staged.csv").write_text(STAGED)
    (shop / "later.csv").write_text(LATER)
    json_of("import", "staged.csv", cwd=shop)
    found = json_of("import", "later.csv", cwd=shop)
    assert found["readings"] == 4, "the file's own, and none that the archive has"
    assert found["extended"] == [{"panel": "S1", "readings": 3}, {"panel": "S2", "readings": 1}]
    stages = json_of("panel", "S1", cwd=shop)["stages"]
    light = [[reading["lab"][0] for reading in stage["readings"]] for stage in stages]
    assert light == [[48.0, 48.1], [36.0, 36.1, 36.2]]
    days = [[reading.get("date") for reading in stage["readings"]] for stage in stages]
    assert days == [[None, "2027-03-01"], [None, "2027-03-01", "2027-03-02"]]
    assert json_of("import", "later.csv", cwd=shop)["readings_added"] == 0
    (shop / "more.csv").write_text(LATER.splitlines()[0] + "\nS2,2,30,30,20,D65,10,45:0,,,,\n")
    words = refused("import", "more.csv", cwd=shop)
    assert "Panel S2 has no stage of this number. Expected 1 to 1. Got 2." in words


def test_readings_of_a_known_panel_bring_what_else_their_file_says(shop):
    (shop / "staged.csv").write_text(STAGED)
    (shop / "later.csv").write_text(LATER)
    json_of("import", "staged.csv", cwd=shop)
    found = json_of("import", "later.csv", cwd=shop)
    assert found["differing"] == [
        {"panel": "S2", "what": "note: thin in the archive, thick in the file"}
    ]
    panel = json_of("panel", "S2", cwd=shop)
    assert (panel["extra"], panel["note"]) == ([["Booth", "B2"]], "thin")
    assert (panel["stages"][0]["humidity"], panel["stages"][0].get("date")) == (55.0, None)


def test_backs_by_stage_in_one_file_meet_readings_by_stage_in_another(shop):
    backs = ["panel,stage,ground,colour,schedule,clear", "S1,1,silver,red,2@6:1,no"]
    (shop / "backs.csv").write_text("\n".join([*backs, "S1,2,silver,red,4@6:1,yes\n"]))
    (shop / "read.csv").write_text("".join(LATER.splitlines(keepends=True)[:4]))
    json_of("import", "backs.csv", "read.csv", cwd=shop)
    stages = json_of("panel", "S1", cwd=shop)["stages"]
    light = [[reading["lab"][0] for reading in stage["readings"]] for stage in stages]
    assert light == [[48.1], [36.1, 36.2]]


def test_what_a_file_adds_to_a_back_alone_is_counted_and_replaces_notes(shop):
    (shop / "staged.csv").write_text(STAGED)
    json_of("import", "staged.csv", cwd=shop)
    more = "panel,ground,colour,schedule,clear,source,humidity,Booth\nS2,silver,red,4@6:1,yes,none,"
    (shop / "more.csv").write_text(f"{more}55,B2\n")
    done = run("import", "more.csv", cwd=shop)
    assert "0 panels added, 1 completed on the back; 0 readings added." in done.stdout
    (shop / "more.csv").write_text(f"{more}55,B3\n")
    assert json_of("import", "more.csv", "--replace", cwd=shop)["completed"] == ["S2"]
    assert json_of("panel", "S2", cwd=shop)["extra"] == [["Booth", "B3"]]
    assert json_of("import", "more.csv", "--replace", cwd=shop)["already"] == ["S2"]


def test_a_table_without_grounds_or_readings_lacks_those_alone(shop):
    (shop / "t.csv").write_text("panel,temperature\nA1,24\n")
    assert "This table has no column ground." in refused("import", "t.csv", cwd=shop)
