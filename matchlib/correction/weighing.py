"""Whether a panel just read is what its back says, before anything is learnt from it.

A reading is weighed as more or less film of its own recipe, as every slip of the back (another
ground, pot, ratio or count of coats), as a misreading, and as what no recipe near it makes, by
Bayes' rule as the audit weighs the archive's backs. Today's film is summed over what it may be and
not taken as a straight line, for what is asked is how *much* of it the reading needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.audit.backs import Verdict, judge
from matchlib.audit.slips import Materials
from matchlib.correction.belief import Belief
from matchlib.correction.card import Card
from matchlib.correction.sprayed import Sprayed
from matchlib.domain import Colour, Ground, Panel, Reading, Recipe
from matchlib.mixing import Limits
from matchlib.progress import Callback
from matchlib.regression.vocabulary import Vocabulary
from matchlib.tails import block_diagonal, chance_words

__all__ = ["DOUBTED", "LOOK", "aside_words", "learn", "unfitting_words", "weigh"]

Array = NDArray[np.float64]

FILMS: Array = np.linspace(-4.5, 4.5, 37)
"""Films that are summed over [standard deviations of the widest kind of day]."""

DOUBTED = 0.5
"""Probability of being something else than its back says from which a panel does not fit [-]."""

LOOK = "Before anything is changed, read it again and look at its back, its ground and its pot."
"""What to do first with a panel that does not fit."""


@dataclass(frozen=True)
class _TriedPanel:
    """One panel against what is believed of today; stands where the audit has left-out panels."""

    belief: Belief
    row: Sprayed

    @cached_property
    def seen(self) -> list[Sprayed]:
        """One reading an angle, of the first one's kind: one angle's lights tell hardly more."""
        alike = [view for view in self.row.views if view.source == self.row.source]
        return list({view.viewing.geometry: view for view in reversed(alike)}.values())[::-1]

    @property
    def panels(self) -> tuple[Panel, ...]:
        readings = tuple(Reading(v.viewing, source=v.source, lab=v.lab) for v in self.seen)
        return (Panel.of("this panel", self.row.read_as, readings=readings),)

    @property
    def lab(self) -> Array:
        return np.array([view.lab for view in self.seen]).reshape(1, -1)

    @property
    def words(self) -> Vocabulary:
        return self.belief.model.words_

    @cached_property
    def squared(self) -> Array:
        return np.full(1, np.inf)  # always worth a look: there is but one

    @cached_property
    def _written(self) -> tuple[Array, Array, Array, Array]:
        return self._films([self.row.read_as])

    def _films(self, recipes: Sequence[Recipe]) -> tuple[Array, Array, Array, Array]:
        """Lab at each film (n, f, 3 v), log weight of each film (f,), covariance, their dof."""
        from scipy.special import logsumexp  # slow to load, and a match weighs no panel

        b, p = self.belief, self.belief.size
        n, views, source = len(recipes), [v.viewing for v in self.seen], self.row.source
        days = [(share, start[p, p] ** 0.5) for share, start in b.days()]
        sds = np.array([sd for _, sd in days])
        off = FILMS * sds.max()
        density = np.array([share for share, _ in days]) / sds
        weight = logsumexp(-0.5 * (off[:, None] / sds) ** 2, b=density, axis=1)
        there, jacobian, *_ = b.together(recipes, views, source=source)
        # What is not film, given the film: of earlier panels of today the two are learnt together.
        with_film = b.covariance[:, p] / b.covariance[p, p]
        rest = b.covariance - np.outer(with_film, b.covariance[:, p])
        other = with_film.copy()
        other[p] = 0.0
        each = [r for r in recipes for _ in off]
        by_view = [
            b.linear(each, view, sources=source, film=np.tile(off, n), slopes=False).lab
            for view in views
        ]
        labs = np.concatenate(by_view, axis=1).reshape(n, len(off), -1)
        labs = labs + (jacobian @ other)[:, None, :] * off[:, None]
        there = replace(there, known=jacobian @ rest @ jacobian.transpose(0, 2, 1))
        stated = [
            there.reading[0, 3 * i : 3 * i + 3, 3 * i : 3 * i + 3]
            if view.covariance is None
            else view.covariance
            for i, view in enumerate(self.seen)
        ]
        own = np.broadcast_to(block_diagonal(stated), there.spray.shape)
        there = replace(there, reading=own)
        return labs, weight - logsumexp(weight), there.covariance, there.dof

    def _likelihood(
        self, films: tuple[Array, Array, Array, Array], read: Array, wider: float = 1.0
    ) -> Array:
        from scipy.special import logsumexp

        labs, weight, covariance, dof = films
        return np.asarray(
            logsumexp(weight + _students(read - labs, covariance * wider**2, dof), axis=1), float
        )

    def likelihood(self, *, wider: float = 1.0) -> Array:
        return self._likelihood(self._written, self.lab[0], wider)

    def had_it_read(self, which: NDArray[np.intp], lab: Array) -> Array:
        found = [self._likelihood(self._written, read)[0] for read in lab]
        return np.array(found, float).reshape(len(which))

    def under(
        self,
        which: NDArray[np.intp],
        recipes: Sequence[Recipe],
        *,
        wider: float = 1.0,
        callback: Callback | None = None,
    ) -> tuple[Array, Array]:
        films = self._films(recipes)
        return self._likelihood(films, self.lab[0]), self._likelihood(films, self.lab[0], wider)


def _students(away: Array, covariance: Array, dof: Array) -> Array:
    """Log density (n, f) of a t about 0 of some covariance; away (n, f, d)."""
    from scipy.special import gammaln

    nu, d = np.minimum(dof, 1e6)[:, None], away.shape[2]
    scale = covariance * ((nu - 2.0) / nu)[:, :, None]
    solved = np.linalg.solve(scale[:, None], away[..., None])[..., 0]
    far = np.sum(away * solved, axis=2)
    log = gammaln((nu + d) / 2.0) - gammaln(nu / 2.0) - 0.5 * d * np.log(nu * np.pi)
    log -= 0.5 * np.linalg.slogdet(scale)[1][:, None]
    return np.asarray(log - 0.5 * (nu + d) * np.log1p(far / nu), float)


def weigh(belief: Belief, panel: Sprayed, limits: Limits) -> Verdict:
    """Weigh a panel's reading as what its back says, and as all that it may be instead."""
    words = belief.model.words_
    shelf = Materials(
        [Ground.parse(g) for g in words.grounds],
        [Colour.parse(c) for c in words.colours],
        limits.ratios(),
    )
    return judge(_TriedPanel(belief, panel), shelf)[0]


