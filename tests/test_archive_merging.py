"""Two archives become one: what is joined, what is asked, and how it is taken back."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest

from matchlib.archive import (
    Archive,
    all_names,
    apart,
    backups_of,
    export_bundle,
    keep_lot,
    merge,
    rename,
)
from matchlib.domain import CoatSchedule, Colour, Ground, Lot, Panel, Reading, Recipe
from matchlib.errors import ArchiveError, FileError
from matchlib.job import Job, Plan
from tests.cli_shop import json_of, refused, run
from tests.faults.making import panels

pytestmark = pytest.mark.usefixtures("home")


def recipe(ground: str, colour: str, schedule: str) -> Recipe:
    return Recipe(Ground.parse(ground), Colour.parse(colour), CoatSchedule.parse(schedule), None)


def card(
    code: str, lab: tuple[float, float, float], ground: str = "silver", **more: object
) -> Panel:
    return Panel.of(code, recipe(ground, "rust", "3@6:1"), (Reading(lab=lab),), **more)


@pytest.fixture
def other(tmp_path: Path) -> Path:
    """Return a second shop's archive: a card of each kind, a job, a photo, a lot."""
    path = tmp_path / "east.db"
    with Archive.open(path, create=True) as archive:
        archive.add([card("A", (40, 20, 20)), card("C", (30, 20, 20), "slver", sprayer="Bo")])
        archive.add([card("D", (35, 22, 21), customer="Ann Example"), card("E", (33, 2, 1))])
        archive.delete("E")
        archive.attach("D", "front.jpg", b"theirs")
        keep_lot(archive, "colour", "rust", Lot("L-1", dt.date(2027, 1, 2)))
        plan = Plan(recipe("slver", "rust", "4@6:1"), on="D")
        target = (Reading(lab=(36, 21, 20)),)
        archive.keep_job(Job("tank", "Ann Example", target=target, plan=plan, panels=("A", "D")))
    return path


def test_what_is_new_comes_in_as_one_change(place: str, other: Path) -> None:
    with Archive.open(place, create=True) as archive, apart(other) as theirs:
        archive.add([card("A", (50, 10, 10)), card("B", (45, 10, 10))])
        before = (archive.panels(), archive.jobs(), all_names(archive))
        with pytest.raises(ArchiveError, match="leaves something open") as caught:
            merge(archive, theirs)
        assert "--answer 'codes=prefix'" in str(caught.value)
        assert "name:ground:slver=silver" in str(caught.value)
        answers = {"name:ground:slver": "silver"}
        seen = merge(archive, theirs, answers, prefix="E-", dry_run=True)
        assert (archive.panels(), archive.jobs(), all_names(archive)) == before
        done = merge(archive, theirs, answers, prefix="E-", who="Kim", why="bought them")
        assert (done.change, done.jobs) == (2, ((1, 1),))  # the looks before took no number
        assert (seen.change, seen.panels.added, seen.names) == (None, done.panels.added, done.names)
        assert done.panels.added == ("E-A", "C", "D")
        assert done.renamed == (("A", "E-A"),)
        assert done.names == (("ground", "slver", "silver"),)
        assert done.files == 1
        assert "1 removed panel." in done.left
        (copy,) = backups_of(archive.label)
        assert copy.why == "before merge"
        assert str(archive.panel("C").recipe.ground) == "silver"
        (job,) = archive.jobs()
        assert job.panels == ("E-A", "D")
        assert (job.plan.on, str(job.plan.recipe.ground)) == ("D", "silver")  # type: ignore[union-attr]
        names = {n.name: n for n, _ in all_names(archive)}
        assert names["silver"].spellings == ("slver",)
        assert names["rust"].lots == (Lot("L-1", dt.date(2027, 1, 2)),)
        assert archive.attachments("D")[0].data == b"theirs"
        assert archive.history()[-1].action == "merged"
        assert archive.check() == ()
        again = merge(archive, theirs, answers, prefix="E-")
        assert again.change is None
        assert again.panels.already == ("E-A", "C", "D")
        assert again.jobs_left == ((1, f"it is job {job.number} here"),)
        back = archive.undo(done.change)  # type: ignore[arg-type]
        assert (archive.panels(), archive.jobs()) == before[:2]
        assert [n for n, _ in all_names(archive, "ground")] == [n for n, _ in before[2][-1:]]
        assert archive.check() == ()
        archive.undo(back)
        assert archive.panel("E-A").readings[0].lab == (40, 20, 20)
        assert archive.job(job.number).panels == ("E-A", "D")
        assert archive.check() == ()


