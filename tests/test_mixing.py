"""Pots, bottles and stated ratios: what is poured adds up and is never the wrong way round."""

import json
import math
import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib import mixing
from matchlib.domain import CoatSchedule, CoatStep, Colour, Ground, MixRatio, Recipe
from matchlib.errors import DomainError
from matchlib.mixing.pour import by_marks, pour
from matchlib.plain import shown
from tests.trade_words import MIXES

VOLUMES = st.floats(1, 5000)
TRANSFERS = st.tuples(st.floats(0.1, 0.6), st.floats(0.01, 0.4)).map(
    lambda p: mixing.TransferRange(p[0], p[0] + p[1])
)
BLEND = Colour.parse("teal 2 + violet 1")
USE = mixing.CoatUse.of_film(12, volume_solids=0.3, transfer=mixing.TransferRange(0.5, 0.7))


@given(VOLUMES, MIXES)
def test_a_pour_adds_up_and_keeps_its_ratio(total, ratio):
    pot = pour(total, ratio, colour=BLEND)
    assert pot.ml("carrier") + pot.ml("colour") == pytest.approx(total, rel=1e-12)
    assert pot.ml("colour") / pot.total_ml == pytest.approx(ratio.fraction, rel=1e-12)
    _, teal, violet = pot.portions
    assert teal.ml == pytest.approx(2 * violet.ml, rel=1e-12)


@given(VOLUMES, MIXES, st.floats(0.01, 1))
def test_a_third_part_leaves_the_ratio_of_the_other_two(total, ratio, share):
    pot = pour(total, ratio, colour=BLEND, third=mixing.Third("reducer", share))
    both = pot.ml("carrier") + pot.ml("colour")
    assert both + pot.ml("third") == pytest.approx(total, rel=1e-12)
    assert pot.ml("third") == pytest.approx(share * both, rel=1e-9)
    assert pot.ml("colour") / both == pytest.approx(ratio.fraction, rel=1e-9)


def test_the_scale_runs_on():
    # 70 ml at 6:1 is 60 and 10; 60 at 0.95 is 57 g, and 10 of 2 + 1 at 0.9 and 1.2 are 6 and 4 g.
    densities = {"carrier": 0.95, "teal": 0.9, "Violet": 1.2}
    pot = pour(70, MixRatio(6, 1), colour=BLEND, densities=densities)
    assert "carrier to 57.0 g, then colour (teal) to 63.0 g, then colour (violet) to 67.0 g" in (
        pot.scale
    )


def test_weights_only_where_densities_are():
    pot = pour(70, MixRatio(6, 1), colour=BLEND, densities={"carrier": 0.95})
    assert pot.portions[0].g == pytest.approx(57)
    assert not pot.scale
    with pytest.raises(DomainError, match="not in this pot"):
        pour(70, MixRatio(6, 1), densities={"purple": 1.0})
    with pytest.raises(DomainError, match="density"):
        pour(70, MixRatio(6, 1), densities={"carrier": 950})


def off(pour):
    """How far the shares of a pot are from its ratio, from what is poured and kept alone."""
    old = pour.kept_ml * (0 if pour.kept is None else pour.kept.ratio.fraction)
    return abs((pour.ml("colour") + old) / pour.total_ml / pour.ratio.fraction - 1)


@given(MIXES, st.floats(20, 3000), st.sampled_from([0.5, 1.0, 5.0, 10.0]))
def test_marks_are_enough_and_whole(ratio, volume, mark):
    try:
        pot = by_marks(volume, ratio, mark_ml=mark)
    except DomainError as error:
        assert "coarse" in str(error)  # noqa: PT017 - either outcome is right, but only this error
        return
    assert pot.total_ml >= volume - 1e-6
    assert pot.ml("carrier") + pot.ml("colour") == pytest.approx(pot.total_ml)
    assert all(p.ml % mark == pytest.approx(0) for p in pot.portions)
    assert pot.error == pytest.approx(off(pot), abs=1e-9)


