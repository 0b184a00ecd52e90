"""What goes into an archive comes out of it the same, once."""

from __future__ import annotations

import dataclasses
import json
import math
import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib.archive import AddResult, Archive, export_table
from matchlib.archive.codec import (
    panel_fields,
    panel_of,
    panel_of_fields,
    panel_text,
    parts_of,
)
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Panel, Reading, Recipe
from matchlib.domain.panel import readings_in
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.plain import dump, from_plain, to_plain
from matchlib.readings import read_file
from tests.faults.making import panel, panels

SILVER = Recipe(Ground.parse("silver"), Colour.parse("teal"), CoatSchedule.of(4, "6:1"))
LAB = Reading(lab=(50.1, -20.25, -10.0))
OTHER = Reading(lab=(50.3, -20.5, -10.125))


def test_panels_come_back_equal_and_in_order(place: str) -> None:
    given_panels = panels(1, 120)
    with Archive.open(place, create=True) as archive:
        result = archive.add(given_panels, who="Ines", file="book.csv")
        assert result.added == tuple(p.code for p in given_panels)
        assert result.readings == sum(1 for _ in readings_in(given_panels))
    with Archive.open(place) as archive:
        assert archive.panels() == given_panels
        assert len(archive) == 120
        assert archive.panel("P7") == given_panels[7]
        assert archive.check() == ()


@given(seed=st.integers(0, 2**32))
def test_any_panel_survives_its_record(seed: int) -> None:
    sprayed = panel(seed, "A")
    rows = json.loads(json.dumps(parts_of(sprayed)[1]))
    stored = panel_of(panel_text(sprayed), rows)
    assert stored == sprayed
    # Equality of blends is by proportion; the parts as written must come back too.
    assert stored.recipe.ground.parts == sprayed.recipe.ground.parts
    fields = json.loads(json.dumps(panel_fields(sprayed)))
    assert panel_of_fields(fields) == sprayed


@given(st.floats(0, 100), st.floats(-200, 200), st.floats(-200, 200))
def test_every_float_comes_back_exactly(light: float, a: float, b: float) -> None:
    stored = from_plain(Reading, json.loads(dump(to_plain(Reading(lab=(light, a, b))))))
    assert stored.lab == (light, a, b)


def test_a_code_is_found_however_it_is_spaced(tmp_path: Path) -> None:
    with Archive.open(tmp_path / "a.db", create=True) as archive:
        archive.add([Panel.of("A  12", SILVER, [LAB])])
        assert archive.panel(" A   12 ").code == "A 12"
        assert archive.add([Panel.of("A 12", SILVER, [LAB])]).already == ("A 12",)


def test_importing_twice_doubles_nothing(place: str) -> None:
    batch = panels(2, 30)
    with Archive.open(place, create=True) as archive:
        archive.add(batch)
        before, changes = archive.content_hash(), archive.history()
        result = archive.add(batch)
        assert result.already == tuple(p.code for p in batch)
        assert (result.added, result.extended, result.readings) == ((), (), 0)
        assert result.import_id is None
        assert archive.panels() == batch
        assert archive.content_hash() == before
        assert archive.history() == changes