def test_a_copy_that_went_on_elsewhere_joins_by_its_cards(place: str, tmp_path: Path) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([*panels(3, 20), card("S", (20, 1, 1))])
        job = archive.keep_job(Job("door", target=(Reading(lab=(40, 0, 0)),)))
        bundle = export_bundle(archive, tmp_path / "shop.zip", customers=True)
        with Archive.open(tmp_path / "laptop.db", create=True) as laptop:
            merge(laptop, archive)
            laptop.amend("P2", note="from the laptop")
            laptop.build_on("S", replace(laptop.panel("S").recipe, clear="gloss"))
            laptop.add([card("L1", (30, 1, 1))])
        archive.amend("P2", note="from the shop")
        archive.keep_job(replace(job, notes="went on"))
        with apart(tmp_path / "laptop.db") as theirs:
            done = merge(archive, theirs)
        assert done.panels.added == ("L1",)
        assert [c for c, _ in done.panels.differing] == ["P2"]
        assert "from the shop in the archive" in done.panels.differing[0][1]
        assert archive.panel("P2").note == "from the shop"
        assert len(archive.panel("S").stages) == 2
        assert "gone on otherwise" in done.jobs_left[0][1]
        with apart(bundle) as theirs:
            assert merge(archive, theirs).change is None
        with pytest.raises(ArchiveError, match="merged with itself"), apart(place) as same:
            merge(archive, same)


def test_answers_say_what_cards_of_one_code_are(place: str, other: Path) -> None:
    with Archive.open(place, create=True) as archive, apart(other) as theirs:
        archive.add([card("A", (50, 10, 10)), card("x-A", (1, 1, 1)), card("slver", (3, 3, 3))])
        rename(archive, "ground", "silver", "fine silver")
        given = {"name:ground:slver": "new"}
        with pytest.raises(ArchiveError, match="that of another panel too"):
            merge(archive, theirs, given, prefix="x-")
        with Archive.open(other) as open_:
            open_.add([card("y-A", (5, 5, 5))])
        with pytest.raises(ArchiveError, match="that of another panel too"):
            merge(archive, theirs, given, prefix="y-")
        with pytest.raises(FileError, match="no answer"):
            merge(archive, theirs, given | {"codes": "perhaps"})
        left = merge(archive, theirs, given | {"codes": "leave"}, dry_run=True)
        assert [c for c, _ in left.panels.refused] == ["A"]
        done = merge(archive, theirs, given | {"codes": "same"})
        assert done.panels.extended == (("A", 1),)
        assert len(archive.panel("A").readings) == 2
        assert {n.name for n, _ in all_names(archive, "ground")} == {"fine silver", "slver"}


def test_two_shops_that_merge_one_anothers_archives_again_double_no_card(
    place: str, tmp_path: Path
) -> None:
    west = tmp_path / "west.db"
    cards = [card("1", (50, 10, 10)), card("2", (45, 10, 10))]
    with Archive.open(place, create=True) as ours, Archive.open(west, create=True) as theirs:
        ours.add(cards)
        theirs.add([card("1", (30, 5, 5)), card("2", (25, 5, 5)), card("W", (20, 1, 1))])
        theirs.keep_job(Job("tank", target=(Reading(lab=(36, 21, 20)),), panels=("1", "W")))
        assert merge(ours, theirs, prefix="W-").panels.added == ("W-1", "W-2", "W")
        back = merge(theirs, ours, prefix="E-")
        assert back.panels.added == ("E-1", "E-2")
        assert back.renamed == (("1", "E-1"), ("2", "E-2"), ("W-1", "1"), ("W-2", "2"))
        assert {p.code for p in theirs.panels()} == {"1", "2", "W", "E-1", "E-2"}
        assert back.jobs_left == ((1, "it is job 1 here"),)
        for one, other in ((ours, theirs), (theirs, ours)):
            # whatever prefix is named the second time
            again = merge(one, other, prefix="again-")
            assert (again.change, again.questions) == (None, ())
        theirs.add([card("1", (31, 5, 5))], strict=False)
        ours.amend("W-2", schedule="3@5:1")
        ours.add([card("11", (30, 5, 5))])
        assert merge(ours, theirs).panels.extended == (("W-1", 1),)
        seen = merge(theirs, ours)
        assert (seen.panels.added, [c for c, _ in seen.panels.differing]) == (("11",), ["2"])