@given(st.integers(1, 30), st.integers(1, 8), st.floats(10, 500), st.sampled_from([5.0, 10.0]))
def test_no_pot_is_far_off_beside_an_exact_mark(carrier, colour, volume, mark):
    ratio = MixRatio(carrier, colour)
    try:
        pot = by_marks(volume, ratio, mark_ml=mark)
    except DomainError:
        return
    for neighbour in (pot.total_ml - mark, pot.total_ml + mark):
        marks = neighbour / mark * ratio.fraction
        exact = abs(marks - round(marks)) < 1e-9 and neighbour >= volume
        assert not (exact and off(pot) > 0.05)


def test_a_small_pot_goes_on_to_the_exact_mark():
    pot = by_marks(26.5, MixRatio(6, 1), mark_ml=10)
    assert pot.total_ml == 70
    assert pot.error == pytest.approx(0, abs=1e-12)


def test_marks_of_six_to_one():
    pot = by_marks(100, MixRatio(6, 1), mark_ml=5)
    assert (pot.ml("carrier"), pot.ml("colour")) == (90, 15)
    assert "carrier to 90 ml, then colour to 105 ml; exactly" in pot.marks


def test_marks_show_the_loss():
    pot = by_marks(60, MixRatio("7.5", 1), mark_ml=10)
    assert pot.error > 0
    assert f"within {pot.error:.1%} of the ratio" in pot.marks
    with pytest.raises(DomainError, match="coarse"):
        by_marks(20, MixRatio(300, 1), mark_ml=10)


@given(TRANSFERS, st.floats(0.0, 0.5), st.floats(0.5, 0.99))
def test_enough_is_enough_at_the_chance(transfer, sd, chance):
    use = mixing.CoatUse(40.0, sd, transfer, "test")
    assert use.chance_enough(use.enough_ml(chance)) == pytest.approx(chance, abs=2e-4)


def test_enough_against_draws():
    # The closed form against a million draws of the same law.
    rng = np.random.default_rng(7)
    draws = 40 * np.exp(0.25 * rng.standard_normal(1_000_000)) / rng.uniform(0.3, 0.6, 1_000_000)
    use = mixing.CoatUse(40.0, 0.25, mixing.TransferRange(0.3, 0.6), "test")
    assert use.enough_ml(0.95) == pytest.approx(np.quantile(draws, 0.95), rel=0.005)
    assert use.expected_ml == pytest.approx(draws.mean(), rel=0.003)


def test_transfer_is_a_range_never_a_number():
    with pytest.raises(DomainError, match="range"):
        mixing.TransferRange(0.65, 0.65)
    with pytest.raises(DomainError):
        mixing.TransferRange(0.7, 0.6)


def test_use_from_film_by_hand():
    # 12 um dry at 30 % solids is 40 um wet, 40 mL/m2 landed.
    assert pytest.approx(40) == USE.laid_ml
    # A part of reducer to four of paint makes it 50 um wet.
    thin = mixing.CoatUse.of_film(
        12, volume_solids=0.3, transfer=mixing.TransferRange(0.5, 0.7), thinner=0.25
    )
    assert thin.laid_ml == pytest.approx(50)


def test_a_sheet_has_one_side_or_two():
    with pytest.raises(DomainError, match="sides"):
        mixing.JobArea.sheet(100, 100, sides=3)


def test_use_measured_on_a_panel_adds_no_loss():
    use = replace(mixing.CoatUse.of_panel(30, area_m2=0.1, coats=3), sd=0.0)
    assert use.expected_ml == pytest.approx(100)
    assert use.enough_ml(0.95) == pytest.approx(100)


@pytest.mark.parametrize(
    ("area", "m2"),
    [
        (mixing.JobArea.sheet(1000, 500, sides=2, margin=0.1), 1.1),
        (mixing.JobArea.tube(100, 1000, margin=0), math.pi / 10),
        (mixing.JobArea.sphere(1000, margin=0), math.pi),
        (mixing.JobArea.flat(2), 2),
    ],
)
def test_shapes(area, m2):
    assert area.sprayed_m2 == pytest.approx(m2)
    assert "ft²" in area.text


SCHEDULES = st.lists(st.tuples(st.integers(1, 5), MIXES), min_size=1, max_size=4).map(
    lambda steps: CoatSchedule(tuple(CoatStep(n, r) for n, r in steps))
)


