"""Which panel to spray next: for one target, or for the archive as a whole.

A panel not yet sprayed is looked at through the law taken as linear: its reading would move what
is believed by a known amount in a direction not yet known (the knowledge gradient of Frazier,
Powell and Dayanik 2009, for panels instead of alternatives). For a target, what counts is the
chance that this panel passes, or else that the next one does, chosen with what this one taught.
For the archive it is how far the panel shrinks the uncertainty, in ΔE00, over all that could be
sprayed (over the recipes of the archive alone it would ask again what is known there already);
a set of panels is chosen one after the other, each knowing that the ones before it will be sprayed
(greedy choice is within 1 - 1/e of the best set where gains diminish: Nemhauser, Wolsey and Fisher
1978), so that no two of them ask the same question.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.difference import delta_e00_metric
from matchlib.correction import Belief
from matchlib.correction.scoring import nearest
from matchlib.domain import Recipe
from matchlib.errors import DomainError
from matchlib.linear import Together, linearise
from matchlib.listing import Listing, items_frame
from matchlib.outcome import Outcome, outcomes
from matchlib.plain import recipe_cells
from matchlib.plural import counted
from matchlib.progress import Callback, part_of
from matchlib.tails import (
    chance_words,
    dof_of,
    drawn_out,
    normal_cloud,
    spread_by,
    symmetric_root,
)
from matchlib.target import Target

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression import FilmPredictor

__all__ = [
    "ArchivePlan",
    "TargetPanel",
    "next_for_archive",
    "next_for_target",
]

Array = NDArray[np.float64]

FUTURES = 64
"""Readings imagined for a panel not yet sprayed."""

THOUGHT_OF = 24
"""Panels for which readings are imagined: those likeliest to pass."""

FOLLOWING = 60
"""Panels that may follow."""

CLOUD = 64
"""Colours imagined for each panel that may follow."""


@dataclass(frozen=True)
class TargetPanel(Outcome):
    """A panel that might be sprayed next for a target, beside what `Outcome` holds.

    Parameters
    ----------
    passes_by_second : float
        Probability that this panel or the one after it is [-].
    words : str
        The same in a sentence.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> could = [Recipe.of("pale gold", "cherry", each, "yes") for each in ("2@3:1", "3@3:1")]
    >>> first = next_for_target(demo_model(), Target.lab(27.1, 45.9, 28.5), could)[0]
    >>> str(first.recipe.schedule), first.probability <= first.passes_by_second + 0.05
    ('3@3:1', True)
    """

    SHOWN: ClassVar = (
        ("", lambda one: recipe_cells(one.recipe)),
        ("", lambda one: dict(zip("Lab", one.lab, strict=True))),
        *("probability", ("probability_by_second", "passes_by_second"), "words"),
    )

    passes_by_second: float
    words: str


@dataclass(frozen=True)
class ArchivePanel:
    """A panel worth spraying for the archive."""

    SHOWN: ClassVar = (
        ("", lambda one: recipe_cells(one.recipe)),
        *(("uncertainty_before", "before"), ("uncertainty_after", "after"), "words"),
    )

    recipe: Recipe  # what to spray
    # uncertainty over what could be sprayed, root mean square [ΔE00], before this panel and after
    before: float
    after: float
    words: str  # the gain in a sentence


@dataclass(frozen=True)
class ArchivePlan:
    """A set of panels to spray for the archive, in order of worth.

    Parameters
    ----------
    panels : tuple of ArchivePanel
        The set.
    before, after : float
        Uncertainty over what could be sprayed, root mean square [ΔE00], before and after all of
        them.
    words : str
        The gain in a sentence.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> could = [Recipe.of("pale gold", "cherry", each, "yes") for each in ("2@3:1", "4@6:1")]
    >>> advised = next_for_archive(demo_model(), could, k=1)
    >>> advised.after < advised.before
    True
    """

    panels: tuple[ArchivePanel, ...]
    before: float
    after: float
    words: str

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row a panel.

        Returns
        -------
        DataFrame
            The recipe, and what it brings the uncertainty down to.
        """
        return items_frame(self.panels)


