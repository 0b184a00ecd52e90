"""What is kept is put right, taken out and brought back at the command line."""

from __future__ import annotations

from pathlib import Path

from matchlib.archive import Archive
from tests.cli_shop import SMALL, fails, json_of, refused, run


def test_a_panel_is_amended_removed_and_restored(shop: Path) -> None:
    done = json_of("amend", "P3", "schedule=3@5:1", "--who", "Kim", "--why", "back", cwd=shop)
    change = json_of("history", "P3", cwd=shop)[-1]
    assert (change["change"], change["who"], change["why"]) == (done["change"], "Kim", "back")
    assert "schedule: 3@6:1 to 3@5:1" in change["words"]
    assert "already" in run("amend", "P3", "schedule=3@5:1", cwd=shop).stdout
    assert "workbook undo" in run("amend", "P3", "lab=43 30 25", "--reading", 1, cwd=shop).stdout
    assert run("remove", "P3", cwd=shop).exit_code == 0
    assert json_of("check", cwd=shop) == {"panels": 5, "faults": [], "near": []}
    assert "is back" in run("restore", "P3", cwd=shop).stdout
    assert run("remove", "P3", "--reading", 1, cwd=shop).exit_code == 0
    assert "is back" in run("restore", "P3", "--reading", cwd=shop).stdout
    with Archive.open(shop / "panels.db") as archive:
        assert archive.panel("P3").readings[0].lab == (43.0, 30.0, 25.0)
    for args in (
        ("amend", "P9", "note=x"),
        ("amend", "P3", "moon=x"),
        ("amend", "P3", "schedule=0@6:1"),
        ("amend", "P3", "lab=1 2", "--reading", 1),
        ("amend", "P3", "note=x", "--stage", 2),
        ("remove", "P3", "--reading", 2),
        ("remove", "P3", "--stage", 1),
        ("restore", "P3", "--stage"),
    ):
        refused(*args, cwd=shop)
    assert "FIELD=VALUE" in fails(run("amend", "P3", "note", cwd=shop), 2)


def test_an_import_is_undone_at_once_and_ranges_too(shop: Path) -> None:
    for lot in ("a", "b", "c"):
        assert run("amend", "P3", f"lot={lot}", cwd=shop).exit_code == 0
    output = run("undo", "2-4", cwd=shop).stdout
    assert output.startswith("Changes 2 to 4 were undone. To take that back: workbook undo 5-7")
    assert [u["undoes"] for u in json_of("undo", "5-7", cwd=shop)["undone"]] == [7, 6, 5]
    for wrong in ("x", "0", "1-", "9" * 18, "9" * 5000):
        assert "range such as 1-20" in fails(run("undo", wrong, cwd=shop), 2)
    assert "no change of this number" in refused("undo", "3-999", cwd=shop)
    for numbers, shown in (("6-4", [4, 5, 6]), ("7", [7]), ("9-999", [9, 10]), ("11-12", [])):
        assert [c["change"] for c in json_of("history", numbers, cwd=shop)] == shown
    assert "no such change" in run("history", "11-12", cwd=shop).stdout
    assert "no panel of this code" in refused("history", "1-", cwd=shop)
    # A card may be called so too; then it is meant.
    assert run("amend", "P3", "code=2-4", cwd=shop).exit_code == 0
    assert [c["change"] for c in json_of("history", "2-4", cwd=shop)] == [1, *range(2, 12)]
    assert run("undo", "11", cwd=shop).exit_code == 0
    corrected = SMALL.replace("43,30,24", "44,31,25")
    (shop / "corrected.csv").write_text(corrected)
    assert json_of("undo", 1, cwd=shop)["of"] == "P1 and 5 more"
    assert json_of("import", "corrected.csv", cwd=shop)["added"] == [f"P{i}" for i in range(1, 7)]
    assert json_of("check", cwd=shop) == {"panels": 6, "faults": [], "near": []}


def test_a_file_that_differs_is_answered(shop: Path) -> None:
    (shop / "other.csv").write_text(
        SMALL.replace("43,30,24", "44,31,25") + "P7,silver,rust,1@6:1,yes,D65,10,45:0,57,9,8,\n"
    )
    words = refused("import", "other.csv", cwd=shop)
    assert "P3" in words
    assert "--replace" in words
    assert json_of("check", cwd=shop)["panels"] == 6
    kept = json_of("import", "other.csv", "--keep", cwd=shop)
    assert (kept["added"], [d["panel"] for d in kept["differing"]]) == (["P7"], ["P3"])
    taken = json_of("import", "other.csv", "--replace", cwd=shop)
    assert [r["panel"] for r in taken["replaced"]] == ["P3"]
    with Archive.open(shop / "panels.db") as archive:
        assert [r.lab for r in archive.panel("P3").readings] == [(44.0, 31.0, 25.0)]
    repeats = json_of("import", "panels.csv", "--repeats", cwd=shop)
    assert repeats["extended"] == [{"panel": "P3", "readings": 1}]
    fails(run("import", "other.csv", "--keep", "--replace", cwd=shop), 2)


def test_a_code_in_use_again_is_not_said_to_be_removed(shop: Path) -> None:
    assert run("remove", "P3", cwd=shop).exit_code == 0
    assert json_of("panel", "P3", cwd=shop)["removed"] is True
    assert json_of("import", "panels.csv", cwd=shop)["again"] == ["P3"]
    assert json_of("panel", "P3", cwd=shop)["removed"] is False


def test_one_panel_is_counted_as_one(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text("\n".join(SMALL.splitlines()[:2]) + "\n")
    assert run("import", "one.csv", cwd=tmp_path).exit_code == 0
    assert "All is well: 1 panel, no damage" in run("check", cwd=tmp_path).stdout
