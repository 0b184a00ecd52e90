"""What differs from panel to panel, what a reading adds, and what no panel can have told."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.law import FilmLaw
from matchlib.regression.observe import PHOTO, SPECTRO
from matchlib.regression.residuals import THIRDS
from matchlib.regression.sizes import Sizes
from matchlib.regression.solve import FittedLaw
from matchlib.regression.state import State
from matchlib.regression.table import RecipeTable

__all__ = ["noise_split", "own_spread", "unknown_blend"]

Array = NDArray[np.float64]


def noise_split(sizes: Sizes, reading: dict[int, float]) -> tuple[float, dict[str, float]]:
    """Variance a Lab axis of what no number explains on a panel, and of a reading by source."""
    noise = sizes.noise
    mottle = max(noise[SPECTRO] ** 2 - reading[SPECTRO] ** 2, 1e-6)
    instrument = min(reading[SPECTRO] ** 2, noise[SPECTRO] ** 2)
    photo = max(noise[PHOTO] ** 2 - mottle, instrument)
    return mottle, {"spectrophotometer": instrument, "photo": photo}


def own_spread(
    fit: FittedLaw, table: RecipeTable, state: State, effects: Array, by_r: Array
) -> Array:
    """Derivative of Lab by each thing of a panel's own, times its standard deviation."""
    words = fit.law.words
    size = dict(zip(fit.law.groups, fit.sizes.groups, strict=True))
    film = np.full(len(table), fit.sizes.effects[0] ** 2)
    ground = np.full(len(table), fit.sizes.effects[1] ** 2)
    # Somebody, or a lot, batch or instrument, that is not known may be any.
    if words.sprayers:
        film += size["sprayer"] ** 2 * (table.sprayer < 0)
    if words.lots:
        film += size["lot"] ** 2 * ((table.lot < 0) & table.colours).any(axis=1)
    if words.days:
        later = np.clip(np.nan_to_num(table.time, nan=1.0) - 1.0, 0.0, 2.0)
        film += size["drift"] ** 2 * later
    if words.batches:
        other = (table.batch < 0) & (table.ground_share > 0)
        ground += size["batch"] ** 2 * other.any(axis=1)
    own = [
        effects * np.sqrt(np.stack([film, ground], axis=1))[:, None, :],
        by_r @ THIRDS * fit.sizes.effects[2],
    ]
    if words.instruments:
        strange = size["instrument"] * (table.instrument < 0)
        by_gain = by_r * state.reflectance[:, None, :]
        own.append(by_gain @ fit.law.curves["clear"] * strange[:, None, None])
    return np.concatenate(own, axis=2)


def unknown_blend(law: FilmLaw, table: RecipeTable, state: State, by_r: Array) -> Array:
    """Derivative of Lab by what is not known of grounds never seen blended, in unit steps."""
    share = table.ground_share
    product = 4.0 * np.triu(share[:, :, None] * share[:, None, :], 1)
    for a, b in law.words.pairs:
        product[:, a, b] = 0.0
    amount = np.sqrt((product**2).sum(axis=(1, 2)))
    by_ground = by_r * state.by_ground[:, None, :]
    return np.asarray(amount[:, None, None] * (by_ground @ law.curves["ladder"]), float)
