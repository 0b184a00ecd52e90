"""The mix ratio: carrier to colour by volume, carrier first, always said in words."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from functools import total_ordering
from typing import ClassVar, Self

from matchlib.domain.parts import MAX_PARTS, format_parts, read_parts
from matchlib.errors import DomainError

__all__ = ["RATIO_WORDS", "MixRatio"]

_NUMBER = r"(\d+(?:\.\d+)?|\.\d+)"
_SIDE = rf"{_NUMBER}\s*(?:parts?\s+)?"
_RATIO = re.compile(
    rf"^\s*{_SIDE}(?P<first>[a-z]*)\s*:\s*{_SIDE}(?P<second>[a-z]*)\s*$", re.IGNORECASE
)
_COLOUR_WORDS = {"colour", "color", "colorant", "toner", "dye"}
_CARRIER_WORDS = {"carrier", "base", "binder", "clear", "reducer"}
RATIO_WORDS = frozenset(_COLOUR_WORDS | _CARRIER_WORDS)
"""Words that say which side of a ratio is which, and so are no names of colours."""


@total_ordering
@dataclass(frozen=True, slots=True)
class MixRatio:
    """Carrier : colour by volume, carrier first.

    ``MixRatio(6, 1)`` is six parts of carrier to one of colour; the colour is 1/7 of the pot, not
    1/6. Ratios order by strength: the stronger mix is the greater.

    Parameters
    ----------
    carrier, colour : Fraction or int or float or str
        Parts by volume; carrier at least 0, colour more than 0. Reduced on entry: 12:2 is 6:1.

    Examples
    --------
    >>> ratio = MixRatio.parse("6:1")
    >>> ratio.words
    '6 parts carrier to 1 part colour'
    >>> round(ratio.fraction, 3)
    0.143
    >>> MixRatio.parse("3:1") > ratio
    True
    """

    carrier: Fraction
    colour: Fraction
    fraction: float = field(init=False, repr=False, compare=False)
    """Colour's share of the pot by volume [-], 0 < fraction <= 1."""
    # Named, so that it cannot be read the wrong way round.
    SHOWN: ClassVar = (
        *(("carrier_parts", "carrier"), ("colour_parts", "colour")),
        *(("colour_fraction", "fraction"), "words"),
    )

    def __post_init__(self) -> None:
        carrier = read_parts(self.carrier, "carrier share of the mix ratio")
        colour = read_parts(self.colour, "colour share of the mix ratio")
        if colour == 0:
            raise DomainError(
                "A mix ratio without colour is not a colour coat.",
                expected="carrier : colour with some colour, such as 6:1",
                got=f"{format_parts(carrier)}:0",
                remedy="write the carrier first and the colour second.",
            )
        share = carrier / colour
        if 1000 % share.denominator == 0 and (share >= 1 or share == 0):
            carrier, colour = share, Fraction(1)
        else:
            carrier, colour = Fraction(share.numerator), Fraction(share.denominator)
        if max(carrier, colour) > MAX_PARTS:
            # What could be printed but not read back would reach a panel's label and no further.
            raise DomainError(
                "No cup can show this mix ratio.",
                expected=f"a ratio of at most {MAX_PARTS} parts on either side",
                got=f"{format_parts(carrier)}:{format_parts(colour)}",
                remedy="round it to parts that can be measured, such as 6:1 or 2.5:1.",
            )
        object.__setattr__(self, "carrier", carrier)
        object.__setattr__(self, "colour", colour)
        # Whole numbers divide faster than fractions, and to the same float.
        part = colour.numerator * carrier.denominator
        whole = part + carrier.numerator * colour.denominator
        object.__setattr__(self, "fraction", part / whole)

    def __hash__(self) -> int:
        # As that of a blend.
        return hash((self.carrier.as_integer_ratio(), self.colour.as_integer_ratio()))

    @classmethod
    def parse(cls, text: object) -> Self:
        """Read ``6:1`` or ``6 carrier : 1 colour``; never guess the order.

        Parameters
        ----------
        text : object
            The ratio as written.

        Returns
        -------
        MixRatio
            The ratio, carrier first.

        Raises
        ------
        DomainError
            If it is no ratio, or its words put the colour first.
        """
        match = _RATIO.match(str(text)) if len(str(text)) <= 80 else None
        first = match["first"].lower() if match else ""
        second = match["second"].lower() if match else ""
        if match and (first in _COLOUR_WORDS or second in _CARRIER_WORDS):
            raise DomainError(
                "This ratio is written colour first.",
                expected="carrier : colour, carrier first",
                got=repr(str(text)),
                remedy=f"write {match[3]}:{match[1]} ({match[3]} parts of carrier to "
                f"{match[1]} of colour), if that is what is meant.",
            )
        known = first in _CARRIER_WORDS | {""} and second in _COLOUR_WORDS | {""}
        if match is None or not known:
            raise DomainError(
                "This is not a mix ratio.",
                expected="carrier : colour by volume, such as 6:1",
                got=repr(str(text)[:80]),
                remedy="write six parts of carrier to one of colour as 6:1; in a spreadsheet, "
                "format the column as text so that it does not become a clock time.",
            )
        return cls(Fraction(match[1]), Fraction(match[3]))

    @classmethod
    def of_fraction(cls, fraction: float, *, step: float = 0.5) -> Self:
        """Return the ratio ``n:1`` nearest a colour fraction.

        Parameters
        ----------
        fraction : float
            Colour's share of the pot [-], 0 < fraction < 1.
        step : float
            Smallest difference of carrier parts that the cup can show [parts].

        Returns
        -------
        MixRatio
            Rounded to the step, at least one step of carrier.

        Raises
        ------
        DomainError
            If fraction or step is out of range.
        """
        if not (0.0 < fraction < 1.0 and step > 0.0):
            raise DomainError(
                "This is not a share of colour in a pot.",
                expected="a fraction between 0 and 1, and a step above 0",
                got=f"fraction {fraction:g}, step {step:g}",
                remedy="6:1 is a colour fraction of 1/7.",
            )
        parts = (1.0 / fraction - 1.0) / step
        return cls(Fraction(max(1, round(parts))) * Fraction(str(step)), Fraction(1))

    @property
    def looks_reversed(self) -> bool:
        """Whether there is more colour than carrier, rare for a transparent coat."""
        return self.colour > self.carrier

    @property
    def words(self) -> str:
        """The ratio in words, for every display."""
        c, k = format_parts(self.carrier), format_parts(self.colour)
        return f"{c} part{'s' * (c != '1')} carrier to {k} part{'s' * (k != '1')} colour"

    def __str__(self) -> str:
        return f"{format_parts(self.carrier)}:{format_parts(self.colour)}"

    def __lt__(self, other: object) -> bool:
        if not isinstance(other, MixRatio):
            return NotImplemented
        return self.colour * other.carrier < other.colour * self.carrier
