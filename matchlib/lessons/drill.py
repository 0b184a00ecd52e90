"""What a mix ratio is, drilled in both directions: from ratio to cup, and from cup to ratio."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from matchlib.domain import MixRatio
from matchlib.errors import DomainError

__all__ = ["Drill", "check_choice", "make_drill"]

_RATIOS = ((2, 1), (3, 1), (4, 1), (5, 1), (6, 1), (8, 1), (10, 1), (5, 2), (7, 2))


@dataclass(frozen=True, slots=True)
class Drill:
    """A question about a ratio; answered without any archive."""

    question: str  # what is asked
    texts: tuple[str, ...]  # answers to choose from
    right: int  # which is right
    why: str  # the sum, in words

    def mark(self, choice: int) -> tuple[bool, str]:
        """Mark an answer."""
        check_choice(choice, len(self.texts))
        passed = choice == self.right
        head = "Right" if passed else f"Not {self.texts[choice]} but {self.texts[self.right]}"
        return passed, f"{head}: {self.why}"


def make_drill(seed: int) -> Drill:
    """Ask about a ratio, by turns what to pour, what was poured, and how much of the pot is colour.

    Parameters
    ----------
    seed : int
        Decides the question and the order of the answers.

    Returns
    -------
    Drill
        The same for the same seed; the wrong answers are the usual mistakes.

    Examples
    --------
    >>> drill = make_drill(0)
    >>> print(drill.question)
    100 ml of carrier and 40 ml of colour were poured. Which ratio is it?
    """
    rng = np.random.default_rng(seed)
    carrier, colour = _RATIOS[int(rng.integers(len(_RATIOS)))]
    ratio = MixRatio(Fraction(carrier), Fraction(colour))
    part = int(rng.choice([5, 10, 15, 20, 30]))
    c, k = carrier * part, colour * part
    kind = int(rng.integers(3))
    if kind == 0:
        question = f"{ratio}, and there are {c} ml of carrier in the cup. How much colour?"
        right = f"{k} ml"
        wrong = [
            f"{c * carrier // colour} ml",
            _ml(Fraction(c * colour, carrier + colour)),
            f"{2 * k} ml",
            f"{c} ml",
        ]
        one = f"{k / float(ratio.colour):g} ml"
        why = f"{c} ml is {ratio.words.split(' to ')[0]}, so a part is {one}."
    elif kind == 1:
        question = f"{c} ml of carrier and {k} ml of colour were poured. Which ratio is it?"
        right = str(ratio)
        wrong = [
            str(MixRatio(Fraction(c), Fraction(k)))
            for c, k in ((colour, carrier), (carrier + colour, colour), (carrier + 1, colour))
        ]
        why = f"carrier first; {c} to {k} is {ratio.words}."
    else:
        question = f"At {ratio}, how much of the pot is colour?"
        whole = Fraction(colour, carrier + colour)
        right = f"{whole.numerator}/{whole.denominator} of it"
        off = {Fraction(colour, carrier), 1 - whole, Fraction(colour, carrier + colour + 1)}
        wrong = [f"{f.numerator}/{f.denominator} of it" for f in sorted(off)]
        why = (
            f"{carrier} and {colour} are {carrier + colour} parts in all, {colour} of them colour: "
            f"{float(whole):.1%}."
        )
    options = [right, *dict.fromkeys(w for w in wrong if w != right)][:4]
    order = rng.permutation(len(options))
    return Drill(question, tuple(options[int(i)] for i in order), int(np.argmin(order)), why)


def _ml(volume: Fraction) -> str:
    return f"{float(volume):.3g} ml"


def check_choice(choice: int, answers: int) -> None:
    """Refuse what is none of the answers."""
    if not 0 <= choice < answers:
        raise DomainError(
            "Nothing was chosen.",
            expected="one of the answers",
            got=str(choice),
            remedy="choose an answer first.",
        )