@given(SCHEDULES, st.floats(0.05, 20), st.floats(0, 40))
def test_a_job_conserves_every_part(schedule, area, residue):
    recipe = Recipe(Ground.parse("silver"), BLEND, schedule)
    third = mixing.Third("hardener", 0.2)
    pot = mixing.pot(recipe, area=mixing.JobArea.flat(area), use=USE, residue_ml=residue,
                     gun_cup_ml=600, third=third)  # fmt: skip
    poured = sum(p.ml for g in pot.groups for p in g.pour.portions)
    assert pot.total_ml == pytest.approx(poured, rel=1e-9)
    before = None
    for group, step in zip(pot.groups, schedule.steps, strict=True):
        made = group.pour
        kept = made.kept_ml / 1.2
        colour = made.ml("colour") + (0 if before is None else kept * before.fraction)
        assert colour * 1.2 / made.total_ml == pytest.approx(step.ratio.fraction, rel=1e-6)
        assert made.ml("third") + kept * 0.2 == pytest.approx(made.total_ml / 6, rel=1e-9)
        assert 600 * (group.fills - 1) < made.total_ml <= 600 * group.fills * (1 + 1e-9)
        assert step.ratio.words in group.words()
        before = step.ratio
    whole = json.loads(json.dumps(shown(pot)))
    assert all([*need] == ["kind", "name", "ml", "g"] for need in whole["needs"])
    for group, step in zip(whole["groups"], schedule.steps, strict=True):
        ratio = group["pour"]["ratio"]
        back = MixRatio(Fraction(ratio["carrier_parts"]), Fraction(ratio["colour_parts"]))
        assert back == step.ratio


def test_what_is_left_is_what_draws_leave():
    # A hundred thousand jobs of the same law: how often the pot lasts, and what is left of it.
    rng = np.random.default_rng(3)
    area = mixing.JobArea(1.6, 2.4)
    pot = mixing.pot(CoatSchedule.parse("3@6:1"), area=area, use=USE, residue_ml=15, chance=0.95)
    size = 400_000
    film = 40 * np.exp(0.2 * rng.standard_normal(size)) / rng.uniform(0.5, 0.7, size)
    surface = np.sqrt(1.6 * 2.4) * np.exp(np.log(2.4 / 1.6) / 4 * rng.standard_normal(size))
    left = pot.groups[0].pour.total_ml - 15 - 3 * film * surface
    assert np.mean(left >= 0) == pytest.approx(0.95, abs=0.002)
    assert pot.left_ml == pytest.approx(left.mean(), rel=0.01)


def test_a_step_up_is_one_answer():
    recipe = Recipe(Ground.parse("silver"), BLEND, CoatSchedule.parse("2@6:1 2@3:1"))
    for mark in (None, 5):
        pot = mixing.pot(recipe, area=mixing.JobArea.flat(1), use=USE, mark_ml=mark)
        first, second = pot.groups
        assert 0 < second.pour.kept_ml <= first.left_ml
        assert pot.total_ml == pytest.approx(
            first.pour.total_ml + second.pour.total_ml - second.pour.kept_ml
        )
        text = pot.words()
        for portion in pot.needs:
            assert f"{mixing.format_volume(portion.ml)} {portion.words}" in text.splitlines()[-2]


def test_a_pot_goes_on_only_in_the_same_colour():
    job = {"area": mixing.JobArea.flat(1), "use": USE}
    kept = {
        written: mixing.pot(CoatSchedule.parse(written), **job).groups[1].pour.kept_ml
        for written in ("2@6:1 2@3:1", "2@6:1 teal, 2@3:1 teal", "2@6:1 teal, 2@3:1 violet")
    }
    first, again, other = kept.values()
    assert again == first > 0
    assert other == 0


def test_whole_cups_take_no_filling_more():
    job = {"area": mixing.JobArea.flat(1), "use": USE}
    schedule = CoatSchedule.parse("3@6:1")
    total = mixing.pot(schedule, **job).total_ml
    for cups in (1, 2, 3, 7):
        assert mixing.pot(schedule, **job, gun_cup_ml=total / cups).groups[0].fills == cups


