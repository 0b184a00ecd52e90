"""The command line by what the order names: another difference, a box, face and flop."""

from __future__ import annotations

import csv
from pathlib import Path

import pypdf
import pytest

from matchlib.colorimetry import Tolerance, delta_e_cmc
from matchlib.domain import Panel, Reading, Recipe
from matchlib.forecast import forecast
from matchlib.plain import shown
from matchlib.suggest import suggest
from matchlib.target import Target
from tests.angle_shop import FACE, FLOP, aimed_at, angle_archive, recipe_at
from tests.cli_shop import fails, json_of, refused, run
from workbook.session import Session
from workbook.session.library import match_card
from workbook.session.targets import angles_of_panel

CMC = Tolerance("CMC", 1.0, 2.0, 1.0)


def write(file: Path, readings: tuple[Reading, ...]) -> Path:
    with file.open("w", newline="") as opened:
        out = csv.writer(opened)
        out.writerow(["panel", "geometry", "L", "a", "b"])
        out.writerows(["ring", r.viewing.geometry, *r.lab] for r in readings)
    return file


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    room = tmp_path_factory.mktemp("angles")
    angle_archive(room)
    write(room / "both.csv", aimed_at("3@5:1"))
    write(room / "face.csv", aimed_at("3@5:1")[:1])
    return room


MATCH = ("match", "--readings", 0, "--top", 3, "--reading")


def test_a_cmc_tolerance_changes_the_chance_as_the_library_says(room):
    plain = json_of(*MATCH, "face.csv", cwd=room)
    answer = json_of(*MATCH, "face.csv", "--difference", "cmc2:1", cwd=room)
    face, _ = aimed_at("3@5:1")
    with Session.open(room / "panels.db") as session:
        found = suggest(
            session.model,
            Target.of_readings(face, tolerance=CMC),
            session.limits(),
            top=3,
            archive=session.archive.panels(),
        )
    assert [t["probability"] for t in answer] == [round(s.probability, 4) for s in found]
    assert [t["expected_difference"] for t in answer] == [round(s.expected, 4) for s in found]
    first = answer[0]
    assert (first["difference_kind"], first["tolerance"]) == ("CMC(2:1)", 1.0)
    assert first["tolerance_words"] == "CMC(2:1) at most 1"
    (angle,) = first["angles"]
    lab = [first[k] for k in "Lab"]
    own = float(delta_e_cmc(face.lab, lab, lightness=2.0, chroma=1.0))
    assert angle["difference"] == pytest.approx(own, abs=2e-3)
    # What is called ΔE00 stays ΔE00, whatever the order names.
    same = {(t["ground"], t["colour"], t["schedule"]): t for t in plain}
    both = [t for t in answer if (t["ground"], t["colour"], t["schedule"]) in same]
    assert both
    for t in both:
        other = same[t["ground"], t["colour"], t["schedule"]]
        for key in ("L", "a", "b", "delta_e00", "expected_delta_e00", "sd_delta_e00"):
            assert t[key] == pytest.approx(other[key], abs=2e-4), key
        assert t["probability"] != other["probability"]
    assert plain[0]["expected_difference"] == plain[0]["expected_delta_e00"]


def test_a_target_of_two_angles_is_matched_at_both(room):
    answer = json_of(*MATCH, "both.csv", cwd=room)
    face, flop = aimed_at("3@5:1")
    best = answer[0]
    assert [a["geometry"] for a in best["angles"]] == [FACE.geometry, FLOP.geometry]
    for angle, wanted in zip(best["angles"], (face, flop), strict=True):
        assert [angle[f"target_{k}"] for k in "Lab"] == pytest.approx(list(wanted.lab))
        assert angle["delta_e00"] < 1.5
    assert [best["angles"][0][k] for k in "Lab"] == [best[k] for k in "Lab"]
    with Session.open(room / "panels.db") as session:
        found = session.match(Target.of_readings([face, flop]), session.limits(), top=3)
        assert best["probability"] == round(found[0].probability, 4)
        (one,) = forecast(session.model, [found[0].recipe], Target.of_readings([face, flop]))
        assert one.probability == pytest.approx(found[0].probability)
        # At both angles is never likelier than at the face alone.
        (alone,) = forecast(session.model, [found[0].recipe], Target.of_readings(face))
    assert one.probability <= alone.probability + 0.01
    text = run(*MATCH, "both.csv", cwd=room).stdout
    assert "at 45as15" in text
    assert "45as110" in text