def test_repeat_readings_are_appended_and_equal_ones_within_a_file_are_kept(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", SILVER, (LAB, LAB))])
        assert archive.panel("A1").readings == (LAB, LAB)
        result = archive.add([Panel.of("A1", SILVER, (LAB, OTHER))])
        assert result.extended == (("A1", 1),)
        assert archive.panel("A1").readings == (LAB, LAB, OTHER)
        third = archive.add([Panel.of("A1", SILVER, (LAB, LAB, LAB))])
        assert third.readings == 1
        assert archive.panel("A1").readings == (LAB, LAB, OTHER, LAB)
        assert archive.check() == ()


def test_one_code_with_two_recipes_is_refused_and_both_are_named(place: str) -> None:
    other = dataclasses.replace(SILVER, schedule=CoatSchedule.of(3, "6:1"))
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", SILVER, (LAB,))])
        with pytest.raises(ArchiveError) as caught:
            archive.add([Panel.of("B1", SILVER, (LAB,)), Panel.of("A1", other, (OTHER,))])
        assert "4 coats" in str(caught.value)
        assert "3 coats" in str(caught.value)
        assert [p.code for p in archive.panels()] == ["A1"], "a refused import left a panel"
        kept = archive.add(
            [Panel.of("B1", SILVER, (LAB,)), Panel.of("A1", other, (OTHER,))], on_duplicate="skip"
        )
        assert kept.added == ("B1",)
        assert [code for code, _ in kept.refused] == ["A1"]
        assert archive.panel("A1").readings == (LAB,)


def test_of_many_that_differ_five_are_told_of_and_the_rest_counted(tmp_path: Path) -> None:
    other = dataclasses.replace(SILVER, schedule=CoatSchedule.of(3, "6:1"))
    with Archive.open(tmp_path / "a.db", create=True) as archive:
        archive.add([Panel.of(f"A{i}", SILVER, (LAB,)) for i in range(7)])
        with pytest.raises(ArchiveError, match="7 panels differ") as caught:
            archive.add([Panel.of(f"A{i}", other, (LAB,)) for i in range(7)])
    assert "A4: " in str(caught.value)
    assert "A5: " not in str(caught.value)
    assert "; and 2 more panels" in str(caught.value)


def test_the_words_of_an_import_count_all_that_came_of_it() -> None:
    came = AddResult(
        added=("A",), extended=(("B", 1),), already=("C", "D"), again=("A",),
        refused=(("E", "why"),), replaced=(("F", "why"),), readings=2,
    )  # fmt: skip
    assert came.words == (
        "1 panel added, 1 given more readings, 2 already there, 1 replaced by what the file says, "
        "1 of them removed before, 1 refused; 2 readings added."
    )
    assert AddResult().words == "0 panels added; 0 readings added."


def test_two_recipes_for_one_code_within_one_import_are_refused(place: str) -> None:
    other = dataclasses.replace(SILVER, ground=Ground.parse("gold"))
    with Archive.open(place, create=True) as archive:
        with pytest.raises(ArchiveError, match="differs from what another row"):
            archive.add([Panel.of("A1", SILVER, (LAB,)), Panel.of("A1", other, (LAB,))])
        assert archive.panels() == ()


def test_names_are_one_whatever_their_capitals_and_keep_their_first_spelling(place: str) -> None:
    shouted = Recipe(Ground.parse("SILVER"), Colour.parse("Teal"), CoatSchedule.of(4, "6:1"))
    blend = Recipe(Ground.parse("silVer 3 + black 1"))
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", SILVER, (LAB,))])
        archive.add([Panel.of("A2", shouted, (LAB,)), Panel.of("A3", blend, (LAB,))])
        assert archive.add([Panel.of("A1", shouted, (LAB,))]).already == ("A1",)
        assert str(archive.panel("A2").recipe.ground) == "silver"
        assert [str(g) for g in archive.grounds()] == ["silver", "silver 3 + black 1"]
        assert [str(c) for c in archive.colours()] == ["teal"]
        assert archive.names("ground") == ("silver", "black")


def test_empty_fields_are_filled_in_and_contradictions_are_told(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", SILVER, (LAB,), sprayer="Bo", extra=(("gun", "1.3"),))])
        again = Panel.of("A1", SILVER, (LAB,), sprayer="Ines", lot="7", extra=(("bar", "2"),))
        result = archive.add([again])
        there = archive.panel("A1")
        assert (there.sprayer, there.lot) == ("Bo", "7")
        assert dict(there.extra) == {"gun": "1.3", "bar": "2"}
        assert result.differing == (("A1", "sprayer: Bo in the archive, Ines in the file"),)
        assert archive.history("A1")[-1].action == "amended"
        assert archive.check() == ()


def test_the_content_hash_is_of_what_a_fit_depends_on(tmp_path: Path) -> None:
    batch = panels(3, 20, plain=True)
    hashes = {}
    variants = {
        "as it is": batch,
        "other order": tuple(reversed(batch)),
        "other notes": tuple(
            p.having(note="x", customer="y", extra=(), humidity=None) for p in batch
        ),
        "one fewer": batch[:-1],
        "one reading changed": (batch[0].having(readings=(LAB,)), *batch[1:]),
        "one sprayer changed": (batch[0].having(sprayer="Z"), *batch[1:]),
        "one recipe changed": (batch[0].having(recipe=SILVER), *batch[1:]),
    }
    for what, some in variants.items():
        with Archive.open(tmp_path / f"{what}.db", create=True) as archive:
            archive.add(some)
            hashes[what] = archive.content_hash()
    same = {"as it is", "other order", "other notes"}
    assert len({hashes[w] for w in same}) == 1
    assert len(set(hashes.values())) == 5


@pytest.mark.parametrize(
    "parts", [("1234.5678", "9.87"), ("1", "3"), ("0", "1"), ("9999.5678", "9998.7654")]
)
def test_a_fine_ratio_comes_back_exactly_or_is_refused(
    tmp_path: Path, parts: tuple[str, str]
) -> None:
    with Archive.open(tmp_path / "a.db", create=True) as archive:
        try:
            recipe = dataclasses.replace(SILVER, schedule=CoatSchedule.of(2, MixRatio(*parts)))
            archive.add([Panel.of("A1", recipe, (LAB,))])
        except MatchlibError as error:
            assert len(parts[0]) > 1, "a plain ratio was refused"
            assert "round" in str(error)  # noqa: PT017  # refusing is one of two right answers
            assert archive.panels() == ()
        else:
            assert archive.panel("A1").recipe == recipe
            assert archive.check() == ()


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
@pytest.mark.parametrize("customers", [True, False])
def test_an_exported_table_imports_to_the_same_archive(
    tmp_path: Path, suffix: str, customers: bool
) -> None:
    batch = panels(4, 60)
    table = tmp_path / f"out{suffix}"
    with Archive.open(tmp_path / "a.db", create=True) as archive:
        archive.add((*batch, Panel.of("gone", SILVER, (LAB,))))
        archive.delete("gone")
        assert export_table(archive, table, customers=customers) == 60
        content = archive.content_hash()
    with Archive.open(tmp_path / "b.db", create=True) as archive:
        archive.add(read_file(table).panels, file=table)
        assert archive.content_hash() == content
        wanted = batch if customers else [p.having(customer="") for p in batch]
        assert [p.recipe for p in archive.panels()] == [p.recipe for p in batch]
        assert [p.readings for p in archive.panels()] == [p.readings for p in batch]
        assert [p.customer for p in archive.panels()] == [p.customer for p in wanted]


def test_the_frame_has_a_row_a_reading(tmp_path: Path) -> None:
    nm = tuple(float(w) for w in range(400, 701, 20))
    spectrum = Reading(wavelengths=nm, reflectance=tuple(w / 2000 for w in nm))
    bare = Panel.of("B", Recipe(Ground.parse("silver"), clear="yes"), (spectrum,), sprayer="Bo")
    with Archive.open(tmp_path / "a.db", create=True) as archive:
        assert archive.frame().empty
        archive.add([Panel.of("A", SILVER, (LAB, OTHER)), bare, Panel.of("C", SILVER)])
        frame = archive.frame()
    assert frame["panel"].tolist() == ["A", "A", "B"]
    assert frame["schedule"].tolist() == ["4@6:1", "4@6:1", ""]
    assert frame["clear"].tolist() == ["no", "no", "yes"]
    assert frame.loc[1, ["L", "a", "b"]].tolist() == [50.3, -20.5, -10.125]
    assert frame.loc[2, "400":"700"].tolist() == [w / 2000 for w in nm]
    assert tuple(frame.loc[2, ["L", "a", "b"]]) == lab_of_reading(spectrum)
    assert frame.loc[0, "400":"700"].isna().all()


def test_settings_and_findings_set_aside_are_remembered(place: str) -> None:
    limits = {"grounds": ["silver"], "most coats": 5, "part": 0.1 + 0.2}
    with Archive.open(place, create=True) as archive:
        assert archive.setting("limits", 3) == 3
        archive.set_setting("limits", {})
        archive.set_setting("limits", limits)
        archive.ignore("reversed:A1", who="Ines", why="it is right")
        archive.ignore("reversed:A1")
        archive.ignore("drift")
        archive.unignore("drift", who="Bo")
        archive.unignore("drift")
        rows = [(c.number, c.action, c.subject, c.who, c.why) for c in archive.history()]
        assert rows == [
            (1, "finding set aside", "reversed:A1", "Ines", "it is right"),
            (2, "finding set aside", "drift", "", ""),
            (3, "finding shown again", "drift", "Bo", ""),
        ]
        archive.undo(3)
        assert archive.ignored() == {"reversed:A1", "drift"}
        with pytest.raises(ArchiveError, match="changed again since"):
            archive.undo(3)
        archive.undo(2)
        assert archive.ignored() == {"reversed:A1"}
        assert [c.undoes for c in archive.history()][-2:] == [3, 2]
    with Archive.open(place) as archive:
        assert archive.setting("limits") == limits
        assert archive.ignored() == {"reversed:A1"}
        archive.set_setting("limits", None)
        assert archive.setting("limits") is None
        with pytest.raises(ArchiveError, match="cannot be remembered"):
            archive.set_setting("limits", math.nan)


def test_settings_are_found_by_how_their_names_begin(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        for key in ("match: b", "match: a", "Match: c", "mat_h: d", "match", "other"):
            archive.set_setting(key, key.upper())
        assert archive.settings("match: ") == {"match: a": "MATCH: A", "match: b": "MATCH: B"}
        assert archive.settings("mat_h") == {"mat_h: d": "MAT_H: D"}
        assert archive.settings("none") == {}


def test_photos_are_kept_with_their_panel(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add([Panel.of("A1", SILVER, (LAB,))])
        archive.attach("A1", "front.jpg", b"\x00\xff" * 1000, who="Bo")
        archive.attach("A1", "front.jpg", b"\x00\xff" * 1000)
        (kept,) = archive.attachments("A1")
        assert (kept.name, kept.data, kept.who) == ("front.jpg", b"\x00\xff" * 1000, "Bo")
        for code, name, data, words in (
            ("A1", "front.jpg", b"other", "another file"),
            ("A9", "front.jpg", b"x", "no panel"),
            ("A1", "../x.jpg", b"x", "file name"),
            ("A1", "", b"x", "file name"),
            ("A1", "big.tif", bytes(50_000_001), "too large"),
        ):
            with pytest.raises(ArchiveError, match=words):
                archive.attach(code, name, data)
        assert archive.attachments("A1") == (kept,)


def test_errors_survive_the_way_back_from_a_worker(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError) as caught:
        Archive.open(tmp_path / "none.db")
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)  # noqa: S301  # ours
