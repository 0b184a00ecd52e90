"""Backs that do not agree with their panels, by Bayes' rule over the slips there may be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from matchlib.audit.finding import PRIORS, Evidence, Finding
from matchlib.audit.slips import Materials, slips
from matchlib.domain import Panel, Recipe
from matchlib.progress import Callback, part_of

if TYPE_CHECKING:
    from matchlib.regression.vocabulary import Vocabulary

__all__ = ["Read", "Slip", "Verdict", "finding_of", "judge"]

Array = NDArray[np.float64]

WORTH_A_LOOK = 3.0
"""Squared distance under which no slip can become likely: its prior is too small."""

NEAR = 0.2
"""Share of the best explanation's probability from which another is named beside it [-]."""

WIDER = 12.0
"""How many times wider a reading strays that no recipe explains."""


class Read(Protocol):
    """Readings of m panels against what was learnt without them; `LeftOutReadings` is one."""

    @property
    def panels(self) -> Sequence[Panel]:
        """The panels."""

    @property
    def lab(self) -> Array:
        """Readings, shape (m, 3); of one panel alone, at every angle, shape (1, 3 v)."""

    @property
    def squared(self) -> Array:
        """Squared distance of each from what its back says, shape (m,)."""

    @property
    def words(self) -> Vocabulary:
        """Grounds and colours that are known."""

    def likelihood(self, *, wider: float = 1.0) -> Array:
        """Log-likelihood as written, shape (m,) [nat]."""

    def had_it_read(self, which: NDArray[np.intp], lab: Array) -> Array:
        """Log-likelihood of other readings of some panels [nat]."""

    def under(
        self,
        which: NDArray[np.intp],
        recipes: Sequence[Recipe],
        *,
        wider: float,
        callback: Callback | None = None,
    ) -> tuple[Array, Array]:
        """Log-likelihood of some panels under other recipes, and if they stray wider [nat]."""


class Slip(NamedTuple):
    """Something that may be true of a panel instead of its back."""

    kind: str  # one of `PRIORS`
    recipe: Recipe | None  # what was sprayed, where a recipe explains the reading
    likelihood: float  # log-likelihood of the reading [nat]
    prior: float  # probability before the reading [-]
    note: str = ""  # how it was mistyped


@dataclass(frozen=True)
class Verdict:
    """What is likeliest of one panel."""

    panel: Panel
    written: float  # log-likelihood of the reading by its back [nat]
    slips: list[Slip] = field(default_factory=list)

    def shares(self) -> tuple[float, Array]:
        """Return the probability of the back being right, and of each slip."""
        priors = [slip.prior for slip in self.slips]
        log = np.array([self.written, *(slip.likelihood for slip in self.slips)])
        log += np.log([max(1.0 - sum(priors), 0.05), *priors])
        share = np.exp(log - log.max())
        share /= share.sum()
        return float(share[0]), share[1:]

    @property
    def wrong(self) -> float:
        """Probability that the back or the reading is wrong [-]."""
        return 1.0 - self.shares()[0]

    @property
    def best(self) -> int | None:
        """Place of the likeliest slip of the likeliest kind; None if there is none."""
        _, shares = self.shares()
        total: dict[str, float] = {}
        for slip, share in zip(self.slips, shares, strict=True):
            total[slip.kind] = total.get(slip.kind, 0.0) + float(share)
        kind = max(total, key=total.__getitem__, default="")
        of_kind = [i for i, slip in enumerate(self.slips) if slip.kind == kind]
        return max(of_kind, key=lambda i: float(shares[i]), default=None)


def _mistyped(lab: Array) -> Iterator[tuple[Array, str]]:
    """What may have been read: a sign or a decimal point lost, or two numbers exchanged."""
    for axis, factor in ((1, -1.0), (2, -1.0), (0, 10.0), (1, 10.0), (2, 10.0), (1, 0.1), (2, 0.1)):
        read = lab.copy()
        read[axis] *= factor
        yield read, f"{'Lab'[axis]}* {read[axis]:.1f} instead of {lab[axis]:.1f}"
    yield lab[[0, 2, 1]], "a* and b* changed places"
    yield lab[[1, 0, 2]], "L* and a* changed places"