def test_weights_and_boxes_reach_the_library(room):
    face, flop = aimed_at("3@5:1")
    found = json_of(*MATCH, "both.csv", "--angle-weight", "45as110=0.25", cwd=room)
    aim = Target.of_readings([face, flop], weights=[1.0, 0.25])
    with Session.open(room / "panels.db") as session:
        model, limits, panels = session.model, session.limits(), session.archive.panels()
        own = suggest(model, aim, limits, top=3, archive=panels)[0]
        box = Tolerance("Lab", box=(2.0, 1.0, 1.5))
        boxed = suggest(
            model, Target.of_readings([face, flop], tolerance=box), limits, top=3, archive=panels
        )[0]
    assert found[0]["probability"] == round(own.probability, 4)
    assert [a["weight"] for a in found[0]["angles"]] == [1.0, 0.25]
    found = json_of(*MATCH, "both.csv", "--box", 2, 1, 1.5, cwd=room)
    assert found[0]["probability"] == round(boxed.probability, 4)
    assert found[0]["difference_kind"] == "share of the box"
    assert found[0]["tolerance_words"] == box.words
    text = run(*MATCH, "both.csv", "--box-lch", 2, 1, 1.5, cwd=room).stdout
    assert "ΔH* within ±1.5" in " ".join(text.split())


CORRECT = ("correct", "--reading", "both.csv", "--ground")


def recipe_options(schedule="3@6:1"):
    recipe = recipe_at(schedule)
    return (str(recipe.ground), "--colour", str(recipe.colour), "--schedule", schedule)


def test_a_correction_follows_kind_and_angles(room):
    face, flop = aimed_at("3@5:1")
    off = tuple(
        Reading(r.viewing, r.source, (r.lab[0] + d, r.lab[1], r.lab[2]))
        for r, d in ((face, 0.5), (flop, 3.0))
    )
    write(room / "sprayed.csv", off)
    args = (*CORRECT, *recipe_options(), "--read-file", "sprayed.csv", "--difference", "cmc1:1")
    found = json_of(*args, cwd=room)
    worst = float(delta_e_cmc(flop.lab, off[1].lab, lightness=1.0, chroma=1.0))
    assert found["difference"] == pytest.approx(worst)
    assert found["difference_kind"] == "CMC(1:1)"
    assert [a["geometry"] for a in found["angles"]] == [FACE.geometry, FLOP.geometry]
    assert found["angles"][1]["difference"] == pytest.approx(worst, abs=1e-3)
    assert found["best"]["expected_delta_e00"] is None
    assert found["best"]["expected_difference"] > 0
    assert "at its worst angle" in found["words"]
    assert "CMC(1:1)" in run(*args, cwd=room).stdout
    # Read at one angle only it says nothing of the other.
    words = refused(*CORRECT, *recipe_options(), "--read", 40, 10, 10, cwd=room)
    assert "not viewed alike" in words


def test_panels_of_the_archive_are_taken_with_all_their_angles(room):
    found = json_of("correct", "--reading", "both.csv", "--tried", "M3", cwd=room)
    with Session.open(room / "panels.db") as session:
        readings = angles_of_panel(session.archive, "M3")
    assert [a["L"] for a in found["angles"]] == [round(r.lab[0], 3) for r in readings]
    planned = json_of("next", "--reading", "both.csv", "--top", 2, cwd=room)
    assert all(p["probability"] <= p["probability_by_second"] for p in planned)
    loose = json_of("next", "--reading", "both.csv", "--top", 2, "--tolerance", 5, cwd=room)
    assert loose[0]["probability"] > planned[0]["probability"]


