"""One card, read on the way and steered: plans, advice from a reading, and what is refused."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from matchlib.colorimetry import lch
from matchlib.correction import Belief, Card, Sprayed
from matchlib.correction.moves import continuations
from matchlib.domain import CoatSchedule, CoatStep, Colour, MixRatio, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.mixing import Limits
from matchlib.regression import FilmRegressor, Prediction
from matchlib.steering import correct, plan, steer, too_soon
from matchlib.steering.approach import Approach, Candidate
from matchlib.steering.approach import Shop as At
from matchlib.steering.checks import check_stages
from matchlib.steering.topup import let_down, pot_of
from matchlib.tails import drawn_out, normal_cloud
from matchlib.target import Target
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Shop

VIEW = Viewing()


@pytest.fixture(scope="module")
def shop() -> Shop:
    return Shop(0)


@pytest.fixture(scope="module")
def model(shop: Shop) -> FilmRegressor:
    return FilmRegressor().fit(*to_frame(shop.full(0)))


@pytest.fixture(scope="module")
def young(shop: Shop) -> FilmRegressor:
    """A fit of so few panels that it hardly knows its own spread."""
    return FilmRegressor().fit(*to_frame(shop.young(0)))


@pytest.fixture(scope="module")
def recipe(shop: Shop) -> Recipe:
    return Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("4@6:1"), "yes")


def expected(model: FilmRegressor, recipe: Recipe) -> tuple[float, float, float]:
    light, red, yellow = model.predict_recipes([recipe], VIEW)[0]
    return float(light), float(red), float(yellow)


def outlook(card: Card, recipe: Recipe) -> Prediction:
    return card.outlook([recipe], card.ahead([recipe], [VIEW]))


def of(recipe: Recipe, schedule: str) -> Recipe:
    return replace(recipe, schedule=CoatSchedule.parse(schedule))


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
    sure.fitted_ = replace(model.fitted_, covariance=1e-9 * model.fitted_.covariance)
    target = Target.lab(*expected(model, recipe))
    best = plan(sure, target, Limits(blends=False), readings=1, top=1)[0]
    assert best.own == pytest.approx(best.steered, abs=0.05)


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
    ahead = card.ahead([best.planned_readings[0].recipe], [VIEW])
    predicted = card.outlook([best.planned_readings[0].recipe], ahead)
    assert predicted.dof[0] < 10
    cloud = normal_cloud(40, 3)
    reads = cloud * drawn_out(cloud, predicted.dof)[0][:, None]
    reads = reads @ np.linalg.cholesky(predicted.covariance[0]).T
    rows = [
        steer(
            before,
            [Sprayed(best.first, tuple(ahead.labs[0, 0] + away), VIEW, clear_to_come=True)],
            aim,
            Limits(blends=False),
            readings_left=0,
            sure=True,
        ).chance
        for away in reads
    ]
    assert best.steered == pytest.approx(np.mean(rows), abs=0.08)


def test_without_looks_a_plan_is_the_searchs_own(model, recipe) -> None:
    found = plan(model, Target.lab(*expected(model, recipe)), readings=0, top=2)
    assert [p.whole for p in found] == [s.recipe for s in found.suggestions[:2]]
    assert all(not p.planned_readings and p.steered == p.blind for p in found)


def test_one_coat_cannot_be_approached_but_two_weaker_ones_can(model, shop) -> None:
    one = Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("1@3:1"), "yes")
    target = Target.lab(*expected(model, one))
    best = plan(model, target, Limits(blends=False), top=1)[0]
    assert best.planned_readings
    assert best.first.schedule.strength < one.schedule.strength
    alone = plan(model, target, Limits(blends=False, max_coats=1), top=1)
    assert not alone[0].planned_readings
    assert "light side" in alone.notes[0]


@pytest.fixture(scope="module")
def approach(model, recipe) -> Approach:
    shop = At(
        Belief.of(model, recipes=[recipe]),
        Target.lab(*expected(model, recipe)),
        [VIEW],
        Limits(blends=False),
        before_clear=False,
        source="spectrophotometer",
    )
    return Approach.of(shop, Candidate(recipe, 0.1, 0.6)).with_readings(1)


def test_a_card_that_passes_more_often_blind_is_sprayed_blind(approach, recipe) -> None:
    assert approach.by_readings[0] == 0.6
    steered = replace(approach, by_readings=(0.6, 0.7)).plan()
    assert (len(steered.planned_readings), steered.steered, steered.blind) == (1, 0.7, 0.6)
    blind = replace(approach, by_readings=(0.6, 0.55)).plan()
    assert (blind.planned_readings, blind.steered, blind.first, blind.whole) == (
        (),
        0.6,
        recipe,
        recipe,
    )
    assert blind.words.startswith("Spray ")


def test_of_two_pots_as_likely_the_one_that_is_no_blend_comes_first(approach, recipe) -> None:
    blend = replace(recipe, colour=Colour.parse("one 1 + two 7"))

    def place(colours: Recipe, chance: float) -> tuple[float, float]:
        about = replace(approach.candidate, recipe=colours)
        return replace(approach, candidate=about, by_readings=(0.0, chance)).place

    assert place(recipe, 0.30) < place(blend, 0.40)
    assert place(blend, 0.95) < place(recipe, 0.60)


def test_less_than_a_coat_that_is_missing_comes_of_a_weaker_pot(model, recipe) -> None:
    # Rescued today with whole coats alone; an eighth of a coat needs a pot weaker than 10:1.
    goal = expected(model, of(recipe, "2@9:1 1@25:1"))
    read = Sprayed(of(recipe, "2@9:1"), expected(model, of(recipe, "2@9:1")), VIEW)
    advice = steer(model, [read], (goal[0], goal[1], goal[2]), readings_left=0, tolerance=0.4)
    assert advice.state == "go on"
    assert advice.best.added.steps[-1].ratio < MixRatio(10, 1)
    assert "let down" in advice.best.words
    assert advice.best.pour.ml("carrier") > 0


def test_every_top_up_names_its_pot_and_the_cup_is_always_among_them(model, recipe) -> None:
    # A fifth of a coat is missing: one of the cup is far too much, and is told of all the same.
    goal = expected(model, of(recipe, "2@9:1 1@30:1"))
    read = Sprayed(of(recipe, "2@9:1"), expected(model, of(recipe, "2@9:1")), VIEW)
    found = steer(model, [read], goal, readings_left=0, tolerance=0.4, cup_ml=50.0)
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
    found = steer(model, [read], expected(model, recipe), readings_left=0)
    assert found.best.probability > 0.5


def test_a_card_that_is_there_is_left_alone(model, recipe) -> None:
    advice = steer(model, [(recipe, expected(model, recipe))], expected(model, recipe))
    assert advice.state == "there"
    assert advice.best is None
    assert advice.words.startswith("Stop, it is there")


def test_a_card_too_dark_is_lost_and_teaches_the_next(model, recipe) -> None:
    heavy = expected(model, of(recipe, "5@5:1"))
    advice = steer(model, [(recipe, heavy)], expected(model, recipe))
    assert advice.state == "lost"
    assert "too dark" in advice.words
    # The next card is believed to come out heavier than the archive's, and surer.
    before, after = Belief.of(model), advice.card.learnt
    assert after.film[0] > before.film[0]
    assert after.film[1] < before.film[1]
    again = plan(after, Target.lab(*expected(model, recipe)), Limits(blends=False), top=1)[0]
    assert again.first.schedule.strength < recipe.schedule.strength


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
    lost = steer(model, [(heavy, expected(model, heavy))], (light, red, yellow))
    assert lost.state == "lost"
    assert all(word in lost.verdict for word in named), lost.verdict
    every = ("too dark", "too light", "too dull", "too vivid", "off in hue")
    assert sum(word in lost.verdict for word in every) == sum(" (" in word for word in named)
    assert "wanted" in lost.verdict


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
    assert card.film[1] ** 2 == pytest.approx(belief.film[1] ** 2 + 1.5 * card.gun**2, rel=0.01)
    heavy = Card.of(belief, [replace(read, lab=expected(model, of(half, "2@5:1")))])
    usual = Card.of(belief, [read])
    assert outlook(heavy, recipe).lab[0, 0] < outlook(usual, recipe).lab[0, 0] - 0.1


def test_mottle_is_half_the_cards_and_half_the_places_and_haze_the_cards(model, recipe) -> None:
    rough, sizes = copy(model), model.fitted_.sizes
    more = np.sqrt(sizes.noise**2 + 0.5)
    rough.fitted_ = replace(model.fitted_, sizes=replace(sizes, noise=more))
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
    assert own[0] < 0.99 * card.gun / np.sqrt(2)
    assert own[1] == pytest.approx(card.gun / np.sqrt(2), rel=1e-4)


def test_a_card_with_all_its_coats_may_get_one_of_the_colour_on_top(recipe) -> None:
    steps = (*recipe.schedule.steps, CoatStep(1, MixRatio(6, 1), Colour.parse("rose")))
    full = replace(recipe, schedule=CoatSchedule(steps))
    for most, counts in ((5, {1}), (7, {1, 2}), (12, {1, 2, 3})):
        found = continuations(full, Limits(max_coats=most))
        tops = [r.schedule.steps[-1] for r in found]
        assert {r.schedule.coats - full.schedule.coats for r in found} == counts
        assert {str(s.colour) for s in tops} == {"rose"}
        assert MixRatio(30, 1) in {s.ratio for s in tops}
    assert continuations(Recipe(recipe.ground), Limits()) == []


def test_the_pot_of_coats_on_top_comes_of_the_cup_where_it_can(recipe) -> None:
    cup = MixRatio(6, 1)
    same, words = pot_of(cup, cup, recipe, cup_ml=70.0)
    assert (same.total_ml, words) == (70.0, "of what is in the cup")
    weaker, words = pot_of(MixRatio(20, 1), cup, recipe, cup_ml=70.0)
    assert weaker.ml("carrier") == pytest.approx(140.0)
    assert "140 ml carrier to 70 ml of it" in words
    assert "fresh pot" in pot_of(MixRatio(4, 1), cup, recipe)[1]


def test_a_second_look_makes_surer_of_this_cards_film(model, recipe) -> None:
    first = Sprayed(of(recipe, "2@6:1"), expected(model, of(recipe, "2@6:1")), VIEW)
    second = Sprayed(recipe, expected(model, recipe), VIEW)
    belief = Belief.of(model)
    assert Card.of(belief, [first, second]).film[1] < Card.of(belief, [first]).film[1]


def test_what_the_clear_does_is_doubted_until_cards_were_read_on_both_sides(shop, recipe) -> None:
    cleared = shop.full(0)
    both = (*cleared, *shop.cards(6, 0))
    sds = []
    for archive in (cleared, both):
        model = FilmRegressor().fit(*to_frame(archive))
        early = replace(recipe, clear=None)
        read = Sprayed(recipe, expected(model, early), VIEW, clear_to_come=True)
        advice = steer(model, [read], expected(model, recipe), readings_left=0)
        sds.append(float(np.sqrt(np.trace(advice.covariance))))
    assert sds[1] < 0.9 * sds[0]


def test_readings_that_cannot_be_are_refused_in_words(model, recipe) -> None:
    bare = expected(model, Recipe(recipe.ground, clear="yes"))
    goal = expected(model, recipe)
    for lab, words in (
        ((bare[0] + 12.0, bare[1], bare[2]), "lighter than its bare ground"),
        ((max(goal[0] - 20.0, 0.5), 0.0, 0.0), "darker than a whole coat more"),
    ):
        with pytest.raises(DomainError, match=words) as caught:
            steer(model, [(recipe, lab)], goal)
        assert caught.value.remedy
        steer(model, [(recipe, lab)], goal, sure=True)


@pytest.mark.parametrize(("far", "refused"), [(3.0, False), (5.0, True)])
def test_four_standard_deviations_are_too_far(model, shop, far: float, refused: bool) -> None:
    recipe = Recipe(shop.grounds[0], shop.colours[0], CoatSchedule.parse("2@6:1"), "yes")
    more = of(recipe, "3@6:1")  # a card so heavy is possible
    belief, bare = Belief.of(model), Recipe(recipe.ground, clear="yes")
    predicted = belief.predict_each([bare, recipe, more], VIEW)
    (most, _, least), sd = predicted.lab[:, 0], np.sqrt(predicted.covariance[:, 0, 0])
    for light in (most + far * sd[0], least - far * sd[1]):
        read = Sprayed(recipe, (float(light), 0.0, 0.0), VIEW)
        if refused:
            with pytest.raises(DomainError, match="This reading is"):
                check_stages(belief, [read])
        assert check_stages(belief, [read], sure=refused) == [read]


def test_over_a_dark_ground_a_colour_may_be_the_lighter(model, shop) -> None:
    black = next(g for g in shop.grounds if str(g) == "solid black")
    over = Recipe(black, shop.colours[0], CoatSchedule.parse("3@6:1"), "yes")
    belief = Belief.of(model)
    predicted = belief.predict_each([Recipe(black, clear="yes"), over], VIEW)
    light = float(predicted.lab[0, 0] + 6.0 * np.sqrt(predicted.covariance[0, 0, 0]))
    assert check_stages(belief, [Sprayed(over, (light, 0.0, 0.0), VIEW)])


def test_one_recipe_before_and_under_its_clear_is_two_stages(model, recipe) -> None:
    lab = expected(model, recipe)
    both = [Sprayed(recipe, lab, VIEW, clear_to_come=early) for early in (True, False)]
    assert check_stages(Belief.of(model), both) == both


def test_stages_out_of_order_are_refused(model, recipe) -> None:
    late = (recipe, expected(model, recipe))
    early = (of(recipe, "2@6:1"), expected(model, of(recipe, "2@6:1")))
    with pytest.raises(DomainError, match="stage 2"):
        steer(model, [late, early], expected(model, recipe))


def test_repeats_of_a_stage_are_averaged_unless_they_disagree(model, recipe) -> None:
    light, red, yellow = expected(model, recipe)
    near = [(recipe, (light + d, red, yellow)) for d in (-0.05, 0.05)]
    advice = steer(model, near, (light, red, yellow))
    (stage,) = advice.card.stages
    assert stage.lab == pytest.approx((light, red, yellow))
    # Four standard deviations of a difference, 0.08 of each reading, along three axes.
    for apart, refused in ((0.7, False), (0.9, True)):
        twice = [Sprayed(recipe, (light + d, red, yellow), VIEW) for d in (0.0, apart)]
        if refused:
            with pytest.raises(DomainError, match="differ by more than reading"):
                check_stages(Belief.of(model), twice)
        else:
            assert len(check_stages(Belief.of(model), twice)) == 1


def test_a_reading_that_more_or_less_film_does_not_make_is_doubted(model, recipe) -> None:
    begun = of(recipe, "2@9:1")
    lab = np.array(expected(model, begun))
    goal = expected(model, of(recipe, "3@9:1"))
    right, heavy, off = (
        steer(model, [Sprayed(begun, tuple(read), VIEW)], goal)
        for read in (lab, expected(model, of(recipe, "2@8.2:1")), lab + np.array([0, -14.0, 14.0]))
    )
    assert (right.unfitting, heavy.unfitting) == ("", "")
    assert heavy.learnt.film[0] > 0.02
    assert off.words.startswith("This does not fit")
    assert "If it reads so all the same: " in off.words
    assert off.learnt is off.card.before
    looked = steer(model, [Sprayed(begun, tuple(off.card.stages[0].lab), VIEW)], goal, sure=True)
    assert looked.unfitting == ""
    assert looked.learnt.panels == 1


def test_a_cup_is_let_down_never_up() -> None:
    made = let_down(MixRatio(6, 1), MixRatio(20, 1), 70.0)
    # 70 ml at 6:1 hold 10 ml of colour: 210 ml at 20:1.
    assert made.total_ml == pytest.approx(210.0)
    assert made.ml("carrier") == pytest.approx(140.0)
    with pytest.raises(DomainError, match="richer"):
        let_down(MixRatio(6, 1), MixRatio(4, 1), 70.0)


def test_a_reading_too_soon_is_questioned_not_forbidden() -> None:
    assert "was it dry" in too_soon(4.0)
    assert not too_soon(40.0)
    assert not too_soon(None)


def test_cards_read_before_and_after_their_clear_are_asked_for(shop, model, recipe) -> None:
    archive = shop.full(0)
    target = Target.lab(*expected(model, recipe))
    found = plan(model, target, Limits(blends=False), readings=1, top=1, archive=archive)
    assert "before its clear coat and after it" in found.notes[0]
    card = archive[0].having(code="pair", recipe=replace(recipe, clear=None))
    pair = card.built_on(recipe, readings=card.readings)
    found = plan(model, target, Limits(blends=False), readings=1, top=1, archive=[*archive, pair])
    assert not any("before its clear coat and after it" in n for n in found.notes)


def test_so_many_looks_only(model, recipe) -> None:
    with pytest.raises(DomainError, match="looks"):
        plan(model, Target.lab(*expected(model, recipe)), readings=4)


def test_a_panel_corrected_and_a_card_steered_are_one(model, recipe) -> None:
    goal, limits = expected(model, of(recipe, "6@6:1")), Limits(max_coats=8)
    read = Sprayed(recipe, expected(model, recipe), VIEW)
    advice = correct(model, [read], goal, limits)
    steered = steer(model, [read], goal, limits, readings_left=0)
    assert advice.options == steered.options
    assert advice.panel_words == steered.verdict
