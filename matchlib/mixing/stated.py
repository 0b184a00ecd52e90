"""Ratios questioned, and checked against what was poured."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar

from matchlib.domain import MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.units import positive

__all__ = [
    "RatioQuestion",
    "StatedCheck",
    "check_stated",
    "exact",
    "ratio_of",
    "ratio_questions",
]

_SAME = 0.02
"""Relative difference of the colour fraction that still counts as the same [-]."""


@dataclass(frozen=True, slots=True)
class RatioQuestion:
    """Something to ask before pouring: not an error, since only the person there knows.

    Parameters
    ----------
    code : str
        Short stable name of the question.
    text : str
        The question, in words.
    ratio : MixRatio
        As it stands.
    other : MixRatio, optional
        As it may have been meant.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> (asked,) = ratio_questions([MixRatio.parse("1:6")])
    >>> asked.code
    'reversed'
    """

    code: str
    text: str
    ratio: MixRatio
    other: MixRatio | None = None


def ratio_questions(ratios: Iterable[MixRatio]) -> tuple[RatioQuestion, ...]:
    """Ask about ratios that look the wrong way round for a transparent colour.

    Parameters
    ----------
    ratios : iterable of MixRatio
        As written.

    Returns
    -------
    tuple of RatioQuestion
        One of each ratio that has more colour than carrier.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> ratio_questions([MixRatio.parse("6:1")])
    ()
    """
    return tuple(_reversed(ratio) for ratio in dict.fromkeys(ratios) if ratio.looks_reversed)


def _reversed(ratio: MixRatio) -> RatioQuestion:
    if ratio.carrier == 0:
        return RatioQuestion(
            "neat-colour",
            "This is colour alone, with no carrier. Is it meant to be sprayed neat?",
            ratio,
        )
    other = MixRatio(ratio.colour, ratio.carrier)
    return RatioQuestion(
        "reversed",
        f"{ratio} is {ratio.words}: more colour than carrier, rare for a transparent coat. "
        f"Was {other} meant, {other.words}?",
        ratio,
        other,
    )


def ratio_of(*, colour_volume: float, carrier_volume: float) -> MixRatio:
    """Return the ratio that was poured."""
    colour = exact(positive(colour_volume, "volume of colour"))
    carrier = exact(positive(carrier_volume, "volume of carrier", zero=True))
    share = carrier / colour
    if share.denominator > 1000:
        share = Fraction(round(share * 1000), 1000) if share >= 1 else share.limit_denominator(1000)
    if share > 10_000:
        raise DomainError(
            "There is next to no colour in this pot.",
            expected="at most 10000 parts carrier to one of colour",
            got=f"{float(share):.0f} to 1",
            remedy="check which of the two volumes is the colour.",
        )
    return MixRatio(share, Fraction(1))


def exact(value: float) -> Fraction:
    """The decimal as typed, 0.1 as 1/10 and not as the nearest binary number."""
    return Fraction(repr(float(value)))


@dataclass(frozen=True, slots=True)
class StatedCheck:
    """A stated ratio beside the quantities stated with it.

    Parameters
    ----------
    stated, poured : MixRatio
        As written, and as the quantities give it.
    carrier, colour : float
        Quantities in one unit.
    agree : bool
        Whether the two make the same strength within the tolerance.
    question : RatioQuestion, optional
        What to ask when they do not.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> found = check_stated(MixRatio.parse("6:1"), carrier=32.0, colour=4.0)
    >>> found.agree, str(found.poured)
    (False, '8:1')
    """

    stated: MixRatio
    poured: MixRatio
    carrier: float
    colour: float
    agree: bool
    question: RatioQuestion | None = None
    SHOWN: ClassVar = (
        *("stated", "poured", ("carrier_volume", "carrier"), ("colour_volume", "colour")),
        *("agree", "text", "question"),
    )

    @property
    def text(self) -> str:
        """The finding in words."""
        head = f"{self.colour:g} of colour into {self.carrier:g} of carrier is {self.poured}"
        if self.agree:
            return f"{head}, as stated."
        change = self.poured.fraction / self.stated.fraction - 1.0
        more = "stronger" if change > 0 else "weaker"
        return (
            f"{head} ({self.poured.words}), not {self.stated} ({self.stated.words}): "
            f"{abs(change):.0%} {more} in colour. {self.question.text if self.question else ''}"
        ).strip()


def check_stated(stated: MixRatio, *, carrier: float, colour: float) -> StatedCheck:
    """Compare a stated ratio with stated quantities: 4 into 32 is 8:1, not 6:1.

    Parameters
    ----------
    stated : MixRatio
        As written.
    carrier, colour : float
        Quantities in one unit.

    Returns
    -------
    StatedCheck
        Both ratios, whether they agree, and the question to ask.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> check_stated(MixRatio.parse("8:1"), carrier=32.0, colour=4.0).agree
    True
    """
    poured = ratio_of(colour_volume=colour, carrier_volume=carrier)
    agree = math.isclose(poured.fraction, stated.fraction, rel_tol=_SAME)
    question = None
    if not agree and carrier > 0:
        turned = ratio_of(colour_volume=carrier, carrier_volume=colour)
        if math.isclose(turned.fraction, stated.fraction, rel_tol=_SAME):
            question = RatioQuestion(
                "quantities-reversed",
                "The quantities fit the stated ratio with carrier and colour exchanged. Were they "
                "written the wrong way round?",
                poured,
                stated,
            )
    if not agree and question is None:
        question = RatioQuestion(
            "quantities-differ", "Which of the two was sprayed?", poured, stated
        )
    return StatedCheck(stated, poured, float(carrier), float(colour), agree, question)
