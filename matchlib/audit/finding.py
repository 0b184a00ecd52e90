"""What an audit finds: what is wrong, how sure it is, what would put it right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, NamedTuple

from matchlib.domain import Recipe

__all__ = ["KINDS", "PRIORS", "Evidence", "Finding"]

PRIORS: dict[str, float] = {
    "reversed ratio": 0.004,
    "coats miscounted": 0.010,
    "another ratio": 0.006,
    "wrong ground": 0.008,
    "wrong colour": 0.003,
    "blend parts swapped": 0.030,
    "mistyped reading": 0.002,
    "impossible reading": 0.003,
}
"""Share of panels believed to be wrong in each way before any reading (common practice, no
source). Of blends only, for swapped parts; a ratio with more colour than carrier on the back is
believed reversed sooner, see `REVERSED_WHEN_RICH`."""

REVERSED_WHEN_RICH = 0.4
"""Prior of a reversed ratio when the back says more colour than carrier, which is rare for a
transparent coat (common practice, no source)."""

KINDS: tuple[str, ...] = (
    *PRIORS,
    "readings disagree",
    "same panel twice",
    "same code twice",
    "drift",
    "beyond the law",
)
"""Every kind of finding."""


class Evidence(NamedTuple):
    """How well the reading agrees with what is written, and with what is proposed."""

    # log-likelihoods of the reading [nat], the panel itself left out of the fit
    written: float
    proposed: float

    def probability(self, prior: float) -> float:
        """Return the proposal's probability by Bayes' rule, from what it was before the reading."""
        from scipy.special import expit, logit

        return float(expit(logit(prior) + self.proposed - self.written))

    @property
    def words(self) -> str:
        """How many times likelier the proposal makes the reading."""
        gain = self.proposed - self.written
        times = f"{10 ** (gain / 2.302585):.0f}" if gain < 11.5 else "more than 100,000"
        return f"{times} times likelier"


@dataclass(frozen=True)
class Finding:
    """Something that looks wrong.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    codes : tuple of str
        Panels concerned.
    probability : float
        That something is wrong here [-].
    words : str
        What, in a sentence or two.
    fix : str
        What to amend.
    evidence : Evidence, optional
        Where likelihoods speak.
    proposed : Recipe, optional
        The recipe that explains the reading best, where a recipe does.
    others : tuple of Recipe
        Recipes that explain it about as well, the likeliest first.
    about : str
        Of drift: what film goes with.

    Examples
    --------
    >>> from matchlib.audit import audit
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = [one for one in audit(demo_panels(), demo_model()) if one.codes == ("T029",)][0]
    >>> found.kind, found.can_fix
    ('reversed ratio', True)
    """

    SHOWN: ClassVar = (
        *("key", "kind", ("panels", "codes"), "probability", "words", "fix", "can_fix"),
        *(("written", "evidence.written"), ("proposed", "evidence.proposed")),
        ("proposed_recipe", "proposed.words"),
    )

    kind: str
    codes: tuple[str, ...]
    probability: float
    words: str
    fix: str
    evidence: Evidence | None = None
    proposed: Recipe | None = None
    others: tuple[Recipe, ...] = ()
    about: str = ""

    @property
    def key(self) -> str:
        """What it is known by, whatever else is found or put right: a panel's code for its back."""
        if self.kind in PRIORS:
            return self.codes[0]
        return f"{self.kind}: {self.about or ', '.join(sorted(self.codes))}"

    @property
    def can_fix(self) -> bool:
        """Whether another recipe is proposed, which can be written on the back."""
        return self.proposed is not None and len(self.codes) == 1
