"""The audit finds slips of the pen and leaves right panels alone."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_normal, norm

from matchlib.audit import Finding, audit, excluded
from matchlib.audit.backs import Slip, Verdict, _mistyped
from matchlib.audit.drift import EFFECT, PRIOR, _slope, _weigh
from matchlib.audit.finding import KINDS, PRIORS, Evidence
from matchlib.audit.left_out import LEAST_LEFT, LeftOutReadings, leave_out
from matchlib.audit.slips import Materials, slips
from matchlib.audit.whole import beyond_the_law
from matchlib.demo import demo_panels
from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Panel, Reading, Recipe
from matchlib.errors import FitError
from matchlib.linear import fit_panels, linearise
from matchlib.regression import FilmRegressor
from tests.benchmarks.panels import to_frame
from tests.benchmarks.spray import Noise, Shop
from tests.cli_shop import demo_fit

# Little spray noise, so that what is wrong is wrong beyond doubt.
SHOP = Shop(5, n_grounds=4, n_colours=2, noise=Noise(film=0.015, coat=0.015))


def _quick(panels: list[Panel]) -> FilmRegressor:
    return FilmRegressor(rounds=1, library=False).fit(*to_frame(panels))


def _written(panel: Panel, schedule: str | None = None, ground: Ground | None = None) -> Panel:
    recipe = panel.recipe
    if schedule is not None:
        recipe = replace(recipe, schedule=CoatSchedule.parse(schedule))
    return panel.having(recipe=replace(recipe, ground=ground or recipe.ground))


@pytest.fixture(scope="module")
def clean() -> list[Panel]:
    panels = list(SHOP.archive(44, 1, repeats=0.0))
    rng = np.random.default_rng(3)
    extra = {
        "REV": Recipe(SHOP.grounds[0], SHOP.colours[0], CoatSchedule.parse("3@5:1"), "yes"),
        "COAT": Recipe(SHOP.grounds[2], SHOP.colours[1], CoatSchedule.parse("2@4:1"), "yes"),
        "GROUND": Recipe(SHOP.grounds[3], SHOP.colours[0], CoatSchedule.parse("2@6:1"), "yes"),
        "BLEND": Recipe(
            SHOP.grounds[0],
            Colour.parse(f"{SHOP.colours[0]} 3 + {SHOP.colours[1]} 1"),
            CoatSchedule.parse("3@4:1"),
            "yes",
        ),
        "SIGN": Recipe(SHOP.grounds[0], SHOP.colours[1], CoatSchedule.parse("4@4:1"), "yes"),
    }
    return panels + [SHOP.spray(r, rng, code=code) for code, r in extra.items()]


@pytest.fixture(scope="module")
def wrong(clean: list[Panel]) -> list[Panel]:
    changed = []
    for panel in clean:
        if panel.code == "REV":
            changed.append(_written(panel, "3@1:5"))
        elif panel.code == "COAT":
            changed.append(_written(panel, "3@4:1"))
        elif panel.code == "GROUND":
            changed.append(_written(panel, ground=SHOP.grounds[0]))
        elif panel.code == "BLEND":
            blend = Colour.parse(f"{SHOP.colours[0]} 1 + {SHOP.colours[1]} 3")
            changed.append(panel.having(recipe=replace(panel.recipe, colour=blend)))
        elif panel.code == "SIGN":
            light, red, yellow = panel.readings[0].lab or (0.0, 0.0, 0.0)
            changed.append(panel.having(readings=(Reading(lab=(light, -red, yellow)),)))
        else:
            changed.append(panel)
    return changed


@pytest.fixture(scope="module")
def found(wrong: list[Panel]) -> tuple[Finding, ...]:
    return audit(wrong)


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        ("REV", "reversed ratio"),
        ("COAT", "coats miscounted"),
        ("GROUND", "wrong ground"),
        ("BLEND", "blend parts swapped"),
        ("SIGN", "mistyped reading"),
    ],
)
def test_each_slip_is_found_and_put_right(
    found: tuple[Finding, ...], clean: list[Panel], code: str, kind: str
) -> None:
    mine = [f for f in found if f.codes == (code,)]
    assert [f.kind for f in mine] == [kind]
    truth = next(p.recipe for p in clean if p.code == code)
    assert mine[0].proposed == (None if kind == "mistyped reading" else truth)
    assert mine[0].probability > 0.5
    evidence = mine[0].evidence
    assert evidence is not None
    assert evidence.proposed > evidence.written
    assert code in mine[0].words
    assert code in mine[0].fix


def test_right_panels_are_left_alone(found: tuple[Finding, ...]) -> None:
    wrong = {"REV", "COAT", "GROUND", "BLEND", "SIGN"}
    alarms = {c for f in found if f.kind != "drift" for c in f.codes} - wrong
    assert len(alarms) <= 1


def test_findings_are_in_order_and_of_known_kinds(found: tuple[Finding, ...]) -> None:
    chances = [f.probability for f in found]
    assert chances == sorted(chances, reverse=True)
    assert {f.kind for f in found} <= set(KINDS)
    assert all(0.0 < p < 0.05 for p in PRIORS.values())


@pytest.fixture(scope="module")
def left(clean: list[Panel]) -> LeftOutReadings:
    return leave_out(fit_panels(clean), clean)


def test_leaving_out_in_closed_form_is_leaving_out(
    clean: list[Panel], left: LeftOutReadings
) -> None:
    # Against a real refit without the panel: the law is not quite linear and sizes are learnt anew.
    for code in ("GROUND", "COAT"):
        i = [p.code for p in left.panels].index(code)
        other = fit_panels([p for p in clean if p.code != code])
        refit = left.lab[i] - other.predict_recipes([left.panels[i].recipe])[0]
        plain = left.lab[i] - left.model.predict_recipes([left.panels[i].recipe])[0]
        closed = np.linalg.norm(left.residual[i] - refit)
        assert closed < 0.15 + 0.5 * np.linalg.norm(plain - refit)


def test_a_panel_misses_more_when_it_is_left_out(left: LeftOutReadings) -> None:
    plain = left.lab - left.model.predict_recipes([p.recipe for p in left.panels])
    unit = np.linalg.inv(np.linalg.cholesky(left.own))
    inside = np.linalg.norm((unit @ plain[:, :, None])[:, :, 0], axis=1)
    outside = np.linalg.norm((unit @ left.residual[:, :, None])[:, :, 0], axis=1)
    assert np.all(outside >= inside - 1e-6)


def test_a_panel_is_left_out_as_what_it_told_is_taken_off_the_precision(
    left: LeftOutReadings,
) -> None:
    sigma, views = left.model.fitted_.covariance, list(left.viewings)
    near = linearise(left.model, left.recipes, views, conditions=left.conditions)
    held = 0
    for i in range(0, len(left.panels), 5):
        trust = left.model.trust_[left.panels[i].code]
        slope, told = left.jacobian[i], trust * np.linalg.inv(left.own[i])
        taught = np.linalg.eigvals(told @ slope @ sigma @ slope.T).real.max()
        if taught > 1.0 - LEAST_LEFT:
            continue  # of what one panel alone has told nothing would be left
        held += 1
        without = np.linalg.inv(np.linalg.inv(sigma) - slope.T @ told @ slope)
        plain = left.lab[i] - near.lab[i]
        residual = plain + slope @ without @ slope.T @ told @ plain
        np.testing.assert_allclose(left.residual[i], residual, rtol=1e-6, atol=1e-6)
    assert held > 5


def test_the_recipe_as_written_is_as_likely_either_way(left: LeftOutReadings) -> None:
    which = np.arange(len(left.panels))
    under, wide = left.under(which, [p.recipe for p in left.panels], wider=5.0)
    np.testing.assert_allclose(under, left.likelihood(), rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(wide, left.likelihood(wider=5.0), rtol=1e-6, atol=1e-6)


def test_likelihoods_are_the_normal_densities(left: LeftOutReadings) -> None:
    spread = left.covariance * left.scale
    densities = [
        multivariate_normal.logpdf(r, cov=c) for r, c in zip(left.residual, spread, strict=True)
    ]
    gap = left.likelihood() - np.array(densities)
    np.testing.assert_allclose(gap, gap[0], atol=1e-8)  # up to a constant


def test_readings_that_all_lie_too_far_out_widen_what_is_expected(left: LeftOutReadings) -> None:
    rng = np.random.default_rng(6)
    shaken = [
        p.having(
            readings=tuple(
                replace(r, lab=tuple(np.array(r.lab) + rng.normal(0, 4, 3))) for r in p.readings
            )
        )
        for p in left.panels
    ]
    wide = leave_out(left.model, shaken)
    assert wide.scale > 2.0 > left.scale
    assert np.median(wide.squared) == pytest.approx(chi2.median(3), rel=1e-3)


def test_a_mistyped_reading_is_told_as_it_is_proposed() -> None:
    typed = np.array([41.0, 12.0, -7.0])
    for lab, words in _mistyped(typed):
        parts = re.fullmatch(r"([Lab])\* (\S+) instead of (\S+)", words)
        if parts is None:
            assert sorted(lab) == sorted(typed)  # two changed places
            continue
        axis = "Lab".index(parts[1])
        assert (float(parts[2]), float(parts[3])) == (round(lab[axis], 1), typed[axis])
        assert np.array_equal(np.delete(lab, axis), np.delete(typed, axis))


def test_slips_share_their_kinds_prior(clean: list[Panel]) -> None:
    shelf = Materials.of(clean)
    recipe = clean[10].recipe
    found = slips(recipe, shelf)
    assert recipe not in [r for _, r, _ in found]
    for kind in ("coats miscounted", "another ratio", "wrong ground", "wrong colour"):
        assert sum(p for k, _, p in found if k == kind) == pytest.approx(PRIORS[kind])
    rich = replace(recipe, schedule=CoatSchedule.of(3, MixRatio.parse("1:5")))
    turned = [(r, p) for k, r, p in slips(rich, shelf) if k == "reversed ratio"]
    assert turned[0][0].schedule == CoatSchedule.parse("3@5:1")
    assert turned[0][1] > 0.1
    step_up = replace(recipe, schedule=CoatSchedule.parse("2@6:1 1@1:4"))
    assert "2@6:1 1@4:1" in {str(r.schedule) for _, r, _ in slips(step_up, shelf)}
    layered = replace(recipe, colour=None, schedule=CoatSchedule.parse("2@1:6 plum, 1@4:1 fern"))
    turned = {str(r.schedule) for k, r, _ in slips(layered, shelf) if k == "reversed ratio"}
    assert "2@6:1 plum, 1@4:1 fern" in turned
    pots = {r.layers for k, r, _ in slips(layered, shelf) if k == "wrong colour"}
    one, two = layered.layers
    for own in shelf.colours:
        assert {((own, one[1]), two), (one, (own, two[1]))} <= pots
    bare = Recipe(SHOP.grounds[0])
    assert {k for k, _, _ in slips(bare, shelf)} == {"wrong ground"}


def test_every_layer_of_a_panel_is_looked_at(clean: list[Panel], left: LeftOutReadings) -> None:
    under, over = SHOP.colours[0], Colour.parse("fern")
    layered = Recipe(SHOP.grounds[0], None, CoatSchedule.parse(f"2@6:1 {under}, 1@4:1 {over}"))
    panel = Panel.of("TWO", layered, readings=(Reading(lab=(30.0, 5.0, 60.0)),))
    assert Materials.of([panel]).colours == sorted([under, over], key=str)
    (finding,) = beyond_the_law({("colour", "fern"): "it glows"}, [*clean, panel])
    assert finding.codes == ("TWO",)
    fit = SimpleNamespace(trust_={"TWO": 0.0})
    of_fern = Recipe(SHOP.grounds[1], over, CoatSchedule.parse("2@6:1"))
    assert excluded(fit, [of_fern], {"TWO": layered}.__getitem__) == ("TWO",)
    # A colour that no panel with a reading shows is no slip of any layer.
    known = replace(layered, schedule=CoatSchedule.parse(f"2@6:1 {under}, 1@4:1 {SHOP.colours[1]}"))
    unread = Panel.of("NEW", of_fern)
    found = audit([*clean, panel.having(recipe=known), unread], left.model)
    assert not [r for f in found for r in (f.proposed, *f.others) if r and "fern" in str(r)]


def test_one_panel_under_two_codes(clean: list[Panel], left: LeftOutReadings) -> None:
    lab = np.array(clean[12].readings[0].lab)
    near = Reading(lab=tuple(lab + np.array([0.03, -0.02, 0.04])))
    twins = [
        clean[10].having(code="SAME"),
        clean[12].having(code="AGAIN", readings=(near,)),
    ]
    model = left.model
    found = [f for f in audit([*clean, *twins], model) if f.kind == "same panel twice"]
    assert {frozenset(f.codes) for f in found} == {
        frozenset({clean[10].code, "SAME"}),
        frozenset({clean[12].code, "AGAIN"}),
    }
    # Written down as sprayed on two days, they are two panels.
    days = [
        clean[12].having(date=dt.date(2024, 1, 1)),
        twins[1].having(date=dt.date(2024, 2, 1)),
    ]
    others = [p for p in clean if p.code != clean[12].code]
    apart = audit([*others, *days], model)
    assert not [f for f in apart if f.kind == "same panel twice"]


def test_one_code_with_two_recipes(clean: list[Panel], left: LeftOutReadings) -> None:
    other = _written(clean[20], "1@10:1")
    found = [f for f in audit([*clean, other], left.model) if f.kind == "same code twice"]
    assert [f.codes for f in found] == [(clean[20].code,)]
    assert found[0].probability == 1.0


def test_readings_of_a_panel_that_disagree(clean: list[Panel], left: LeftOutReadings) -> None:
    rng = np.random.default_rng(0)
    repeated = []
    for i, panel in enumerate(clean):
        lab = np.array(panel.readings[0].lab)
        more = lab + rng.normal(0, 0.05, 3) + ([0, 3, 0] if i == 15 else [0, 0, 0])
        repeated.append(panel.having(readings=(*panel.readings, Reading(lab=tuple(more)))))
    found = [f for f in audit(repeated, left.model) if f.kind == "readings disagree"]
    assert [f.codes for f in found] == [(clean[15].code,)]


def test_drift_by_sprayer_temperature_and_time() -> None:
    rng = np.random.default_rng(8)
    panels = []
    for i, panel in enumerate(SHOP.archive(48, 2, repeats=0.0)):
        heavy = 1.12 if i % 3 == 0 else 1.0
        again = SHOP.spray(panel.recipe, rng, heavy=heavy, code=panel.code)
        who = "new bench" if i % 3 == 0 else "old bench"
        day = dt.date(2024, 1, 1) + dt.timedelta(days=int(rng.integers(300)))
        warm = float(rng.normal(21, 3))
        panels.append(again.having(sprayer=who, date=day, temperature=warm, lot=""))
    found = [f for f in audit(panels, _quick(panels)) if f.kind == "drift"]
    text = " ".join(f.words for f in found)
    assert "sprayer new bench" in text
    assert "more film" in text
    assert "temperature" not in text  # drawn without any effect
    assert "date" not in text
    # A fit that knows who sprayed has taken their film from what it misses: it is put back.
    known = FilmRegressor(rounds=1, library=False).fit(*to_frame(panels, log=True))
    again = [f for f in audit(panels, known) if f.about == "sprayer new bench"]
    assert [("more film" in f.words, f.codes) for f in again] == [
        (True, f.codes) for f in found if f.about == "sprayer new bench"
    ]
    read_by = [p.having(sprayer="") for p in panels]
    for i, panel in enumerate(read_by):
        readings = [replace(r, instrument="old" if i % 3 else "new") for r in panel.readings]
        read_by[i] = panel.having(readings=tuple(readings))
    of_it = [f for f in audit(read_by, _quick(panels)) if f.about == "instrument new"]
    assert ["more film" in f.words for f in of_it] == [True]
    with_warmth = []
    for panel in panels:
        film = 1.0 if panel.recipe.bare else float(rng.normal(0, 4))
        again = SHOP.spray(panel.recipe, rng, heavy=float(np.exp(-0.015 * film)), code=panel.code)
        with_warmth.append(again.having(temperature=21 + film, sprayer="", lot=""))
    words = [f.words for f in audit(with_warmth, _quick(with_warmth)) if f.kind == "drift"]
    assert any("booth temperature" in w and "less" in w for w in words)


@pytest.mark.parametrize("what", ["lot heavy", "date"])
def test_drift_that_the_fit_has_learnt_is_found_all_the_same(what: str) -> None:
    rng, panels = np.random.default_rng(8), []
    for i, panel in enumerate(SHOP.archive(48, 2, repeats=0.0)):
        lot, heavy, day = "usual", 1.0, None
        if what == "date":
            day = dt.date(2024, 1, 1) + dt.timedelta(days=6 * i)
            heavy = float(np.exp(0.3 * 6 * i / 365.25))
        elif i % 3 == 0:
            lot, heavy = "heavy", 1.15
        again = SHOP.spray(panel.recipe, rng, heavy=heavy, code=panel.code)
        panels.append(again.having(sprayer="", lot=lot, date=day))
    knows = FilmRegressor(rounds=1, library=False).fit(*to_frame(panels, log=True))
    for model in (_quick(panels), knows):
        (found,) = [f for f in audit(panels, model) if f.about == what]
        assert "more" in found.words
        assert found.probability > 0.9


@pytest.mark.parametrize("effect", [0.0, 0.02, -0.08])
def test_an_effect_is_weighed_by_the_normal_densities(effect: float) -> None:
    spread, names = 0.015**2, 3
    chance, evidence = _weigh(effect, spread, names)
    none, some = (norm.logpdf(effect, scale=np.sqrt(v)) for v in (spread, spread + EFFECT**2))
    assert evidence.proposed - evidence.written == pytest.approx(some - none)
    odds = PRIOR / (names - PRIOR) * np.exp(some - none)
    assert chance == pytest.approx(odds / (1 + odds))


def test_likelihoods_become_probabilities_by_bayes_rule() -> None:
    even = Evidence(-3.0, -3.0)
    assert even.probability(0.3) == pytest.approx(0.3)
    assert Evidence(-3.0, -3.0 + np.log(4)).probability(0.2) == pytest.approx(0.5)
    assert [Evidence(0, w).probability(0.1) for w in (-np.inf, 800)] == [0, 1]
    verdict = Verdict(Panel.of("A1", Recipe(SHOP.grounds[0])), -2.0)
    for kind, prior in (("wrong ground", 0.1), ("wrong colour", 0.2)):
        verdict.slips.append(Slip(kind, None, -2.0, prior))
    right, others = verdict.shares()
    assert (right, *others) == pytest.approx((0.7, 0.1, 0.2))


def test_evidence_is_said_in_times() -> None:
    assert "20 times likelier" in Evidence(-5.0, -2.0).words
    assert "more than 100,000 times" in Evidence(-50.0, -2.0).words


def test_an_archive_without_readings_cannot_be_audited(left: LeftOutReadings) -> None:
    with pytest.raises(FitError, match="nothing to audit"):
        leave_out(left.model, [Panel.of("P", Recipe(SHOP.grounds[0]))])


@pytest.mark.parametrize("alone", [True, False])
def test_a_panel_read_before_its_clear_coat_is_compared_with_what_was_on_it(alone: bool) -> None:
    sprayed = [p for p in demo_panels() if p.readings]
    model = demo_fit()
    before = {f.codes[0] for f in audit(sprayed, model) if f.kind != "drift"}
    right = [p for p in sprayed if p.recipe.clear and not p.recipe.bare and p.code not in before]
    right = right[30:40]
    bare = model.predict_recipes([replace(p.recipe, clear=None) for p in right])
    codes = {}
    for panel, lab in zip(right, bare + 0.01 * np.arange(10)[:, None], strict=True):
        early = Reading(model.usual_view, lab=tuple(lab), state="before clear")
        codes[panel.code] = panel.having(readings=(early,) if alone else (early, *panel.readings))
    now = [codes.get(p.code, p) for p in sprayed]
    assert {f.codes[0] for f in audit(now, model) if f.kind != "drift"} == before
    left = leave_out(model, now)
    places = [i for i, p in enumerate(left.panels) if p.code in codes]
    assert {left.recipes[i].clear for i in places} == ({None} if alone else {"yes"})
    assert all(left.panels[i].recipe.clear == "yes" for i in places)


def test_drift_is_a_weighted_line_through_the_films() -> None:
    rng = np.random.default_rng(5)
    x, film, variance = rng.normal(size=30), rng.normal(size=30), rng.uniform(0.5, 2.0, 30)
    slope, spread, _ = _slope(x, film, variance)
    line, covariance = np.polyfit(x, film, 1, w=variance**-0.5, cov="unscaled")
    assert (slope, spread) == pytest.approx((line[0], covariance[0, 0]))


def test_what_the_fit_left_out_is_found(clean: list[Panel]) -> None:
    # Results say "Left out: ... See the audit": it is there, though its own weighing doubts less.
    model = fit_panels(clean)
    code = clean[-1].code
    assert code not in {c for f in audit(clean, model) for c in f.codes if f.kind in PRIORS}
    model.trust_ = model.trust_ | {code: 0.0}
    (mine,) = [f for f in audit(clean, model) if f.codes == (code,) and f.kind in PRIORS]
    assert (mine.kind, mine.key, mine.can_fix) == ("impossible reading", code, False)
    assert "left it out" in mine.words


def test_drift_is_said_over_no_longer_than_was_seen() -> None:
    rng, panels = np.random.default_rng(8), []
    for i, panel in enumerate(SHOP.archive(48, 2, repeats=0.0)):
        heavy = float(np.exp(0.4 * i / 47))
        again = SHOP.spray(panel.recipe, rng, heavy=heavy, code=panel.code)
        day = dt.date(2024, 1, 1) + dt.timedelta(days=i)
        panels.append(again.having(sprayer="", lot="", date=day))
    (found,) = [f for f in audit(panels, _quick(panels)) if f.about == "date"]
    told = re.search(r"([\d.]+)% more for ([\d.]+) days more \(give or take ([\d.]+)%", found.words)
    assert told is not None, found.words
    share, days, give = map(float, told.groups())
    assert days <= 47
    assert share == pytest.approx(100 * np.expm1(0.4 * days / 47), abs=3 * give)
