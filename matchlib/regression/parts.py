"""A fitted law near some values, as a linear one, and what a prediction has beside it.

That is what the library adds, what differs from panel to panel, and what no panel can have told.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.lab import lab_jacobian
from matchlib.regression.law import FilmLaw
from matchlib.regression.library import bare_rows, features, library_share
from matchlib.regression.observe import SPECTRO
from matchlib.regression.reach import unknown_angle, unknown_scatter
from matchlib.regression.residuals import THIRDS
from matchlib.regression.solve import FittedLaw
from matchlib.regression.state import State
from matchlib.regression.table import RecipeTable
from matchlib.regression.unusual import unusual_rows
from matchlib.tails import spread_by

if TYPE_CHECKING:
    from matchlib.regression.predictor import FilmPredictor

__all__ = ["Linear", "law_at", "library_part", "linear_at"]

Array = NDArray[np.float64]


class Linear(NamedTuple):
    """Law and library about some values, n recipes under one light each."""

    lab: Array  # (n, 3), CIELAB by both
    jacobian: Array  # (n, 3, p), derivative of it by the law's free values
    film: Array  # (n, 3), derivative by the logarithm of the whole film
    ground: Array  # (n, 3), derivative by the logarithm of the ground's level
    own: Array  # (n, 3, k), changes by all that is a panel's own, a standard deviation each
    # changes by what no panel told, a standard deviation each: how grounds never sprayed on
    # scatter, what any throws at angles never read, and how far up and down between their parts
    # grounds never blended lie
    unseen: Array  # (n, 3, 4 g + 2)
    share: Array  # (n,), the library's
    gap: Array  # (n, 3), its way from the law's CIELAB
    variance: Array  # (n, 3), and its own


def linear_at(
    model: FilmPredictor,
    table: RecipeTable,
    *light: str,
    z: Array | None = None,
    slopes: bool = True,
    own: bool = False,
) -> Linear:
    """Return law and library about some values, the fitted ones if None; its own if asked for."""
    fit, n = model.fitted_, len(table)
    z = fit.z if z is None else z
    state = fit.law.evaluate(z, table)
    lab, by_r = lab_jacobian(state.reflectance, *light)
    # What the library adds does not move with the law's values.
    share, gap, variance = library_part(model, table, lab, *light)
    lab = lab + share[:, None] * gap
    parts = (
        unknown_scatter(state, by_r, model.experience_.sprayed),
        unknown_angle(fit.law, state, by_r, table),
        _unknown_blend(fit.law, table, state, *light),
    )
    unseen = np.concatenate(parts, axis=2)
    unseen *= np.sqrt(model.stack_.spread[model.experience_.kinds(table)])[:, None, None]
    jacobian = film = ground = spread = np.empty((n, 3, 0))
    if slopes:
        jacobian, effects = fit.law.jacobian(state, z, table, by_r)
        film, ground = np.moveaxis(effects, 2, 0)
        if own:
            spread = _own_spread(fit, table, state, effects, by_r)
    return Linear(lab, jacobian, film, ground, spread, unseen, share, gap, variance)


def library_part(
    model: FilmPredictor, table: RecipeTable, lab: Array, *light: str
) -> tuple[Array, Array, Array]:
    """The library's share (n,), its way from the law's Lab (n, 3), and its variance (n, 3)."""
    share, (gap, variance) = np.zeros(len(table)), np.zeros((2, len(table), 3))
    if model.library_ is None:
        return share, gap, variance
    kinds = model.experience_.kinds(table)
    odd = unusual_rows(model.unusual_, table, model.words_)
    doubt = np.where(odd, 0.0, model.stack_.doubt[kinds])
    rows = np.flatnonzero(np.isfinite(doubt))
    if not len(rows):
        return share, gap, variance
    fit, some = model.fitted_, table.take(rows)
    _, known, own = law_at(fit, some, lambda seen: lab_jacobian(seen, *light))
    known, own = (np.trace(x, axis1=1, axis2=2) / 3.0 for x in (known, own))
    inflation, spread = (x[kinds[rows]] for x in (model.stack_.inflation, model.stack_.spread))
    law = inflation * known + spread * (own + fit.sizes.noise[SPECTRO] ** 2)
    bare, _ = lab_jacobian(fit.law.evaluate(fit.z, bare_rows(some)).reflectance, *light)
    change, variance[rows] = model.library_.predict(features(bare, some.strength))
    share[rows] = library_share(law, variance[rows].mean(axis=1), doubt[rows])
    gap[rows] = bare + change - lab[rows]
    return share, gap, variance


def law_at(
    fit: FittedLaw, table: RecipeTable, lab_of: Callable[[Array], tuple[Array, Array]]
) -> tuple[Array, Array, Array]:
    """Lab by the law (n, 3), its covariance by the values, and by what is a panel's own."""
    state = fit.law.evaluate(fit.z, table)
    lab, by_r = lab_of(state.reflectance)
    jacobian, effects = fit.law.jacobian(state, fit.z, table, by_r)
    own = _own_spread(fit, table, state, effects, by_r)
    known = spread_by(jacobian, fit.covariance)
    return lab, known, own @ own.transpose(0, 2, 1)