def learn(
    before: Belief,
    tried: Sequence[Sprayed | tuple[Any, ...] | list[tuple[Any, ...]]],
    limits: Limits | None = None,
) -> tuple[Belief, tuple[Sprayed, ...]]:
    """Learn from those of the panels just sprayed that are what their backs say.

    Parameters
    ----------
    before : Belief
        Before these panels.
    tried : sequence
        As for `correct`; of a card read at several stages the list of them, in order. None is
        allowed.
    limits : Limits, optional
        What can be mixed and sprayed.

    Returns
    -------
    belief : Belief
        After them.
    unfitting : tuple of Sprayed
        The last readings of those that are likelier something else, of which nothing was learnt.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> belief = Belief.of(demo_model())
    >>> after, aside = learn(belief, [(recipe, belief.predict_recipes([recipe])[0])])
    >>> after.panels, aside
    (1, ())
    """
    limits = limits or Limits()
    cards = [list(map(Sprayed.of, t if isinstance(t, list) else [t])) for t in tried]
    after, believed, unfitting = before, list[Sprayed](), list[Sprayed]()
    # Panels read once come first, and are learnt from all together.
    for stages in sorted(cards, key=lambda stages: len(stages) > 1):
        if any(weigh(after, stage, limits).wrong > DOUBTED for stage in stages):
            unfitting.append(stages[-1])
        elif len(stages) == 1:
            believed += stages
            after = before.after(believed)
        else:
            after = Card.of(after, stages).learnt
    return after, tuple(unfitting)


def unfitting_words(verdict: Verdict) -> str:
    """Say why a panel does not fit, and what to look at."""
    best = verdict.best
    sure = chance_words(verdict.wrong)
    start = (
        f"This does not fit: more or less film does not make this reading of "
        f"{verdict.panel.recipe} (chance that something is wrong: {sure})."
    )
    if best is None:
        return f"{start} {LOOK}"
    kind, recipe, *_, note = verdict.slips[best]
    if recipe is not None:
        why = f"{kind[:1].upper()}{kind[1:]}? It reads like {recipe}."
    elif kind == "mistyped reading":
        why = f"Mistyped? {note} would fit."
    else:
        why = "No slip of the back explains it either: a misreading, or something else was sprayed."
    return f"{start} {why} {LOOK}"


def aside_words(recipes: Sequence[Recipe]) -> str:
    """Say which of today's panels nothing was learnt from.

    Parameters
    ----------
    recipes : sequence of Recipe
        Of panels that do not fit; none for no words.

    Returns
    -------
    str
        A sentence.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> print(aside_words([Recipe.of("silver", "cherry", "3@6:1")]))
    Left out, since it does not read as its back says: cherry over silver, 3@6:1.
    """
    if not recipes:
        return ""
    which = "; ".join(dict.fromkeys(map(str, recipes)))
    return f"Left out, since it does not read as its back says: {which}."