def next_for_target(
    model: FilmPredictor | Belief,
    target: Target,
    candidates: Sequence[Recipe],
    *,
    source: str = "spectrophotometer",
    shown: int = 5,
) -> Listing[TargetPanel]:
    """Rank panels by the chance of a match by the second panel.

    Parameters
    ----------
    model : FilmPredictor or Belief
        The archive's fit, or what is believed after today's panels.
    target : Target
        What is to be matched, and what counts as a match.
    candidates : sequence of Recipe
        What could be sprayed.
    source : str
        What will read the panels.
    shown : int
        How many to return.

    Returns
    -------
    Listing of TargetPanel
        A tuple, the best first; ``to_frame()`` gives a table.

    Raises
    ------
    DomainError
        If there is nothing to choose from.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> could = [Recipe.of("pale gold", "cherry", each, "yes") for each in ("2@3:1", "3@3:1")]
    >>> found = next_for_target(demo_model(), Target.lab(27.1, 45.9, 28.5), could)
    >>> found.to_frame()[["ground", "schedule"]].head(1)
          ground schedule
    0  pale gold    3@3:1
    """
    _check(candidates)
    belief = Belief.of(model)
    some = nearest(belief, candidates, target)[:FOLLOWING]
    known = belief.together(some, target.viewings, source=source)
    each = outcomes(some, known.prediction, target.hope(known.prediction))
    first = np.argsort([-one.probability for one in each], kind="stable")[:THOUGHT_OF]
    found: list[TargetPanel] = []
    for i in first:
        second = _by_second(i, known, target)
        passes = chance_words(each[i].probability)
        words = f"{some[i].words}: passes with a chance of {passes}; by the panel after it "
        words += f"{chance_words(second)}."
        found.append(TargetPanel(**vars(each[i]), passes_by_second=second, words=words))
    found.sort(key=lambda panel: (-round(panel.passes_by_second, 3), panel.expected))
    return Listing(found[:shown])


def _by_second(i: int, known: Together, goal: Target) -> float:
    """Chance that panel i passes, or the best one after it does."""
    there, slope, covariance, _ = known
    labs, own, wide = there.labs, there.own, slope.shape[1]
    views, count, _ = labs.shape
    across = slope[i] @ covariance
    seen = across @ slope[i].T + own[i]
    imagined = normal_cloud(FUTURES, wide)
    imagined = imagined * drawn_out(imagined, there.dof[i])[0][:, None]
    futures = imagined @ np.linalg.cholesky(seen).T
    parts = [slice(3 * view, 3 * view + 3) for view in range(views)]
    read = [lab[i] + futures[:, part] for lab, part in zip(labs, parts, strict=True)]
    points, doubt = normal_cloud(CLOUD, wide), np.zeros((CLOUD, wide))
    if goal.covariance.any():
        # What is truly wanted is not known: it is one and the same for both panels.
        both = normal_cloud(CLOUD, 2 * wide)
        points, doubt = both[:, :wide], both[:, wide:] @ symmetric_root(goal.covariance)
    seen_as = [lab[:, None] - doubt[:, part] for lab, part in zip(read, parts, strict=True)]
    passed = goal.difference(seen_as) <= goal.tolerance.value
    gain = np.linalg.solve(seen, across @ slope.reshape(-1, slope.shape[2]).T)
    gain = gain.T.reshape(count, wide, wide)
    move = np.einsum("nij,fj->fni", gain, futures)
    left = spread_by(slope, covariance) - gain @ seen @ gain.transpose(0, 2, 1)
    spread = symmetric_root(left + own)
    further = drawn_out(points, dof_of(left, left + own, known_dof=there.known_dof))[:, :, None]
    within = np.ones((FUTURES, count, CLOUD), bool)
    for view, part in enumerate(parts):
        # A small difference is a length in the target's own axes, which serve every panel near it.
        scale = goal.axes[view]
        centre = (labs[view][None] + move[:, :, part] - goal.labs[view]) @ scale.T
        cloud = further * (points @ (scale @ spread[:, part]).transpose(0, 2, 1))
        cloud = cloud - doubt[:, part] @ scale.T
        away = (centre[:, :, None, :] + cloud[None]) ** 2
        length = away.max(axis=3) if goal.tolerance.boxed else away.sum(axis=3)
        within &= length <= goal.tolerance.value**2
    either = passed[:, None] | within
    return float(either.mean(axis=2).max(axis=1).mean())


