"""A smooth function of one variable or a few as a short sum of Chebyshev polynomials.

The function is taken at the roots of a Chebyshev polynomial in each variable; its values there give
the coefficients of the polynomial through them, by a sum of cosines (Trefethen 2013, *Approximation
Theory and Approximation Practice*, chapters 3 and 4). Of an analytic function the coefficients fall
geometrically (his theorem 8.1), so the last of them tell how far the polynomial still is from the
function: where they are not small, more points are taken (as Aurentz and Trefethen 2017 do). Those
too small to count are left out. A value then costs a few multiplications, whatever the function
costs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

__all__ = ["Series"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Single = NDArray[np.float32]


class Series(NamedTuple):
    """Chebyshev polynomials of v variables and their coefficients, for m functions at once."""

    low: Array  # (v,), ends of each variable; one whose ends are the same is not one
    high: Array  # (v,)
    degree: Ints  # (v, t), degree in each variable of every product kept
    factor: Single  # (m, t), its coefficients

    @classmethod
    def of(
        cls,
        function: Callable[[Array], Single],
        ends: tuple[Array, Array],
        sizes: Sequence[int],
        *,
        within: float,
        most: int,
    ) -> Self | None:
        """Return the series of a function from (v, n) to (m, n); None where that is too long."""
        # The last degree's coefficients stay within `within`; `most` points are taken at a time.
        low, high = ends
        free = high - low > 1e-6 * np.abs(high)
        count = np.where(free, sizes, 1)
        middle, half = (high + low)[:, None] / 2.0, (high - low)[:, None] / 2.0
        while count.prod() <= most:
            unit, degree, cosines = _rule(tuple(count.tolist()))
            factor = function(middle + unit * half) @ cosines
            size = np.abs(factor).max(axis=0)
            last = [size[d == d.max()].max() for d in degree]
            short = free & (np.array(last) > within)
            if not short.any():
                kept = (size > within / 10.0) | (degree.sum(axis=0) == 0)
                return cls(low, high, degree[:, kept], factor[:, kept])
            count = np.where(short, count + count // 2, count)
        return None

    def __call__(self, at: Single) -> Single:
        """Return the values at some points."""
        product = self._rows(0, at[0])
        for v in range(1, len(at)):
            product *= self._rows(v, at[v])
        return np.asarray(self.factor @ product)

    def _rows(self, v: int, at: Single) -> Single:
        low, high = float(self.low[v]), float(self.high[v])
        span = max(high - low, 1e-30)
        x = at * np.float32(2.0 / span) - np.float32((high + low) / span)
        return np.asarray(_polynomials(x, int(self.degree[v].max()))[self.degree[v]])


@cache
def _rule(count: tuple[int, ...]) -> tuple[Array, Ints, Single]:
    """Points between -1 and 1, degrees of as many products, and from values to coefficients."""
    angles = [np.pi * (np.arange(n) + 0.5) / n for n in count]
    cosines: Array = np.ones((1, 1))
    for x in angles:
        own = np.cos(np.outer(x, np.arange(len(x)))) * np.where(np.arange(len(x)), 2.0, 1.0)
        cosines = np.asarray(np.kron(cosines, own / len(x)))
    points = [np.cos(x) for x in angles]
    grid = np.stack(np.meshgrid(*points, indexing="ij")).reshape(len(count), -1)
    return grid, np.indices(count).reshape(len(count), -1), cosines.astype(np.float32)


def _polynomials(x: Single, degree: int) -> Single:
    """All up to a degree, each time twice as many: T(k+j) = 2 T(k) T(j) - T(k-j)."""
    rows = np.ones((degree + 1, len(x)), np.float32)
    rows[1:2] = x
    k = 1
    while k < degree:
        more = min(k, degree - k)
        new = rows[k + 1 : k + 1 + more]
        np.multiply(rows[k] * np.float32(2.0), rows[1 : more + 1], out=new)
        new -= rows[k - more : k][::-1]
        k += more
    return rows