def test_a_pot_is_never_too_small_to_mix():
    small = mixing.JobArea.flat(0.02)
    schedule = CoatSchedule.parse("2@6:1")
    pot = mixing.pot(schedule, area=small, use=USE, residue_ml=1)
    assert pot.total_ml == pytest.approx(mixing.LEAST_ML)
    assert pot.groups[0].fills == 1, "a cup of which nothing is known takes all of it"
    assert mixing.pot(schedule, area=small, use=USE, residue_ml=1, least_ml=0).total_ml < 10


def test_a_hardener_starts_a_clock():
    job = {"area": mixing.JobArea.flat(1), "use": USE}
    schedule = CoatSchedule.parse("2@6:1")
    asked = mixing.pot(schedule, third=mixing.Third.parse("hardener 10%"), **job)
    assert "pot-life" in [q.code for q in asked.questions]
    assert "Do not seal it tight" in asked.text
    found = mixing.pot(schedule, third=mixing.Third.parse("hardener 1:7"), pot_life_min=90, **job)
    assert not found.questions
    assert "90 min" in found.text
    plain = mixing.pot(schedule, third=mixing.Third.parse("reducer 1:7"), **job)
    assert "seal" not in plain.text


@pytest.mark.parametrize("name", mixing.USUAL_AREAS)
def test_usual_jobs_are_ranges(name):
    area = mixing.JobArea.usual(name)
    assert area.sd > 0
    assert area.low_m2 < area.sprayed_m2 < area.high_m2
    assert "common practice" in area.text
    job = {"use": USE, "residue_ml": 0, "least_ml": 0}
    sure = mixing.pot(CoatSchedule.parse("1@6:1"), area=mixing.JobArea.flat(area.sprayed_m2), **job)
    assert mixing.pot(CoatSchedule.parse("1@6:1"), area=area, **job).total_ml > sure.total_ml
    with pytest.raises(DomainError, match="not known"):
        mixing.JobArea.usual("submarine")


def test_what_to_buy():
    pot = mixing.pot(CoatSchedule.parse("2@6:1"), area=mixing.JobArea.flat(5), use=USE)
    carrier, colour = pot.needs
    shelf = {
        "Carrier": mixing.Supply(stock_ml=100, bottle_ml=250, price=10),
        "colour": mixing.Supply(stock_ml=1e4, bottle_ml=500, price=40),
    }
    bill = mixing.bill(pot, shelf, labour=mixing.Labour(15, 30, 60))
    bottles = math.ceil((carrier.ml - 100) / 250)
    assert bill.lines[0].bottles == bottles
    assert bill.lines[0].paid == pytest.approx(10 * bottles)
    assert bill.lines[1].bottles == 0
    assert bill.paint == pytest.approx(carrier.ml / 25 + colour.ml / 12.5)
    assert (bill.hours, bill.wages) == (1.0, 60.0)
    longer = mixing.bill(pot, shelf, labour=mixing.Labour(22.5, 30, 60))
    assert "1.25 h, 75.00 in wages" in longer.words()
    assert shelf["Carrier"].less(carrier.ml, bought=bottles).stock_ml == pytest.approx(
        100 + 250 * bottles - carrier.ml
    )
    unknown = mixing.bill(pot, {})
    assert unknown.lines[0].bottles is None
    assert unknown.paint is None
    assert ", buy " in unknown.words()


@pytest.mark.parametrize(
    ("schedule", "third", "minutes", "late"),
    [
        ("4@6:1", "hardener 10%", 20, "take 80 min, longer than its pot life of 60 min"),
        ("3@6:1", "hardener 10%", 20, ""),  # just so
        ("4@6:1", "reducer 10%", 20, ""),
        ("2@6:1 2@3:1", "hardener 10%", 20, "take 80 min"),  # begun with what is left of the first
        ("2@6:1 cherry, 2@6:1 violet", "hardener 10%", 20, ""),  # two pots, each begun fresh
    ],
)
def test_a_pot_whose_coats_outlast_its_pot_life_is_told_of(schedule, third, minutes, late):
    made = mixing.pot(
        CoatSchedule.parse(schedule),
        area=mixing.JobArea.flat(1.0),
        use=USE,
        third=mixing.Third.parse(third),
        pot_life_min=60,
    )
    bill = mixing.bill(made, {}, labour=mixing.Labour(minutes, 30))
    assert late in bill.words()
    assert bool(late) == ("in parts" in bill.words())


