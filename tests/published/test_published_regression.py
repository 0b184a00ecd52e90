"""The film regression on data that somebody measured (sources: tests/data/README.md).

The limits stand a little above what was measured when they were set; the numbers themselves are
printed by ``python -m tests.benchmarks real``, beside general-purpose regressors.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.lightlab import delta_e, spectrum_to_lab
from tests.benchmarks.real_data import (
    FIRST,
    MORE,
    dye,
    film,
    film_alone,
    inks,
    leave_out,
    neighbours,
    onto_new_papers,
    over_prints,
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
    assert np.median(law) < 2.6
    assert np.median(law) < np.median(straight)
    assert np.mean(law) < 0.5 * np.mean(quadratic)
    # The richest film lies outside what the others show, and there the law is worth most.
    assert law[-1] < 3.2 < process[-1] < quadratic[-1]
    # Inside the range the process is as good; the films' own jitter is the floor.
    assert law[:-1] == pytest.approx(process[:-1], abs=0.6)


def test_a_paper_left_out_is_met_from_its_bare_sheet():
    recipes, lab = inks()
    folds = splits(recipes, "paper")
    law = leave_out(film, recipes, lab, folds)
    # Papers differ by little, and how dots spread on one cannot be known from its bare sheet.
    assert np.median(law) < 1.6
    assert np.median(law) < 0.5 * np.median(neighbours(recipes, lab))


def test_a_tone_left_out_is_met_with_the_librarys_help():
    recipes, lab = inks()
    folds = splits(recipes, "recipe")
    both = leave_out(film, recipes, lab, folds)
    alone = leave_out(film_alone, recipes, lab, folds)
    # Printed dots are no film: the law alone misses them.
    assert np.median(both) < 0.16
    assert np.mean(both) < 0.5
    assert np.median(both) < 0.3 * np.median(alone)


def test_of_other_papers_one_left_out_is_met_from_its_bare_sheet():
    recipes, lab = inks(MORE)
    law = leave_out(film, recipes, lab, splits(recipes, "paper"))
    assert np.median(law) < 0.65 * np.median(neighbours(recipes, lab))
    assert np.mean(law) < 2.5


def test_a_paper_kept_apart_is_met_from_its_bare_sheet():
    recipes, lab, folds = onto_new_papers(FIRST, MORE)
    law = leave_out(film, recipes, lab, folds)
    assert np.median(law) < 1.8
    assert np.mean(law) < 2.6


def test_inks_over_prints_of_the_others():
    # A chart whose grounds are prints of the other inks: one left out, its bare print known.
    for ink in ("cyan", "magenta", "yellow"):
        recipes, lab = over_prints(ink)
        folds = splits(recipes, "paper")[::4]
        stacked = np.median(leave_out(film, recipes, lab, folds))
        assert stacked < 1.3
        assert stacked < 0.5 * np.median(leave_out(film_alone, recipes, lab, folds))
