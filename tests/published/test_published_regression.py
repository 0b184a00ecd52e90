"""The film regression on data that somebody measured (sources: tests/data/README.md).

The limits stand a little above what was measured when they were set; the numbers themselves are
printed by ``python -m tests.benchmarks real``. Where a general-purpose regressor is as good, that
is written here too. The residual was shaped on the inks of nine papers; the tests on papers kept
apart are those that judge it.
"""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.regression import FilmRegressor
from matchlib.regression.lengths import BY_AMOUNT, BY_RECIPE, WAYS
from tests.benchmarks.lightlab import delta_e, spectrum_to_lab
from tests.benchmarks.real_data import (
    FIRST,
    KEPT_APART,
    MORE,
    dye,
    film,
    film_alone,
    inks,
    inside_a_ladder,
    leave_out,
    neighbours,
    onto_new_papers,
    splits,
    straight_line,
)
from tests.benchmarks.rivals import gaussian_process, ridge


@pytest.fixture(scope="module")
def dyed():
    recipes, through = dye()
    rows = np.arange(len(recipes))
    return recipes, through, [(rows != i, rows == i) for i in rows[1:]]


def test_the_dyed_film_is_what_its_source_says(dyed):
    _, through, _ = dyed
    # Absorbance at 480 nm: the source's .005/.426/.707/.867/1.387, here the mean of +-5 nm.
    absorbance = -np.log10(through[:, 8])
    np.testing.assert_allclose(absorbance, [0.005, 0.426, 0.707, 0.867, 1.387], atol=0.02)


def test_a_dye_concentration_left_out(dyed):
    recipes, through, folds = dyed
    lab = spectrum_to_lab(through)
    law = leave_out(film, recipes, through, folds)
    straight = np.concatenate(
        [delta_e(straight_line(recipes, through, a, b), lab[b]) for a, b in folds]
    )
    process = leave_out(gaussian_process, recipes, lab, folds)
    quadratic = leave_out(ridge, recipes, lab, folds)
    # Measured, median and mean: 2.3 and 2.3; straight line 2.6 and 2.4; Gaussian process 2.3 and
    # 4.2; quadratic ridge 1.9 and 8.6, since it is lost outside the range.
    assert np.median(law) < 2.6
    assert np.median(law) < np.median(straight)
    assert np.mean(law) < 0.5 * np.mean(quadratic)
    # The richest film lies outside what the others show, and there the law is worth most:
    # 2.6 against 4.5 and 31.
    assert law[-1] < 3.2 < process[-1] < quadratic[-1]
    # Inside the range the process is as good; the films' own jitter is the floor.
    assert law[:-1] == pytest.approx(process[:-1], abs=0.6)


def test_a_paper_left_out_is_met_from_its_bare_sheet():
    recipes, lab = inks()
    folds = splits(recipes, "paper")
    law = leave_out(film, recipes, lab, folds)
    # Measured: median 1.1, mean 1.5; 3.2 if the paper is ignored, 2.9 for a quadratic ridge, 1.6
    # and 2.1 for a Gaussian process that knows the three other papers: papers differ by little,
    # and how dots spread on a paper cannot be known from its bare sheet.
    assert np.median(law) < 1.4
    assert np.median(law) < 0.5 * np.median(neighbours(recipes, lab))
    assert np.median(law) < 0.5 * np.median(leave_out(ridge, recipes, lab, folds))
    process = leave_out(gaussian_process, recipes, lab, folds)
    assert np.median(law) < 0.9 * np.median(process)
    assert np.mean(law) < 0.95 * np.mean(process)


def test_the_residual_brings_the_law_to_a_tone_left_out():
    recipes, lab = inks()
    folds = splits(recipes, "recipe")
    law = leave_out(film, recipes, lab, folds)
    alone = leave_out(lambda: FilmRegressor(residual=False), recipes, lab, folds)
    # Printed dots are no film: the law alone misses them, median 0.7, mean 1.0; with its residual
    # 0.10 and 0.25.
    assert np.median(law) < 0.16
    assert np.mean(law) < 0.35
    assert np.median(law) < 0.25 * np.median(alone)
    # A Gaussian process without any law, all tones: median 0.12, mean 0.30. Inside a ladder, where
    # there is nothing to be known beyond its tones, it is as good. The fit climbs a hill of many
    # tops, and another processor's last digit may send it up another.
    process, inner = leave_out(gaussian_process, recipes, lab, folds), inside_a_ladder(recipes)
    assert inner.sum() == 84
    assert np.median(law) < np.median(process)
    assert np.mean(law) < np.mean(process)
    assert np.median(law[inner]) < np.median(process[inner]) + 0.02
    assert np.mean(law[inner]) < np.mean(process[inner]) + 0.06
    assert np.median(law[~inner]) < 0.8 * np.median(process[~inner])