def test_a_panel_of_the_archive_is_a_target_at_all_its_angles(room):
    found = json_of("match", "--readings", 0, "--panel", "M4", "--top", 1, cwd=room)
    assert len(found[0]["angles"]) == 2


def test_the_job_sheet_prints_the_tolerance_in_words(room):
    recipe = recipe_at("3@5:1")
    done = run(
        "job-sheet", "--ground", recipe.ground, "--colour", recipe.colour, "--schedule", "3@5:1",
        "--reading", "both.csv", "--difference", "cmc2:1", "--tolerance", 1.2, "--out", "j.pdf",
        cwd=room,
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    text = " ".join(pypdf.PdfReader(room / "j.pdf").pages[0].extract_text().split())
    assert "CMC(2:1) at most 1.2, at every angle" in text
    assert "45as110" in text


def test_an_angle_that_the_archive_never_saw_is_said(room):
    face, _ = aimed_at("3@5:1")
    from matchlib.domain import Viewing

    odd = Reading(Viewing(geometry="45as45"), face.source, face.lab)
    write(room / "odd.csv", (face, odd))
    done = run(*MATCH, "odd.csv", cwd=room)
    assert done.exit_code == 0
    assert "No panel of the archive was read at 45as45" in done.stderr


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--box", 1, 1, 1, "--tolerance", 2), "--box says what passes on each axis"),
        (("--box", 1, 1, 1, "--difference", "de00"), "--box says what passes on each axis"),
        (("--box-lch", 1, 1, 1, "--tolerance", 2), "--box-lch says"),
        (("--box", 1, 1, 1, "--box-lch", 1, 1, 1), "not both"),
        (("--angle-weight", "45as15"), "such as 45as15=2"),
        (("--angle-weight", "45as15=much"), "such as 45as15=2"),
        (("--angle-weight", "45as15=2", "--angle-weight", "45as15=3"), "two weights"),
    ],
)
def test_options_that_contradict_each_other_are_refused(room, args, says):
    words = fails(run(*MATCH, "both.csv", *args, cwd=room), 2)
    assert says in " ".join(words.replace("│", " ").split())


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--difference", "de76"), "kind of difference is not known"),
        (("--difference", "cmc0:1"), "not a tolerance"),
        (("--tolerance", 0), "not a tolerance"),
        (("--box", 1, 0, 1), "not a tolerance"),
        (("--angle-weight", "45as45=2"), "weight for 45as45"),
        (("--angle-weight", "45as15=0"), "weight of 45as15 is not possible"),
        (("--angle-weight", "sideways=2"), "geometry is not known"),
    ],
)
def test_what_is_no_tolerance_and_no_weight_is_refused(room, args, says):
    assert says in refused(*MATCH, "both.csv", *args, cwd=room)


def at(readings: tuple[Reading, ...], option: str = "--lab-at") -> list[str]:
    return [
        word
        for r in readings
        for word in (option, f"{r.viewing.geometry}={','.join(map(repr, r.lab))}")
    ]


