"""Names are renamed and joined everywhere at once, and their lots are kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest

from matchlib.archive import Archive, all_names, join_names, keep_lot, near_spellings, rename
from matchlib.audit import Finding
from matchlib.domain import CoatSchedule, Colour, Ground, LoggedCoat, Lot, Panel, Reading, Recipe
from matchlib.domain.name import near_names
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job, Plan
from matchlib.mixing import CoatUse, JobArea, Limits
from tests.cli_shop import fails, json_of, refused, run

LAB = Reading(lab=(50.0, 1.0, 2.0), instrument="the blue one")


def _panel(code: str, ground: str, **more: str) -> Panel:
    recipe = Recipe(Ground.parse(ground), Colour.parse("teal"), CoatSchedule.of(2, "6:1"))
    return Panel.of(code, recipe, (LAB,), **more)


def _shop(archive: Archive) -> None:
    blend = "slver 3 + black 1"
    archive.add([_panel("A1", "silver"), _panel("A2", "silver", note="slver here is a remark")])
    archive.add([_panel("B1", "slver", sprayer="Bo"), _panel("B2", blend), _panel("B3", "slver")])
    archive.delete("B3")
    recipe = archive.panel("B1").recipe
    limits = Limits(grounds=("slver", "silver", "graphite"), colours=("teal", "rust"))
    archive.keep_job(Job("tank", target=(LAB,), limits=limits, plan=Plan(recipe)))


def test_two_spellings_become_one_everywhere_and_are_two_again_by_undo(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        _shop(archive)
        before = archive.panels(include_deleted=True), archive.content_hash(), archive.job(1)
        assert near_spellings(archive) == (("ground", "slver", "silver"),)
        number = join_names(archive, "ground", "SLVER", "silver", who="Ines") or 0
        grounds = [str(p.recipe.ground) for p in archive.panels(include_deleted=True)]
        assert grounds == ["silver", "silver", "silver", "silver 3 + black 1", "silver"]
        assert archive.panel("A2").note == "slver here is a remark"
        assert [str(g) for g in archive.job(1).limits.grounds] == ["silver", "graphite"]
        assert str(archive.job(1).plan.recipe.ground) == "silver"
        assert archive.names("ground") == ("silver", "black")
        assert near_spellings(archive) == ()
        archive.add([_panel("B4", "Slver")])
        assert str(archive.panel("B4").recipe.ground) == "silver"
        assert archive.check() == ()
        change = archive.history()[number - 1]
        assert change.action == "joined"
        named = [item.name for item in change.items if item.kind == "name"]
        assert len(named) == len(set(named)) > 0
        archive.delete("B4")
        undone = archive.undo(number)
        after = archive.panels(include_deleted=True), archive.content_hash(), archive.job(1)
        assert after[0][:5] == before[0]
        assert after[1] == before[1]
        assert replace(after[2], version=1) == before[2]
        assert archive.names("ground") == ("silver", "slver", "black")
        archive.undo(undone)
        assert archive.names("ground") == ("silver", "black")
        assert join_names(archive, "ground", "slver", "silver") is None
        assert archive.check() == ()


def test_a_name_is_changed_and_the_old_one_still_means_it(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        _shop(archive)
        number = rename(archive, "instrument", "the blue one", "spectro 1") or 0
        assert {r.instrument for p in archive.panels() for r in p.readings} == {"spectro 1"}
        archive.add([_panel("C1", "silver")])
        assert archive.panel("C1").readings[0].instrument == "spectro 1"
        assert rename(archive, "sprayer", "Bo", "Bo") is None
        assert rename(archive, "sprayer", "bo", "BO")
        assert archive.panel("B1").sprayer == "BO"
        with pytest.raises(ArchiveError, match="already"):
            rename(archive, "ground", "slver", "Silver")
        rename(archive, "instrument", "spectro 1", "meter")
        with pytest.raises(ArchiveError, match="changed again"):
            archive.undo(number)
        assert archive.check() == ()


def test_what_was_set_aside_of_a_name_stays_so_when_it_is_renamed(place: str) -> None:
    def key(kind: str, about: str) -> str:
        return Finding(kind, ("B1",), 0.9, "", "", about=about).key

    with Archive.open(place, create=True) as archive:
        _shop(archive)
        before = {key("drift", "sprayer Bo"), key("beyond the law", "teal"), "A1"}
        for one in before:
            archive.ignore(one)
        rename(archive, "colour", "teal", "lagoon")
        rename(archive, "instrument", "the blue one", "Bo")
        number = rename(archive, "sprayer", "Bo", "Ann") or 0
        after = {key("drift", "sprayer Ann"), key("beyond the law", "lagoon"), "A1"}
        assert archive.ignored() == after
        assert archive.check() == ()
        archive.undo(number)
        archive.undo(number - 2)
        assert archive.ignored() == before
        assert archive.check() == ()


def test_what_was_set_aside_of_a_panel_goes_with_its_code(place: str) -> None:
    def keys(code: str) -> set[str]:
        own = Finding("wrong ground", (code,), 0.9, "", "")
        two = Finding("same panel twice", ("A2", code), 0.9, "", "")
        return {own.key, two.key, Finding("drift", (code,), 0.9, "", "", about="date").key}

    with Archive.open(place, create=True) as archive:
        _shop(archive)
        for key in keys("B1"):
            archive.ignore(key)
        number = archive.amend("B1", code="A0", note="its label had come off") or 0
        assert archive.ignored() == keys("A0")
        assert archive.check() == ()
        archive.undo(number)
        assert archive.ignored() == keys("B1")
        assert archive.check() == ()


def test_what_an_undo_brings_back_bears_the_name_of_today(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        _shop(archive)
        number = archive.amend("A1", ground="black") or 0
        layers = CoatSchedule.parse("2@6:1 teal, 1@6:1 rust")
        archive.build_on("A2", Recipe(Ground.parse("silver"), None, layers))
        archive.delete("A2", stage=2)
        rename(archive, "ground", "silver", "sterling")
        rename(archive, "colour", "rust", "ochre")
        undone = archive.undo(number)
        assert str(archive.panel("A1").recipe.ground) == "sterling"
        archive.restore("A2", what="stage")
        assert str(archive.panel("A2").recipe.schedule) == "2@6:1 teal, 1@6:1 ochre"
        archive.undo(undone)
        assert str(archive.panel("A1").recipe.ground) == "black"
        job = archive.job(1)
        archive.keep_job(replace(job, plan=Plan(archive.panel("A1").recipe)))
        number = len(archive.history())
        rename(archive, "ground", "slver", "argent")
        archive.undo(number)
        assert str(archive.job(1).plan.recipe.ground) == "argent"
        blend = archive.amend("B2", ground="graphite") or 0
        join_names(archive, "ground", "argent", "black")
        with pytest.raises(MatchlibError, match=rf"change {blend}, panel B2: This is not a ground"):
            archive.undo(blend)
        assert archive.check() == ()


def test_what_cannot_be_joined_is_refused_in_words_and_nothing_changes(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        _shop(archive)
        archive.add([_panel("D1", "silver 1 + slver 1")])
        before = archive.panels(), len(archive.history()), archive.names("ground")
        with pytest.raises(ArchiveError, match=r"blend of the two.*panel D1"):
            join_names(archive, "ground", "slver", "silver")
        for call in (
            lambda: join_names(archive, "ground", "silver", "slver 3 + black 1"),
            lambda: join_names(archive, "ground", "gold", "silver"),
            lambda: join_names(archive, "moon", "silver", "slver"),
            lambda: rename(archive, "ground", "silver", "a + b"),
            lambda: rename(archive, "ground", "silver", ""),
        ):
            with pytest.raises(MatchlibError):
                call()
        assert (archive.panels(), len(archive.history()), archive.names("ground")) == before
        assert archive.check() == ()


def test_what_stands_in_the_way_of_joining_is_named(place: str) -> None:
    blend = "silver 1 + slver 1"
    with Archive.open(place, create=True) as archive:
        _shop(archive)
        for held in (
            {"limits": Limits(grounds=(blend,))},
            {"plan": Plan(_panel("D1", blend).recipe)},
        ):
            job = archive.keep_job(Job("door", target=(LAB,), **held))  # type: ignore[arg-type]
            with pytest.raises(ArchiveError, match=f"a job has a blend.*job {job.number}, door"):
                join_names(archive, "ground", "slver", "silver")
            archive.undo(len(archive.history()))
        layers = CoatSchedule.parse("2@6:1 teal, 1@6:1 rust")
        archive.add([Panel.of("L1", Recipe(Ground.parse("silver"), None, layers), (LAB,))])
        archive.add([Panel.of("L2", Recipe.of("silver", "rust, dark", "2@6:1"), (LAB,))])
        with pytest.raises(MatchlibError, match=r"L1.*cannot stand in a schedule.*rust, dark"):
            join_names(archive, "colour", "rust", "rust, dark")


def test_only_things_of_the_kind_are_renamed_and_wherever_they_stand(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        recipe = Recipe(
            Ground.parse("teal"), Colour.parse("teal"), CoatSchedule.of(2, "6:1"), "mat"
        )
        log = (LoggedCoat(1, sprayer="Bo"), LoggedCoat(2, sprayer="Bo"))
        archive.add([Panel.of("A1", recipe, (LAB,), log=log)])
        pot = {
            "stock": {"teal": 90.0},
            "area": JobArea.flat(1.0),
            "use": CoatUse(80.0, 0.2, None, "measured"),
        }
        limits = Limits(grounds=("teal",), colours=("teal", "rust"), clear="mat", **pot)
        archive.keep_job(Job("tank", target=(LAB,), limits=limits))
        uses = {(name.kind, name.name): count for name, count in all_names(archive)}
        assert uses["sprayer", "Bo"] == 1, "who laid a coat is on the panel, and once"
        rename(archive, "colour", "teal", "deep teal")
        rename(archive, "clear", "mat", "matt")
        now, kept = archive.panel("A1").recipe, archive.job(1).limits
        assert (str(now.ground), str(now.colour), now.clear) == ("teal", "deep teal", "matt")
        assert [str(g) for g in kept.grounds] == ["teal"]
        assert [str(c) for c in kept.colours] == ["deep teal", "rust"]
        assert (kept.clear, kept.stock) == ("matt", {"deep teal": 90.0})


def test_a_join_brings_all_spellings_and_lots(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([_panel("A1", "silver"), _panel("B1", "slver")])
        keep_lot(archive, "ground", "silver", Lot("L1"))
        keep_lot(archive, "ground", "slver", Lot("l1", opened=dt.date(2027, 1, 1)))
        keep_lot(archive, "ground", "slver", Lot("L2"))
        rename(archive, "ground", "slver", "argent")
        join_names(archive, "ground", "argent", "silver")
        (silver,) = [name for name, _ in all_names(archive, "ground")]
        assert silver.lots == (Lot("L1"), Lot("L2"))
        archive.add([_panel("C1", "slver"), _panel("C2", "Argent")])
        assert archive.names("ground") == ("silver",)


def test_capitals_and_unicode_form_never_make_two_names(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add(
            [_panel("A1", "Caf\u00e9"), _panel("A2", "CAFE\u0301"), _panel("A3", " caf\u00e9 ")]
        )
        assert archive.names("ground") == ("Caf\u00e9",)


def test_lots_have_days_and_the_last_opened_is_in_use(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([_panel("A1", "silver")])
        first, second = (Lot(c, opened=dt.date(2027, m, 1)) for c, m in (("L1", 1), ("L2", 2)))
        assert keep_lot(archive, "colour", "teal", first)
        assert keep_lot(archive, "colour", "teal", second)
        assert keep_lot(archive, "colour", "Teal", second) is None
        (teal,) = [name for name, _ in all_names(archive, "colour")]
        assert teal.lot == second
        number = keep_lot(archive, "colour", "teal", replace(second, finished=dt.date(2027, 3, 1)))
        (teal,) = [name for name, _ in all_names(archive, "colour")]
        assert teal.lot == first
        archive.undo(number or 0)
        assert archive.check() == ()


def test_numbers_make_other_things_and_short_names_are_not_near() -> None:
    assert near_names("slver", ["silver", "gold", "SLVER"]) == ("silver",)
    assert near_names("light blue", ["lightblue", "Light-Blue"]) == ("lightblue", "Light-Blue")
    assert near_names("red 1", ["red 2", "red 10"]) == ()
    assert near_names("red", ["rad", "reed"]) == ()


def test_names_at_the_command_line(tmp_path: Path) -> None:
    with Archive.open(tmp_path / "panels.db", create=True) as archive:
        archive.add([_panel("P1", "silver"), _panel("P2", "silver"), _panel("P4", "slver")])
    near = json_of("names", "near", cwd=tmp_path)
    assert near == [{"kind": "ground", "name": "slver", "near": "silver"}]
    assert "names join ground" in run("check", cwd=tmp_path).stdout
    assert json_of("names", "join", "ground", "slver", "silver", cwd=tmp_path)["change"]
    listed = {n["name"]: n for n in json_of("names", "list", "ground", cwd=tmp_path)}
    assert listed["silver"]["spellings"] == ["slver"]
    args = ("names", "lot", "ground", "silver", "G-7", "--opened", "2027-01-02")
    assert run(*args, cwd=tmp_path).exit_code == 0
    assert "G-7" in run("names", "list", cwd=tmp_path).stdout
    assert run("names", "rename", "ground", "silver", "sterling", cwd=tmp_path).exit_code == 0
    assert (
        "so already" in run("names", "rename", "ground", "silver", "sterling", cwd=tmp_path).stdout
    )
    refused("names", "rename", "ground", "gold", "x", cwd=tmp_path)
    assert "2027-03-01" in fails(run(*args[:-1], "soon", cwd=tmp_path), 2)
    fails(run("names", "list", "moon", cwd=tmp_path), 2)


def test_the_history_tells_of_a_name_that_has_gone_since(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("P1", Recipe.of("slver")), Panel.of("P2", Recipe.of("silver"))])
        keep_lot(archive, "ground", "slver", Lot("L1"))
        last = join_names(archive, "ground", "slver", "silver")
        noted, joined = archive.history()[-2:]
        assert noted.items[0].name == joined.items[0].name == "ground slver"
        assert noted.words == "lot noted: lots: empty to code L1"
        with pytest.raises(ArchiveError, match="another lots of one joined since"):
            archive.undo(noted.number)
        archive.undo(last or 0)
        assert archive.history()[-2].items[0].name == "ground slver"
        assert archive.check() == ()