def test_of_other_papers_one_left_out_is_met_from_its_bare_sheet():
    recipes, lab = inks(MORE)
    folds = splits(recipes, "paper")
    law = leave_out(film, recipes, lab, folds)
    process = leave_out(gaussian_process, recipes, lab, folds)
    # Measured: median 1.4, mean 1.8; Gaussian process 2.0 and 3.1; law without residual 1.4 and
    # 2.0; 3.0 and 3.7 if the paper is ignored. Newsprint, which bears inks otherwise than any
    # coated paper, is missed by 3.1 and 4.2, by the process by 7.7 and 7.4.
    assert np.median(law) < 0.9 * np.median(process)
    assert np.mean(law) < 0.75 * np.mean(process)
    assert np.median(law) < 0.65 * np.median(neighbours(recipes, lab))
    papers = recipes["ground"].to_numpy()[np.concatenate([np.flatnonzero(t) for _, t in folds])]
    newsprint = papers == "newsprint"
    assert np.mean(law[newsprint]) < 0.8 * np.mean(process[newsprint])


@pytest.mark.parametrize(("known", "share"), [((FIRST,), 0.85), ((FIRST, MORE), 0.6)])
def test_a_paper_kept_apart_is_met_from_its_bare_sheet(known, share):
    recipes, lab, folds = onto_new_papers(*known)
    law = leave_out(film, recipes, lab, folds)
    process = leave_out(gaussian_process, recipes, lab, folds)
    # Measured, median and mean: from the first four papers 1.9 and 2.7, the process 2.9 and 3.3,
    # the law without residual 1.9 and 2.7; from all nine 2.1 and 2.4, the process 5.8 and 9.7, the
    # law alone 2.4 and 3.1.
    assert np.median(law) < share * np.median(process)
    assert np.mean(law) < 0.95 * np.mean(process)
    if known == (FIRST, MORE):
        # Of many papers the residual learns what is true of another.
        alone = leave_out(film_alone, recipes, lab, folds)
        assert np.mean(law) < 0.9 * np.mean(alone)


def test_inks_over_one_another_on_a_paper_kept_apart():
    recipes, lab, folds = onto_new_papers(FIRST, MORE, overprints=True)
    law = leave_out(film, recipes, lab, folds)
    # Measured: 3.0 and 4.4; process 8.1 and 8.9, law alone 6.7 and 6.5, quadratic ridge 5.8 and
    # 5.6. The coated paper 2.2 and 2.5, the newsprint 7.4 and 6.3.
    for make in (gaussian_process, film_alone, ridge):
        other = leave_out(make, recipes, lab, folds)
        assert np.median(law) < 0.7 * np.median(other)
        assert np.mean(law) < 0.9 * np.mean(other)


def test_a_tone_left_out_of_papers_kept_apart():
    recipes, lab = inks(KEPT_APART)
    folds = splits(recipes, "recipe")
    law = leave_out(film, recipes, lab, folds)
    process, inner = leave_out(gaussian_process, recipes, lab, folds), inside_a_ladder(recipes)
    # Measured over five draws of the folds: inside a ladder 0.11 and 0.30, the process 0.13 and
    # 0.32, in this draw 0.14 and 0.33 against 0.16 and 0.45; at its ends 0.22 and 0.65 against 0.82
    # and 1.42.
    assert np.median(law[inner]) < np.median(process[inner]) + 0.02
    assert np.mean(law[inner]) < np.mean(process[inner])
    assert np.median(law[~inner]) < 0.6 * np.median(process[~inner])
    assert np.mean(law[~inner]) < 0.7 * np.mean(process[~inner])


def test_inks_over_one_another_do_not_lead_it_astray():
    recipes, lab = inks(overprints=True)
    folds = splits(recipes, "recipe")
    law = leave_out(film, recipes, lab, folds)
    process = leave_out(gaussian_process, recipes, lab, folds)
    # Measured: median 1.2, mean 2.0; Gaussian process 1.6 and 3.6, 95th 19.
    assert np.median(law) < 1.2 * np.median(process)
    assert np.mean(law) < 0.75 * np.mean(process)
    assert np.quantile(law, 0.95) < 0.5 * np.quantile(process, 0.95)


def test_the_readings_say_how_what_is_left_goes():
    # A tone of one ink goes by how much of it is there; inks over one another, of which three tones
    # are known, more by the whole recipe. Neither way was given.
    for overprints, other in ((False, BY_RECIPE), (True, BY_AMOUNT)):
        parts = film().fit(*inks(overprints=overprints)).fitted_.law.residual.parts
        assert parts
        assert {part.lengths for part in parts} <= set(WAYS) - {other}
