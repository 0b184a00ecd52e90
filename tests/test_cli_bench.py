"""Add, label, mix and job-sheet at the command line; carrier and colour never change places."""

from __future__ import annotations

import io

import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchlib.archive import Archive
from matchlib.domain import CoatSchedule, Colour, MixRatio
from matchlib.tails import chance_words
from tests.cli_shop import copied, json_of, refused, run, two_colours
from workbook.cli.printing import chance, cup_text, number, table, wrapped
from workbook.session import Session

ADD = ("add", "--panel", "P9", "--ground", "silver", "--colour", "rust", "--clear", "yes")


def test_add_reads_back_in_words_and_keeps_after_yes(shop):
    done = run(*ADD, "--schedule", "3@6:1", "--lab", 43, 30, -1, cwd=shop, typed="y\n")
    assert done.exit_code == 0, done.output
    assert "3 coats of 6 parts carrier to 1 part colour (6:1)" in done.stdout
    assert "b -1.00" in done.stdout
    assert "In the cup at 6:1" in done.stdout
    with Archive.open(shop / "panels.db") as archive:
        panel = archive.panel("P9")
    assert panel.recipe.schedule == CoatSchedule.parse("3@6:1")
    assert panel.readings[0].lab == (43.0, 30.0, -1.0)


@pytest.mark.parametrize("answer", ["n\n", "\n", ""])
def test_add_keeps_nothing_without_a_yes(shop, answer):
    done = run(*ADD, "--schedule", "3@6:1", cwd=shop, typed=answer)
    assert done.exit_code == 1
    with Archive.open(shop / "panels.db") as archive:
        assert len(archive) == 6


def test_add_asks_for_what_is_missing(shop):
    done = run("add", cwd=shop, typed="P10\ngraphite\nrust\n2@8:1\ny\n")
    assert done.exit_code == 0, done.output
    with Archive.open(shop / "panels.db") as archive:
        assert str(archive.panel("P10").recipe) == "rust over graphite, 2@8:1"


def test_add_questions_a_reversed_ratio(shop):
    done = run(*ADD, "--ratio", "1:6", "--coats", 3, cwd=shop, typed="n\n")
    assert done.exit_code == 1
    assert "Was 6:1 meant" in done.stdout
    assert "as written all the same" in done.stderr
    found = json_of(*ADD, "--ratio", "1:6", "--coats", 3, "--yes", cwd=shop)
    assert found["questions"][0]["code"] == "reversed"
    assert found["schedule"] == "3@1:6"


def test_add_compares_what_was_poured(shop):
    done = run(*ADD, "--schedule", "3@6:1", "--poured", 32, 4, cwd=shop, typed="n\n")
    assert "4 of colour into 32 of carrier is 8:1" in done.stdout.replace("\n", " ")
    assert "not 6:1" in done.stdout.replace("\n", " ")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--ratio", "6:1"), "coats"),
        (("--coats", "3"), "ratio"),
        (("--schedule", "3@6:1", "--ratio", "4:1"), "contradict"),
        (("--schedule", "3@6:1", "--coats", "4"), "contradict"),
        (("--schedule", "-3@6:1"), "coats"),
        (("--ratio", "1 colour : 6 carrier", "--coats", "3"), "colour first"),
        (("--schedule", "3@6:1", "--lab", "140", "0", "0"), "L from 0"),
        (("--schedule", "3@6:1", "--date", "28.3.2024"), "date"),
        ((), "coats"),
        (("--schedule", "3@6:1", "--humidity", "140"), "humidity"),
        (("--schedule", "2@6:1 2@3:1", "--poured", "6", "1"), "one ratio"),
    ],
)
def test_add_refuses_and_keeps_nothing(shop, more, says):
    assert says in refused(*ADD, *more, "--yes", cwd=shop)
    with Archive.open(shop / "panels.db") as archive:
        assert len(archive) == 6


