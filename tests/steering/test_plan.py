"""Cards planned before they are sprayed: where to read them, and what follows."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from matchlib.correction import Belief, Card, Sprayed
from matchlib.domain import CoatSchedule, Colour, Recipe
from matchlib.errors import DomainError
from matchlib.forecast import forecast
from matchlib.mixing import Limits
from matchlib.outcome import Outcome
from matchlib.sample import chances_of_own
from matchlib.steering import plan, steer
from matchlib.steering.approach import Approach, Task, _built, chance_of_own
from matchlib.steering.plan import SLIGHT, _notes
from matchlib.tails import drawn_out, normal_cloud
from matchlib.target import Aim, Target
from tests.cli_shop import demo_fit
from tests.steering.outlooks import VIEW, expected


def test_a_plan_reads_the_card_on_its_way_and_says_what_follows(model, recipe) -> None:
    target = Target.lab(*expected(model, recipe))
    found = plan(model, target, Limits(blends=False), readings=2, top=3)
    best = found[0]
    assert best.planned_readings[0].recipe.schedule is not None
    assert best.planned_readings[0].recipe.clear is None  # it is read before its clear coat
    assert best.first.schedule.strength < recipe.schedule.strength * 1.05
    assert best.whole.after(best.first) is not None
    assert best.steered > best.blind
    assert [one.case for one in best.likely] == ["light", "as expected", "dark"]
    assert best.likely[0].lab[0] > best.likely[1].lab[0] > best.likely[2].lab[0]
    assert best.plan.read_after == (best.planned_readings[0].after,)
    steered = [p.steered for p in found]
    assert steered == sorted(steered, reverse=True)


def test_of_pairs_without_hope_no_reading_is_asked_while_another_has_some(model, recipe) -> None:
    found = plan(model, Target.lab(*expected(model, recipe)), Limits(), readings=1, top=8)
    looks = [(one.blind >= SLIGHT, len(one.by_readings) > 1) for one in found]
    assert {True, False} == {hope for hope, _ in looks}
    assert all(hope == looked for hope, looked in looks)
    far = plan(model, Target.lab(30.0, 10.0, -60.0), Limits(), readings=1, top=8)
    assert max(one.blind for one in far) < SLIGHT
    assert len(far[0].by_readings) == 2  # where all are as bad, the nearest is looked at


def test_a_sample_sprayed_from_the_shelf_itself_has_a_better_chance(shop, young) -> None:
    # Eighteen panels leave hues open; of a colour that a pot of the shelf made, hue is not.
    targets = shop.reachable(4, 0)
    first = [plan(young, Target.lab(*t), Limits(blends=False), top=1)[0] for t in targets]
    assert all(one.own is not None and 0.0 <= one.own <= 1.0 for one in first)
    assert np.mean([one.own - one.steered for one in first]) > 0.1
    for one in first:
        text = "from these grounds and colours" in one.words
        assert text == (one.own > one.steered + 0.02)


def test_a_hue_that_no_pot_makes_is_of_no_sample_sprayed_here(model) -> None:
    best = plan(model, Target.lab(30.0, 10.0, -60.0), Limits(blends=False), top=1)[0]
    assert best.own is None
    assert "from these grounds" not in best.words


def test_a_law_that_is_known_learns_nothing_from_a_sample(model, recipe) -> None:
    sure = copy(model)
    sure.fitted_ = model.fitted_._replace(covariance=1e-9 * model.fitted_.covariance)
    target = Target.lab(*expected(model, recipe))
    best = plan(sure, target, Limits(blends=False), readings=1, top=1)[0]
    assert best.own == pytest.approx(best.steered, abs=0.05)


@pytest.mark.parametrize("coats", ["2@4:1", "3@3:1"])
def test_a_plan_counts_on_no_coats_that_turn_the_hue_away(model, recipe, coats) -> None:
    # A colour that turns with its mix ratio: what is begun at one ratio and ended at another is not
    # of the hue that either makes alone, and a card so begun would be lost.
    turning = copy(model)
    z = model.fitted_.z.copy()
    z[model.fitted_.law.slices["turn"]] = 0.8
    turning.fitted_ = model.fitted_._replace(z=z, covariance=0.04 * model.fitted_.covariance)
    whole = replace(recipe, schedule=CoatSchedule.parse(coats))
    target = Target.lab(*expected(turning, whole))
    best = plan(turning, target, Limits(blends=False), readings=1, top=1)[0]
    as_expected = next(one for one in best.likely if one.case == "as expected")
    assert best.steered > 0.5
    assert as_expected.state != "lost"
    assert as_expected.chance > best.steered - 0.1


def test_what_follows_a_first_coat_is_of_pots_that_the_shop_sprays(recipe) -> None:
    limits, whole = Limits(), replace(recipe, schedule=CoatSchedule.parse("2@2:1"))
    start = replace(recipe, schedule=CoatSchedule.parse("1@10:1"))
    richest = max(float(ratio.fraction) for ratio in limits.ratios())
    found = [film.schedule for film in _built(start, whole, limits)]
    more = [schedule.steps[1] for schedule in found]
    assert all(schedule.steps[0] == start.schedule.steps[0] for schedule in found)
    assert [s.strength for s in found] == sorted(s.strength for s in found)
    assert found[-1].strength == pytest.approx(1.3 * whole.schedule.strength, rel=0.02)
    assert all(1 / 31.5 < float(step.ratio.fraction) < 1.01 * richest for step in more)
    assert {step.coats for step in more} == {2, 3}  # one coat of the richest is too little


def test_more_looks_are_never_worth_less(model, recipe) -> None:
    target = Target.lab(*expected(model, recipe))
    best = plan(model, target, Limits(blends=False), readings=3, top=1)[0]
    assert len(best.by_readings) == 4
    assert all(b >= a - 0.02 for a, b in zip(best.by_readings, best.by_readings[1:], strict=False))


def test_what_a_plan_states_is_what_its_readings_will_say_on_average(shop, young) -> None:
    # An archive of so few panels knows its own spread badly: its readings are a Student's t.
    aim = tuple(shop.reachable(2, 0)[0])
    best = plan(young, Target.lab(*aim), Limits(blends=False), readings=1, top=1)[0]
    before = Belief.of(young, recipes=[best.whole])
    card = Card.of(before, about=best.planned_readings[0].recipe, viewings=[VIEW])
    predicted = card.together([best.planned_readings[0].recipe], [VIEW]).prediction
    assert predicted.dof[0] < 10
    cloud = normal_cloud(40, 3)
    reads = cloud * drawn_out(cloud, predicted.dof)[0][:, None]
    reads = reads @ np.linalg.cholesky(predicted.covariance[0]).T
    rows = [
        steer(
            before,
            [Sprayed(best.first, tuple(predicted.lab[0] + away), VIEW, clear_to_come=True)],
            Target.lab(*aim),
            Limits(blends=False),
            readings_left=0,
            sure=True,
        ).chance
        for away in reads
    ]
    assert best.steered == pytest.approx(np.mean(rows), abs=0.08)


def test_without_looks_a_plan_is_the_searchs_own(model, recipe) -> None:
    found = plan(model, Target.lab(*expected(model, recipe)), readings=0, top=2)
    today = plan(Belief.of(model), found.target, readings=0, top=1)
    assert found.notes == today.notes == ()  # whether looks would pay was not asked
    assert [p.whole for p in found] == [s.recipe for s in found.suggestions[:2]]
    assert all(not p.planned_readings and p.steered == p.blind for p in found)


def test_layers_are_judged_by_what_is_believed_today(model, shop) -> None:
    coats = CoatSchedule.parse(f"2@6:1 {shop.colours[0]}, 2@6:1 {shop.colours[1]}")
    recipe = Recipe(shop.grounds[0], None, coats, "yes")
    light, red, yellow = expected(model, recipe)
    target, layers = Target.lab(light, red, yellow), Limits(layers=True)
    today = Belief.of(model).after([Sprayed(recipe, (light - 1.5, red, yellow - 1.0), VIEW)])
    found = plan(today, target, layers, readings=0, top=60)
    layered = [p for p in found if len(p.whole.layers) > 1]
    assert max(p.blind for p in layered) > 0.2
    told = forecast(today, [p.whole for p in layered], target)
    assert [p.blind for p in layered] == pytest.approx([one.probability for one in told])


def test_one_coat_cannot_be_approached_but_two_weaker_ones_can(model, shop) -> None:
    one = Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("1@3:1"), "yes")
    target = Target.lab(*expected(model, one))
    best = plan(model, target, Limits(blends=False), top=1)[0]
    assert best.planned_readings
    assert best.first.schedule.strength < one.schedule.strength
    alone = plan(model, target, Limits(blends=False, max_coats=1), top=1)
    assert not alone[0].planned_readings
    assert "light side" in alone.notes[0]


def blind_of(recipe: Recipe) -> Outcome:
    """A recipe that passes three times in five if it is sprayed blind."""
    return Outcome(recipe, (0.0, 0.0, 0.0), np.eye(3), np.inf, 0.1, 0.5, 0.6)


@pytest.fixture(scope="module")
def approach(model, recipe) -> Approach:
    shop = Task(
        Belief.of(model, recipes=[recipe]),
        Target.lab(*expected(model, recipe)),
        [VIEW],
        Limits(blends=False),
        before_clear=False,
        source="spectrophotometer",
    )
    return Approach.of(shop, blind_of(recipe)).with_readings(1)


def test_by_whatever_film_a_pot_is_named_the_same_is_told_of_it(shop, young) -> None:
    made = Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("4@6:1"), "yes")
    target = Target.lab(*np.add(shop.truth_lab(made), [0.0, 1.5, 1.5]))
    start = Task(Belief.of(young), target, [VIEW], Limits(), before_clear=False, source="photo")
    named = (replace(made, schedule=CoatSchedule.parse(f"4@{r}:1")) for r in (4, 9))
    films = [replace(made, schedule=CoatSchedule.parse(f"{n}@6:1")) for n in (2, 4, 6)]
    weak, strong = (start.made_of(r).belief.predict_recipes(films) for r in named)
    np.testing.assert_allclose(weak, strong, atol=0.1)
    assert np.abs(weak - young.predict_recipes(films)).max() > 0.5  # it does tell something


def test_of_a_pot_that_made_the_sample_as_much_may_follow_as_it_takes(approach, recipe) -> None:
    light = replace(recipe, schedule=CoatSchedule.parse("2@6:1"))
    whole, half = (
        Approach.of(approach.task, blind_of(r)).with_readings(1) for r in (recipe, light)
    )
    assert half.by_readings[1] < 0.1 < whole.by_readings[1]
    half = half._replace(by_readings=(0.0, *half.by_readings[1:]))  # so that it is read at all
    assert chance_of_own([half]) > 0.7  # of no more than the half it would be none


def test_a_card_that_passes_more_often_blind_is_sprayed_blind(approach, recipe) -> None:
    assert approach.by_readings[0] == 0.6
    steered = approach._replace(by_readings=(0.6, 0.7)).plan()
    assert (len(steered.planned_readings), steered.steered, steered.blind) == (1, 0.7, 0.6)
    blind = approach._replace(by_readings=(0.6, 0.55)).plan()
    assert (blind.planned_readings, blind.steered, blind.first, blind.whole) == (
        (),
        0.6,
        recipe,
        recipe,
    )
    assert blind.words.startswith("Spray ")


def test_of_a_card_without_hope_only_the_first_look_is_said(approach) -> None:
    hopeless = approach._replace(by_readings=(0.01, 0.02, 0.03)).plan()
    assert len(hopeless.planned_readings) == 1
    assert (hopeless.whole, hopeless.likely) == (hopeless.first, ())
    hopeful = approach._replace(by_readings=(0.01, 0.02, 0.6)).plan()
    assert hopeful.whole != hopeful.first


def test_starts_that_are_dropped_before_a_second_reading_would_have_been_no_better(
    shop, young, monkeypatch
) -> None:
    for lab in shop.reachable(3, 0):
        target = Target.lab(*lab)
        few = plan(young, target, Limits(blends=False), readings=2, top=1)[0]
        with monkeypatch.context() as all_of_them:
            all_of_them.setattr("matchlib.steering.approach.THOUGHT_ON", 99)
            every = plan(young, target, Limits(blends=False), readings=2, top=1)[0]
        # Of 21 targets tried one lost 0.03, the others at most 0.002.
        assert few.steered == pytest.approx(every.steered, abs=0.04)
        assert few.by_readings[1] == every.by_readings[1]


def test_a_plan_shows_a_second_look_only_where_what_follows_asks_for_one(shop, young) -> None:
    looks = set()
    for source in ("spectrophotometer", "photo"):
        for lab in shop.reachable(6, 0):
            near = Limits(blends=False)
            card = plan(young, Target.lab(*lab), near, readings=2, top=1, source=source)[0]
            if card.planned_readings:
                expected = next(one for one in card.likely if one.case == "as expected")
                again = "then read it again" in expected.words
                assert len(card.planned_readings) == 1 + again
            looks.add(len(card.planned_readings))
    assert looks == {0, 1, 2}


def test_where_readings_tell_little_all_coats_may_be_laid_before_the_first(model, recipe) -> None:
    photo, sure = (
        Approach.of(
            Task(
                Belief.of(model), Target.lab(*expected(model, recipe)), [VIEW], Limits(), True, by
            ),
            blind_of(recipe),
        ).with_readings(1)
        for by in ("photo", "spectrophotometer")
    )
    assert recipe in photo.starts
    assert sure.first.schedule.strength < recipe.schedule.strength
    assert photo.by_readings[1] < sure.by_readings[1]


def test_how_far_the_target_itself_is_known_counts_as_where_a_card_is_sprayed_blind(
    model, recipe
) -> None:
    lab = expected(model, recipe)
    chances = []
    for covariance in (None, np.eye(3)):
        target = Target((Aim(lab, VIEW, covariance=covariance),))
        best = plan(model, target, Limits(blends=False), readings=1, top=1)[0]
        chances.append((best.blind, best.steered))
    assert chances[1][0] < chances[0][0] - 0.1
    assert chances[1][1] < chances[0][1] - 0.1


@pytest.mark.parametrize(
    ("by_readings", "words"),
    [
        ((0.8, 0.81, 0.815), "Looking at this card would add less than 2 in 100: spray it blind."),
        (
            (0.6, 0.9, 0.91),
            "A second look at this card would add less than 2 in 100: leave it out.",
        ),
        ((0.6, 0.61, 0.7), ""),
        ((0.6,), "No card of this target can be approached from the light side"),
    ],
)
def test_a_look_that_is_not_worth_its_time_is_said_to_be_none(approach, by_readings, words) -> None:
    best = approach._replace(by_readings=by_readings).plan()
    notes = _notes(best, "spectrophotometer")
    assert len(notes) == bool(words)
    assert all(note.startswith(words) for note in notes)


def test_of_two_pots_as_likely_the_one_that_is_no_blend_comes_first(approach, recipe) -> None:
    blend = replace(recipe, colour=Colour.parse("one 1 + two 7"))

    def place(colours: Recipe, chance: float) -> tuple[float, float]:
        about = replace(approach.candidate, recipe=colours)
        return approach._replace(candidate=about, by_readings=(0.0, chance)).place

    assert place(recipe, 0.30) < place(blend, 0.40)
    assert place(blend, 0.95) < place(recipe, 0.60)


def test_so_many_looks_only(model, recipe) -> None:
    with pytest.raises(DomainError, match="looks"):
        plan(model, Target.lab(*expected(model, recipe)), readings=4)


def test_a_sample_tells_nothing_of_the_film_that_is_laid_today() -> None:
    pot = Recipe.of("coarse silver", "honey", "2@5.9:1", "yes")
    fit, target = demo_fit(), Target.lab(63.72913676, 9.04848227, 77.1882402)
    belief = Belief.of(fit, recipes=[pot])
    shop = Task(belief, target, [VIEW], Limits(), before_clear=True, source="spectrophotometer")
    told = shop.made_of(pot).belief
    assert told.film == pytest.approx(belief.film, abs=1e-6)
    assert told.panels == belief.panels + 1
    # Samples that no eye tells apart have one chance.
    near = Target.lab(63.7, 9.0, 77.2)
    one, two = (plan(fit, aim, Limits(), readings=1, top=1)[0].own for aim in (target, near))
    assert one == pytest.approx(two, abs=0.1)


def test_a_card_sprayed_blind_passes_of_a_sample_of_the_shelf_as_often_as_a_match_says() -> None:
    sprayed = Recipe.of("coarse silver", "honey", "3@6:1", "yes")
    fit, limits = demo_fit(), Limits(blends=False)
    target = Target.lab(*(fit.predict_recipes([sprayed])[0] + (0.5, 0.3, 0.8)))
    blind = plan(fit, target, limits, readings=1, top=1)[0]
    assert not blind.planned_readings
    assert blind.own == blind.suggestion.own
    belief = Belief.of(fit, recipes=[sprayed])
    known = plan(belief, target, limits, readings=0, top=1)[0]
    (own,) = chances_of_own(fit, [known.whole], target, limits, knows=belief.together)
    assert known.own == pytest.approx(own, abs=0.02)
    assert known.own > known.blind
