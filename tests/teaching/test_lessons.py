"""Lessons, ladders and a first day, on a small archive and on one that cannot teach."""

from __future__ import annotations

import re
from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from matchlib.colorimetry import expected_delta_e00
from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Panel, Reading, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.lessons import (
    KINDS,
    LESSONS,
    coat_ladder,
    first_day,
    lesson,
    make_exercise,
)
from matchlib.lessons.exercise import _trusted
from matchlib.overview import (
    panel_lab,
)
from matchlib.regression import FilmPredictor, FilmRegressor, frames_of
from matchlib.tails import region


def test_what_the_law_explains_is_what_its_own_tails_hold(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    view = model.usual_view
    panel = next(p for p in panels if not p.recipe.bare)
    predicted = model.predict_each([panel.recipe], view)
    root = np.linalg.cholesky(predicted.covariance[0])

    def asked(share: float, dof: float) -> bool:
        # As far out as the region of this share reaches, along one of its axes.
        far = share * np.sqrt(region(0.99, predicted.dof)[0])
        at = predicted.lab[0] + root @ np.array([far, 0.0, 0.0])
        read = panel.having(readings=(Reading(view, "spectrophotometer", tuple(at)),))
        few = copy(model)
        few.stack_ = replace(model.stack_, dof=np.full(5, dof))
        return bool(_trusted(few, [read], view))

    groups = float(predicted.known_dof[0])
    assert asked(0.999, groups)
    assert not asked(1.001, groups)
    # Were the scale of the law's errors known, such a panel would be odd before.
    assert not asked(0.999, float("inf"))


def test_a_ladder_is_the_law_with_the_panels_of_the_same_recipe(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    found = coat_ladder(
        model,
        panels,
        ground=Ground.parse("silver"),
        colour=Colour.parse("cherry"),
        ratio=MixRatio.parse("6:1"),
        most=4,
    )
    assert [r.coats for r in found] == [0, 1, 2, 3, 4]
    assert found[0].recipe.bare
    law = model.predict_recipes([r.recipe for r in found], model.usual_view)
    np.testing.assert_allclose([r.lab for r in found], law)
    predicted = model.predict_each([r.recipe for r in found], model.usual_view)
    away = expected_delta_e00(law, law, predicted.covariance, tolerance=1.0, dof=predicted.dof).mean
    np.testing.assert_allclose([r.spread for r in found], away)
    lightness = [r.lab[0] for r in found]
    assert lightness == sorted(lightness, reverse=True)
    # Exactly the panels with this recipe on their back stand beside the rung.
    three = {p.code for p in panels if p.recipe == found[3].recipe}
    assert {code for code, _ in found[3].panels} == three
    assert len(three) >= 2
    with pytest.raises(DomainError):
        coat_ladder(
            model,
            panels,
            ground=Ground.parse("silver"),
            colour=Colour.parse("cherry"),
            ratio=MixRatio.parse("6:1"),
            most=0,
        )


def test_every_lesson_has_its_numbers_from_the_law(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    for key, (title, rule, _) in LESSONS.items():
        found = lesson(model, panels, key)
        assert (found.title, found.rule) == (title, rule)
        assert found.finding
        if found.rows:
            assert len(found.labs) in (0, len(found.rows))
            assert all(len(row) == len(found.columns) for row in found.rows)
    ratio = lesson(model, panels, "ratio")
    assert "4 of colour poured into 32 of carrier is 8:1" in ratio.finding
    assert ratio.rows[0][4] == "14.3%"
    gold = lesson(model, panels, "gold")
    assert gold.supported
    assert all(row[-1] for row in gold.rows)
    assert lesson(model, panels, "evenness").supported
    assert lesson(model, panels, "value").rows[0][0] == "pearl white"


def test_the_lessons_of_one_card_follow_from_the_law(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    short = lesson(model, panels, "stop-short")
    assert short.supported
    chances = [float(row[-1].split()[-1].rstrip("%")) for row in short.rows]
    assert len(chances) == 3
    assert chances[1] > chances[0]
    stop = CoatSchedule.parse(short.rows[1][1])
    assert stop.strength < CoatSchedule.parse(short.rows[0][1]).strength
    weak = lesson(model, panels, "weak-last")
    assert weak.supported
    recipes = [CoatSchedule.parse(row[0].partition(": ")[2]) for row in weak.rows]
    # Two coats of half the strength are one of the whole: by fractions, not by parts of carrier.
    assert recipes[1].strength == pytest.approx(recipes[0].strength)
    share, shown = ([float(row[i].rstrip("%")) for row in weak.rows] for i in (4, 5))
    assert share[1] < share[0] < share[2]
    assert shown[1] < shown[0] < shown[2]
    other = lesson(model, panels, "another-ground")
    assert other.supported
    left = [float(row[4]) for row in other.rows]
    assert left == sorted(left, reverse=True)
    assert left[0] > 1.0
    assert "pot" in other.finding
    neat = {str(p.recipe.ground) for p in panels if p.recipe.ground.neat}
    assert {row[0] for row in other.rows} < neat


def test_a_lesson_says_when_the_archive_cannot_support_it(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    silver = [p for p in panels if p.recipe.ground == Ground.parse("silver")]
    for key in ("value", "gold", "evenness", "another-ground"):
        found = lesson(model, silver, key)
        assert not found.supported
        assert found.finding.startswith("This archive cannot say")
        assert not found.rows
    plain = [p for p in panels if p.recipe.schedule is None or len(p.recipe.schedule.steps) == 1]
    step = lesson(model, plain, "step-up")
    assert not step.supported
    assert "only a prediction" in step.finding
    bare = [p for p in panels if p.recipe.bare]
    assert not lesson(model, bare, "ratio").supported
    with pytest.raises(DomainError, match="no such lesson"):
        lesson(model, panels, "polishing")


def _few(*cards: tuple[str, str, tuple[float, float, float]]) -> list[Panel]:
    """Cards of rust, bare where the schedule is empty, each read once."""
    return [
        Panel.of(
            f"F{i}",
            Recipe.of(ground, "rust" if schedule else "", schedule, "yes"),
            readings=(Reading(lab=lab),),
        )
        for i, (ground, schedule, lab) in enumerate(cards)
    ]


_SILVER = (("silver", "", (62.0, -0.4, 0.6)), ("silver", "4@6:1", (33.0, 38.0, 22.0)))
_SILVER += (("silver", "2@6:1", (48.0, 22.0, 14.0)),)


def test_a_card_lighter_over_the_darker_ground_is_called_so() -> None:
    gold = ("gold", "", (60.0, 4.0, 26.0)), ("gold", "4@6:1", (38.0, 42.0, 36.0))
    few = _few(*_SILVER, *gold, ("gold", "2@6:1", (51.0, 26.0, 32.0)))
    model = FilmRegressor().fit(*frames_of(few))
    found = lesson(model, few, "value")
    assert not found.supported
    assert re.search(r", \d\.\d \(±\d\.\d\) lighter by the ground alone", found.finding)
    assert "does not go with how dark the ground is" in found.finding
    # A stop that does not pay is told with its chances, and is no card that cannot be approached.
    short = lesson(model, few, "stop-short")
    assert not short.supported
    assert re.search(r"No stop .* betters that \(\S+%\)", short.finding)


@pytest.mark.parametrize(("usual", "other"), [("12@1:1", "4@1:1"), ("1@16:1", "4@16:1")])
def test_a_shop_of_many_coats_or_weak_pots_is_judged_by_its_own(usual: str, other: str) -> None:
    full, half = (22.0, 38.0, 26.0), (38.0, 33.0, 20.0)
    if usual.startswith("1@"):
        full, half = (57.0, 6.0, 4.0), (46.0, 20.0, 12.0)
    few = _few(
        *(("silver", "", (62.0, -0.4, 0.6)), ("silver", other, half)),
        *(("silver", usual, (full[0] + d, *full[1:])) for d in (0.0, 0.2, 0.1)),
    )
    short = lesson(FilmRegressor().fit(*frames_of(few)), few, "stop-short")
    blind = float(re.search(r"chance of (\d+)%", short.finding)[1])
    assert blind > 20, "its own recipe, aimed at what it should read"


def test_a_ratio_of_equal_parts_says_why_it_shows_nothing() -> None:
    few = _few(_SILVER[0], ("silver", "2@1:1", (40.0, 30.0, 24.0)))
    found = lesson(FilmRegressor().fit(*frames_of(few)), few, "ratio")
    assert not found.supported
    assert found.finding.endswith("which is the same the wrong way round.")


def test_grounds_alike_are_not_said_to_be_beyond_coats() -> None:
    fog = ("fog", "", (62.1, -0.3, 0.7)), ("fog", "4@6:1", (33.2, 38.0, 22.2))
    few = _few(*_SILVER, *fog)
    found = lesson(FilmRegressor().fit(*frames_of(few)), few, "another-ground")
    assert not found.supported
    assert "over fog is too, to within ΔE00 0." in found.finding
    assert "begin anew" not in found.finding


def test_what_an_archive_lacks_for_lessons_and_questions_is_named() -> None:
    neat = _few(_SILVER[0], ("silver", "1@0:1", (40.0, 30.0, 24.0)))
    model = FilmRegressor().fit(*frames_of(neat))
    assert "no more colour than carrier" in lesson(model, neat, "value").finding
    with pytest.raises(DomainError, match="Got 1 such panel"):
        make_exercise(model, neat, "ground", seed=1)
    seen = [
        p.having(readings=(Reading(Viewing(geometry="photo"), "photo", p.readings[0].lab),))
        for p in _few(*_SILVER)
    ]
    with pytest.raises(DomainError, match=r"Got 0 such panels.*with an instrument"):
        make_exercise(FilmRegressor().fit(*frames_of(seen)), seen, "coats", seed=1)


def test_a_claim_follows_the_archive_and_not_the_rule(panels: tuple[Panel, ...]) -> None:
    """Call the gold ground graphite and the other way round: the yellow one is still found."""
    other = {"pale gold": "graphite", "graphite": "pale gold"}
    turned = [
        p.having(
            recipe=replace(
                p.recipe,
                ground=Ground.parse(other.get(str(p.recipe.ground), str(p.recipe.ground))),
            )
        )
        for p in panels
    ]
    found = lesson(FilmRegressor().fit(*frames_of(turned)), turned, "gold")
    assert found.columns[0] == "over graphite"
    assert found.supported


def test_a_first_day_from_bare_grounds_alone(panels: tuple[Panel, ...]) -> None:
    bare = [p for p in panels if p.recipe.bare]
    cherry = Colour.parse("cherry")
    cards = first_day(bare, cherry)
    assert 6 <= len(cards) <= 12
    grounds = {c.recipe.ground for c in cards}
    light = {
        p.recipe.ground: panel_lab(p, p.readings[0].viewing)[0]
        for p in bare
        if p.recipe.ground.neat
    }
    assert max(light, key=light.get) in grounds
    assert min(light, key=light.get) in grounds
    # Bare grounds first, then a let-down from weak to full, and one card sprayed twice.
    coated = [c.recipe for c in cards if not c.recipe.bare]
    assert [c.recipe.bare for c in cards] == sorted((c.recipe.bare for c in cards), reverse=True)
    first = [r.schedule.coats for r in coated[:3]]
    assert first == sorted(first)
    assert len(coated) == len(set(coated)) + 1
    same = [r.schedule for r in coated if r.schedule.coats == 2]
    assert same[1].strength == pytest.approx(2 * same[0].strength)
    assert all(c.done for c in cards if c.recipe.bare)
    assert not any(c.done for c in cards if not c.recipe.bare)
    with pytest.raises(DomainError, match="needs a ground"):
        first_day([], cherry)


def test_what_coats_cannot_do_is_said_of_this_colour_alone(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    found = lesson(model, panels, "another-ground").finding
    assert "however much of it is laid" in found
    assert "whatever is laid" not in found, "another pot may reach it, as the next sentence says"


def test_a_first_day_over_blends_alone_says_that_it_needs_a_neat_ground() -> None:
    over = Recipe.of("silver 3 + black 1", "cherry", "3@6:1", "yes")
    with pytest.raises(DomainError, match=r"a ground by itself.*Got 1 panel over blends"):
        first_day([Panel.of("B1", over)], Colour.parse("cherry"))
    with pytest.raises(DomainError, match="Got none in this archive"):
        first_day([], Colour.parse("cherry"))


@pytest.mark.parametrize("ratio", ["6:1", "5:2", "1:1", "1:2"])
def test_a_first_day_claims_twice_the_colour_only_where_a_pot_holds_it(
    panels: tuple[Panel, ...], ratio: str
) -> None:
    asked = MixRatio.parse(ratio)
    cards = first_day(panels, Colour.parse("cherry"), ratio=asked)
    claims = [c for c in cards if "as much colour as four" in c.teaches]
    assert len(claims) == (asked.fraction <= 0.5)
    for card in claims:
        assert card.recipe.schedule.strength == pytest.approx(4 * asked.fraction)


def test_of_a_card_sprayed_twice_the_second_wants_a_second_panel(
    panels: tuple[Panel, ...],
) -> None:
    cherry = Colour.parse("cherry")
    cards = first_day(panels, cherry)
    twice = next(c.recipe for c in cards if sum(d.recipe == c.recipe for d in cards) == 2)
    one = Panel.of("N1", twice, panels[0].readings)
    there = [c.done for c in first_day([*panels, one], cherry) if c.recipe == twice]
    assert "N1" in there[0]
    assert there[1] == ()
    two = Panel.of("N2", twice, panels[0].readings)
    there = [c.done for c in first_day([*panels, one, two], cherry) if c.recipe == twice]
    assert there[1] == ("N2",)


def test_lessons_come_in_a_beginners_order() -> None:
    order = list(LESSONS)
    assert order[:2] == ["value", "ratio"]
    assert order.index("step-up") > order.index("evenness")
    assert list(KINDS)[-2:] == ["change", "recipe"]


def test_no_lesson_calls_a_blue_warmer(model: FilmPredictor, panels: tuple[Panel, ...]) -> None:
    found = lesson(model, panels, "gold")
    text = " ".join([found.rule, found.finding, *(c for row in found.rows for c in row)])
    assert "warmer" not in text
    assert "cooler" not in text
    (lagoon,) = (row for row in found.rows if row[0] == "lagoon")
    assert "greener" in lagoon[-1] or "duller" in lagoon[-1]


def test_strong_coats_last_are_said_to_stripe(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    found = lesson(model, panels, "step-up")
    assert "weaker finishing coats even out" in found.rule
    strong, weak = re.search(r"bring (\d+)% .* (\d+)% when the weak", found.finding).groups()
    assert int(strong) > 50 > int(weak)


def test_a_card_that_is_not_read_yet_takes_no_lesson_away(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    new = [Panel.of("U1", Recipe.of("ivory", "cherry", "4@6:1", "yes"))]
    new += [Panel.of("U2", Recipe.of("silver", "plum", "4@6:1", "yes"))] * 99
    for key in LESSONS:
        assert lesson(model, [*new, *panels], key) == lesson(model, panels, key)
    for kind in KINDS:
        made = [make_exercise(model, some, kind, seed=1) for some in ([*new, *panels], panels)]
        assert made[0] == made[1]


def test_layers_are_named_by_all_their_colours_and_are_no_step_up(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    recipes = [
        Recipe.of(g, "", "2@6:1 cherry, 1@8:1 lagoon", "yes") for g in ("silver", "black", "copper")
    ]
    grounds = {str(p.recipe.ground) for p in panels}
    recipes = [r for r in recipes if str(r.ground) in grounds]
    labs = model.predict_recipes(recipes)
    laid = [
        Panel.of(f"L{i}", r, readings=(Reading(lab=tuple(map(float, lab))),))
        for i, (r, lab) in enumerate(zip(recipes, labs, strict=True))
    ]
    assert lesson(model, [*laid, *panels], "step-up") == lesson(model, panels, "step-up")
    # Those of one colour come first in the archive, and were all asked about lately.
    lately = {p.code for p in panels}
    asked = make_exercise(model, [*laid, *panels], "ground", seed=1, without=lately)
    assert asked.panel.startswith("L")
    assert asked.given.startswith("cherry then lagoon, 2 coats of cherry")
    asked = make_exercise(model, [*laid, *panels], "recipe", seed=1, without=lately)
    assert asked.texts[asked.right].startswith("cherry then lagoon over ")
