"""Who sprays, from what and when, is asked about and has its word beside the result."""

from __future__ import annotations

import datetime as dt

import pytest

from matchlib.domain import CoatSchedule, Colour, Conditions, Ground, Recipe, Viewing
from matchlib.regression.frames import rows_of
from matchlib.regression.vocabulary import Vocabulary
from tests.cli_shop import demo_shop, json_of, run

RECIPES = "ground,colour,schedule,clear\nsilver,honey,3@4:1,yes\npale gold,lagoon,3@4:1,yes\n"


@pytest.fixture(scope="module")
def shop():
    return demo_shop()


@pytest.fixture
def predict(shop, tmp_path):
    (tmp_path / "r.csv").write_text(RECIPES)

    def ask(*said):
        at = ("predict", "--recipes", tmp_path / "r.csv", "--archive", shop.archive)
        return json_of(*at, *said), run(*at, *said).stderr

    return ask


def test_another_sprayer_lays_another_film(predict):
    evening, notes = predict("--sprayer", "Evening  bench")
    day, _ = predict("--sprayer", "day bench")
    assert notes == ""
    assert any(abs(a["L"] - b["L"]) > 0.02 for a, b in zip(evening, day, strict=True))


def test_nobody_known_and_a_lot_never_seen_are_told_and_make_it_less_sure(predict):
    usual, _ = predict()
    known, notes = predict("--lot", "honey=lot 12")
    assert notes == ""
    strange, notes = predict("--lot", "honey=L99")
    assert "Lot L99 of honey is on no panel of the archive" in notes
    assert strange[0]["sd_L"] > known[0]["sd_L"]
    assert strange[1]["sd_L"] == pytest.approx(usual[1]["sd_L"]), "of another colour"
    nobody, notes = predict("--sprayer", "Zoe")
    assert "Sprayer Zoe is on no panel" in notes
    assert all(a["sd_L"] > b["sd_L"] for a, b in zip(nobody, usual, strict=True))


def test_of_batches_that_no_panel_names_no_width_is_promised(predict):
    usual, _ = predict()
    strange, notes = predict("--batch", "silver=B9")
    assert "Batch B9 of silver is on no panel of the archive, so nothing is known" in notes
    assert "widths allow" not in notes
    assert [row["sd_L"] for row in strange] == pytest.approx([row["sd_L"] for row in usual])


def test_a_lot_alone_is_of_the_colours_that_have_it(predict):
    named, _ = predict("--lot", "honey=lot 12", "--lot", "lagoon=lot 12")
    alone, notes = predict("--lot", "LOT 12")
    assert notes == ""
    assert alone == named


def test_a_day_beyond_the_archive_is_told_and_less_sure(predict):
    usual, _ = predict()
    later, notes = predict("--date", "2026-01-31")
    assert "after the archive's last panel" in notes
    assert all(a["sd_L"] > b["sd_L"] for a, b in zip(later, usual, strict=True))


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (("--lot", "L99"), "Nobody can tell of which colour this lot is"),
        (("--lot", "slver=L99"), "No panel of the archive has the colour 'slver'"),
        (("--batch", "honey=4"), "No panel of the archive has the ground 'honey'"),
        (("--date", "yesterday"), "This is not a date"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(shop, said, words):
    at = ("match", "--lab", 30, 40, 20, "--archive", shop.archive)
    done = run(*at, *said)
    assert done.exit_code != 0
    assert words in done.stderr


def test_match_correct_and_next_take_them(shop):
    at = ("--lab", 27, 46, 28, "--archive", shop.archive, "--sprayer", "apprentice")
    pair = ("--ground", "pale gold", "--colour", "cherry", "--schedule", "3@3:1")
    shelf = ("--grounds", "pale gold", "--colours", "cherry", "--top", 1)
    mine = json_of("match", *at, *shelf)[0]
    usual = json_of("match", *at[:-2], "--sprayer", "day bench", *shelf)[0]
    assert mine["schedule"] != usual["schedule"]
    assert json_of("correct", *at, *pair, "--read", 29, 46, 29.4)["fits"]
    assert json_of("next", *at, *shelf)


def test_joined_lots_are_of_each_colour_in_the_order_of_the_back():
    blend = Recipe(
        Ground.parse("silver 1 + white 1"),
        Colour.parse("violet 1 + cherry 2"),
        CoatSchedule.parse("3@4:1"),
    )
    day = dt.date(2026, 5, 1)
    own = Conditions.of(blend, lot="v7 + c3", batch="s1+w2", date=day)
    assert own.lots == (("cherry", "c3"), ("violet", "v7"))
    assert own.batches == (("silver", "s1"), ("white", "w2"))
    assert own.date == day
    assert Conditions.of(blend, lot="L 5").lots == (("cherry", "L 5"), ("violet", "L 5"))
    three = Conditions.of(blend, lot="a + b + c").lots
    assert three == (("cherry", "a + b + c"), ("violet", "a + b + c"))
    assert Conditions.of(blend).lots == ()
    five = Recipe.of("silver", "№ 5", "3@4:1")
    own = Conditions.of(five, lot="L 5")
    words = Vocabulary.of([five], [Viewing()], [own])
    assert words.of_kind("lot") == [(*words.colours, "L 5")], "a lot is of the colour it names"


def test_a_table_of_readings_is_read_likewise():
    pd = pytest.importorskip("pandas")
    row = {"ground": "silver", "colour": "violet 1 + cherry 2", "schedule": "2@4:1", "lot": "v + c"}
    *_, conditions = rows_of(pd.DataFrame([row]))
    assert conditions[0].lots == (("cherry", "c"), ("violet", "v"))


def test_what_a_row_says_of_its_spraying_counts_before_what_is_said_of_all(shop, tmp_path):
    at = ("--archive", shop.archive)
    (tmp_path / "own.csv").write_text(
        "ground,colour,schedule,clear,sprayer,lot,date\n"
        "silver,honey,3@4:1,yes,evening  BENCH,Lot 12,2026-01-31\n"
        "pale gold,lagoon,3@4:1,yes,,,\n"
        "silver,honey,3@4:1,yes,,,\n"
        "silver,honey,3@4:1,yes,Zoe,,\n"
    )
    (tmp_path / "r.csv").write_text(RECIPES)
    own, plain = (("predict", "--recipes", tmp_path / f, *at) for f in ("own.csv", "r.csv"))
    said = ("--sprayer", "evening bench", "--lot", "honey=lot 12", "--date", "2026-01-31")
    (mine, other, usual, nobody), whole = json_of(*own), json_of(*plain)
    numbers = ("L", "a", "b", "sd_L", "sd_a", "sd_b", "probability")
    asked = json_of(*plain, *said)[0]
    assert [mine[n] for n in numbers] == pytest.approx([asked[n] for n in numbers])
    assert [other["L"], usual["L"]] == pytest.approx([whole[1]["L"], whole[0]["L"]])
    assert nobody["sd_L"] > usual["sd_L"]
    notes = run(*own).stderr
    assert "Sprayer Zoe is on no panel" in notes
    assert "after the archive's last panel" in notes
    of_all = json_of(*own, "--sprayer", "apprentice")
    assert of_all[0]["L"] == pytest.approx(mine["L"])
    assert of_all[2]["L"] == pytest.approx(json_of(*plain, "--sprayer", "apprentice")[0]["L"])
    (tmp_path / "own.csv").write_text("ground,colour,schedule,date\nsilver,honey,3@4:1,soon\n")
    assert "This date cannot be read" in run(*own).stderr
