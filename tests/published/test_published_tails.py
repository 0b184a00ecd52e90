"""Tails against printed tables and a printed worked example, at the precision printed."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.tails import dof_of, ninety_nine, region

# Upper 10 and 5 % points of Fisher's F with 3 and nu degrees of freedom: NIST/SEMATECH e-Handbook
# of Statistical Methods, 1.3.6.7.3, one table a level.
F_3 = [(3, 5.391, 9.277), (4, 4.191, 6.591), (10, 2.728, 3.708), (30, 2.276, 2.922)]


@pytest.mark.parametrize(("nu", "ten", "five"), F_3)
def test_regions_in_lab_are_those_of_the_tables_of_f(nu: int, ten: float, five: float) -> None:
    found = region([0.9, 0.95], nu) * nu / (nu - 2) / 3
    np.testing.assert_allclose(found, [ten, five], atol=5e-4)


# Two-sided points of Student's t, the same handbook, 1.3.6.7.2: 95 and 99 %.
T = [(4, 2.776, 4.604), (10, 2.228, 3.169)]


@pytest.mark.parametrize(("nu", "five", "one"), T)
def test_regions_on_a_line_are_those_of_the_table_of_t(nu: int, five: float, one: float) -> None:
    found = np.sqrt(region([0.95, 0.99], nu, dimension=1) * nu / (nu - 2))
    np.testing.assert_allclose(found, [five, one], atol=5e-4)
    # Between the steps of the table that is shipped: 1.5 % of 4 degrees of freedom and of 10.
    np.testing.assert_allclose(np.sqrt(ninety_nine(1, nu) * nu / (nu - 2)), one, rtol=0.015)


def test_what_is_known_well_has_the_regions_of_chi_square() -> None:
    # The same handbook, 1.3.6.7.4: 10, 5 and 1 % points for 3 degrees of freedom.
    np.testing.assert_allclose(region([0.9, 0.95, 0.99]), [6.251, 7.815, 11.345], atol=5e-4)
    # The 1 % points for 3, 6, 9 and 30.
    np.testing.assert_allclose(
        [ninety_nine(d) for d in (3, 6, 9, 30)], [11.345, 16.812, 21.666, 50.892], atol=5e-4
    )


def test_freedom_of_the_end_gauge() -> None:
    # JCGM 100:2008, H.1.6: parts of 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 degrees of
    # freedom, together 1002 nm2, have 16.7. Reciprocals of single parts add up to the whole's.
    parts = np.array([25.0, 9.7, 2.9, 16.6])[:, None, None] ** 2
    each = [
        dof_of(part, np.full((1, 1), 1002.0), known_dof=nu)
        for part, nu in zip(parts, (18, 25.6, 50, 2), strict=True)
    ]
    assert 1.0 / np.sum(1.0 / np.array(each)) == pytest.approx(16.7, abs=0.05)