def test_a_higher_chance_wants_a_larger_pot():
    schedule = CoatSchedule.parse("4@6:1")
    pots = [
        mixing.pot(schedule, area=mixing.JobArea.flat(2), use=USE, chance=c).total_ml
        for c in (0.5, 0.8, 0.95, 0.99)
    ]
    assert pots == sorted(pots)
    assert len(set(pots)) == 4


def test_the_words_of_a_job():
    recipe = Recipe(Ground.parse("silver"), BLEND, CoatSchedule.parse("2@6:1 1@1:3"))
    area = mixing.JobArea.sheet(1000, 1000)
    pot = mixing.pot(recipe, area=area, use=USE, mark_ml=5, gun_cup_ml=100)
    for unit in ("ml", "us fl oz"):
        text = pot.words(unit)
        assert "6 parts carrier to 1 part colour" in text
        assert "colour (teal)" in text
        assert f"{unit} carrier" in text
        assert "enough with a chance of 95%, as far" in text
    assert [q.code for q in pot.questions] == ["reversed"]
    assert "Was 3:1 meant" in pot.text
    assert pot.groups[0].fills > 1


def test_a_bare_ground_has_no_pot():
    with pytest.raises(DomainError, match="bare"):
        mixing.pot(Recipe(Ground.parse("silver")), area=mixing.JobArea.flat(1), use=USE)


@pytest.mark.parametrize("chance", [0.2, 1.0, float("nan"), -1])
def test_chances_nobody_plans_by(chance):
    with pytest.raises(DomainError, match="chance"):
        mixing.pot(CoatSchedule.parse("4@6:1"), area=mixing.JobArea.flat(1), use=USE, chance=chance)


@pytest.mark.parametrize("seconds", [10, 19.9, 80.1, 0])
def test_cups_are_silent_outside_their_range(seconds):
    with pytest.raises(DomainError):
        mixing.viscosity(seconds, cup="Zahn 2")


def test_drain_times_and_unknown_cups():
    with pytest.raises(DomainError, match="not known"):
        mixing.viscosity(30, cup="soup cup")
    with pytest.raises(DomainError, match="drain time"):
        mixing.drain_words("thin")
    flow = mixing.viscosity(30, cup="Ford 4")
    text = mixing.drain_words("30 s Ford 4")
    zahn = next(int(w) for w, c in re.findall(r"(\d+) s in a (Zahn 2)", text))
    assert mixing.viscosity(zahn, cup="Zahn 2") == pytest.approx(flow, abs=3.5 / 2)


def test_a_drain_time_is_not_told_for_its_own_cup_again():
    text = mixing.drain_words("22 s Zahn #2")
    assert text.startswith("22 s in a Zahn 2 cup is about 28 mm²/s: 54 s in a Zahn 1.")


def test_each_pot_of_layers_is_weighed_by_its_own_density():
    recipe = Recipe.of("silver", "", "2@6:1 rust, 1@3:1 teal")
    weights = {"Carrier": 0.87, "Rust": 1.0, "teal": 0.95}
    job = {"area": mixing.JobArea.flat(1.0), "use": mixing.CoatUse.of_panel(80, area_m2=1, coats=1)}
    first, second = mixing.pot(recipe, **job, densities=weights).groups
    for group, name in ((first, "rust"), (second, "teal")):
        total, part = group.pour.total_ml, group.pour.ratio.fraction
        carrier = 0.87 * (1 - part) * total
        whole = carrier + {"rust": 1.0, "teal": 0.95}[name] * part * total
        assert group.pour.scale.endswith(
            f"carrier to {carrier:.1f} g, then colour ({name}) to {whole:.1f} g"
        )
    with pytest.raises(DomainError, match="not in this pot"):
        mixing.pot(recipe, **job, densities={"plum": 1.0})


def test_what_lacks_of_a_pot_is_made_up_at_its_own_ratio():
    use = mixing.CoatUse.of_panel(80, area_m2=1, coats=1)
    schedule = CoatSchedule.parse("2@6:1 1@3:1 1@1:1")
    words = mixing.pot(schedule, area=mixing.JobArea.flat(1.0), use=use).words()
    assert "left at 3:1" in words
    assert "make up the difference at the ratio it has." in words
