"""The session: a fit is kept and never answers for another archive; targets; what it prints not."""

from __future__ import annotations

import shutil

import pytest

from matchlib.archive import Archive, export_table
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Reading, Recipe, Viewing
from matchlib.errors import DomainError, MatchlibError, TargetError
from matchlib.mixing import Limits
from matchlib.suggest.ingredients import Ingredients
from tests.cli_shop import SMALL, copied, demo_shop, json_of
from workbook.session import Session
from workbook.session.demo import make_demo
from workbook.session.intake import import_file
from workbook.session.library import match_card
from workbook.session.shelf import habit_of, keep_shelf, shelf_of
from workbook.session.targets import (
    angles_of_file,
    angles_of_panel,
    reading_of_lab,
    single_reading,
)


@pytest.fixture(scope="module")
def fitted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fitted")
    (folder / "p.csv").write_text(SMALL)
    import_file(folder / "panels.db", folder / "p.csv")
    with Session.open(folder / "panels.db") as session:
        assert session.fit().how == "new"
    return folder


@pytest.fixture
def shop(fitted, tmp_path):
    return shutil.copytree(fitted, tmp_path / "shop") / "panels.db"


def fit_file(archive):
    return archive.with_name(f"{archive.name}.fit.npz")


def test_a_kept_fit_predicts_the_same_as_the_one_it_was(fitted, shop):
    with Session.open(fitted / "panels.db") as one, Session.open(shop) as two:
        recipes = [p.recipe for p in one.archive.panels()]
        assert two.fit().how == "kept"
        again = two.fit(refit=True)
        assert again.how == "asked"
        labs = [s.model.predict_recipes(recipes).tolist() for s in (one, two)]
    assert labs[0] == [pytest.approx(lab, abs=1e-6) for lab in labs[1]]


def test_a_changed_archive_says_so_and_is_fitted_anew(shop):
    with Session.open(shop) as session:
        first = session.fit()
        assert not first.fitted
        session.archive.amend("P4", readings=(Reading(lab=(30.0, 40.0, 28.0)),))
        second = session.fit()
        assert second.how == "changed"
        assert "changed" in second.text
        assert second.model is not first.model
        assert session.fit() is second
        session.archive.amend("P4", note="only a note")
        assert session.fit() is second
    with Session.open(shop) as session:
        assert session.fit().how == "kept"


