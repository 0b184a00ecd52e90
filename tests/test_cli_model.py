"""Predict, match, correct, next, fit and audit at the command line, on the demonstration."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from matchlib.archive import Archive
from matchlib.demo import DEMO_WRONG_BACKS, demo_truth
from matchlib.domain import CoatSchedule, Colour, Ground, Recipe
from matchlib.tails import FEWEST
from matchlib.validation import TableRow
from tests.cli_shop import copied, demo_shop, json_of, refused, run, two_colours
from workbook.cli.trust import validation_text

NEEDED = {
    "ground", "colour", "schedule", "L", "a", "b", "delta_e00", "sd_delta_e00", "probability",
}  # fmt: skip

LIGHT = ("--illuminant", "D65", "--observer", "10", "--geometry", "45:0")


@pytest.fixture(scope="module")
def shop():
    return demo_shop()


def plain(row):
    numbers = [row[k] for k in ("L", "a", "b", "delta_e00", "sd_delta_e00", "probability")]
    assert all(isinstance(v, float) and math.isfinite(v) for v in numbers)
    assert 0 <= row["probability"] <= 1
    return row


def test_a_match_of_a_kept_fit_loads_no_library_of_statistics(shop):
    # To load one takes longer than the search: what a match needs of it is shipped.
    words = ["workbook", "match", "--archive", str(shop.archive), "--lab", "27", "46", "28"]
    code = (
        "import sys, atexit\n"
        "atexit.register(lambda: print('scipy' in sys.modules, file=sys.stderr))\n"
        f"sys.argv = {words}\n"
        "from workbook.cli import main; main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "steered" in done.stdout
    assert done.stderr == "False\n"


def test_predict_gives_a_row_a_row_in_the_files_order(shop, tmp_path):
    (tmp_path / "r.csv").write_text(
        "panel,ground,colour,ratio,coats,schedule,clear\n"
        "Z,silver,cherry,6:1,3,,yes\n"
        "A,silver,,,,,yes\n"
        "Z,pale gold,lagoon 2 + violet 1,,,2@6:1 2@3:1,yes\n"
        ",silver,cherry,6:1,3,3@6:1,yes\n"
    )
    rows = json_of("predict", "--recipes", tmp_path / "r.csv", "--archive", shop.archive)
    assert [r["panel"] for r in rows] == ["Z", "A", "Z", None]
    assert all(set(plain(r)) >= NEEDED for r in rows)
    assert [r["colour"] for r in rows] == ["cherry", None, "lagoon 2 + violet 1", "cherry"]
    assert [r["schedule"] for r in rows] == ["3@6:1", None, "2@6:1 2@3:1", "3@6:1"]
    assert rows[0]["L"] == rows[3]["L"]
    assert {r["against"] for r in rows} == {"prediction"}
    # The invented workshop's own law, which the regression does not know.
    truth = demo_truth(
        Recipe(Ground.parse("silver"), Colour.parse("cherry"), CoatSchedule.parse("3@6:1"), "yes")
    )
    assert [rows[0][k] for k in "Lab"] == pytest.approx(truth, abs=1.5)


def test_predict_takes_several_files_all_or_none(shop, tmp_path):
    head = "ground,colour,schedule,clear\n"
    (tmp_path / "a.csv").write_text(head + "pale gold,cherry,3@6:1,yes\n")
    (tmp_path / "b.csv").write_text(head + "pale gold,,,yes\npale gold,cherry,2@6:1,yes\n")
    each = [("--recipes", tmp_path / f"{n}.csv") for n in "ab"]
    at = ("--archive", shop.archive)
    rows = json_of("predict", *each[0], *each[1], *at)
    assert [(Path(r["file"]).name, r["schedule"]) for r in rows] == [
        ("a.csv", "3@6:1"),
        ("b.csv", None),
        ("b.csv", "2@6:1"),
    ]
    assert rows == [*json_of("predict", *each[0], *at), *json_of("predict", *each[1], *at)]
    output = run("predict", *each[0], *each[1], *at).stdout
    assert output.index("a.csv:") < output.index("b.csv:") < output.index("2@6:1")
    (tmp_path / "b.csv").write_text(head + "pale gold,cherry,six,yes\n")
    assert "b.csv" in refused("predict", *each[0], *each[1], *at)


def test_predict_gives_the_covariance_of_the_next_panel_and_its_freedom(shop, tmp_path):
    (tmp_path / "r.csv").write_text(
        "ground,colour,schedule,clear\nsilver,cherry,3@6:1,yes\nsilver,,,yes\n"
    )
    at = ("predict", "--recipes", tmp_path / "r.csv", "--archive", shop.archive)
    for row in json_of(*at):
        cov = np.array(row["cov"])
        assert cov.shape == (3, 3)
        assert (np.linalg.eigvalsh(cov) > 0).all()
        np.testing.assert_allclose(cov, cov.T, atol=1e-9)
        np.testing.assert_allclose(
            np.sqrt(np.diag(cov)), [row[k] for k in ("sd_L", "sd_a", "sd_b")]
        )
        assert row["degrees_of_freedom"] >= FEWEST
    # Against a target, however far, the reading is spread the same.
    near = json_of(*at)[0]
    far = json_of(*at, "--lab", 40, 20, 10)[0]
    np.testing.assert_allclose(far["cov"], near["cov"], rtol=1e-6)
    assert far["degrees_of_freedom"] == pytest.approx(near["degrees_of_freedom"])


def test_predict_against_a_colour_measures_from_it(shop, tmp_path):
    (tmp_path / "r.csv").write_text("ground,colour,schedule,clear\nsilver,cherry,3@6:1,yes\n")
    at = ("predict", "--recipes", tmp_path / "r.csv", "--archive", shop.archive)
    (alone,) = json_of(*at)
    lab = [alone[k] for k in "Lab"]
    (near,) = json_of(*at, "--lab", *lab)
    assert near["against"] == "target"
    assert near["delta_e00"] == pytest.approx(alone["delta_e00"], abs=0.02)
    (far,) = json_of(*at, "--lab", lab[0] + 10, *lab[1:])
    assert far["delta_e00"] > 5
    assert far["probability"] < 0.01
    (wide,) = json_of(*at, "--lab", *lab, "--tolerance", 20)
    assert wide["probability"] > 0.99
    text = run(*at, "--lab", -0.0 + lab[0], *lab[1:]).stdout
    assert "next panel sprayed against the colour asked for" in " ".join(text.split())
    # No panel is certain to pass, and none to fail.
    assert run(*at, "--lab", lab[0] + 10, *lab[1:]).stdout.splitlines()[2].endswith("under 1%")
    assert run(*at, "--lab", *lab, "--tolerance", 20).stdout.splitlines()[2].endswith("over 99%")


def test_match_finds_the_first_customers_sample(shop):
    file = shop.samples["carousel ring"]
    rows = json_of("match", "--reading", file, "--archive", shop.archive, "--top", 3)
    assert len(rows) == 3
    assert all(set(plain(r)) >= NEEDED for r in rows)
    best = rows[0]
    # Sprayed as 4@4.5:1 of cherry over pale gold, a pair that no panel of the archive shows.
    assert (best["ground"], best["colour"]) == ("pale gold", "cherry")
    assert best["delta_e00"] < 1.0
    assert best["probability"] > 0.4
    assert 0.4 < best["own"] <= 1.0
    assert best["reachable"] is True
    truth = demo_truth(
        Recipe(
            Ground.parse(best["ground"]),
            Colour.parse(best["colour"]),
            CoatSchedule.parse(best["schedule"]),
            "yes",
        )
    )
    assert truth == pytest.approx(shop.targets["carousel ring"].lab, abs=2.5)


def test_an_unreachable_sample_says_so_and_which_way_it_misses(shop):
    file = shop.samples["signal flag"]
    done = run("match", "--reading", file, "--archive", shop.archive, "--top", 1)
    assert done.exit_code == 0
    assert "Out of reach" in done.stdout
    (row,) = json_of("match", "--reading", file, "--archive", shop.archive, "--top", 1)
    assert row["reachable"] is False
    assert row["own"] is None  # no pot of the shelf makes such a colour
    assert row["miss"]


def test_negative_numbers_and_limits_are_taken(shop):
    rows = json_of(
        "match", "--lab", 41, -25, 34, "--archive", shop.archive,
        "--grounds", "coarse silver, silver", "--colours", "honey", "--colours", "lagoon",
        "--max-coats", 4, "--min-ratio", "4:1", "--max-ratio", "8:1", "--no-step-ups",
        "--no-ground-blends", "--top", 4,
    )  # fmt: skip
    assert {r["ground"] for r in rows} <= {"coarse silver", "silver"}
    for row in rows:
        schedule = CoatSchedule.parse(row["schedule"])
        assert schedule.coats <= 4
        assert len(schedule.steps) == 1
        assert 4 <= schedule.steps[0].ratio.carrier / schedule.steps[0].ratio.colour <= 8
        assert set(Colour.parse(row["colour"]).names) <= {"honey", "lagoon"}
    blends = [r for r in rows if "+" in r["colour"]]
    assert blends
    neat = json_of("match", "--lab", 41, -25, 34, "--archive", shop.archive, "--no-blends")
    assert not any("+" in r["colour"] for r in neat)


def test_a_panel_of_the_archive_can_be_the_target(shop):
    rows = json_of("match", "--panel", "T019", "--archive", shop.archive, "--top", 1)
    assert rows[0]["delta_e00"] < 1.5


def test_limits_are_remembered_with_the_archive(tmp_path):
    archive = copied(tmp_path)
    at = ("match", "--lab", 30, 40, 20, "--archive", archive, "--top", 2)
    json_of(*at, "--grounds", "graphite", "--no-blends", "--remember")
    again = json_of(*at)
    assert {r["ground"] for r in again} == {"graphite"}
    assert not any("+" in r["colour"] for r in again)
    assert {r["ground"] for r in json_of(*at, "--forget")} != {"graphite"}


def test_correct_says_what_to_change(shop):
    at = ("correct", "--lab", 27, 46, 28, "--archive", shop.archive)
    typed = ("--ground", "pale gold", "--colour", "cherry", "--schedule", "3@3:1")
    found = json_of(*at, *typed, "--read", 29, 46, 29.4)
    assert found["fits"] is True
    assert found["difference"] > 1
    assert found["best"]["probability"] > 0
    # Too light: more colour must go on, whatever way.
    strength = CoatSchedule.parse(found["changes"][0]["schedule"]).strength
    assert strength > CoatSchedule.parse("3@3:1").strength
    text = run(*at, *typed, "--read", 29, 46, 29.4).stdout
    assert "Spray a fresh panel, small changes" in text


@pytest.mark.parametrize("more", [(), ("--looks", 2)])
def test_film_is_as_many_percent_in_json_as_in_words(shop, more):
    at = ("correct", "--lab", 20, 43, 26, "--archive", shop.archive)
    typed = ("--ground", "pale gold", "--colour", "cherry", "--schedule", "3@3:1")
    found = json_of(*at, *typed, "--read", 24.1, 45.1, 27.5, *more)
    text = " ".join(run(*at, *typed, "--read", 24.1, 45.1, 27.5, *more).stdout.split())
    said = re.search(r"(\d+)% more film", text)
    assert said is not None, text
    assert round(found["film_percent"]) == int(said[1])


def test_a_hue_that_film_does_not_make_is_not_corrected_as_film(shop):
    at = ("correct", "--lab", 27, 46, 28, "--archive", shop.archive)
    typed = ("--ground", "pale gold", "--colour", "cherry", "--schedule", "3@3:1")
    found = json_of(*at, *typed, "--read", 33, 45, 3)
    assert found["fits"] is False
    assert found["changes"] == found["rescue"]["options"] == []
    assert abs(found["film_percent"]) < 10
    text = " ".join(run(*at, *typed, "--read", 33, 45, 3).stdout.split())
    assert "This does not fit" in text
    assert "heavier" not in text
    assert "lighter" not in text
    assert "read it again" in text


def test_correct_takes_a_spectrum_only_as_the_panel_was_viewed(tmp_path):
    for name, geometry in (("alike.csv", "45:0"), ("other.csv", "d:8")):
        head = ["panel", "geometry", *map(str, range(400, 710, 10))]
        row = ["S1", geometry, *["0.06"] * 20, *["0.2"] * 11]
        (tmp_path / name).write_text(",".join(head) + "\n" + ",".join(row) + "\n")
    sprayed = ("--tried", "T019", "--scale", "0-1", "--archive", two_colours())
    found = json_of("correct", "--reading", "alike.csv", *sprayed, cwd=tmp_path)
    assert found["difference"] > 0
    words = refused("correct", "--reading", "other.csv", *sprayed, cwd=tmp_path)
    assert "not viewed alike" in words


def test_next_says_first_that_a_target_is_out_of_reach(shop):
    shelf = ("--grounds", "pale gold", "--colours", "cherry")
    at = ("--archive", shop.archive, "--top", 2, *shelf)
    assert run("next", "--lab", 60, -70, -40, *at).stdout.startswith("Out of reach")
    assert all("Out of reach" in row["miss"] for row in json_of("next", "--lab", 60, -70, -40, *at))
    assert not json_of("next", "--lab", 27, 46, 28, *at)[0]["miss"].startswith("Out of reach")


def test_next_for_a_target_and_for_the_archive(shop):
    rows = json_of("next", "--lab", 27, 46, 28, "--archive", shop.archive, "--top", 3)
    assert len(rows) == 3
    assert all(r["probability"] <= r["probability_by_second"] + 0.05 for r in rows)
    plan = json_of(
        "next", "--archive", shop.archive, "--top", 2, "--grounds", "pale gold",
        "--colours", "cherry", "--max-coats", 3,
    )  # fmt: skip
    assert plan[0]["uncertainty_after"] < plan[0]["uncertainty_before"]
    output = run(
        "next", "--archive", shop.archive, "--top", 2, "--grounds", "pale gold", "--max-coats", 2
    ).stdout  # fmt: skip
    assert output.count("uncertainty") == 1
    assert output.count("ΔE00") == 3


def test_audit_finds_the_wrong_backs_and_a_fix_can_be_undone(tmp_path):
    archive = copied(tmp_path)
    found = json_of("audit", "--archive", archive)
    sure = {p for f in found if f["probability"] > 0.9 for p in f["panels"]}
    assert set(DEMO_WRONG_BACKS) <= sure
    assert len(sure) <= len(DEMO_WRONG_BACKS) + 3
    assert {f["key"] for f in found} >= set(DEMO_WRONG_BACKS)
    with Archive.open(archive) as kept:
        before = kept.panel("T029").recipe
    # The same keys, although by then the list has become shorter; more than one at a time.
    first = json_of("audit", "--fix", "t077", "--who", "Kim", "--archive", archive)
    assert [d["panel"] for d in first] == ["T077"]
    done = json_of("audit", "--fix", "T029", "--fix", "T052", "--archive", archive)
    assert [d["panel"] for d in done] == ["T029", "T052"]
    with Archive.open(archive) as kept:
        assert kept.panel("T029").recipe.schedule == CoatSchedule.parse("4@5:1")
        assert kept.history("T029")[-1].why == "audit: reversed ratio"
    assert not {f["key"] for f in json_of("audit", "--archive", archive)} & {"T029", "T052", "T077"}
    assert run("undo", done[0]["change"], "--archive", archive).exit_code == 0
    with Archive.open(archive) as kept:
        assert kept.panel("T029").recipe == before


def test_a_finding_is_not_chosen_by_its_place(tmp_path):
    archive = copied(tmp_path)
    with Archive.open(archive) as kept:
        before = kept.content_hash()
    for wrong in (["--fix", 1], ["--fix", "T029", "--fix", "T001"]):
        failed = run("audit", *wrong, "--archive", archive)
        assert failed.exit_code != 0
        assert "There is no such finding" in failed.stderr
    with Archive.open(archive) as kept:
        assert kept.content_hash() == before


def test_a_finding_set_aside_stays_aside(tmp_path):
    archive = copied(tmp_path)
    first = json_of("audit", "--ignore", "T029", "--archive", archive)
    assert [f["key"] for f in first] == ["T029"]
    assert "T029" not in {f["key"] for f in json_of("audit", "--archive", archive)}
    with Archive.open(archive) as kept:
        last = kept.history()[-1]
    assert (last.action, last.subject) == ("finding set aside", "T029")


def test_results_say_which_panels_were_left_out_and_what_none_shows(tmp_path):
    archive = copied(tmp_path)
    # The demo's T029 is honey over silver, written 4@1:5 for 4@5:1.
    honey = json_of("match", "--lab", 60, 20, 60, "--colours", "honey", "--archive", archive)
    assert all("T029" in found["left_out"] for found in honey)
    output = run("match", "--lab", 60, 20, 60, "--colours", "honey", "--archive", archive).stdout
    assert "Left out: T029" in " ".join(output.split())
    (tmp_path / "r.csv").write_text(
        "ground,colour,schedule,clear\npale gold,honey,2@4:1,yes\nblack,,,yes\n"
        "pale gold,cherry,12@1:2,yes\n"
    )
    rows = json_of("predict", "--recipes", tmp_path / "r.csv", "--archive", archive)
    assert rows[1]["never_sprayed"] == []
    assert rows[2]["never_sprayed"] == [
        "cherry never sprayed over pale gold",
        "more coats than ever sprayed (12, so far 5)",
        "richer ratio than ever sprayed (1:2, so far 2:1)",
    ]
    assert "T029" in rows[0]["left_out"]
    assert rows[1]["left_out"] == []  # shares neither ground nor colour
    pair = ("--ground", "silver", "--colour", "honey", "--schedule", "4@5:1")
    answer = json_of(
        "correct", "--lab", 60, 20, 60, *pair, "--read", 57, 18, 62, "--archive", archive
    )
    assert "T029" in answer["left_out"]


def test_fit_prints_its_table(tmp_path):
    (tmp_path / "p.csv").write_text(
        "panel,ground,colour,schedule,clear,L,a,b\n"
        "P1,silver,,,yes,62,-0.4,0.6\nP2,silver,rust,2@8:1,yes,52,18,16\n"
        "P3,silver,rust,3@6:1,yes,43,30,24\nP4,silver,rust,4@4:1,yes,33,38,27\n"
        "P5,graphite,,,yes,36,-0.3,-1.4\nP6,graphite,rust,3@6:1,yes,26,20,14\n"
        "P7,silver,rust,3@6:1,yes,43.4,29.5,23.6\nP8,graphite,rust,2@8:1,yes,30,12,8\n"
    )
    assert run("import", "p.csv", *LIGHT, cwd=tmp_path).exit_code == 0
    found = json_of("fit", "--by", "panel", "--folds", 2, cwd=tmp_path)
    names = {r["regressor"] for r in found["validation"]}
    assert names == {"film regression", "nearest panel", "quadratic ridge"}
    assert found["validation"][0]["median"] > 0
    assert found["repeatability"]["floor"] > 0
    quick = run("fit", "--no-check", cwd=tmp_path)
    assert quick.exit_code == 0
    assert "8 panels" in quick.stdout
    assert run("fit", "--by", "moon", cwd=tmp_path).exit_code == 2
    assert "This is not a date" in run("fit", "--after", "soon", cwd=tmp_path).stderr
    later = json_of("fit", "--by", "lot", "--after", "2026-01-01", cwd=tmp_path)["validation"]
    assert {r["left_out"] for r in later} == {"lot", "after 2026-01-01"}
    assert all("too few" in r["note"] for r in later), "no panel has a lot or a date"


def test_the_table_of_a_fit_leaves_blank_what_is_not_known():
    nan = float("nan")
    text = validation_text(
        [
            TableRow("panel", "film regression", 90, 0.61, 0.7, 1.5, (0.5, 0.8, 0.9, 0.95), 1.2),
            *(
                TableRow("ground", name, 0, nan, nan, nan, (), None, "too few grounds")
                for name in ("nearest panel", "quadratic ridge")
            ),
        ]
    )
    lines = text.splitlines()
    assert lines[0].split() == [
        "readings", "median", "mean", "95%", "by", "floor", "in", "90%",
    ]  # fmt: skip
    assert lines[2].split()[-6:] == ["90", "0.61", "0.70", "1.50", "1.20", "90%"]
    assert "nan" not in text
    assert lines[5:] == ["too few grounds"], "said once"


def test_the_demo_makes_matches_and_prints_the_same_twice(tmp_path, monkeypatch):
    monkeypatch.setenv("WORKBOOK_NO_BROWSER", "1")
    copied(tmp_path)  # the fit is there already
    one = run("demo", "--dir", tmp_path)
    assert one.exit_code == 0, one.output
    for name in ("carousel ring", "signal flag", "pond reed"):
        assert f"Sample: {name}" in one.stdout
    assert "pale gold" in one.stdout
    two = run("demo", "--dir", tmp_path, "--no-open")
    assert two.stdout == one.stdout
    assert json.loads(run("check", "--json", "--archive", tmp_path / "panels.db").stdout)[
        "panels"
    ] == 133  # fmt: skip


def test_the_demo_leaves_another_archive_alone(tmp_path):
    (tmp_path / "p.csv").write_text("panel,ground,L,a,b\nP1,silver,60,0,0\n")
    assert run("import", "p.csv", *LIGHT, cwd=tmp_path).exit_code == 0
    done = run("demo", "--dir", tmp_path, "--no-open")
    assert done.exit_code == 1
    assert "other panels" in done.stderr
    assert not (tmp_path / "panels.csv").exists()