def _own_spread(
    fit: FittedLaw, table: RecipeTable, state: State, effects: Array, by_r: Array
) -> Array:
    """Derivative of Lab by each thing of a panel's own, times its standard deviation."""
    law = fit.law
    size = dict(zip(law.groups, fit.sizes.groups, strict=True))
    film = np.full(len(table), fit.sizes.effects[0] ** 2)
    ground = np.full(len(table), fit.sizes.effects[1] ** 2)
    # Somebody, or a lot, batch or instrument, that is not known may be any.
    film += (size.get("sprayer", 0.0) * law.unknown(table, "sprayer")) ** 2
    film += (size.get("lot", 0.0) * law.unknown(table, "lot")) ** 2
    ground += (size.get("batch", 0.0) * law.unknown(table, "batch")) ** 2
    later = np.clip(np.nan_to_num(table.time, nan=1.0) - 1.0, 0.0, 2.0)
    film += size.get("drift", 0.0) ** 2 * later
    own = [
        effects * np.sqrt(np.stack([film, ground], axis=1))[:, None, :],
        by_r @ THIRDS * fit.sizes.effects[2],
    ]
    unknown = size.get("instrument", 0.0) * law.unknown(table, "instrument")
    by_gain = by_r * state.reflectance[:, None, :]
    own.append(by_gain @ law.curves["instrument"] * unknown[:, None, None])
    return np.concatenate(own, axis=2)


def _unknown_blend(law: FilmLaw, table: RecipeTable, state: State, *light: str) -> Array:
    """Changes of Lab by what is not known of grounds never seen blended, a step up and one down."""
    # Between the lightest and the darkest of the grounds it lies by a share of which nothing is
    # known, so that either end is likelier than the middle (Jeffreys 1946).
    held = table.ground_share > 0
    open_ = np.triu(held[:, :, None] & held[:, None, :], 1)
    for a, b in law.words.pairs:
        open_[:, a, b] = False
    found = np.zeros((len(table), 3, 2))
    rows = np.flatnonzero(open_.any(axis=(1, 2)))
    if len(rows):
        some, inside = state.take(rows), held[rows, :, None]
        up = np.where(inside, some.ground, -np.inf).max(axis=1) - some.mixed
        down = np.where(inside, some.ground, np.inf).min(axis=1) - some.mixed
        # Not by the slope at the mean: of what is dark Lab moves far more upwards than down.
        lighter = [some.if_lighter(by / np.sqrt(2.0)) for by in (up, down)]
        ways = [lab_jacobian(some.reflectance + more, *light)[0] for more in (0.0 * up, *lighter)]
        long = np.maximum([up.mean(axis=1), -down.mean(axis=1)], 0.0) + 1e-9
        share = np.sqrt(long / long.sum(axis=0)).T[:, None, :]
        found[rows] = share * (np.stack(ways[1:], axis=2) - ways[0][:, :, None])
    return found
