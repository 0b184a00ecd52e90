"""The film regression on data that somebody measured (sources: tests/data/README.md).

The limits stand a little above what was measured when they were set; the numbers themselves are
printed by ``python -m tests.benchmarks real``.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.real_data import (
    FIRST,
    MORE,
    dye,
    film,
    film_alone,
    inks,
    inside_a_ladder,
    leave_out,
    onto_new_papers,
    over_prints,
    process_alone,
    splits,
)


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
    law = leave_out(film, recipes, through, folds)
    # The films' own jitter is the floor; the richest lies outside what the others show.
    assert np.median(law) < 2.3
    assert max(law) < 3.4


def test_a_paper_left_out_is_met_from_its_bare_sheet():
    recipes, lab = inks()
    law = leave_out(film, recipes, lab, splits(recipes, "paper"))
    # How dots spread on a paper cannot be known from its bare sheet.
    assert np.median(law) < 1.6


def test_a_tone_left_out_is_met_with_the_librarys_help():
    recipes, lab = inks()
    folds = splits(recipes, "recipe")
    both = [leave_out(film, recipes, lab, [fold]) for fold in folds]
    some = np.concatenate(both[:2])
    alone = leave_out(film_alone, recipes, lab, folds[:2])
    # Printed dots are no film: the law alone misses them.
    assert np.median(some) < 0.16
    assert np.mean(some) < 0.5
    assert np.median(some) < 0.3 * np.median(alone)
    # Between known tones of an ink the process knows them to a tenth, and is taken.
    inside = inside_a_ladder(recipes)
    process = leave_out(process_alone, recipes, lab, folds)
    assert np.median(np.concatenate(both)[inside]) < 1.1 * np.median(process[inside])


def test_of_other_papers_one_left_out_is_met_from_its_bare_sheet():
    recipes, lab = inks(MORE)
    law = leave_out(film, recipes, lab, splits(recipes, "paper"))
    assert np.median(law) < 1.8
    assert np.mean(law) < 2.5


def test_a_paper_kept_apart_is_met_from_its_bare_sheet():
    recipes, lab, folds = onto_new_papers(FIRST, MORE)
    law = leave_out(film, recipes, lab, folds)
    assert np.median(law) < 1.8
    assert np.mean(law) < 2.6


@pytest.mark.parametrize("ink", ["cyan", "magenta", "yellow"])
def test_inks_over_prints_of_the_others(ink):
    # A chart whose grounds are prints of the other inks: one left out, its bare print known.
    recipes, lab = over_prints(ink)
    assert np.median(leave_out(film, recipes, lab, splits(recipes, "paper")[::5])) < 0.7