def test_a_label_is_a_pdf_with_the_recipe_in_words(shop):
    done = run("label", "P3", "P1", "--out", "l.pdf", cwd=shop)
    assert done.exit_code == 0, done.output
    text = " ".join(
        pypdf.PdfReader(io.BytesIO((shop / "l.pdf").read_bytes())).pages[0].extract_text().split()
    )
    assert "P3" in text
    assert "6 parts carrier to 1 part colour" in text
    assert "no panel of this code" in refused("label", "P99", cwd=shop)
    refused("label", "P3", "--out", "no/such/l.pdf", cwd=shop)
    refused("label", "P3", "--first", 99, cwd=shop)


MIX = ("mix", "--schedule", "3@6:1", "--area", "1 m2", "--dry-film", 10, "--solids", 0.2)


def test_mix_gives_carrier_and_colour_by_name(tmp_path):
    found = json_of(*MIX, cwd=tmp_path)
    pot = found["pot"]
    needs = {p["kind"]: p["ml"] for p in pot["needs"]}
    assert needs["carrier"] == pytest.approx(6 * needs["colour"])
    assert pot["groups"][0]["pour"]["ratio"]["words"] == "6 parts carrier to 1 part colour"
    text = run(*MIX, "--unit", "us fl oz", cwd=tmp_path).stdout
    assert "us fl oz carrier" in text
    assert "In the cup at 6:1" in text


def test_mix_needs_no_job_for_bottles_and_checks(tmp_path):
    found = json_of("mix", "--ratio", "6:1", "--coats", 1, "--bottle", 4, "--poured", 32, 4)
    assert found["pot"] is None
    assert "makes 28 at 6:1" in found["bottle"][0]
    assert found["stated"]["agree"] is False
    assert found["stated"]["poured"]["carrier_parts"] == "8"
    assert "makes 28 at 6:1" in run("mix", "--ratio", "6:1", "--coats", 1, "--bottle", 4).stdout


def test_mix_steps_one_pot_up_into_the_next(tmp_path):
    found = json_of(
        "mix", "--schedule", "2@6:1 2@3:1", "--sheet", "600 mm x 400 mm x 2",
        "--dry-film", 10, "--solids", 0.2, "--mark", "5 ml", "--density", "carrier=0.9",
        "--density", "colour=1.1",
    )  # fmt: skip
    first, second = (group["pour"] for group in found["pot"]["groups"])
    assert 0 < second["kept_ml"] < first["total_ml"]
    bottles = sum(p["ml"] for p in found["pot"]["needs"])
    assert bottles == pytest.approx(first["total_ml"] + second["total_ml"] - second["kept_ml"])
    assert "carrier to " in first["marks"]
    assert "what is left up to " in second["marks"]


def test_mix_understands_three_parts_and_percentages(tmp_path):
    job = ("--work", "door", "--dry-film", 10, "--solids", 0.2)
    three = json_of("mix", "--ratio", "6:1:1 hardener", "--coats", 2, *job, cwd=tmp_path)
    needs = {p["name"]: p["ml"] for p in three["pot"]["needs"]}
    assert needs["hardener"] == pytest.approx(needs["carrier"] / 6)
    assert three["pot"]["activated"]
    output = run("mix", "--ratio", "10% added", "--coats", 2, *job, cwd=tmp_path).stdout
    assert "10% added is 10:1" in output
    assert "Before you open a tin" in output
    assert "9:1" in refused("mix", "--ratio", "10%", "--coats", 2, *job, cwd=tmp_path)
    oil = run("mix", "--ratio", "6:1", "--coats", 1, "--drain", "30 s Ford 4").stdout
    assert "s in a Zahn 2" in oil


def test_mix_takes_the_colours_of_layers_from_their_schedule(tmp_path):
    job = ("--area", "1 m2", "--used", "80 ml", "--used-area", "1 m2")
    found = json_of("mix", "--schedule", "2@6:1 rust, 1@3:1 teal", *job, cwd=tmp_path)
    assert [n["name"] for n in found["pot"]["needs"]] == ["carrier", "rust", "teal"]
    half = refused("mix", "--schedule", "2@6:1, 1@3:1 teal", *job, cwd=tmp_path)
    assert "coats without a colour" in half


