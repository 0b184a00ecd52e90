"""The page of training pressed from Python."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import numpy as np

from matchlib.domain import Panel, Reading, Recipe
from matchlib.lessons import LESSONS
from matchlib.overview import card_lab
from tests.pages.pressing import plain, press, words_before_folds
from workbook.session import Session
from workbook.session.record import load_attempts
from workbook.training.app import TrainingScreen


def test_every_part_of_the_training_draws(shop: Session) -> None:
    screen = TrainingScreen(shop)
    page = press(screen, "open")
    assert "What does the ground do to" in page
    assert words_before_folds(page) < 120
    assert page.index("Ground value") < page.index("What a ratio is") < page.index("A first day")
    for part in ("ratio", "day", "reading", "guess", "lessons", "fades", "troubles", "words"):
        page = press(screen, "part", part)
        assert screen.error is None
        assert len(page) > 1500


def test_another_colour_and_its_panels(shop: Session) -> None:
    screen = TrainingScreen(shop)
    one = re.search(r"ground do to (\w+)", press(screen, "open"))
    two = re.search(r"ground do to (\w+)", press(screen, "another"))
    assert one
    assert two
    assert {one[1], two[1]} == {"cherry", "lagoon"}
    page = press(screen, "choose", colour="cherry", grounds="black", upto="3")
    assert "never sprayed with cherry" in plain(page)


def test_an_exercise_stands_in_the_address_and_is_recorded_once(shop: Session) -> None:
    screen = TrainingScreen(shop)
    press(screen, "open")
    press(screen, "part", "guess")
    asked = press(screen, "new", kind="coats", trainee="Ines")
    again = TrainingScreen(shop)
    again.address = dict(screen.address)
    press(again, "open")
    offered = re.findall(r'data-do="guess".*?</button>', asked)
    assert len(offered) > 1
    assert re.findall(r'data-do="guess".*?</button>', again.draw()) == offered
    page = press(screen, "guess", "1", kind="coats", trainee="Ines")
    assert "The answers" in page
    press(screen, "guess", "0", kind="coats", trainee="Ines")
    (held,) = load_attempts(shop.archive, "Ines")
    assert f"Card {held['panel']}." in page
    assert f"{held['miss']:.1f}" in plain(page)
    assert load_attempts(shop.archive, "") == []
    page = plain(press(screen, "choose", trainee=""))
    assert "Everybody on record" in page
    assert "Ines 1 " in page, "who teaches sees each trainee"


def test_only_what_was_asked_is_answered(shop: Session) -> None:
    screen = TrainingScreen(shop)
    press(screen, "open")
    screen.address = {"part": "guess", "kind": "coats", "seed": "5"}
    page = press(screen, "choose")
    (asked,) = map(html.unescape, re.findall(r'name="asked" value="([^"]*)"', page))
    lab = tuple(map(float, re.findall(r"[-−\d.]+", asked.split("; ")[1].replace("−", "-"))))
    cards = shop.archive.panels()
    (code,) = (p.code for p in cards if (v := card_lab(p)) and np.allclose(v, lab, atol=0.06))
    shop.archive.delete(code)  # on another tablet
    page = press(screen, "guess", "1", asked=asked, trainee="Ines")
    assert "asks something else now" in page
    assert "The answers" not in page
    assert load_attempts(shop.archive, "Ines") == []
    (now,) = map(html.unescape, re.findall(r'name="asked" value="([^"]*)"', page))
    page = press(screen, "guess", "1", asked=now, trainee="Ines")
    assert "The answers" in page
    assert len(load_attempts(shop.archive, "Ines")) == 1


def test_a_question_that_a_small_shop_cannot_ask_is_left_for_another(few: Session) -> None:
    screen = TrainingScreen(few)
    press(screen, "open")
    page = press(screen, "to_guess", kind="ground")
    assert "This archive cannot support the question" in page
    press(screen, "choose", kind="coats")
    page = press(screen, "new", kind="coats")
    assert screen.address["kind"] == "coats"
    assert "cannot support" not in page


def test_a_question_of_change_names_the_card_and_what_is_wanted(shop: Session) -> None:
    screen = TrainingScreen(shop)
    press(screen, "open")
    page = press(screen, "to_guess", kind="change")
    card, wanted = re.findall(r"(?:the card|what is wanted) (\S+ \S+ \S+?)[,\"<]", page)[:2]
    assert "aim " not in plain(page), "the card is not what is aimed at"
    assert card != wanted
    page = plain(press(screen, "guess", "0", kind="change"))
    assert "beside what is wanted" in page
    assert "beside the card" not in page


def test_a_lesson_is_worked_out_for_whoever_comes_by_its_address(shop: Session) -> None:
    screen = TrainingScreen(shop)
    screen.address = {"part": "lessons"}
    assert "Your cards" in press(screen, "open")


def test_one_lesson_leads_to_the_next_and_the_last_to_the_first(shop: Session) -> None:
    screen = TrainingScreen(shop)
    press(screen, "open")
    press(screen, "part", "lessons")
    titles = [re.findall(r"<h1[^>]*>(.*?)</h1>", press(screen, "next_lesson"))[0] for _ in LESSONS]
    assert titles == [title for title, *_ in [*LESSONS.values()][1:] + [*LESSONS.values()][:1]]


def test_an_edge_into_the_bare_ground_asks_for_no_other_end(shop: Session) -> None:
    screen = TrainingScreen(shop)
    press(screen, "open")
    page = press(screen, "part", "fades")
    assert "Coats of that end" not in page
    assert "Strips" not in page
    page = press(screen, "choose", two=next(iter(shop.archive.names("colour"))))
    assert "Coats of that end" in page
    assert "Strips" in page


def test_a_lesson_is_worked_out_anew_when_the_archive_was_changed(shop: Session) -> None:
    screen = TrainingScreen(shop)
    screen.address = {"part": "lessons"}
    assert "over black" in plain(press(screen, "open"))
    black = [p.code for p in shop.archive.panels() if str(p.recipe.ground) == "black"]
    for code in black:
        shop.archive.delete(code)  # on another tablet
    page = plain(press(screen, "choose", lesson="value"))
    assert "Your cards agree" in page
    assert "over black" not in page


def test_a_fade_stands_under_the_clear_coat_that_the_chart_has(
    few: Session, nothing: Session
) -> None:
    never = [p.having(recipe=replace(p.recipe, clear=None)) for p in few.archive.panels()]
    nothing.archive.add(never, who="test")
    screen = TrainingScreen(nothing)
    press(screen, "open")
    page = press(screen, "choose", colour="rust", ratio="6:1", grounds="silver", upto="4")
    steps = re.findall(r"silver: L\* ([-\d, ]+)", page)[0]
    page = plain(press(screen, "part", "fades"))
    full = float(re.findall(r"4@6:1 (\S+) ", page)[0])
    assert round(full) == int(steps.split(", ")[4])


def test_a_verdict_stays_with_the_question_that_was_answered(shop: Session) -> None:
    screen = TrainingScreen(shop)
    press(screen, "open")
    screen.address = {"part": "guess", "kind": "coats", "seed": "5"}
    page = press(screen, "guess", "1", trainee="Ines")
    (code,) = re.findall(r"Card (\S+?)\.", plain(page))
    shop.archive.delete(code)  # on another tablet
    page = press(screen, "choose", trainee="Ines")
    assert "The answers" not in page, "what is asked now, nobody has answered"
    assert 'data-do="guess"' in page
    page = press(screen, "guess", "0", trainee="Ines")
    assert "The answers" in page


def test_a_ratio_is_marked_with_its_sum(shop: Session) -> None:
    screen = TrainingScreen(shop)
    press(screen, "part", "ratio")
    page = press(screen, "drill", "0")
    assert "of 1 right" in page
    press(screen, "drill", "1")
    assert screen.drill_done == 1


def test_the_chart_shows_what_was_read_and_leaves_layers_to_themselves(few: Session) -> None:
    cards = [Panel.of("U1", Recipe.of("silver", "plum", "3@6:1", "yes"))]
    for i, (schedule, lab) in enumerate(
        (("1@6:1", (56.0, 12.0, 10.0)), ("2@6:1 rust, 1@8:1 teal", (42.0, 9.0, 4.0)))
    ):
        recipe = Recipe.of("silver", "rust", schedule, "yes")
        cards.append(Panel.of(f"N{i}", recipe, readings=(Reading(lab=lab),)))
    few.archive.add(cards, who="test")
    few.fit()
    screen = TrainingScreen(few)
    page = plain(press(screen, "open"))
    assert "plum" not in page, "nobody has read it yet"
    assert "N0 (1 coat): ΔE00" in page
    assert "N1" not in page, "it is no card of rust alone"
    assert "teal" in page


def test_a_fade_is_offered_between_colours_that_somebody_has_read(few: Session) -> None:
    few.archive.add([Panel.of("U1", Recipe.of("gold", "plum", "3@6:1", "yes"))], who="test")
    few.fit()
    page = press(TrainingScreen(few), "part", "fades")
    assert "rust" in page
    assert "plum" not in page
    assert "gold" not in page


def test_a_shop_that_cannot_be_learnt_from_yet_is_told_so(nothing: Session) -> None:
    screen = TrainingScreen(nothing)

    def told(part: str) -> str:
        page = plain(press(screen, "part", part))
        assert "Learning from" not in page
        assert "Asking the archive" not in page
        return page

    press(screen, "open")
    assert "The archive holds no reading" in told("guess")
    bare = [
        Panel.of(f"B{i}", Recipe.of(g, clear="yes"), readings=(Reading(lab=(v, 0.0, 0.0)),))
        for i, (g, v) in enumerate((("silver", 60.0), ("black", 5.0)))
    ]
    nothing.archive.add(bare, who="test")
    screen.changed()
    for part in ("guess", "lessons"):
        assert "There is nothing to learn a colour from" in told(part)
    assert "Spray a colour by itself first" in told("fades")
    cards = [
        Panel.of(
            f"C{n}", Recipe.of("silver", "rust", f"{n}@6:1", "yes"), readings=(Reading(lab=v),)
        )
        for n, v in ((1, (50.0, 12.0, 10.0)), (3, (38.0, 30.0, 22.0)))
    ]
    nothing.archive.add(cards, who="test")
    screen.changed()
    told("value")
    page = plain(press(screen, "choose", grounds="silver", upto="3"))
    assert "Lightness of rust by coats over 1 ground " in page
    assert "A card of this archive" in told("guess")
    assert "Your cards" in told("lessons")
    unread = Panel.of("U1", Recipe.of("fog", "plum", "2@6:1", "yes"))
    nothing.archive.add([unread], who="test")
    screen.changed()
    page = told("fades")
    assert ("rust" in page, "plum" in page, "fog" in page) == (True, False, False)
