"""Readings of a card that cannot be: refused, doubted or averaged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matchlib.correction import Belief, Sprayed
from matchlib.domain import CoatSchedule, Recipe, three
from matchlib.errors import DomainError
from matchlib.steering import steer, too_soon
from matchlib.steering.checks import check_stages
from matchlib.target import Target
from tests.steering.outlooks import VIEW, expected, of


def test_readings_that_cannot_be_are_refused_in_words(model, recipe) -> None:
    bare = expected(model, Recipe(recipe.ground, clear="yes"))
    goal = expected(model, recipe)
    for lab, words in (
        ((bare[0] + 12.0, bare[1], bare[2]), "lighter than its bare ground"),
        ((max(goal[0] - 20.0, 0.5), 0.0, 0.0), "darker than a whole coat more"),
    ):
        with pytest.raises(DomainError, match=words) as caught:
            steer(model, [(recipe, lab)], Target.lab(*goal))
        assert caught.value.remedy
        steer(model, [(recipe, lab)], Target.lab(*goal), sure=True)


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


def test_repeats_are_averaged_viewing_by_viewing(model, recipe) -> None:
    other = replace(VIEW, illuminant="A")
    here, there = expected(model, recipe), three(model.predict_recipes([recipe], other)[0])
    more = tuple(v + 0.1 for v in here)
    one = Sprayed(recipe, here, VIEW, also=(Sprayed(recipe, there, other),))
    for again in (
        Sprayed(recipe, there, other, also=(Sprayed(recipe, more, VIEW),)),
        Sprayed(recipe, more, VIEW),
    ):
        for pair in ([one, again], [again, one]):
            (mean,) = check_stages(Belief.of(model), pair)
            read = {v.viewing: v.lab for v in mean.views}
            assert read[VIEW] == pytest.approx(np.array(here) + 0.05)
            assert read[other] == pytest.approx(there)
            assert mean.viewing == pair[0].viewing


def test_one_recipe_before_and_under_its_clear_is_two_stages(model, recipe) -> None:
    lab = expected(model, recipe)
    both = [Sprayed(recipe, lab, VIEW, clear_to_come=early) for early in (True, False)]
    assert check_stages(Belief.of(model), both) == both


def test_stages_out_of_order_are_refused(model, recipe) -> None:
    late = (recipe, expected(model, recipe))
    early = (of(recipe, "2@6:1"), expected(model, of(recipe, "2@6:1")))
    with pytest.raises(DomainError, match="stage 2"):
        steer(model, [late, early], Target.lab(*expected(model, recipe)))


def test_repeats_of_a_stage_are_averaged_unless_they_disagree(model, recipe) -> None:
    light, red, yellow = expected(model, recipe)
    near = [(recipe, (light + d, red, yellow)) for d in (-0.05, 0.05)]
    advice = steer(model, near, Target.lab(light, red, yellow))
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
        steer(model, [Sprayed(begun, tuple(read), VIEW)], Target.lab(*goal))
        for read in (lab, expected(model, of(recipe, "2@8.2:1")), lab + np.array([0, -14.0, 14.0]))
    )
    assert (right.unfitting, heavy.unfitting) == ("", "")
    assert heavy.learnt.film[0] > 0.02
    assert off.words.startswith("This does not fit")
    assert "If it reads so all the same: " in off.words
    assert off.learnt is off.card.before
    looked = steer(
        model, [Sprayed(begun, tuple(off.card.stages[0].lab), VIEW)], Target.lab(*goal), sure=True
    )
    assert "does not fit" in looked.unfitting
    assert "read it again" not in looked.unfitting
    assert looked.learnt.panels == 0
    assert looked.film == looked.learnt.film, "no film explains it"


def test_a_reading_too_soon_is_questioned_not_forbidden() -> None:
    assert "was it dry" in too_soon(4.0)
    assert not too_soon(40.0)
    assert not too_soon(None)