def test_mix_by_weight_takes_the_densities_that_the_scale_takes(tmp_path):
    weights = ("--density", "carrier=0.8", "--density", "teal=1.2")
    job = ("--area", "1 m2", "--used", "80 ml", "--used-area", "1 m2")
    ratio = ("--ratio", "6:1 by weight", "--colour", "teal", "--coats", 2)
    output = run("mix", *ratio, *weights, *job, cwd=tmp_path).stdout
    assert "6:1 by weight is 9:1" in output
    assert "By weight: scale at 0" in output


def test_mix_loses_no_third_part(tmp_path):
    job = ("--area", "1 m2", "--used", "80 ml", "--used-area", "1 m2", "--coats", 2)
    both = ("mix", "--ratio", "6:1:1 reducer", *job, "--third")
    assert "two third parts" in refused(*both, "hardener 10%", cwd=tmp_path)
    same = json_of(*both, "reducer 1:7", cwd=tmp_path)
    assert same["pot"]["needs"][-1]["name"] == "reducer"


def test_a_job_is_taken_off_the_shelf(tmp_path):
    archive = copied(tmp_path, two_colours())
    for name, have in (("carrier", "1 l"), ("Cherry", "30 ml")):
        done = run("stock", "--archive", archive, "--name", name, "--have", have, "--bottle",
                   "250 ml", "--price", 20)  # fmt: skip
        assert done.exit_code == 0, done.output
    job = ("mix", "--archive", archive, "--colour", "cherry", "--schedule", "3@4:1", "--area",
           "1 m2", "--dry-film", 10, "--solids", 0.2)  # fmt: skip
    found = json_of(*job, "--buy")
    carrier, cherry = found["bill"]["lines"]
    assert (carrier["bottles"], cherry["bottles"]) == (0, 1)
    assert found["bill"]["paint"] == pytest.approx(20 * found["pot"]["total_ml"] / 250)
    assert json_of("stock", "--archive", archive)["Cherry"]["stock_ml"] == 30
    assert "Taken off the shelf" in run(*job, "--take").stdout
    shelf = json_of("stock", "--archive", archive)
    assert shelf["carrier"]["stock_ml"] == pytest.approx(1000 - carrier["need_ml"])
    assert shelf["Cherry"]["stock_ml"] == pytest.approx(280 - cherry["need_ml"])
    run("stock", "--archive", archive, "--name", "cherry", "--forget")
    assert set(json_of("stock", "--archive", archive)) == {"carrier"}


