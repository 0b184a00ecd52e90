"""Import, export, history, undo, check at the command line, and the way out of every command."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from matchlib.archive import Archive
from tests.cli_shop import SMALL, fails, json_of, refused, run

ROOT = Path(__file__).resolve().parents[1]


def test_import_makes_the_archive_and_reports_its_rows(tmp_path):
    (tmp_path / "p.csv").write_text(SMALL)
    found = json_of("import", "p.csv", "--archive", "new.db", cwd=tmp_path)
    assert found["created"] is True
    assert found["added"] == ["P1", "P2", "P3", "P4", "P5", "P6"]
    assert found["taken"][1] == {"panel": "P2", "row": 3}
    again = run("import", "p.csv", "--archive", "new.db", cwd=tmp_path)
    assert "0 panels added, 6 already there" in again.stdout
    assert "new archive" not in again.stdout
    with Archive.open(tmp_path / "new.db") as archive:
        assert len(archive) == 6


def test_the_good_rows_are_taken_when_asked_for(tmp_path):
    (tmp_path / "p.csv").write_text(SMALL + "P7,silver,rust,3@,yes,D65,10,45:0,1,2,3,\n")
    words = refused("import", "p.csv", cwd=tmp_path)
    assert "row 8" in words
    assert "--keep-good" in words
    assert not (tmp_path / "panels.db").exists()
    done = run("import", "p.csv", "--keep-good", cwd=tmp_path)
    assert done.exit_code == 0
    assert "Refused: row 8" in done.stdout
    with Archive.open(tmp_path / "panels.db") as archive:
        assert len(archive) == 6


def test_percent_and_decimal_commas_are_declared(tmp_path):
    nm = ";".join(str(w) for w in range(400, 701, 10))
    row = ";".join("25,5" for _ in range(31))
    (tmp_path / "p.csv").write_text(f"panel;ground;{nm}\nP1;silver;{row}\n")
    assert "[geometry]" in refused("import", "p.csv", cwd=tmp_path)
    options = ("--scale", "percent", "--decimal", ",", "--geometry", "45:0")
    assert run("import", "p.csv", *options, cwd=tmp_path).exit_code == 0
    with Archive.open(tmp_path / "panels.db") as archive:
        assert archive.panel("P1").readings[0].reflectance[0] == pytest.approx(0.255)
    assert "percent or 0-1" in fails(run("import", "p.csv", "--scale", "so", cwd=tmp_path), 2)


@pytest.mark.parametrize("name", ["out.xlsx", "out.zip"])
def test_an_export_imports_to_the_same_archive(shop, name):
    found = json_of("export", name, cwd=shop)
    assert found["panels"] == 6
    assert run("import", name, "--archive", "again.db", cwd=shop).exit_code == 0
    with Archive.open(shop / "panels.db") as one, Archive.open(shop / "again.db") as two:
        assert one.content_hash() == two.content_hash()
        assert one.panels() == two.panels()


def test_customers_are_left_out_of_an_export_when_asked(shop):
    assert run("export", "out.csv", cwd=shop).exit_code == 0
    assert "Ann Example" in (shop / "out.csv").read_text()
    assert run("export", "out.csv", "--no-customers", cwd=shop).exit_code == 0
    assert "Ann Example" not in (shop / "out.csv").read_text()


def test_files_come_from_and_go_to_other_programs(shop):
    printed = run("export", "-", cwd=shop)
    assert printed.stdout.startswith("panel,")
    into = ("import", "-", "--archive", "piped.db")
    assert run(*into, cwd=shop, typed=printed.stdout).exit_code == 0
    with Archive.open(shop / "panels.db") as one, Archive.open(shop / "piped.db") as two:
        assert one.panels() == two.panels()
    bad = run("import", "-", "--archive", "bad.db", cwd=shop, typed="moon,sun\n1,2\n")
    assert (bad.exit_code, "standard input" in bad.stderr) == (1, True)
    assert not (shop / "bad.db").exists()
    assert "pipe one file" in fails(run("import", "-", "-", cwd=shop), 2)


def test_two_archives_are_never_taken_for_one(shop):
    both = ("panels", "--archive", "panels.db", "--archive=other.db")
    assert "give --archive once" in fails(run(*both, cwd=shop), 2)


def test_a_damaged_backup_leaves_no_archive_behind(shop):
    assert run("export", "out.zip", cwd=shop).exit_code == 0
    whole = (shop / "out.zip").read_bytes()
    (shop / "bad.zip").write_bytes(whole[: len(whole) // 2])
    assert "damaged" in refused("import", "bad.zip", "--archive", "new.db", cwd=shop).casefold()
    assert not (shop / "new.db").exists()


def test_history_tells_who_and_undo_takes_back(shop):
    with Archive.open(shop / "panels.db") as archive:
        number = archive.amend("P3", who="Kim", why="misread", lot="lot 9")
    first, last = json_of("history", "P3", cwd=shop)
    assert (first["action"], last["change"], last["who"], last["why"]) == (
        "added", number, "Kim", "misread",
    )  # fmt: skip
    assert "lot: empty to lot 9" in run("history", "P3", cwd=shop).stdout
    undone = json_of("undo", number, "--who", "Lee", cwd=shop)
    assert undone["of"] == "P3"
    output = run("undo", undone["change"], cwd=shop).stdout
    assert output.startswith(f"P3: change {undone['change']} was undone. To take that back: ")
    taken = json_of("undo", int(output.rsplit(" ", 1)[1]), cwd=shop)
    assert taken["of"] == "P3"
    with Archive.open(shop / "panels.db") as archive:
        assert archive.panel("P3").lot == ""
    assert "no panel of this code" in refused("history", "P99", cwd=shop)
    assert refused("undo", 999, cwd=shop)


def test_check_ends_well_or_with_1(shop):
    assert json_of("check", cwd=shop) == {"panels": 6, "faults": [], "near": []}
    import sqlite3

    with sqlite3.connect(shop / "panels.db") as inside:
        inside.execute("update panels set data = replace(data, 'silver', 'gold') where code = 'P3'")
    done = run("check", cwd=shop)
    assert done.exit_code == 1
    assert "P3" in done.stderr


@pytest.mark.parametrize(
    "command",
    [
        ("export", "x.csv"),
        ("history",),
        ("undo", "1"),
        ("check",),
        ("predict", "--recipes", "panels.csv"),
        ("match", "--lab", "40", "-20", "10"),
        ("next",),
        ("label", "P1"),
        ("add", "--panel", "P1", "--ground", "silver", "--yes"),
    ],
    ids=lambda c: c[0],
)
def test_no_other_command_makes_an_archive(tmp_path, command):
    (tmp_path / "panels.csv").write_text(SMALL)
    before = sorted(tmp_path.iterdir())
    assert "There is no archive here" in refused(*command, cwd=tmp_path)
    assert sorted(tmp_path.iterdir()) == before


def test_usage_errors_end_with_2(shop):
    fails(run("match", "--lab", "40", "-20", cwd=shop), 2)
    fails(run("match", "--such", cwd=shop), 2)
    fails(run("such", cwd=shop), 2)
    assert "one target" in fails(run("match", "--lab", 40, 0, 0, "--panel", "P1", cwd=shop), 2)


def test_the_environment_names_the_archive(shop, monkeypatch):
    monkeypatch.setenv("WORKBOOK_ARCHIVE", str(shop / "panels.db"))
    assert json_of("check")["panels"] == 6


def test_ctrl_c_is_quiet(shop):
    code = (
        "import os, signal\n"
        # A shell's background job is started deaf to Ctrl+C.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "import workbook.session as s\n"
        "def stop(*a, **k): os.kill(os.getpid(), signal.SIGINT); import time; time.sleep(5)\n"
        "s.Session.open = stop\n"
        "import sys; sys.argv = ['workbook', 'check']\n"
        "from workbook.cli import main; main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 130
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


def test_a_reader_who_has_enough_of_the_output_is_no_error(shop):
    code = "import sys; sys.argv = ['workbook', 'history']; from workbook.cli import main; main()"
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "WORKBOOK_ARCHIVE": str(shop / "panels.db"),
    }
    with subprocess.Popen(
        [sys.executable, "-c", code],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as child:
        child.stdout.close()
        output = child.stderr.read()
        child.wait()
    assert "Traceback" not in output
    assert "Exception" not in output


def test_names_cannot_drive_the_terminal(tmp_path):
    (tmp_path / "p.csv").write_text(SMALL.replace("silver", "sil\x1b[31mver"))
    assert "\x1b" not in refused("import", "p.csv", cwd=tmp_path)


def test_json_numbers_are_plain(shop):
    done = run("fit", "--json", cwd=shop)  # of so few panels not every figure can be had
    found = json.loads(done.stdout, parse_constant=pytest.fail)
    assert None in [row["median"] for row in found["validation"]]


def test_the_same_commands_serve_a_file_and_a_server(place, tmp_path):
    # `place` is a path, and then the address of a real PostgreSQL server.
    (tmp_path / "panels.csv").write_text(SMALL)
    at = ("--archive", place)
    assert json_of("import", "panels.csv", *at, cwd=tmp_path)["readings_added"] == 6
    assert json_of("import", "panels.csv", *at, cwd=tmp_path)["readings_added"] == 0
    (best,) = json_of("match", "--lab", 30, 29, 18, "--top", 1, *at)
    assert {"ground", "colour", "schedule", "L", "a", "b", "probability"} <= set(best)
    number = json_of("history", "P6", *at)[0]["change"]
    assert run("undo", number, *at).exit_code == 0
    assert "All is well: 0 panels" in run("check", *at).stdout
    assert run("export", "backup.zip", *at, cwd=tmp_path).exit_code == 0
    back = ("--archive", tmp_path / "back.db")
    assert run("import", "backup.zip", *back, cwd=tmp_path).exit_code == 0
    assert "All is well: 0 panels" in run("check", *back).stdout


def test_panels_of_one_file_are_one_line_of_the_history(shop):
    with Archive.open(shop / "panels.db") as archive:
        archive.amend("P3", who="Kim", lot="lot 9")
    _, _, added, amended = run("history", cwd=shop).stdout.splitlines()
    assert added.split()[0] == "1"
    assert "P1 and 5 more" in added
    assert "lot 9" in amended
    assert "P2 " in run("history", "P2", cwd=shop).stdout


def test_a_join_by_an_old_spelling_says_the_name_that_stays(shop):
    assert run("names", "rename", "ground", "silver", "pearl", cwd=shop).exit_code == 0
    done = run("names", "join", "ground", "graphite", "silver", cwd=shop)
    assert "The ground graphite is pearl from now on." in done.stdout


def test_a_joined_spelling_is_known_and_one_that_was_undone_is_asked_about_again(shop):
    head = "Card,Base,Mix (carrier:colour),Light,Geometry,L,a,b\n"
    (shop / "a.csv").write_text(f"{head}Z1,slver,,D65/10,45:0,60,0,1\n")
    (shop / "b.csv").write_text(f"{head}Z2,slver,,D65/10,45:0,61,0,1\n")
    assert "much like 'silver'" in refused("import", "a.csv", cwd=shop)
    json_of("import", "a.csv", "--answer", "name:ground:slver=new", cwd=shop)
    json_of("undo", json_of("history", cwd=shop)[-1]["change"], cwd=shop)
    again = json_of("import", "a.csv", "--dry-run", cwd=shop)
    assert again["answered"] == {"name:ground:slver": "new"}
    json_of("import", "a.csv", "--answer", "name:ground:slver=new", cwd=shop)
    json_of("names", "join", "ground", "slver", "silver", cwd=shop)
    done = json_of("import", "b.csv", cwd=shop)
    assert (done["unsure"], done["answered"]) == ([], {})
