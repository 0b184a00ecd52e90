"""What is asked of the panels at the command line: lists, one panel, coverage, repeatability."""

from __future__ import annotations

import csv
import io
import re

import click
import pytest
from click.shell_completion import ShellComplete

from matchlib import __version__
from matchlib.archive import Archive
from matchlib.domain import LoggedCoat, MixRatio
from tests.cli_shop import SMALL, json_of, refused, run
from workbook.cli import assembled


@pytest.mark.parametrize(
    ("options", "codes"),
    [
        ((), ["P1", "P2", "P3", "P4", "P5", "P6"]),
        (("--ground", "GRAPHITE"), ["P5", "P6"]),
        (("--colour", "rust", "--ground", "silver"), ["P2", "P3", "P4"]),
        (("--customer", "ann"), ["P2"]),
        (("--sort", "L"), ["P6", "P4", "P5", "P3", "P2", "P1"]),
        (("--sort", "strength", "--colour", "rust"), ["P2", "P3", "P6", "P4"]),
        (("--since", "2020-01-01"), []),
        (("--unread",), []),
    ],
)
def test_panels_are_listed_filtered_and_sorted(shop, options, codes):
    assert [row["panel"] for row in json_of("panels", *options, cwd=shop)] == codes


def test_a_card_is_found_by_whoever_sprayed_a_coat_of_it_and_from_which_lot(shop):
    with Archive.open(shop / "panels.db") as archive:
        coats = [LoggedCoat(1, sprayer="Ann", lot="L1"), LoggedCoat(2, sprayer="Ben", lot="L2")]
        archive.amend("P2", sprayer="Ann", lot="L1", log=tuple(coats))
    for option in ("--sprayer=ann", "--sprayer=ben", "--lot=L1", "--lot=l2"):
        assert [row["panel"] for row in json_of("panels", option, cwd=shop)] == ["P2"], option


def test_a_blend_is_found_by_its_parts_and_as_a_whole_however_it_is_written(shop):
    for code, ground, colour in (("X1", "silver 3 + black 1", "rust 2 + teal 1"),
                                 ("X2", "black 1 + silver 1", "rust")):  # fmt: skip
        run("add", "--panel", code, "--ground", ground, "--colour", colour, "--schedule", "3@6:1",
            "--clear", "yes", "--lab", 30, 20, 12, "--yes", cwd=shop)  # fmt: skip
    for ground, codes in (("black", ["X1", "X2"]), ("Black 2 + silver 6", ["X1"])):
        found = json_of("panels", "--ground", ground, cwd=shop)
        assert [row["panel"] for row in found] == codes
    for colour in ("teal", "Teal 1 + rust 2"):
        found = json_of("panels", "--colour", colour, cwd=shop)
        assert [row["panel"] for row in found] == ["X1"]
    for colour, count in (("RUST", 5), ("teal 1 + rust 2", 1)):
        rows = json_of("coverage", "--colour", colour, cwd=shop)["by_strength"]
        assert sum(row["0.3 to 0.5"] + row["up to 0.3"] + row["0.7 to 1"] for row in rows) == count


def test_the_list_as_csv_says_what_the_json_says(shop):
    rows = list(csv.DictReader(io.StringIO(run("panels", "--csv", cwd=shop).stdout)))
    assert [(r["panel"], float(r["L"])) for r in rows] == [
        (r["panel"], r["L"]) for r in json_of("panels", cwd=shop)
    ]
    assert "sort by" in run("panels", "--sort", "taste", cwd=shop).stderr


def test_a_panel_is_shown_with_its_stages_log_readings_and_trust(shop):
    with Archive.open(shop / "panels.db") as archive:
        log = (LoggedCoat(1, None, MixRatio.parse("6:1"), "Bo", "L-7", 21.5, 40.0),)
        archive.amend("P3", log=log, batch="G-12")
    run("add", "--panel", "P3", "--on-top", "--schedule", "1@10:1", "--clear", "yes", "--lab", 40,
        31, 25, "--yes", cwd=shop)  # fmt: skip
    text = run("panel", "P3", cwd=shop).stdout
    assert "Batch: G-12" in text
    assert "coat 1: 6:1, Bo, lot L-7, 21.5 °C, 40 %RH" in text
    assert "Stage 2: rust over silver: 1 coat of 10 parts carrier to 1 part colour" in text
    assert "from what its recipe should read" in text
    shown = json_of("panel", "P3", cwd=shop)
    assert [row["stage"] for row in shown["predicted"]] == [1, 2]
    assert 0 <= shown["trust"] <= 1
    assert shown["stages"][0]["log"][0]["lot"] == "L-7"
    assert "no panel of this code" in refused("panel", "P77", cwd=shop)


def test_what_a_back_says_of_gun_bottles_clear_and_booth_is_read_back_and_shown(shop):
    told = run("add", "--panel", "P9", "--ground", "silver", "--colour", "rust", "--schedule",
               "2@6:1", "--clear", "yes", "--temperature", 21, "--humidity", 40, "--tip", 1.2,
               "--overlap", 75, "--lots", "carrier: 12", "--clear-coats", 2, "--drawer", "B4",
               "--lab", 52, 19, 17, "--yes", cwd=shop).stdout  # fmt: skip
    assert "booth 21 °C, 40 %RH" in told
    assert "coats of clear 2" in told
    text = run("panel", "P9", cwd=shop).stdout
    assert "Drawer: B4" in text
    assert "carrier: 12, 21 °C, 40 %RH, tip 1.2 mm, overlap 75%, 2 coats of clear)" in text