def test_the_shelf_follows_a_colour_that_is_renamed_or_joined(shop):
    run("add", "--panel", "P7", "--ground", "silver", "--colour", "plum", "--schedule", "2@6:1",
        "--lab", 30, 20, -5, "--yes", cwd=shop)  # fmt: skip
    for name, have in (("rust", "30 ml"), ("Plum", "50 ml")):
        run("stock", "--name", name, "--have", have, "--bottle", "250 ml", cwd=shop)
    run("names", "rename", "colour", "rust", "russet", cwd=shop)
    assert set(json_of("stock", cwd=shop)) == {"russet", "Plum"}
    run("undo", json_of("history", cwd=shop)[-1]["change"], cwd=shop)
    assert set(json_of("stock", cwd=shop)) == {"rust", "Plum"}
    run("names", "join", "colour", "plum", "rust", cwd=shop)
    assert {n: s["stock_ml"] for n, s in json_of("stock", cwd=shop).items()} == {"rust": 80}
    pot = ("mix", "--colour", "plum", "--schedule", "1@6:1", "--area", "0.1 m2", "--used", "9 ml",
           "--used-area", "0.1 m2")  # fmt: skip
    assert json_of(*pot, "--buy", cwd=shop)["bill"]["lines"][1]["stock_ml"] == 80, "as it was named"
    assert "Taken off the shelf" in run(*pot, "--take", cwd=shop).stdout
    assert json_of("stock", cwd=shop)["rust"]["stock_ml"] < 80


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("mix", "--schedule", "3@6:1"), "one shape"),
        (("mix", "--schedule", "3@6:1", "--area", "1 m2"), "What a coat takes"),
        (("mix", "--schedule", "3@6:1", "--area", "1"), "unit"),
        (("mix", "--area", "1 m2", "--dry-film", "10", "--solids", "0.2"), "coats"),
        ((*MIX, "--tube", "40 mm x 1 m"), "one shape"),
        ((*MIX, "--solids", "20"), "volume solids"),
        ((*MIX, "--density", "carrier"), "density"),
        (("mix", "--schedule", "3@6:1", "--sheet", "1 m", "--dry-film", "9", "--solids", "1"),
         "measures"),
        ((*MIX, "--chance", "2"), "chance"),
        ((*MIX, "--unit", "imp gal"), "unit"),
    ],
)  # fmt: skip
def test_mix_refuses_in_words(tmp_path, args, says):
    assert says in refused(*args, cwd=tmp_path)