def next_for_archive(
    model: FilmPredictor,
    candidates: Sequence[Recipe],
    *,
    k: int = 5,
    callback: Callback | None = None,
) -> ArchivePlan:
    """Choose the set of panels that most shrinks the uncertainty over all that could be sprayed.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    candidates : sequence of Recipe
        What could be sprayed, and is to be known; each is chosen once at most.
    k : int
        Panels in the set.
    callback : callable, optional
        Called between pieces of work with the share done and what is being done; what it raises
        ends the work.

    Returns
    -------
    ArchivePlan
        At most `k` panels; fewer where one more would gain nothing.

    Raises
    ------
    DomainError
        If there is nothing to choose from.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> coats = ("2@3:1", "2@6:1", "4@3:1", "4@6:1")
    >>> could = [Recipe.of("pale gold", "cherry", each, "yes") for each in coats]
    >>> advised = next_for_archive(demo_model(), could, k=2)
    >>> advised.to_frame()[["ground", "colour", "schedule"]]
          ground  colour schedule
    0  pale gold  cherry    2@3:1
    1  pale gold  cherry    2@6:1
    """
    _check(candidates)
    if k < 1:
        raise DomainError(
            "There is nothing to plan panels for.",
            expected="at least one panel",
            got=f"{k}",
            remedy="ask for five.",
        )
    report = part_of(callback)
    near = linearise(model, candidates, callback=part_of(report, 0.0, 0.5))
    # What is not known of a recipe counts as the fit itself says it, by its kind of reach.
    kinds = model.reach(candidates)
    grow = np.sqrt(model.stack_.inflation * (1.0 - model.stack_.weight))[kinds]
    ask = np.concatenate([grow[:, None, None] * near.jacobian, near.unseen], axis=2)
    covariance = np.eye(ask.shape[2])
    covariance[: near.jacobian.shape[2], : near.jacobian.shape[2]] = model.fitted_.covariance
    metric = np.linalg.cholesky(delta_e00_metric(near.lab)).transpose(0, 2, 1)
    outcome = (metric @ ask).reshape(-1, ask.shape[2])
    weight = outcome.T @ outcome / len(candidates)
    report(0.5, "working out the spread of each panel")
    noise = model.predict_each(candidates).own
    before = first = float(np.sqrt(np.vdot(covariance, weight)))
    chosen: list[ArchivePanel] = []
    for i, after in _most_taught(ask, weight, noise, covariance, k):
        report(0.7 + 0.3 * len(chosen) / k, "asking what each panel would teach")
        words = f"{candidates[i].words}: {_gain_words(before, after)}"
        chosen.append(ArchivePanel(candidates[i], before, after, words))
        before = after
    words = f"This brings the uncertainty over {counted(len(candidates), 'recipe')} "
    return ArchivePlan(tuple(chosen), first, before, words + _gain_words(first, before))


def _most_taught(
    ask: Array, weight: Array, noise: Array, covariance: Array, k: int
) -> Iterator[tuple[int, float]]:
    """Which panel teaches most, and the uncertainty after it, knowing that it will be sprayed."""
    first = float(np.vdot(covariance, weight))
    chosen: list[int] = []
    for _ in range(k):
        # What each candidate would say about itself, and about all of them.
        itself = ask @ covariance @ ask.transpose(0, 2, 1) + noise
        taught = ask @ (covariance @ weight @ covariance) @ ask.transpose(0, 2, 1)
        gains = np.trace(np.linalg.solve(itself, taught), axis1=1, axis2=2)
        # Another recipe teaches about as much as one sprayed twice, which reads as a slip.
        gains[chosen] = 0.0
        i = int(np.argmax(gains))
        chosen.append(i)
        if gains[i] <= 1e-9 * first:
            return
        joint = np.linalg.solve(np.linalg.cholesky(itself[i]), ask[i] @ covariance)
        covariance = covariance - joint.T @ joint
        yield i, float(np.sqrt(max(float(np.vdot(covariance, weight)), 0.0)))


def _gain_words(before: float, after: float) -> str:
    share = 1.0 - after / before if before else 0.0
    return f"from {before:.2f} to {after:.2f} ΔE00 ({share:.0%} less)."


def _check(candidates: Sequence[Any]) -> None:
    if not len(candidates):
        raise DomainError(
            "There is no panel to choose from.",
            expected="at least one recipe that could be sprayed",
            got="none",
            remedy="widen the limits of the booth.",
        )