def test_a_target_typed_at_angles_is_what_its_file_gives(room):
    both = aimed_at("3@5:1")
    by_file = json_of(*MATCH, "both.csv", "--angle-weight", "45as110=0.5", cwd=room)
    typed = json_of(
        "match", "--readings", 0, "--top", 3, *at(both), "--angle-weight", "45as110=0.5", cwd=room
    )
    assert typed == by_file
    off = tuple(
        Reading(r.viewing, r.source, (r.lab[0] + d, r.lab[1], r.lab[2]))
        for r, d in zip(both, (0.5, 3.0), strict=True)
    )
    write(room / "read.csv", off)
    args = ("correct", *at(both), "--ground", *recipe_options())
    assert json_of(*args, *at(off, "--read-at"), cwd=room) == json_of(
        *CORRECT, *recipe_options(), "--read-file", "read.csv", cwd=room
    )


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--lab-at", "45as15"), "such as 45as15=40,-20,10"),
        (("--lab-at", "45as15=1,2"), "such as 45as15=40,-20,10"),
        (("--lab-at", "45as15=1,x,2"), "such as 45as15=40,-20,10"),
        (("--lab-at", "45as15=40,1,2", "--lab", "40", "1", "2"), "give one target"),
    ],
)
def test_a_colour_at_an_angle_that_cannot_be_read_is_refused(room, words, says):
    output = fails(run("match", *words, cwd=room), 2)
    assert says in " ".join(output.replace("│", " ").split())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("45as15=40,1,2", "45as015=41,1,2"), "typed twice at 45as15"),
        (("45as15=40,1,2", "45:0=99,90,-90"), "45:0: No surface"),
        (("sideways=40,1,2",), "geometry is not known"),
    ],
)
def test_what_is_no_target_at_an_angle_is_refused_in_words(room, words, says):
    given = [w for word in words for w in ("--lab-at", word)]
    assert says in refused("match", *given, cwd=room)


@pytest.fixture(scope="module")
def recipes(room):
    file = room / "recipes.csv"
    rows = [recipe_at(s, g) for s in ("3@5:1", "4@3:1") for g in (0, 1)]
    with file.open("w", newline="") as opened:
        out = csv.writer(opened)
        out.writerow(["panel", "ground", "colour", "schedule", "clear"])
        out.writerows([f"R{i}", r.ground, r.colour, r.schedule, r.clear]
                      for i, r in enumerate(rows))  # fmt: skip
    return rows


PREDICT = ("predict", "--recipes", "recipes.csv")


@pytest.mark.parametrize(
    ("args", "tolerance"),
    [
        ((), Tolerance()),
        (("--difference", "cmc2:1", "--tolerance", 1.5), Tolerance("CMC", 1.5, 2.0, 1.0)),
        (("--box", 2, 1, 1.5), Tolerance("Lab", box=(2.0, 1.0, 1.5))),
        (("--box-lch", 2, 1, 1.5), Tolerance("LCh", box=(2.0, 1.0, 1.5))),
    ],
)
def test_predictions_are_by_the_orders_difference_at_every_angle(room, recipes, args, tolerance):
    both = aimed_at("3@5:1")
    weight = ("--angle-weight", "45as110=0.5")
    answer = json_of(*PREDICT, "--reading", "both.csv", *weight, *args, cwd=room)
    aim = Target.of_readings(both, weights=[1.0, 0.5], tolerance=tolerance)
    with Session.open(room / "panels.db") as session:
        found = forecast(session.model, recipes, aim)
    for item, own in zip(answer, found, strict=True):
        assert item["probability"] == pytest.approx(own.probability)
        assert item["expected_difference"] == pytest.approx(own.expected)
        assert item["sd_difference"] == pytest.approx(own.sd)
        assert item["difference_kind"] == tolerance.unit
        assert item["tolerance_words"] == tolerance.words
        assert item["angles"] == shown(own.angles)
        assert [item[k] for k in "Lab"] == pytest.approx(list(own.angles[0].lab))
    # What is called ΔE00 stays ΔE00 at the first angle, whatever the order names.
    plain = json_of(*PREDICT, "--reading", "face.csv", cwd=room)
    assert [t["delta_e00"] for t in answer] == pytest.approx([t["delta_e00"] for t in plain])
    text = " ".join(run(*PREDICT, *at(both), *weight, *args, cwd=room).stdout.split())
    assert "45as110" in text
    assert "against the colour asked for, at the worst angle" in text
    assert tolerance.words in text or "chance of ΔE00 within 1" in text


