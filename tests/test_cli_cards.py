"""Cards read in stages at the command line: what is refused, and what the next card learns."""

from __future__ import annotations

import pytest

from matchlib.archive import Archive
from matchlib.correction import Belief, Card, Sprayed
from matchlib.domain import Panel, Reading, Recipe
from tests.cli_shop import copied, demo_shop, json_of, refused, run, two_colours
from workbook.session import Session

AIM = ("--lab", 27.1, 45.9, 28.5)
GOLD = ("--ground", "pale gold", "--colour", "cherry", "--clear", "yes")
SHELF = ("--grounds", "pale gold", "--colours", "cherry")


@pytest.fixture(scope="module")
def archive():
    return demo_shop().archive


@pytest.mark.parametrize(
    ("card", "words"),
    [
        (("--schedule", "2@4:1", "--read", 95, 0, 0), "lighter than its bare ground"),
        (("--schedule", "2@4:1", "--read", 3, 2, 1), "darker than a whole coat more"),
        (
            ("--schedule", "2@4:1", "--read", 36, 52, 36, "--stage", "3@4:1=32,50,33"),
            "do not go on from those that are on the panel",
        ),
        (
            ("--schedule", "2@4:1", "--read", 36, 52, 36, "--stage", "2@4:1=39,52,36"),
            "differ by more than reading does",
        ),
    ],
)
def test_readings_that_no_card_can_have_are_refused_in_words(archive, card, words):
    output = refused("correct", *AIM, *GOLD, *card, "--looks", 1, "--archive", archive)
    assert words in " ".join(output.split())


def test_a_reading_that_does_not_fit_is_asked_about_and_teaches_the_next_card_nothing(archive):
    card = (*GOLD, "--before-clear", "--schedule", "2@3:1", "--looks", 1, "--archive", archive)
    right = json_of("correct", *AIM, *card, "--read", 35.5, 42.9, 25.7)
    assert (right["doubt"], right["state"]) == ("", "go on")
    off = json_of("correct", *AIM, *card, "--read", 33, 50, 35)
    assert off["doubt"].startswith("This does not fit")
    assert off["words"].startswith(off["doubt"])
    fresh = json_of("match", *AIM, *SHELF, "--readings", 2, "--archive", archive, "--top", 1)[0]
    assert off["next"]["steered"] == pytest.approx(fresh["card"]["steered"], abs=0.02)


def test_where_nothing_can_be_approached_it_is_said(archive):
    rows = json_of("match", *AIM, *SHELF, "--max-coats", 1, "--archive", archive, "--top", 1)
    assert rows[0]["card"] is None
    assert "from the light side within these limits" in rows[0]["notes"][0]


def staged(model) -> Panel:
    """A card that comes out a tenth too heavy at both of its looks."""
    view = model.usual_view
    half, whole = (Recipe.of("pale gold", "cherry", s, "yes") for s in ("2@4:1", "3@4:1"))
    more = [Recipe.of("pale gold", "cherry", s, "yes") for s in ("2@3.55:1", "3@3.55:1")]
    read = [Reading(view, lab=tuple(map(float, lab))) for lab in model.predict_recipes(more, view)]
    return Panel.of("CARD 1", half, (read[0],)).built_on(whole, readings=(read[1],))


def test_a_card_of_the_archive_without_its_clear_is_one_still_to_be_cleared(tmp_path):
    place = copied(tmp_path, two_colours())
    with Session.open(place) as session:
        card = Recipe.of("pale gold", "cherry", "2@3:1")
        session.archive.add([Panel.of("CARD 2", card, (Reading(lab=(35.5, 42.9, 25.7)),))])
    kept = json_of("correct", *AIM, "--tried", "CARD 2", "--looks", 1, "--archive", place)
    typed = (*GOLD, "--schedule", "2@3:1", "--read", 35.5, 42.9, 25.7)
    early = json_of("correct", *AIM, *typed, "--before-clear", "--looks", 1, "--archive", place)
    assert kept["state"] == early["state"] == "go on"
    assert kept["chance"] == pytest.approx(early["chance"], abs=0.02)


def test_a_card_read_before_its_clear_is_corrected_as_it_will_be_under_it(tmp_path):
    place, card = copied(tmp_path, two_colours()), Recipe.of("pale gold", "cherry", "4@4.5:1")
    read = tuple(Reading(lab=lab, state="before clear") for lab in ((28.7, 44.2, 25.2),) * 2)
    with Session.open(place) as session:
        session.archive.add([Panel.of("CARD 2", card, read)])
        session.archive.add([Panel.of("CARD 3", card, (Reading(lab=(28.7, 44.2, 25.2)),))])
    kept = json_of("correct", *AIM, "--tried", "CARD 2", "--archive", place)
    typed = (*GOLD, "--schedule", "4@4.5:1", "--read", 28.7, 44.2, 25.2, "--before-clear")
    early = json_of("correct", *AIM, *typed, "--archive", place)
    assert kept["difference"] == pytest.approx(early["difference"], abs=0.05)
    assert kept["difference"] < 1 < kept["difference_as_read"]
    bare = json_of("correct", *AIM, "--tried", "CARD 3", "--archive", place)
    assert bare["difference"] == bare["difference_as_read"], "nobody said that one is to come"


def test_a_card_read_in_stages_teaches_as_one_card_what_to_spray_next(tmp_path):
    place = copied(tmp_path, two_colours())
    with Session.open(place) as session:
        card, model = staged(session.model), session.model
        session.archive.add([card], who="test")
    rows = json_of("next", *AIM, *SHELF, "--tried", "CARD 1", "--archive", place)
    belief = Belief.of(model, recipes=[card.recipe])
    stages = [Sprayed.of((s.recipe, s.readings[0])) for s in card.stages]
    learnt = Card.of(belief, stages).learnt
    best = Recipe.of(rows[0]["ground"], rows[0]["colour"], rows[0]["schedule"], "yes")
    lab = learnt.predict_recipes([best])[0]
    assert [rows[0][k] for k in "Lab"] == pytest.approx(lab, abs=1e-6)
    # Two looks at one card tell less of the day than two cards would, and more than one look.
    once, twice = Card.of(belief, stages[:1]).learnt, belief.after(stages)
    assert twice.film[1] < learnt.film[1] < once.film[1]
    assert learnt.film[0] > 0.0
    with Archive.open(place) as kept:
        assert len(kept.panel("CARD 1").stages) == 2


def test_next_advises_a_card_read_on_its_way_where_that_is_worth_more(archive):
    rows = json_of("next", *AIM, *SHELF, "--archive", archive, "--max-coats", 4)
    card = rows[0]["card"]
    assert card["looks"]
    assert card["steered"] > rows[0]["probability"] + 0.02
    assert card["own"] is None or 0.0 <= card["own"] <= 1.0
    assert "let it dry, and read it" in card["words"]


def test_a_card_on_which_coats_were_laid_since_it_was_read_is_not_steered(shop):
    card = ("--panel", "K1", "--clear", "no", "--yes")
    first = ("--ground", "silver", "--colour", "rust", "--schedule", "2@8:1", "--lab", 52, 18, 16)
    run("add", *card, *first, cwd=shop)
    run("add", *card, "--on-top", "--schedule", "1@8:1", cwd=shop)
    words = refused("correct", "--tried", "K1", "--lab", 43, 30, 24, "--looks", 1, cwd=shop)
    assert "Coats were laid on card K1 since it was read" in words
