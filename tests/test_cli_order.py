"""The command line by what the order names: another difference, a box, face and flop."""

from __future__ import annotations

import csv
from pathlib import Path

import pypdf
import pytest

from matchlib.colorimetry import delta_e_cmc
from matchlib.domain import Reading
from matchlib.suggest import Target, Tolerance, suggest
from tests.angle_shop import FACE, FLOP, aimed_at, angle_archive, recipe_at
from tests.cli_shop import fails, json_of, refused, run
from workbook.session import Session
from workbook.session.foresee import foresee

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


MATCH = ("match", "--top", 3, "--reading")


def test_a_cmc_tolerance_changes_the_chance_as_the_library_says(room):
    plain = json_of(*MATCH, "face.csv", cwd=room)
    told = json_of(*MATCH, "face.csv", "--difference", "cmc2:1", cwd=room)
    face, _ = aimed_at("3@5:1")
    with Session.open(room / "panels.db") as session:
        found = suggest(
            session.model,
            Target.of_readings(face, tolerance=CMC),
            session.limits(),
            top=3,
            archive=session.archive.panels(),
        )
    assert [t["probability"] for t in told] == [round(s.probability, 4) for s in found]
    assert [t["expected_difference"] for t in told] == [
        round(s.expected_delta_e00, 4) for s in found
    ]
    first = told[0]
    assert (first["difference_kind"], first["tolerance"]) == ("CMC(2:1)", 1.0)
    assert first["tolerance_words"] == "CMC(2:1) at most 1"
    (angle,) = first["angles"]
    lab = [first[k] for k in "Lab"]
    own = float(delta_e_cmc(face.lab, lab, lightness=2.0, chroma=1.0))
    assert angle["difference"] == pytest.approx(own, abs=2e-3)
    # What is called ΔE00 stays ΔE00, whatever the order names.
    same = {(t["ground"], t["colour"], t["schedule"]): t for t in plain}
    both = [t for t in told if (t["ground"], t["colour"], t["schedule"]) in same]
    assert both
    for t in both:
        other = same[t["ground"], t["colour"], t["schedule"]]
        for key in ("L", "a", "b", "delta_e00", "expected_delta_e00", "sd_delta_e00"):
            assert t[key] == pytest.approx(other[key], abs=2e-4), key
        assert t["probability"] != other["probability"]
    assert plain[0]["expected_difference"] == plain[0]["expected_delta_e00"]


def test_a_target_of_two_angles_is_matched_at_both(room):
    told = json_of(*MATCH, "both.csv", cwd=room)
    face, flop = aimed_at("3@5:1")
    best = told[0]
    assert [a["geometry"] for a in best["angles"]] == [FACE.geometry, FLOP.geometry]
    for angle, wanted in zip(best["angles"], (face, flop), strict=True):
        assert [angle[f"target_{k}"] for k in "Lab"] == pytest.approx(list(wanted.lab))
        assert angle["delta_e00"] < 1.5
    assert [best["angles"][0][k] for k in "Lab"] == [best[k] for k in "Lab"]
    with Session.open(room / "panels.db") as session:
        found = session.match((face, flop), top=3)
        assert best["probability"] == round(found[0].probability, 4)
        one = foresee(session.model, found[0].recipe, Target.of_readings([face, flop]))
        assert one.probability == pytest.approx(found[0].probability)
        # At both angles is never likelier than at the face alone.
        alone = foresee(session.model, found[0].recipe, Target.of_readings(face))
    assert one.probability <= alone.probability + 0.01
    text = run(*MATCH, "both.csv", cwd=room).stdout
    assert "at 45as15" in text
    assert "45as110" in text


def test_weights_and_boxes_reach_the_library(room):
    face, flop = aimed_at("3@5:1")
    told = json_of(*MATCH, "both.csv", "--angle-weight", "45as110=0.25", cwd=room)
    aim = Target.of_readings([face, flop], weights=[1.0, 0.25])
    with Session.open(room / "panels.db") as session:
        model, limits, panels = session.model, session.limits(), session.archive.panels()
        own = suggest(model, aim, limits, top=3, archive=panels)[0]
        box = Tolerance("Lab", box=(2.0, 1.0, 1.5))
        boxed = suggest(
            model, Target.of_readings([face, flop], tolerance=box), limits, top=3, archive=panels
        )[0]
    assert told[0]["probability"] == round(own.probability, 4)
    assert [a["weight"] for a in told[0]["angles"]] == [1.0, 0.25]
    told = json_of(*MATCH, "both.csv", "--box", 2, 1, 1.5, cwd=room)
    assert told[0]["probability"] == round(boxed.probability, 4)
    assert told[0]["difference_kind"] == "share of the box"
    assert told[0]["tolerance_words"] == box.words
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
    told = json_of(*args, cwd=room)
    worst = float(delta_e_cmc(flop.lab, off[1].lab, lightness=1.0, chroma=1.0))
    assert told["difference"] == pytest.approx(worst)
    assert told["difference_kind"] == "CMC(1:1)"
    assert [a["geometry"] for a in told["angles"]] == [FACE.geometry, FLOP.geometry]
    assert told["angles"][1]["difference"] == pytest.approx(worst, abs=1e-3)
    assert told["best"]["expected_delta_e00"] is None
    assert told["best"]["expected_difference"] > 0
    assert "at its worst angle" in told["words"]
    assert "CMC(1:1)" in run(*args, cwd=room).stdout
    # Read at one angle only it says nothing of the other.
    words = refused(*CORRECT, *recipe_options(), "--read", 40, 10, 10, cwd=room)
    assert "not viewed alike" in words


def test_panels_of_the_archive_are_taken_with_all_their_angles(room):
    told = json_of("correct", "--reading", "both.csv", "--tried", "M3", cwd=room)
    with Session.open(room / "panels.db") as session:
        readings = session.angles_of_panel("M3")
    assert [a["L"] for a in told["angles"]] == [round(r.lab[0], 3) for r in readings]
    planned = json_of("next", "--reading", "both.csv", "--top", 2, cwd=room)
    assert all(p["probability"] <= p["probability_by_second"] for p in planned)
    loose = json_of("next", "--reading", "both.csv", "--top", 2, "--tolerance", 5, cwd=room)
    assert loose[0]["probability"] > planned[0]["probability"]


def test_a_panel_of_the_archive_is_a_target_at_all_its_angles(room):
    told = json_of("match", "--panel", "M4", "--top", 1, cwd=room)
    assert len(told[0]["angles"]) == 2


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