def test_without_a_target_a_panel_is_held_against_its_prediction_by_the_order(room, recipes):
    plain = json_of(*PREDICT, cwd=room)
    found = json_of(*PREDICT, "--difference", "cmc2:1", cwd=room)
    assert [t["delta_e00"] for t in found] == [t["delta_e00"] for t in plain]
    with Session.open(room / "panels.db") as session:
        view = session.geometry
        for item, recipe in zip(found, recipes, strict=True):
            lab = [item[k] for k in "Lab"]
            aim = Target.lab(*lab, viewing=FACE if view == "45as15" else FLOP, tolerance=CMC)
            (own,) = forecast(session.model, [recipe], aim)
            assert item["against"] == "prediction"
            assert item["angles"] == []
            assert item["probability"] == pytest.approx(own.probability, abs=1e-3)
            assert item["expected_difference"] == pytest.approx(own.expected, rel=1e-3)
        for item, recipe in zip(plain, recipes, strict=True):
            lab = [item[k] for k in "Lab"]
            aim = Target.lab(*lab, viewing=FACE if view == "45as15" else FLOP)
            (own,) = forecast(session.model, [recipe], aim)
            assert item["expected_difference"] == pytest.approx(own.expected, rel=1e-3)
    assert "chance of passing (CMC(2:1) at most 1)" in " ".join(
        run(*PREDICT, "--difference", "cmc2:1", cwd=room).stdout.split()
    )
    refused_ = fails(run(*PREDICT, "--angle-weight", "45as15=2", cwd=room), 2)
    assert "needs a target" in refused_


def test_a_match_is_as_even_as_the_order_says_at_every_angle(room):
    from matchlib.evenness import film_tolerance

    aim = Target.of_readings(aimed_at("3@5:1"), tolerance=CMC)
    with Session.open(room / "panels.db") as session:
        free = session.match(aim, session.limits(), top=3)
        shown = film_tolerance(session.model, [s.recipe for s in free], changes=(0.1,), order=aim)
        most = float(shown.min()) + 1e-6
        own = session.match(aim, session.limits(max_unevenness=most), top=3)
    args = (*MATCH, "both.csv", "--difference", "cmc2:1", "--max-unevenness", most)
    found = json_of(*args, cwd=room)
    assert [t["schedule"] for t in found] == [str(s.recipe.schedule) for s in own]
    assert [t["schedule"] for t in found] != [str(s.recipe.schedule) for s in free]
    words = refused(*MATCH, "both.csv", "--max-unevenness", 0, cwd=room)
    assert "This is no limit of unevenness" in words


def test_out_of_reach_is_said_at_the_angle_that_misses_most(room):
    face, flop = aimed_at("3@5:1")
    off = Reading(FLOP, flop.source, (flop.lab[0] + 25.0, *flop.lab[1:]))
    found = json_of("match", "--readings", 0, *at((face, off)), "--top", 1, cwd=room)
    assert not found[0]["reachable"]
    assert "at 45as110, where it misses most," in found[0]["miss"]
    assert "darker" in found[0]["miss"]
    found = json_of("match", "--readings", 0, *at((face, off)), "--top", 1, "--angle-weight",
                   "45as110=0.01", cwd=room)  # fmt: skip
    assert "45as110" not in found[0]["miss"]


def test_a_panel_read_before_and_under_its_clear_coat_is_a_target_as_it_is_now(tmp_path):
    recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    early = Reading(lab=(40.0, 30.0, 10.0), state="before clear")
    with Session.open(tmp_path / "panels.db", create=True) as session:
        panel = Panel.of("C1", recipe, (early, Reading(lab=(36.0, 33.0, 12.0))))
        session.archive.add([panel])
        (reading,) = angles_of_panel(session.archive, "C1")
        job = match_card(session.archive, "C1")
    assert reading.lab == job.target[0].lab == (36.0, 33.0, 12.0)
