"""A card read on its way and steered: what it teaches, and what to lay on it."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from matchlib.colorimetry import lch
from matchlib.correction import Belief, Card, Sprayed
from matchlib.correction.moves import continuations
from matchlib.domain import CoatSchedule, CoatStep, Colour, MixRatio, Recipe, Viewing
from matchlib.mixing import CoatUse, JobArea, Limits
from matchlib.regression import FilmRegressor
from matchlib.steering import correct, plan, steer
from matchlib.steering.steer import _failing
from matchlib.steering.topup import pot_of
from matchlib.target import Aim, Target
from tests.benchmarks.panels import to_frame
from tests.steering.outlooks import VIEW, expected, of, outlook


def test_less_than_a_coat_that_is_missing_comes_of_a_weaker_pot(model, recipe) -> None:
    # Rescued today with whole coats alone; an eighth of a coat needs a pot weaker than 10:1.
    goal = expected(model, of(recipe, "2@9:1 1@25:1"))
    read = Sprayed(of(recipe, "2@9:1"), expected(model, of(recipe, "2@9:1")), VIEW)
    advice = steer(model, [read], Target.lab(*goal, tolerance=0.4), readings_left=0)
    assert advice.state == "go on"
    assert advice.best.added.steps[-1].ratio < MixRatio(10, 1)
    assert "let down" in advice.best.words
    assert advice.best.pour.ml("carrier") > 0


def test_every_top_up_names_its_pot_and_the_cup_is_always_among_them(model, recipe) -> None:
    # A fifth of a coat is missing: one of the cup is far too much, and is told of all the same.
    goal = expected(model, of(recipe, "2@9:1 1@30:1"))
    read = Sprayed(of(recipe, "2@9:1"), expected(model, of(recipe, "2@9:1")), VIEW)
    found = steer(model, [read], Target.lab(*goal, tolerance=0.4), readings_left=0, cup_ml=50.0)
    kinds = {}
    for option in found.options:
        kinds.setdefault(
            "cup" if option.added.steps[-1].ratio == MixRatio(9, 1) else "weaker", option
        )
    assert set(kinds) == {"cup", "weaker"}
    assert kinds["cup"].words == "1 coat of what is in the cup"
    assert kinds["cup"].fresh is None
    weak = kinds["weaker"]
    assert "let down" in weak.words
    assert "; or of a fresh pot of" in weak.words
    assert weak.fresh.total_ml == pytest.approx(100.0)
    assert kinds["cup"].probability < weak.probability


def test_a_card_looked_at_by_photographs_is_judged_by_an_instrument(model, recipe) -> None:
    target, limits = Target.lab(*expected(model, recipe)), Limits(blends=False)
    photo, sure, blind = (
        plan(model, target, limits, readings=n, top=1, source=source)[0]
        for n, source in ((1, "photo"), (1, "spectrophotometer"), (0, "photo"))
    )
    assert photo.blind == blind.steered
    # What a photograph tells little of, it cannot make worse than never to have looked.
    assert blind.steered - 0.05 < photo.steered < sure.steered
    half = of(recipe, "2@6:1")
    read = Sprayed(half, expected(model, half), VIEW, "photo")
    found = steer(model, [read], Target.lab(*expected(model, recipe)), readings_left=0)
    assert found.best.probability > 0.5


def test_what_is_believed_of_a_card_moves_what_it_will_read_as_is_said(model, recipe) -> None:
    light, red, yellow = expected(model, of(recipe, "2@6:1"))
    read = Sprayed(of(recipe, "2@6:1"), (light + 1.0, red - 0.5, yellow + 0.7), VIEW)
    card = Card.of(Belief.of(model), [read])
    looks = [of(recipe, "2@6:1"), of(recipe, "2@6:1 1@9:1")], [VIEW]
    there = card.together(*looks)
    begun = len(card.before.mean)
    # Its film, its ground, its mottle under the viewing, and the film of its coats.
    for own in range(begun, len(card.mean)):
        moved = card.mean.copy()
        moved[own] += 1e-4
        then = replace(card, mean=moved).together(*looks)
        by = (then.prediction.lab - there.prediction.lab) / 1e-4
        np.testing.assert_allclose(by, there.slope[:, :, own], rtol=0.02, atol=0.02)


def test_a_card_that_is_there_is_left_alone(model, recipe) -> None:
    advice = steer(model, [(recipe, expected(model, recipe))], Target.lab(*expected(model, recipe)))
    assert advice.state == "there"
    assert advice.best is None
    assert advice.words.startswith("Stop, it is there")


def test_a_card_too_dark_is_lost_and_teaches_the_next(model, recipe) -> None:
    heavy = expected(model, of(recipe, "5@5:1"))
    advice = steer(model, [(recipe, heavy)], Target.lab(*expected(model, recipe)))
    assert advice.state == "lost"
    assert "too dark" in advice.words
    # The next card is believed to come out heavier than the archive's, and surer.
    before, after = Belief.of(model), advice.card.learnt
    assert after.film[0] > before.film[0]
    assert after.film[1] < before.film[1]
    again = plan(after, Target.lab(*expected(model, recipe)), Limits(blends=False), top=1)[0]
    assert again.first.schedule.strength < recipe.schedule.strength


def test_what_is_not_known_well_is_no_reason_to_give_a_card_up(model, recipe) -> None:
    # To a fifth of a ΔE00 nothing is known: a card expected right on its target goes on all the
    # same, for another would pass as seldom; one that is far off is lost.
    half = of(recipe, "2@6:1")
    read = Sprayed(half, expected(model, half), VIEW, "photo")
    goal = expected(model, recipe)
    near = steer(model, [read], Target.lab(*goal, tolerance=0.1), readings_left=0)
    assert near.state == "go on"
    assert near.chance < 0.1
    assert "Stop, no coats" not in near.words
    whole = Sprayed(recipe, goal, VIEW, "photo")
    done = steer(model, [whole], Target.lab(*goal, tolerance=0.1), readings_left=0)
    assert done.state == "there"
    assert "no coats make it likelier" in done.words
    far = (goal[0] + 9.0, goal[1], goal[2])
    assert steer(model, [whole], Target.lab(*far, tolerance=0.1), readings_left=0).state == "lost"


@pytest.mark.parametrize(
    ("shift", "named"),
    [
        ((0.4, 8.0, 0.0), ["too dull (chroma "]),
        ((0.0, -8.0, 0.0), ["too vivid (chroma "]),
        ((0.0, 0.0, 12.0), ["off in hue ("]),
        ((9.0, 0.0, 0.0), ["too dark (L* ", "coats only take light away"]),
        ((9.0, 0.0, 12.0), ["too dark (L* ", "off in hue (", "coats only take light away"]),
    ],
)
def test_what_is_said_of_a_lost_card_is_what_fails(model, recipe, shift, named) -> None:
    # Its neighbour in lightness, chroma or hue: where lightness lies within, it is not blamed.
    heavy = of(recipe, "5@5:1")
    light, chroma, hue = lch(expected(model, heavy)) + np.array(shift)
    red, yellow = chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))
    lost = steer(model, [(heavy, expected(model, heavy))], Target.lab(light, red, yellow))
    assert lost.state == "lost"
    assert all(word in lost.verdict for word in named), lost.verdict
    every = ("too dark", "too light", "too dull", "too vivid", "off in hue")
    assert sum(word in lost.verdict for word in every) == sum(" (" in word for word in named)
    assert "wanted" in lost.verdict


def test_of_a_card_lost_at_an_angle_that_angle_is_named(recipe) -> None:
    near, far = Viewing(geometry="45as15"), Viewing(geometry="45as110")
    target = Target((Aim((40.0, 30.0, 10.0), near), Aim((40.0, 30.0, 10.0), far)))
    labs = np.array([[[40.0, 30.0, 10.0]], [[40.0, 36.0, 12.0]]])
    words = _failing(target, labs, np.array([4.0]), [recipe])
    assert "too vivid" in words
    assert str(far) in words
    assert str(near) not in words


@pytest.mark.parametrize("laid", [(), ("4@6:1",), ("2@6:1", "4@6:1")])
def test_before_it_is_read_a_card_is_as_unsure_as_any_panel(model, recipe, laid) -> None:
    belief, hardly = Belief.of(model), 1e8 * np.eye(3)
    stages = [
        replace(Sprayed.of((of(recipe, s), expected(model, of(recipe, s)))), covariance=hardly)
        for s in laid
    ]
    card = Card.of(belief, stages, about=recipe, viewings=[VIEW])
    plain, predicted = belief.predict_each([recipe], VIEW), outlook(card, recipe)
    np.testing.assert_allclose(predicted.labs, plain.labs, atol=1e-6)
    # Four coats are those from which the spread of film was learnt.
    np.testing.assert_allclose(predicted.covariance, plain.covariance, rtol=0.01, atol=1e-3)


def test_a_cards_own_film_is_the_days_and_its_guns_and_goes_on(model, recipe) -> None:
    belief, half = Belief.of(model), of(recipe, "2@6:1")
    read = Sprayed.of((half, expected(model, half)))
    card = Card.of(belief, [replace(read, covariance=1e8 * np.eye(3))])
    assert card.film[1] ** 2 == pytest.approx(belief.film[1] ** 2 + 1.5 * card.coat_sd**2, rel=0.01)
    heavy = Card.of(belief, [replace(read, lab=expected(model, of(half, "2@5:1")))])
    usual = Card.of(belief, [read])
    assert outlook(heavy, recipe).lab[0, 0] < outlook(usual, recipe).lab[0, 0] - 0.1


def test_mottle_is_half_the_cards_and_half_the_places_and_haze_the_cards(model, recipe) -> None:
    rough, sizes = copy(model), model.fitted_.sizes
    more = np.sqrt(sizes.noise**2 + 0.5)
    rough.fitted_ = model.fitted_._replace(sizes=replace(sizes, noise=more))
    smooth, mottled = (Card.of(Belief.of(m), about=recipe, viewings=[VIEW]) for m in (model, rough))
    k = len(smooth.before.mean)
    at = slice(k + 2, k + 5)
    for more in (
        mottled.placing - smooth.placing,
        (mottled.covariance - smooth.covariance)[at, at],
    ):
        np.testing.assert_allclose(more, 0.25 * np.eye(3), atol=1e-9)
    # What else a card has for itself is read off it, and stays.
    read = np.add(expected(model, recipe), [0.5, 2.0, -2.0])
    sure = replace(Sprayed.of((recipe, tuple(read))), covariance=1e-8 * np.eye(3))
    card = Card.of(Belief.of(model), [sure])
    np.testing.assert_allclose(outlook(card, recipe).lab[0], read, atol=0.3)


def test_a_reading_tells_nothing_of_coats_laid_after_it(model, recipe) -> None:
    first = Sprayed.of((of(recipe, "2@6:1"), expected(model, of(recipe, "2@6:1"))))
    later = Sprayed.of((recipe, expected(model, recipe)))
    card = Card.of(Belief.of(model), [first, replace(later, covariance=1e8 * np.eye(3))])
    own = np.sqrt(np.diag(card.covariance)[-2:])
    assert own[0] < 0.99 * card.coat_sd / np.sqrt(2)
    assert own[1] == pytest.approx(card.coat_sd / np.sqrt(2), rel=1e-4)


def test_a_card_with_all_its_coats_may_get_one_of_the_colour_on_top(recipe) -> None:
    steps = (*recipe.schedule.steps, CoatStep(1, MixRatio(6, 1), Colour.parse("rose")))
    full = replace(recipe, schedule=CoatSchedule(steps))
    for most, counts in ((5, {1}), (7, {1, 2}), (12, {1, 2, 3})):
        found = continuations(full, Limits(max_coats=most))
        tops = [r.schedule.steps[-1] for r in found]
        assert {r.schedule.coats - full.schedule.coats for r in found} == counts
        assert {str(s.colour) for s in tops} == {"rose"}
        assert MixRatio(30, 1) in {s.ratio for s in tops}
    assert continuations(Recipe(recipe.ground), Limits()) == ()


def test_the_pot_of_coats_on_top_comes_of_the_cup_where_it_can(recipe) -> None:
    cup = MixRatio(6, 1)
    same, words = pot_of(cup, cup, recipe, cup_ml=70.0)
    assert (same.total_ml, words) == (70.0, "of what is in the cup")
    weaker, words = pot_of(MixRatio(20, 1), cup, recipe, cup_ml=70.0)
    # 70 ml at 6:1 hold 10 ml of colour: 210 ml at 20:1.
    assert weaker.total_ml == pytest.approx(210.0)
    assert weaker.ml("carrier") == pytest.approx(140.0)
    assert "140 ml carrier to 70 ml of it" in words
    # A last splash in the cup: to a whole millilitre the ratio would be another.
    _, words = pot_of(MixRatio(13, 2), cup, recipe, cup_ml=6.0)
    assert "0.43 ml carrier to 6 ml of it" in words
    assert "colour), for the cup is weaker: " in pot_of(MixRatio(4, 1), cup, recipe)[1]


def test_a_second_look_makes_surer_of_this_cards_film(model, recipe) -> None:
    first = Sprayed(of(recipe, "2@6:1"), expected(model, of(recipe, "2@6:1")), VIEW)
    second = Sprayed(recipe, expected(model, recipe), VIEW)
    belief = Belief.of(model)
    assert Card.of(belief, [first, second]).film[1] < Card.of(belief, [first]).film[1]


def test_what_the_clear_does_is_doubted_until_cards_were_read_on_both_sides(
    shop, model, recipe
) -> None:
    knows = FilmRegressor().fit(*to_frame((*shop.full(0), *shop.cards(6, 0))))
    sds = []
    for fit in (model, knows):
        early = replace(recipe, clear=None)
        read = Sprayed(recipe, expected(fit, early), VIEW, clear_to_come=True)
        advice = steer(fit, [read], Target.lab(*expected(fit, recipe)), readings_left=0)
        sds.append(float(np.sqrt(np.trace(advice.as_is.covariance))))
    assert sds[1] < 0.9 * sds[0]


def test_a_card_read_before_and_under_its_clear_tells_the_next_what_the_clear_does(
    model, recipe
) -> None:
    before, early = Belief.of(model), replace(recipe, clear=None)
    both = [
        Sprayed(recipe, expected(model, early), VIEW, clear_to_come=True),
        Sprayed(recipe, expected(model, recipe), VIEW),
    ]
    sds = []
    for belief in (before, Card.of(before, both).learnt):
        slope = belief.linear([recipe, early], VIEW).jacobian
        shift = slope[0] - slope[1]
        sds.append(float(np.sqrt(np.trace(shift @ belief.covariance @ shift.T))))
    assert sds[1] < 0.5 * sds[0]


def test_cards_read_before_and_after_their_clear_are_asked_for(shop, model, recipe) -> None:
    archive = shop.full(0)
    target = Target.lab(*expected(model, recipe))
    found = plan(model, target, Limits(blends=False), readings=1, top=1, archive=archive)
    assert "before its clear coat and after it" in found.notes[0]
    card = archive[0].having(code="pair", recipe=replace(recipe, clear=None))
    pair = card.built_on(recipe, readings=card.readings)
    found = plan(model, target, Limits(blends=False), readings=1, top=1, archive=[*archive, pair])
    assert not any("before its clear coat and after it" in n for n in found.notes)


def test_a_panel_corrected_and_a_card_steered_are_one(model, recipe) -> None:
    goal, limits = expected(model, of(recipe, "6@6:1")), Limits(max_coats=8)
    read = Sprayed(recipe, expected(model, recipe), VIEW)
    advice = correct(model, [read], Target.lab(*goal), limits)
    steered = steer(model, [read], Target.lab(*goal), limits, readings_left=0)
    assert advice.options == steered.options
    assert advice.panel_words == steered.verdict


def test_coats_on_top_are_held_to_the_stock_as_a_fresh_pot_is(model, recipe) -> None:
    begun, goal = of(recipe, "2@6:1"), Target.lab(*expected(model, recipe))
    read, area = Sprayed(begun, expected(model, begun), VIEW), JobArea.flat(1.0)
    use, (name,) = CoatUse.of_panel(60.0, area_m2=1.0, coats=1), recipe.colour.names
    each = float(Limits(area=area, use=use).mixed_ml(1)) / 7
    held = Limits(stock={name: 3.01 * each}, area=area, use=use)
    found = steer(model, [read], goal, held, readings_left=0)
    assert found.options
    assert all(held.enough_for(option.recipe) for option in found.options)
    nothing = Limits(stock={name: 2.01 * each}, area=area, use=use)
    lost = steer(model, [read], goal, nothing, readings_left=1)
    assert (lost.state, lost.options) == ("lost", ())
    assert "too little left for coats on top" in lost.verdict
    near = Target.lab(*expected(model, begun))
    assert steer(model, [read], near, nothing).state == "there"
    advice = correct(model, [read], goal, nothing)
    assert advice.options == ()
