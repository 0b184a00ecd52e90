"""Laws that the film's optics obey, whatever the numbers.

Values printed in papers and standards stand apart, in tests/published.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from matchlib import film

SHARE = st.floats(0.0, 1.0, allow_subnormal=False)
SOME = st.floats(0.0, 8.0, allow_subnormal=False)
K1 = st.floats(0.0, 0.1)
K2 = st.floats(0.0, 0.8)
INDEX = st.floats(1.05, 2.5)
CURVE = hnp.arrays(np.float64, (31,), elements=st.floats(0.0, 1.0, allow_subnormal=False))
GEOMETRIES = ["45:0", "0:45", "di:8", "de:8", "d:0", "45as-15", "45as15", "45as75", "45as110"]


@given(ground=CURVE, thin=SOME, more=SOME)
def test_more_film_is_never_lighter_without_scattering(ground, thin, more):
    before = film.film_reflectance(ground, thin)
    after = film.film_reflectance(ground, thin + more)
    assert np.all(after <= before)
    assert np.all(after >= 0.0)


@given(ground=st.floats(0.05, 1.0), thin=SOME, more=SOME, share=SHARE)
def test_more_film_is_never_lighter_over_a_brighter_ground(ground, thin, more, share):
    # A colour that hides a little brings a thick film to its own lightness, S / A. Over a ground
    # brighter than that, more of it only darkens.
    own = share * ground
    before = film.film_reflectance(ground, thin, own * thin)
    after = film.film_reflectance(ground, thin + more, own * (thin + more))
    assert after <= before + 1e-12
    assert after >= own - 1e-12


@given(ground=st.floats(0.0, 0.9), amount=st.floats(0.01, 8.0), own=st.floats(0.0, 1.0))
def test_a_thick_film_hides_the_ground(ground, amount, own):
    # The mean of the ground and the film's own lightness, weighted by what gets through.
    through = np.exp(-amount)
    seen = film.film_reflectance(ground, amount, own * amount)
    assert seen == pytest.approx(ground * through + own * (1 - through), abs=1e-9)


@given(ground=CURVE, first=SOME, second=SOME)
def test_two_films_filter_as_their_sum(ground, first, second):
    under = film.film_reflectance(ground, first)
    np.testing.assert_allclose(
        film.film_reflectance(under, second),
        film.film_reflectance(ground, first + second),
        rtol=1e-12,
        atol=1e-300,
    )


@given(grounds=st.tuples(SHARE, SHARE), amount=SOME, scattering=st.floats(0.0, 0.3))
def test_the_brighter_ground_stays_the_brighter(grounds, amount, scattering):
    dark, bright = sorted(grounds)
    seen = film.film_reflectance([dark, bright], amount, scattering)
    assert seen[0] <= seen[1]


def test_no_film_shows_the_ground_alone():
    ground = np.linspace(0.0, 1.0, 31)
    np.testing.assert_array_equal(film.film_reflectance(ground, 0.0), ground)


@given(inners=st.tuples(SHARE, SHARE), k1=K1, k2=K2, gloss=st.booleans())
def test_the_surface_keeps_order_and_bounds(inners, k1, k2, gloss):
    low, high = sorted(inners)
    seen = film.saunderson([low, high], k1=k1, k2=k2, specular_included=gloss)
    assert 0.0 <= seen[0] <= seen[1] + 1e-15
    assert seen[1] <= 1.0 + 1e-12


@given(inner=st.floats(0.001, 0.999), k2s=st.tuples(K2, K2))
def test_light_kept_inside_darkens_what_is_not_white(inner, k2s):
    low, high = sorted(k2s)
    assert film.saunderson(inner, k2=high) <= film.saunderson(inner, k2=low) + 1e-15


@given(k2=K2)
def test_the_surface_leaves_black_black_and_white_white(k2):
    ends = film.saunderson([0.0, 1.0], k1=0.04, k2=k2, specular_included=True)
    np.testing.assert_allclose(ends, [0.04, 1.0], atol=1e-12)


@given(amount=st.floats(0.0, 40.0))
def test_light_scattered_once_and_its_slope(amount):
    value, slope = film.single_scatter(amount)
    assert 0.0 < value <= 1.0
    assert -0.5 <= slope < 0.0
    step = 1e-4 * max(amount, 1.0)
    assume(amount > step)
    up, _ = film.single_scatter(amount + step)
    down, _ = film.single_scatter(amount - step)
    assert slope == pytest.approx(float(up - down) / (2 * step), rel=2e-4, abs=2e-7)


def test_light_scattered_once_joins_its_series_smoothly():
    value, slope = film.single_scatter([0.0, 1e-3 - 1e-9, 1e-3 + 1e-9])
    assert value[0] == 1.0
    assert slope[0] == -0.5
    assert value[1] == pytest.approx(value[2], abs=3e-9)
    assert slope[1] == pytest.approx(slope[2], abs=3e-7)


@given(
    k=st.floats(0.0, 5.0),
    s=st.floats(0.0, 5.0),
    x=st.floats(0.0, 5.0),
    rg=SHARE,
    more=st.floats(0.0, 3.0),
)
def test_a_layer_stays_between_ground_and_its_own_depth(k, s, x, rg, more):
    assume(s * x == 0.0 or s * x > 1e-7)
    assume(k == 0.0 or k > 1e-6)
    deep = film.kubelka_layer(k, s, 1e5, rg) if s > 1e-3 and k > 1e-3 else None
    seen = film.kubelka_layer(k, s, x, rg)
    assert -1e-9 <= seen <= 1.0 + 1e-9
    if deep is not None:
        assert min(deep, rg) - 1e-9 <= seen <= max(deep, rg) + 1e-9
    assert film.kubelka_layer(k + more, s, x, rg) <= seen + 1e-7


@given(rg=SHARE, k=st.floats(0.01, 5.0), x=st.floats(0.01, 3.0))
def test_a_layer_reaches_the_clear_film_without_a_step(rg, k, x):
    clear = film.kubelka_layer(k, 0.0, x, rg)
    nearly = film.kubelka_layer(k, 1e-7, x, rg)
    assert nearly == pytest.approx(float(clear), abs=1e-5)
    assert clear == pytest.approx(float(film.film_reflectance(rg, 2 * k * x)), abs=1e-12)


@pytest.mark.parametrize("geometry", GEOMETRIES)
@settings(max_examples=20)  # each example integrates over angles
@given(n=INDEX)
def test_the_way_through_the_film_is_at_least_twice_its_thickness(geometry, n):
    way = film.path_factor(geometry, n=n)
    assert way >= 2.0
    # A denser film bends the light straighter.
    assert film.path_factor(geometry, n=n + 0.05) <= way
