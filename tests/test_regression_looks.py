"""How alike grounds are taken to be, and what of a residual crosses from one to another."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.domain import CoatSchedule, Colour, Ground, Recipe, Viewing
from matchlib.regression.law import FilmLaw
from matchlib.regression.lengths import BY_RECIPE
from matchlib.regression.looks import ALIKE, STEP, places_of
from matchlib.regression.misses import Rows
from matchlib.regression.observe import Observations, lab_of
from matchlib.regression.part import PARTS, Part
from matchlib.regression.priors import Priors
from matchlib.regression.residual import Residual
from matchlib.regression.table import RecipeTable, Vocabulary

SILVER, BRIGHT, BLACK = (62.0, 0.1, 1.0), (66.0, 0.0, -2.0), (21.0, 0.2, -0.3)
ROWS = [
    ("silver", "", "", SILVER),
    ("bright silver", "", "", BRIGHT),
    ("black", "", "", BLACK),
    ("gold", "teal", "2@6:1", (40.0, -20.0, 5.0)),
    ("white 1 + black 1", "", "", (45.0, 0.0, 0.0)),
    ("silver", "teal", "2@6:1", (38.0, -22.0, -14.0)),
    ("bright silver", "violet", "4@3:1", (25.0, 20.0, -28.0)),
]


def _written(rows, viewings):
    recipes = [
        Recipe(
            Ground.parse(g),
            Colour.parse(c) if c else None,
            CoatSchedule.parse(s) if s else None,
            "yes",
        )
        for g, c, s, _ in rows
    ]
    words = Vocabulary.of(recipes, [v.geometry for v in viewings], [])
    table = RecipeTable.of(recipes, viewings, words)
    lab = np.array([reading for *_, reading in rows])
    none = np.full(len(rows), np.nan)
    seen = Observations.of(lab, viewings, ["spectrophotometer"] * len(rows), none)
    law = FilmLaw(words, Priors(), Residual())
    z = 0.3 * np.random.default_rng(3).normal(size=law.size)
    return law, z, Rows(table, seen, np.arange(len(rows)))


def _looks(law, z, rows):
    places = places_of(law, z, rows)
    count = len(law.words.grounds)
    np.testing.assert_array_equal(places[:, :count], STEP * np.eye(count))
    return dict(zip(law.words.grounds, ALIKE * places[:, count:], strict=True))


def test_a_ground_looks_as_it_was_read_bare():
    law, z, rows = _written(ROWS, [Viewing()] * len(ROWS))
    looks = _looks(law, z, rows)
    for name, reading in (("silver", SILVER), ("bright silver", BRIGHT), ("black", BLACK)):
        np.testing.assert_allclose(looks[name], reading, atol=1e-9)


def test_repeats_count_as_their_mean():
    again = [*ROWS, ("silver", "", "", (64.0, 0.5, 0.0))]
    law, z, rows = _written(again, [Viewing()] * len(again))
    np.testing.assert_allclose(_looks(law, z, rows)["silver"], (63.0, 0.3, 0.5), atol=1e-9)


def test_a_ground_never_read_bare_by_itself_looks_as_the_law_has_it():
    law, z, rows = _written(ROWS, [Viewing()] * len(ROWS))
    looks = _looks(law, z, rows)
    for name in ("gold", "white"):
        bare = [Recipe(Ground.parse(name), None, None, "yes")]
        state = law.evaluate(z, RecipeTable.of(bare, [Viewing()], law.words))
        np.testing.assert_allclose(looks[name], lab_of(state.reflectance, "D65", "10")[0][0])


def test_grounds_are_told_apart_by_looks_whatever_the_light_they_were_read_under():
    # One and the same law, its own readings under two lights: the looks are those under D65.
    law, z, rows = _written(ROWS, [Viewing()] * len(ROWS))
    state = law.evaluate(z, rows.table)
    found = []
    for light in (("D65", "10"), ("A", "2")):
        read = [
            (*row[:3], tuple(lab))
            for row, lab in zip(ROWS, lab_of(state.reflectance, *light)[0], strict=True)
        ]
        _, _, under = _written(read, [Viewing(*light)] * len(ROWS))
        found.append(places_of(law, z, under))
    np.testing.assert_allclose(found[0], found[1], atol=1e-9)


@pytest.fixture(scope="module")
def parts():
    law, z, rows = _written(ROWS, [Viewing()] * len(ROWS))
    places, coated = places_of(law, z, rows), rows.table.take(rows.table.total_coats > 0)
    made = {n: Part.of(n, coated, 60, lengths=BY_RECIPE, grounds=places) for n in PARTS}

    def features(name, ground, colour="teal"):
        recipe = Recipe(
            Ground.parse(ground), Colour.parse(colour), CoatSchedule.parse("2@6:1"), "yes"
        )
        return made[name].features(RecipeTable.of([recipe], [Viewing()], law.words)).ravel()

    return features


def _alike(a, b):
    return float(a @ b / np.sqrt((a @ a) * (b @ b)))


@pytest.mark.parametrize("name", ["film ground", "bare ground"])
def test_one_ground_tells_more_of_another_that_looks_like_it(parts, name):
    silver = parts(name, "silver")
    assert _alike(silver, parts(name, "bright silver")) > 0.5
    assert _alike(silver, parts(name, "black")) < 0.05
    np.testing.assert_allclose(silver, parts(name, "silver", "violet"))


def test_what_all_have_in_common_crosses_to_any_ground(parts):
    for other in ("black", "gold", "silver 1 + black 1"):
        np.testing.assert_allclose(parts("bare shared", "silver"), parts("bare shared", other))
    np.testing.assert_allclose(
        parts("bare shared", "silver"), parts("bare shared", "silver", "violet")
    )
    assert _alike(parts("bare colour", "silver"), parts("bare colour", "silver", "violet")) < 0.2
