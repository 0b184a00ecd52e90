"""The law at one set of values: what it says, how that moves, and what else a ground might do."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.film import KEPT_WAY, saunderson
from matchlib.regression.surface import most_inside

__all__ = ["State"]

Array = NDArray[np.float64]


class State(NamedTuple):
    """The law at one set of values: measured reflectance (n, b) and its partial derivatives."""

    reflectance: Array
    by_ground: Array  # (n, b), by the logarithm of the ground's reflectance
    by_absorbance: Array  # (n, b), by A
    by_scatter: Array  # (n, b), by S
    by_clear: Array  # (n, b), by the logarithm of the clear coat's transmittance
    by_k2: Array  # (n, b), by the logit of k2, of ground and film alike
    by_lambert: Array  # (n, b), by that of the share a ground sends at all angles
    by_way: Array  # (n, b), by the value of the way of light that the surface keeps
    by_gain: Array  # (n, b), by the value of an uncleared surface's gain
    by_haze: Array  # (n, b), by the value of an uncleared one's haze, or of a cleared one's zero
    absorption: Array  # (c, b), for one coat of 6:1
    scattering: Array  # (c, b)
    dose: Array  # (n, c), path included
    by_dose: Array  # (n, 3, c), derivatives of the doses by slope, bend and first coat
    turned: Array  # (n, c), the doses, each step's times how far its ratio turns the hue
    by_turned: Array  # (n, 3, c), and their derivatives
    turn: Array  # (c, b), how much more of each wavelength is absorbed, were all gathered
    lays: Array  # (n, e), how much each thing that lays more or less film has a say
    weight: Array  # (n, g), of each ground
    log_ground: Array  # (q g, b), logarithm of each ground's reflectance in each geometry
    place: NDArray[np.intp]  # (n,), the geometry
    batch: Array  # (n, g), what the batch of each ground adds to it
    mixed: Array  # (n, b), and of the blend's
    absorbance: Array  # (n, b), A
    k2: Array  # (n, 1), internal reflectance of the surface for the ground's light
    film_k2: Array  # (n, 1), and for what the film scatters
    gain: Array  # (n, b), by which more of it is read
    way: float  # of light kept inside, in ways of what is read [-]

    @property
    def ground(self) -> Array:
        """Logarithm of each ground's reflectance; shape (n, g, b)."""
        each = self.log_ground.reshape(-1, self.weight.shape[1], self.log_ground.shape[1])
        return np.asarray(each[self.place] + self.batch[:, :, None], float)

    @property
    def if_diffuse(self) -> Array:
        """Reflectance more (n, b), were the ground's light Lambert's, on its way of that kind."""
        ground = self._inside(0.0)
        bare = (1.0 - self.k2) * ground / (1.0 - self.k2 * ground)
        same = bare / (1.0 - self.film_k2 * (1.0 - bare))  # is as light when it is bare
        lambert = self._let_out(same, k2=self.film_k2, way=KEPT_WAY)
        return lambert - self._let_out(ground, k2=self.k2, way=self.way)

    def if_lighter(self, by: Array) -> Array:
        """Reflectance more (n, b), were the logarithm of the ground's reflectance more by that."""
        now, then = (
            self._let_out(self._inside(more), k2=self.k2, way=self.way) for more in (0.0, by)
        )
        return then - now

    def _inside(self, more: Array | float) -> Array:
        return np.minimum(np.exp(self.mixed + more), most_inside(self.k2))

    def _let_out(self, ground: Array, *, k2: Array, way: float) -> Array:
        seen, kept = (ground * np.exp(-w * self.absorbance) for w in (1.0, way))
        return self.gain * saunderson(seen, kept=kept, k2=k2)

    def take(self, rows: NDArray[np.intp]) -> State:
        """Return some of the rows."""
        shared = ("absorption", "scattering", "turn", "log_ground", "way")
        own = {k: v[rows] for k, v in self._asdict().items() if k not in shared}
        return self._replace(**own)
