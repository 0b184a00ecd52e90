"""The coats in the order sprayed: each step at its own mix ratio, if need be of its own colour."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Self

from matchlib.domain.blend import Colour
from matchlib.domain.parts import clean_name
from matchlib.domain.ratio import RATIO_WORDS, MixRatio
from matchlib.errors import DomainError
from matchlib.plural import counted

__all__ = ["MAX_COATS", "CoatSchedule", "CoatStep"]

MAX_COATS = 60
_START = re.compile(r"(?<![\w.])[+-]?\d{1,6}\s*@")
_STEP = re.compile(
    r"(?P<coats>[+-]?\d{1,6})\s*@\s*"
    r"(?P<ratio>[^\s,;:@]+\s*:\s*[^\s,;:@]+)(?P<rest>[^@]*)"
)
_GAP = r"(?:[\s,;]|\bthen\b)+"
_OVER = re.compile(r"(?P<colour>.*?)(?:(?:^|\s+)over\s+(?P<over>.+))?", re.IGNORECASE | re.DOTALL)
# What a name may not hold, or a schedule written out could not be read back.
_SIGN = re.compile(r"[,;]|\b(?:then|over)\b", re.IGNORECASE)


def check_names(names: Iterable[str], *, alone: bool = False) -> None:
    """Refuse names that no schedule can be read back with; `alone`: each is all of a colour."""
    for name in names:
        side = alone and name.casefold() in RATIO_WORDS
        if side or _SIGN.search(name):
            raise DomainError(
                "This name cannot stand in a schedule of several colours.",
                expected="a name that is no word for a side of the mix ratio"
                if side
                else "a name without commas and without the words 'then' and 'over'",
                got=repr(name),
                remedy="give it a plain name; write layers as 2@6:1 cherry, 1@8:1 violet.",
            )


@dataclass(frozen=True, slots=True)
class CoatStep:
    """A number of coats sprayed at one ratio.

    Parameters
    ----------
    coats : int
        Coats, 1 to 60.
    ratio : MixRatio
        The mix they are sprayed with.
    colour : Colour, optional
        Of these coats, where it is not the recipe's one colour.
    over : str, optional
        Name of a clear mid-coat laid before these coats.

    Examples
    --------
    >>> first, then = CoatSchedule.parse("2@6:1 1@3:1").steps
    >>> first.coats, str(then.ratio)
    (2, '3:1')
    """

    coats: int
    ratio: MixRatio
    colour: Colour | None = None
    over: str | None = None

    def __post_init__(self) -> None:
        whole = isinstance(self.coats, int) and not isinstance(self.coats, bool)
        if not whole or not 1 <= self.coats <= MAX_COATS:
            raise DomainError(
                "This is not a number of coats.",
                expected=f"a whole number from 1 to {MAX_COATS}",
                got=repr(self.coats),
                remedy="count the colour coats that were sprayed; leave colour and coats empty for "
                "a bare ground.",
            )
        if self.over is not None:
            object.__setattr__(self, "over", clean_name(self.over, "mid-coat"))
            check_names([self.over])

    def alike(self, other: CoatStep) -> bool:
        """Return whether the coats of two steps are the same, their number apart."""
        mine, theirs = ((s.ratio, s.colour, s.over) for s in (self, other))
        return mine == theirs

    def __str__(self) -> str:
        colour = f" {self.colour}" if self.colour else ""
        return f"{self.coats}@{self.ratio}{colour}" + (f" over {self.over}" if self.over else "")


@dataclass(frozen=True, slots=True)
class CoatSchedule:
    """The coats in the order sprayed; ``2@6:1 2@3:1`` is two at 6:1, then two at 3:1.

    Where the colour changes, each step says its own: ``2@6:1 cherry, 1@8:1 violet``.

    Parameters
    ----------
    steps : tuple of CoatStep
        At least one; neighbours of one ratio and colour are joined.

    Examples
    --------
    >>> steps = CoatSchedule.parse("2@6:1 2@3:1")
    >>> steps.coats
    4
    >>> print(CoatSchedule.of(4, "6:1").words)
    4 coats of 6 parts carrier to 1 part colour (6:1)
    """

    steps: tuple[CoatStep, ...]
    coats: int = field(init=False, repr=False, compare=False)
    """Coats in all."""
    strength: float = field(init=False, repr=False, compare=False)
    """Sum of coats times colour fraction [coats of neat colour]."""

    def __post_init__(self) -> None:
        joined: list[CoatStep] = []
        for step in self.steps:
            if joined and step.over is None and step.alike(replace(joined[-1], over=None)):
                joined[-1] = replace(joined[-1], coats=joined[-1].coats + step.coats)
            else:
                joined.append(step)
        coats = sum(s.coats for s in joined)
        if not 0 < coats <= MAX_COATS:
            raise DomainError(
                "A schedule needs coats.",
                expected=f"1 to {MAX_COATS} coats in all, such as 4@6:1",
                got=f"{coats or 'no'} coats",
                remedy="leave colour and coats empty for a bare ground.",
            )
        object.__setattr__(self, "steps", tuple(joined))
        object.__setattr__(self, "coats", coats)
        strength = math.fsum(s.coats * s.ratio.fraction for s in joined)
        object.__setattr__(self, "strength", strength)

    @classmethod
    def parse(cls, text: object) -> Self:
        """Read ``4@6:1``, ``2@6:1 2@3:1`` or ``2@6:1 cherry, 1@8:1 violet over mid-coat``.

        Parameters
        ----------
        text : object
            The schedule as written; steps parted by blanks, commas or ``then``.

        Returns
        -------
        CoatSchedule
            The coats in order.

        Raises
        ------
        DomainError
            If a step is not ``coats@carrier:colour``, with or without a colour.
        """
        whole = str(text)[:8000].strip()
        starts = [m.start() for m in _START.finditer(whole)]
        pieces = [whole[a:b] for a, b in zip([0, *starts], [*starts, None], strict=True)]
        matches = [_STEP.fullmatch(piece) for piece in pieces[1:]]
        steps = []
        for match in matches:
            if match is None or pieces[0].strip():
                matches = []
                break
            rest = re.sub(f"^{_GAP}|{_GAP}$", "", match["rest"], flags=re.IGNORECASE)
            parts = _OVER.fullmatch(rest)
            colour, over = (parts["colour"], parts["over"]) if parts else (rest, None)
            if colour.strip().casefold() in RATIO_WORDS:
                matches = []
                break
            ratio = MixRatio.parse("".join(match["ratio"].split()))
            own = Colour.parse(colour) if colour.strip() else None
            steps.append(CoatStep(int(match["coats"]), ratio, own, over))
        if not matches:
            raise DomainError(
                "This is not a coat schedule.",
                expected="whole coats@carrier:colour, such as 4@6:1 or 2@6:1 2@3:1; layers of "
                "several colours as 2@6:1 cherry, 1@8:1 violet",
                got=repr(str(text)[:80]),
                remedy="write the number of coats, an @, and the ratio with the carrier first.",
            )
        return cls(tuple(steps))

    @classmethod
    def of(cls, coats: int, ratio: MixRatio | str) -> Self:
        """Return a schedule of one step.

        Parameters
        ----------
        coats : int
            Coats, 1 to 60.
        ratio : MixRatio or str
            The mix.

        Returns
        -------
        CoatSchedule
            All coats at that ratio.
        """
        return cls(
            (CoatStep(coats, ratio if isinstance(ratio, MixRatio) else MixRatio.parse(ratio)),)
        )

    def after(self, earlier: CoatSchedule | None) -> CoatSchedule | None:
        """Return the coats that come on top of an earlier schedule.

        Parameters
        ----------
        earlier : CoatSchedule or None
            What was on the panel before; None for nothing.

        Returns
        -------
        CoatSchedule or None
            The coats added; None where there are none.

        Raises
        ------
        DomainError
            If this schedule does not begin with the earlier one.
        """
        left = list(self.steps)
        for step in () if earlier is None else earlier.steps:
            if not left or not left[0].alike(step) or left[0].coats < step.coats:
                raise DomainError(
                    "These coats do not go on from those that are on the panel.",
                    expected=f"all coats so far, beginning with {earlier}",
                    got=str(self),
                    remedy="write the whole schedule, those on the panel first.",
                )
            rest = left[0].coats - step.coats
            left[:1] = [replace(left[0], coats=rest, over=None)] if rest else []
        return CoatSchedule(tuple(left)) if left else None

    @property
    def each(self) -> tuple[CoatStep, ...]:
        """Every coat as a step of its own; a mid-coat stays before the first of its step."""
        return tuple(
            replace(step, coats=1, over=None if number else step.over)
            for step in self.steps
            for number in range(step.coats)
        )

    @property
    def words(self) -> str:
        """The schedule in words."""
        return ", then ".join(
            f"{counted(s.coats, 'coat')} of "
            + (f"{s.colour} at " if s.colour else "")
            + f"{s.ratio.words} ({s.ratio})"
            + (f" over {s.over}" if s.over else "")
            for s in self.steps
        )

    def __str__(self) -> str:
        plain = all(s.colour is None and s.over is None for s in self.steps)
        return (" " if plain else ", ").join(map(str, self.steps))