def test_readings_that_no_fit_can_trust_end_in_no_traceback(tmp_path):
    # Left out one by one, none of these cards is believed by the fit of the others.
    cards = [
        f"Q{i},silver,rust,{1 + i % 4}@6:1,yes,D65,10,45:0,"
        f"{60 - 6 * (i % 4)},{12 + (i % 4 == 0) + 6 * (i % 4)},{10 + 4 * (i % 4)},"
        for i in range(20)
    ]
    odd = ["S1,silver,rust,2@8:1,yes,D65,10,45:0,52,18,16,"]
    odd += ["S2,silver,rust,2@8:1,yes,D65,10,45:0,52,18,17,"]
    odd += ["L1,silver,plum,2@8:1,yes,D65,10,45:0,52,18,16,"]
    (tmp_path / "panels.csv").write_text(SMALL + "\n".join([*cards, *odd]) + "\n")
    assert run("import", "panels.csv", cwd=tmp_path).exit_code == 0
    shown = run("panel", "L1", cwd=tmp_path)
    assert shown.exit_code == 0, shown.output
    assert "Trust in its back" in shown.stdout


@pytest.mark.parametrize("span", [(400, 700, 5), (380, 730, 1), (360, 780, 10), (420, 700, 20)])
def test_spectra_of_any_interval_are_taken_shown_and_matched(shop, span):
    first, last, step = span
    grid = range(first, last + 1, step)
    head = "panel,ground,colour,schedule,clear,illuminant,observer,geometry,scale"
    card = "X1,silver,rust,2@8:1,yes,D65,10,45:0,0-1"
    rows = [",".join(f"{0.1 + more + 0.3 * (nm > 560):g}" for nm in grid) for more in (0, 0.001)]
    lines = [",".join([head, *map(str, grid)]), *(f"{card},{row}" for row in rows)]
    (shop / "spectra.csv").write_text("\n".join(lines) + "\n")
    run("import", "spectra.csv", cwd=shop)
    listed = next(row for row in json_of("panels", cwd=shop) if row["panel"] == "X1")
    assert "from what its recipe should read" in run("panel", "X1", cwd=shop).stdout
    by_file, by_code = (
        json_of("match", *way, "--readings", 0, cwd=shop)[0]["angles"][0]["target_L"]
        for way in (("--reading", "spectra.csv"), ("--panel", "X1"))
    )
    assert by_file == by_code == pytest.approx(listed["L"], abs=0.1)


def test_a_match_says_the_light_of_its_target_where_it_is_not_the_usual(shop):
    ask = ("match", "--lab", 45, 25, 20, "--readings", 0)
    assert "L 45.00, a 25.00, b 20.00; ΔE00" in run(*ask, cwd=shop).stdout
    said = run(*ask, "--illuminant", "A", "--observer", "2", cwd=shop).stdout
    assert "L 45.00, a 25.00, b 20.00 under A/2°; ΔE00" in said


def test_coverage_counts_every_panel(shop):
    found = json_of("coverage", cwd=shop)
    assert (found["panels"], found["readings"]) == (6, 6)
    assert found["by_colour"][0] == {"ground": "silver", "rust": 3}
    assert "Every neat pair was sprayed" in run("coverage", cwd=shop).stdout
    assert "No panel has the colour 'rsut'" in refused("coverage", "--colour", "rsut", cwd=shop)


def test_a_layered_card_is_covered_by_each_of_its_colours(shop):
    run("add", "--panel", "P7", "--ground", "graphite", "--schedule", "2@6:1 teal, 1@3:1 rust",
        "--yes", cwd=shop)  # fmt: skip
    found = json_of("coverage", cwd=shop)
    assert found["by_colour"][1] == {"ground": "graphite", "rust": 2, "teal": 1}
    assert sum(sum(list(row.values())[1:]) for row in found["by_strength"]) == 7
    for colour, count in (("teal", 1), ("rust", 5)):
        rows = json_of("coverage", "--colour", colour, cwd=shop)["by_strength"]
        assert sum(sum(list(row.values())[2:]) for row in rows) == count


def test_repeatability_is_said_with_its_parts(shop):
    found = json_of("repeatability", cwd=shop)
    assert found["low"] <= found["floor"] <= found["high"]
    assert found["words"] in run("repeatability", cwd=shop).stdout


def test_the_help_of_every_command_is_in_words():
    app = assembled()
    every = []
    for name, one in app.commands.items():
        inside = one.commands if isinstance(one, click.Group) else None
        every += [(name,)] if inside is None else [(name, inner) for inner in inside]
    assert len(every) > 50
    assert "..." not in run("--help").stdout.split("Commands:")[1], "nothing is cut short"
    for words in every:
        output = run(*words, "--help").stdout
        assert "Usage:" in output
        assert not re.search(r"<\w|list\[|\{[a-z]", output), output


def test_the_version_and_the_shell_completion_are_there():
    assert run("--version").stdout == f"workbook {__version__}\n"
    for shell in ("bash", "zsh", "fish"):
        assert f"_WORKBOOK_COMPLETE={shell}_complete" in run("--show-completion", shell).stdout
    told = ShellComplete(assembled(), {}, "workbook", "_WORKBOOK_COMPLETE")
    assert [c.value for c in told.get_completions([], "repe")] == ["repeatability"]
    assert [c.value for c in told.get_completions(["match"], "--read")] == [
        "--reading",
        "--readings",
    ]
