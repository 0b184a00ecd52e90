"""Whether the shelf can make a target at all: the chance that some recipe of it passes.

Of a recipe's difference from a target, part is not known yet and part is luck. What the shelf can
make is a matter of the first alone: the law's values are drawn as the archive leaves them open, all
recipes move together with them, and the draws are counted in which at least one of them is within
the tolerance. What spraying and reading add is left out.

That a colour was asked for speaks for its being one that the shelf can make: half of them are, say,
and what the shelf makes is a small part of the colours around it, so that each of them is asked for
many times oftener than one beside them. By Bayes' rule these odds multiply those of the draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Recipe, Viewing
from matchlib.linear import together
from matchlib.regression import FilmPredictor
from matchlib.tails import symmetric_root
from matchlib.target import Target

__all__ = ["DOUBTFUL", "OUT_OF_REACH", "Reachability", "reach_of"]

Array = NDArray[np.float64]

OUT_OF_REACH = 0.05
"""Chance under which a target is called out of reach [-]."""

DOUBTFUL = 0.30
"""Chance under which it is called doubtful [-]."""

DRAWS = 1024
"""Ways in which the law may truly be."""

ODDS = 15.0
"""How much oftener a colour is asked for that the shelf can make than one that it cannot, where
half of all are of either kind: settled on simulated booths, such that the chances stated come
true; the benchmark `reach` is of other booths."""


@dataclass(frozen=True)
class Reachability:
    """How likely it is that some recipe, as it is on average, is within the tolerance [-].

    `telling` is the recipe whose panel would say most about it.
    """

    chance: float
    telling: Recipe


def reach_of(
    model: FilmPredictor, recipes: Sequence[Recipe], target: Target, viewings: Sequence[Viewing]
) -> Reachability:
    """Return the chance that any of the recipes passes, one viewing an aim of the target."""
    about = together(model, recipes, viewings)
    there = about.prediction
    n, wide, free = about.slope.shape
    draw = np.random.default_rng(0)
    ways = draw.standard_normal((DRAWS, free)) @ symmetric_root(about.covariance)
    moved = (about.slope.reshape(-1, free) @ ways.T).reshape(n, wide, -1)
    moved *= _drawn_out(there.known_dof, draw)[:, None, :]
    wanted = symmetric_root(target.covariance[None])[0] @ draw.standard_normal((wide, DRAWS))
    likely = (moved - wanted).transpose(0, 2, 1)
    away = target.difference(
        [lab[:, None, :] + likely[..., 3 * i : 3 * i + 3] for i, lab in enumerate(there.labs)]
    )
    passes = (away <= target.tolerance.value).any(axis=0)
    share = float(passes.mean())
    # How much of whether it passes each recipe's panel would explain.
    off = likely - likely.mean(axis=1, keepdims=True)
    across = np.einsum("ndw,d->nw", off, passes - share) / DRAWS
    solved = np.linalg.solve(there.covariance, across[..., None])[..., 0]
    explained = np.einsum("nw,nw->n", across, solved)
    return Reachability(
        ODDS * share / (ODDS * share + 1.0 - share), recipes[int(np.argmax(explained))]
    )


def _drawn_out(dof: Array, draw: np.random.Generator) -> Array:
    """How far draws of a normal are drawn out to be a t's of the same covariance; (n, draws)."""
    nu = np.array(sorted(set(dof.tolist())))
    of = np.searchsorted(nu, dof)
    some = np.minimum(nu, 1e6)[:, None]
    return np.asarray(np.sqrt((some - 2.0) / draw.chisquare(some, (len(nu), DRAWS))))[of]