def test_what_was_removed_here_comes_again_and_spelling_and_lots_with_it(
    place: str, other: Path
) -> None:
    with Archive.open(place, create=True) as archive, Archive.open(other) as theirs:
        archive.add([card("B", (45, 10, 10)), card("D", (1, 1, 1))])
        keep_lot(archive, "colour", "rust", Lot("l-1"))
        archive.delete("D")
        rename(theirs, "colour", "rust", "deep rust")
        keep_lot(theirs, "colour", "rust", Lot("L-2"))
        rename(archive, "colour", "rust", "Rust red")
        done = merge(archive, theirs, {"name:ground:slver": "silver"})
        assert (done.panels.added, done.panels.again) == (("A", "C", "D"), ("D",))
        assert archive.panel("D").customer == "Ann Example"
        (rust,) = [n for n, _ in all_names(archive, "colour")]
        assert (rust.name, rust.spellings) == ("Rust red", ("rust", "deep rust"))
        assert rust.lots == (Lot("l-1"), Lot("L-2"))


def test_an_order_of_another_target_is_another_job(place: str, tmp_path: Path) -> None:
    with (
        Archive.open(place, create=True) as archive,
        Archive.open(tmp_path / "o.db", create=True) as theirs,
    ):
        for one, lab in ((archive, (40, 0, 0)), (theirs, (60, 9, 9)), (theirs, (61, 9, 9))):
            one.keep_job(Job("door", "Ann Example", target=(Reading(lab=lab),)))
        assert merge(archive, theirs).jobs == ((1, 2), (2, 3)), "the oldest first"
        same = merge(archive, theirs)
        assert same.jobs_left == ((1, "it is job 2 here"), (2, "it is job 3 here"))


def test_photos_of_one_name_are_both_kept(place: str, tmp_path: Path) -> None:
    pictured = Panel.of(
        "A",
        recipe("silver", "rust", "3@6:1"),
        (Reading(lab=(1, 2, 3)), Reading(lab=(1, 2, 4), picture="front.jpg")),
    )
    with (
        Archive.open(place, create=True) as archive,
        Archive.open(tmp_path / "o.db", create=True) as theirs,
    ):
        archive.add([card("A", (1, 2, 3))])
        archive.attach("A", "front.jpg", b"ours")
        theirs.add([pictured])
        theirs.attach("A", "front.jpg", b"theirs")
        assert merge(archive, theirs).files == 1
        kept = {f.name: f.data for f in archive.attachments("A")}
        assert sorted(kept.values()) == [b"ours", b"theirs"]
        assert kept[archive.panel("A").readings[1].picture] == b"theirs"
        assert merge(archive, theirs).files == 0
        theirs.attach("A", "back.jpg", b"more")
        assert merge(archive, theirs).files == 1
        assert len(archive.attachments("A")) == 3


def test_the_command_tells_and_refuses(other: Path, tmp_path: Path) -> None:
    with Archive.open(tmp_path / "panels.db", create=True) as archive:
        archive.add([card("A", (50, 10, 10))])
    words = refused("merge", other, cwd=tmp_path)
    assert "What are they?" in words
    options = ("--prefix", "E-", "--answer", "name:ground:slver=new")
    output = run("merge", other, *options, "--dry-run", cwd=tmp_path).stdout
    assert output.startswith("What a merge would do:\n3 panels added")
    assert "Panel A is E-A here." in output
    assert "Nothing was changed" in output
    done = json_of("merge", other, *options, cwd=tmp_path)
    assert done["panels"]["added"] == ["E-A", "C", "D"]
    assert run("undo", done["change"], cwd=tmp_path).exit_code == 0
    (tmp_path / "same.db").symlink_to("panels.db")
    for itself in ("panels.db", "same.db"):
        assert "merged with itself" in refused("merge", itself, cwd=tmp_path)
    assert "no archive here" in refused("merge", "nowhere.db", cwd=tmp_path)
    (tmp_path / "text.db").write_text("no archive")
    assert "not an archive" in refused("merge", "text.db", cwd=tmp_path)


def test_what_a_merge_says_counts_one_and_many(tmp_path: Path, other: Path) -> None:
    with Archive.open(other) as theirs, Archive.open(tmp_path / "a.db", create=True) as archive:
        theirs.delete("C")
        archive.add([replace(theirs.panel("D"), customer="")])
        theirs.add([card("D", (36, 22, 21), customer="Ann Example")])
        done = merge(archive, theirs, {"name:ground:slver": "silver"})
        assert "2 removed panels." in done.left
        assert "Panel D: 1 more reading." in done.text.splitlines()