def _mistyped_at(seen: Array, panel: Panel) -> Iterator[tuple[Array, str]]:
    """The same of a panel's readings, shape (3 v,): each that any colour can have, at one angle."""
    for start in range(0, len(seen), 3):
        of = f" at {panel.readings[start // 3].viewing.geometry}" if len(seen) > 3 else ""
        for read, note in _mistyped(seen[start : start + 3]):
            if 0 <= read[0] <= 100:
                yield np.concatenate([seen[:start], read, seen[start + 3 :]]), note + of


def judge(left: Read, shelf: Materials, *, callback: Callback | None = None) -> list[Verdict]:
    """Weigh every slip against what is written, for every panel."""
    written, far = left.likelihood(), left.squared
    verdicts = [Verdict(p, float(w)) for p, w in zip(left.panels, written, strict=True)]
    looked = np.flatnonzero(far > WORTH_A_LOOK)
    which: list[int] = []
    what: list[tuple[str, Recipe, float]] = []
    report = part_of(callback)
    for i in looked.tolist():
        report(0.0, "thinking of slips of the pen")
        for slip in slips(left.panels[i].recipe, shelf):
            if left.words.knows(slip[1]):
                which.append(i)
                what.append(slip)
    if what:
        recipes = [w[1] for w in what]
        found, stray = left.under(
            np.array(which, np.intp), recipes, wider=WIDER, callback=part_of(report, 0.0, 0.8)
        )
        # A recipe known only widely may come nearer than the back, and still not make the reading.
        makes = found > stray
        for i, slip, likelihood, near in zip(which, what, found, makes, strict=True):
            if near:
                kind, recipe, prior = slip
                verdicts[i].slips.append(Slip(kind, recipe, float(likelihood), prior))
    astray = left.likelihood(wider=WIDER)
    for number, i in enumerate(looked.tolist()):
        report(0.8 + 0.2 * number / len(looked), "asking whether readings were mistyped")
        kind = "impossible reading"
        verdicts[i].slips.append(Slip(kind, None, float(astray[i]), PRIORS[kind]))
        if any(r.spectral for r in left.panels[i].readings):
            continue  # nobody types a spectrum
        options = list(_mistyped_at(left.lab[i], left.panels[i]))
        prior = PRIORS["mistyped reading"] / max(len(options), 1)
        labs = np.array([lab for lab, _ in options]).reshape(-1, left.lab.shape[1])
        values = left.had_it_read(np.full(len(options), i), labs)
        for (_, note), value in zip(options, values, strict=True):
            verdicts[i].slips.append(Slip("mistyped reading", None, float(value), prior, note))
    return verdicts


def finding_of(verdict: Verdict) -> Finding | None:
    """Say a verdict in words."""
    best = verdict.best
    if best is None:
        return None
    kind, recipe, likelihood, _, note = verdict.slips[best]
    panel, evidence = verdict.panel, Evidence(verdict.written, likelihood)
    others: tuple[Recipe, ...] = ()
    if recipe is not None:
        _, shares = verdict.shares()
        near = [i for i in np.argsort(-shares) if i != best and shares[i] > NEAR * shares[best]]
        others = tuple(r for i in near[:3] if (r := verdict.slips[i].recipe) is not None)
        words = (
            f"Panel {panel.code}: the back says {panel.recipe}; its reading is better explained by "
            f"{recipe} ({evidence.words})."
        )
        if others:
            words += f" About as good: {'; '.join(map(str, others))}."
        fix = f"Look at the panel, then amend the recipe of {panel.code} to: {recipe.words}."
    elif kind == "mistyped reading":
        words = f"Panel {panel.code}: {note} would fit its recipe ({evidence.words})."
        fix = f"Read panel {panel.code} again; if it was typed in, look for {note}."
    else:
        words = (
            f"Panel {panel.code}: no recipe near {panel.recipe} makes this reading; that something "
            f"else is wrong is {evidence.words}."
        )
        fix = f"Read panel {panel.code} again, and look at it; put it aside if nobody can say."
    return Finding(kind, (panel.code,), verdict.wrong, words, fix, evidence, recipe, others)