def test_other_libraries_count_as_another_fit(shop, monkeypatch):
    import matchlib.regression

    monkeypatch.setattr(matchlib.regression, "library_versions", lambda: {"numpy": "0"})
    with Session.open(shop) as session:
        assert session.fit().how == "versions"


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04 and no more", None])
def test_a_damaged_fit_is_fitted_anew(shop, damage):
    whole = fit_file(shop).read_bytes()
    fit_file(shop).write_bytes(whole[: len(whole) // 2] if damage is None else damage)
    with Session.open(shop) as session:
        assert session.fit().how == "damaged"
    with Session.open(shop) as session:
        assert session.fit().how == "kept"


def test_where_nothing_can_be_kept_beside_it_the_cache_folder_serves(shop, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    fit_file(shop).unlink()
    fit_file(shop).mkdir()  # in the way, also for root
    with Session.open(shop) as session:
        outcome = session.fit()
    assert outcome.file is not None
    assert tmp_path / "cache" in outcome.file.parents
    with Session.open(shop) as session:
        assert session.fit().how == "kept"


def test_a_session_prints_nothing(shop, capsys):
    with Session.open(shop) as session:
        session.fit()
        session.limits()
        export_table(session.archive, shop.with_name("out.csv"))
    assert capsys.readouterr() == ("", "")


def test_typed_targets_are_checked():
    assert reading_of_lab((40, -20, 10)).lab == (40.0, -20.0, 10.0)
    for lab in ((140, 0, 0), (50, 200.5, 0), (float("nan"), 0, 0), (100, 40, 0)):
        with pytest.raises(TargetError):
            reading_of_lab(lab)


def test_repeats_are_one_target_and_spectra_come_first():
    labs = [Reading(lab=(40.0 + d, 1.0, 2.0)) for d in (-0.2, 0.0, 0.2)]
    assert lab_of_reading(single_reading(labs, where="it")) == pytest.approx((40, 1, 2), abs=0.01)
    nm = tuple(float(w) for w in range(400, 701, 10))
    spectrum = Reading(wavelengths=nm, reflectance=(0.5,) * 31)
    assert single_reading([*labs, spectrum], where="it") == spectrum
    assert lab_of_reading(spectrum) == pytest.approx((76.069, 0, 0), abs=0.02)
    with pytest.raises(TargetError):
        single_reading([], where="it")
    with pytest.raises(MatchlibError):
        single_reading([labs[0], Reading(Viewing("A"), lab=(40.0, 1.0, 2.0))], where="it")


def test_a_panel_is_matched_by_the_readings_of_a_kind_that_say_most(shop):
    flop = Viewing(geometry="45as110")
    typed = [Reading(Viewing(light), lab=(40.0, a, 2.0)) for light, a in (("A", 9.0), ("D65", 1.0))]
    photo = Reading(source="photo", lab=(44.0, 1.0, 2.0))
    early = Reading(lab=(60.0, 1.0, 2.0), state="before clear")
    sides = [Reading(flop, lab=(v, 1.0, 2.0)) for v in (20.0, 21.0)]
    with Session.open(shop) as session:
        session.archive.amend("P4", readings=(early, photo, *typed, *sides))
        found = angles_of_panel(session.archive, "P4")
        assert match_card(session.archive, "P4").target == found
        spectrum = Reading(wavelengths=tuple(range(400, 701, 10)), reflectance=(0.2,) * 31)
        session.archive.amend("P4", readings=(*typed, spectrum))
        assert angles_of_panel(session.archive, "P4") == (spectrum,)
    assert [r.viewing for r in found] == [Viewing(), flop]
    assert found[0].lab == typed[1].lab
    assert found[1].lab[0] == pytest.approx(20.5, abs=0.01)


def test_the_shelf_is_remembered_with_the_archive(shop):
    with Session.open(shop) as session:
        given = {"grounds": ["silver"], "blends": False, "max_ratio": "8:1", "max_coats": 6}
        keep_shelf(session.archive, given)
    with Session.open(shop) as session:
        limits = session.limits(max_coats=3)
        assert [str(g) for g in limits.grounds] == ["silver"]
        assert (limits.blends, limits.max_coats, limits.carrier) == (False, 3, (2.0, 8.0))
        with pytest.raises(DomainError):
            keep_shelf(session.archive, {"max_coats": -1})
        # What was said is kept, also where it is what is usual anywhere.
        assert shelf_of(session.archive) == given
        keep_shelf(session.archive, vars(limits))
        assert session.limits() == limits
        keep_shelf(session.archive, None)
        assert shelf_of(session.archive) == {}


def test_a_habit_is_what_two_panels_show():
    def panels(*schedules):
        ground, colour = Ground.parse("silver"), Colour.parse("teal")
        recipes = [Recipe(ground, colour, CoatSchedule.parse(s), "yes") for s in schedules]
        return [Panel.of(f"P{i}", r, ()) for i, r in enumerate([Recipe(ground), *recipes])]

    assert habit_of(panels("4@6:1", "3@1:5", "9@6:1")) == {}
    assert habit_of(panels("3@1:1")) == {}
    wide = habit_of(panels("4@1:1", "2@1:2 2@6:1", "9@12:1", "8@11:1"))
    assert wide == {"min_ratio": 1.0, "max_ratio": 11.0, "max_coats": 8}


def test_the_demonstration_is_the_same_twice_and_leaves_changes_alone(tmp_path):
    archive = copied(tmp_path)
    with Archive.open(archive) as kept:
        kept.amend("T029", lot="mine")
        before = kept.content_hash(), len(kept.history())
    shop = make_demo(tmp_path)
    with Archive.open(archive) as kept:
        assert (kept.content_hash(), len(kept.history())) == before
        assert kept.panel("T029").lot == "mine"
    tables = [one.archive.with_name("panels.csv").read_bytes() for one in (shop, demo_shop())]
    assert tables[0] == tables[1]
    (read,) = angles_of_file(shop.samples["pond reed"])
    assert read == shop.targets["pond reed"]


def test_a_session_and_a_search_say_one_clear_coat_for_the_usual(tmp_path):
    bare, early = Recipe.of("silver", clear="mat"), Recipe.of("silver", "rust", "2@6:1")
    sprayed = Recipe.of("silver", "rust", "2@6:1", "satin")
    for past, clear in (([], "yes"), ([bare], "mat"), ([bare, bare, sprayed], "satin"),
                        ([bare, early, sprayed, early], None)):  # fmt: skip
        file = tmp_path / f"{clear}.db"
        with Session.open(file, create=True) as session:
            session.archive.add(
                [Panel.of(f"P{i}", r, (Reading(lab=(40.0, 1.0, 2.0)),)) for i, r in enumerate(past)]
            )
            assert session.clear == clear
        shelf = Ingredients.of(Limits(), ("silver",), ("rust",), (), past)
        assert shelf.clear == clear


def test_what_is_typed_was_read_by_an_instrument_in_an_archive_of_photographs_too(tmp_path):
    (tmp_path / "p.csv").write_text(
        SMALL.replace("panel,", "source,panel,").replace("\nP", "\nphoto,P")
    )
    import_file(tmp_path / "panels.db", tmp_path / "p.csv")
    with Session.open(tmp_path / "panels.db") as session:
        assert {r.source for p in session.archive.panels() for r in p.readings} == {"photo"}
        assert session.geometry == "45:0"
    archive = ("--archive", tmp_path / "panels.db")
    found = json_of("match", "--lab", 43, 30, 24, "--top", 1, "--readings", 0, *archive)
    assert found
    (tmp_path / "r.csv").write_text("ground,colour,schedule\nsilver,rust,3@6:1\n")
    (row,) = json_of("predict", "--recipes", tmp_path / "r.csv", *archive)
    assert row["geometry"] == "photo"  # as the archive mostly is