def test_a_job_sheet_is_a_pdf(tmp_path):
    archive = copied(tmp_path)
    done = run(
        "job-sheet", "--archive", archive, "--out", tmp_path / "j.pdf", "--ground", "silver",
        "--colour", "cherry", "--schedule", "2@6:1 1@3:1", "--lab", 30, 38, 14,
        "--area", "0.5 m2", "--dry-film", 10, "--solids", 0.2, "--code", "T200",
        "--title", "Spinning top",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    reader = pypdf.PdfReader(tmp_path / "j.pdf")
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    assert "Spinning top" in text
    assert "6 parts carrier to 1 part colour" in text
    assert "30.0" in text


def test_a_sheet_without_a_target_names_no_sd_in_another_unit(tmp_path):
    made = ("job-sheet", "--archive", copied(tmp_path), "--out", tmp_path / "j.pdf")
    made += ("--ground", "silver", "--colour", "cherry", "--schedule", "2@6:1")
    for more, said in (((), True), (("--difference", "cmc2:1", "--tolerance", 2), False)):
        assert run(*made, *more).exit_code == 0
        text = " ".join(p.extract_text() for p in pypdf.PdfReader(tmp_path / "j.pdf").pages)
        assert ("Uncertainty of the next panel" in text) == said


def test_a_job_sheet_of_a_target_alone_asks_for_the_recipe(tmp_path):
    archive = copied(tmp_path)
    output = refused("job-sheet", "--archive", archive, "--lab", 30, 38, 14, cwd=tmp_path)
    assert "no recipe" in output
    assert "a target alone" in output
    assert "'workbook match' suggests" in output
    half = refused("job-sheet", "--archive", archive, "--colour", "cherry", cwd=tmp_path)
    assert "no recipe" in half


ratios = st.builds(MixRatio, st.integers(0, 40), st.integers(1, 40))


@settings(max_examples=60)
@given(ratios, st.sampled_from([None, "teal", "teal 2 + violet 1"]))
def test_the_drawing_has_carrier_below_and_colour_above(ratio, name):
    drawn = cup_text(ratio, None if name is None else Colour.parse(name))
    lines = drawn.splitlines()
    carrier = [i for i, line in enumerate(lines) if "carrier" in line]
    colour = [i for i, line in enumerate(lines) if "colour" in line]
    assert colour
    assert bool(carrier) == (ratio.carrier > 0)
    assert (".........." in drawn) == (ratio.carrier > 0), "only carrier is dotted"
    if carrier:
        assert min(carrier) > max(colour)


@pytest.mark.parametrize(
    ("probability", "said"),
    [(0.0, "under 1%"), (0.784, "78%"), (0.99, "99%"), (0.9999, "over 99%")],
)
def test_a_chance_is_said_alike_on_pages_and_at_the_command_line(probability, said):
    assert chance(probability) == chance_words(probability) == said


def test_text_is_set_in_columns():
    text = table(("a", "b"), [("x", "1.00"), ("long", "10.00")], right=" r")
    assert text.splitlines() == ["a         b", "----  -----", "x      1.00", "long  10.00"]
    assert number(-0.001) == "0.00"
    assert number(-1.5) == "-1.50"
    assert number(None) == ""
    assert max(map(len, wrapped("word " * 60).splitlines())) <= 96


def test_an_opened_bottle_is_told_in_the_unit_of_the_job(tmp_path):
    bottle = ("mix", "--ratio", "6:1", "--coats", 1, "--bottle", "120 ml")
    output = " ".join(run(*bottle).stdout.split())
    assert "120 ml of colour left in the bottle makes 840 ml at 6:1" in output
    of_carrier = " ".join(run(*bottle, "--bottle-of", "carrier").stdout.split())
    assert "120 ml of carrier left in the bottle makes 140 ml" in of_carrier
    assert "with 20 ml of colour" in of_carrier


def test_the_back_of_a_card_is_kept_whole(tmp_path):
    archive = copied(tmp_path)
    done = run(
        "add", "--archive", archive, "--yes", "--panel", "Z1", "--ground", "silver", "--colour",
        "cherry", "--schedule", "2@6:1", "--clear", "yes", "--gun", "big gun", "--tip", 1.3,
        "--pressure", 2, "--overlap", 75, "--lots", "carrier: 12", "--batch", "G1",
        "--clear-coats", 2, "--drawer", "B 3",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "sprayed with big gun, tip 1.3 mm" in " ".join(done.output.split())
    with Session.open(archive, write=False) as session:
        panel = session.archive.panel("Z1")
    assert panel.setup.overlap == 75
    assert panel.stages[0].lots == (("carrier", "12"),)
    assert (panel.batch, panel.drawer, panel.stages[0].clear_coats) == ("G1", "B 3", 2)
    assert "pressure of the gun" in refused(
        "add", "--archive", archive, "--yes", "--panel", "Z2", "--ground", "silver",
        "--pressure", 9.9e3,
    )  # fmt: skip


def test_a_card_is_added_as_read_before_its_clear_coat_and_after(shop):
    card = (*ADD, "--schedule", "3@6:1", "--yes")
    before = run(*card, "--lab", 41, 28, -2, "--before-clear", cwd=shop)
    assert "before clear)" in " ".join(before.stdout.split())
    after = run(*card, "--lab", 43, 30, -1, cwd=shop)
    assert after.exit_code == 0, after.output
    with Archive.open(shop / "panels.db") as archive:
        panel = archive.panel("P9")
    assert [(r.lab[0], r.state) for r in panel.readings] == [(41, "before clear"), (43, "")]
    assert [panel.stages[0].recipe_at(r).clear for r in panel.readings] == [None, "yes"]


def test_a_search_may_be_held_to_the_shelf(tmp_path):
    archive = copied(tmp_path)
    ask = ("match", "--archive", archive, "--lab", 27.1, 45.9, 28.5, "--top", 1)
    held = (*ask, "--in-stock", "door", "60 ml")
    assert "not written down" in refused(*held)
    run("stock", "--archive", archive, "--name", "cherry", "--have", "20 ml")
    free, short = json_of(*ask)[0], json_of(*held)[0]
    needs = 0.9 * 60 * sum(
        int(step.split("@")[0]) / (1 + float(step.split("@")[1].split(":")[0]))
        for step in short["schedule"].split()
    )  # fmt: skip
    assert "cherry" in free["colour"]
    assert "cherry" not in short["colour"] or needs <= 20
    assert short["delta_e00"] >= free["delta_e00"]
