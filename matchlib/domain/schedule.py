"""The coats in the order sprayed, each step at its own mix ratio."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Self

from matchlib.domain.ratio import MixRatio
from matchlib.errors import DomainError

__all__ = ["MAX_COATS", "CoatSchedule", "CoatStep"]

MAX_COATS = 60
_STEP = re.compile(r"^(?P<coats>[^@]+)@(?P<ratio>.+)$")


@dataclass(frozen=True, slots=True)
class CoatStep:
    """A number of coats sprayed at one ratio.

    Parameters
    ----------
    coats : int
        Coats, 1 to 60.
    ratio : MixRatio
        The mix they are sprayed with.
    """

    coats: int
    ratio: MixRatio

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

    def __str__(self) -> str:
        return f"{self.coats}@{self.ratio}"


@dataclass(frozen=True, slots=True)
class CoatSchedule:
    """The coats in the order sprayed; ``2@6:1 2@3:1`` is two at 6:1, then two at 3:1.

    Parameters
    ----------
    steps : tuple of CoatStep
        At least one; neighbours of one ratio are joined.
    """

    steps: tuple[CoatStep, ...]

    def __post_init__(self) -> None:
        joined: list[CoatStep] = []
        for step in self.steps:
            if joined and joined[-1].ratio == step.ratio:
                joined[-1] = CoatStep(joined[-1].coats + step.coats, step.ratio)
            else:
                joined.append(step)
        if not joined or sum(s.coats for s in joined) > MAX_COATS:
            raise DomainError(
                "A schedule needs coats.",
                expected=f"1 to {MAX_COATS} coats in all, such as 4@6:1",
                got="no coats" if not joined else f"{sum(s.coats for s in joined)} coats",
                remedy="leave colour and coats empty for a bare ground.",
            )
        object.__setattr__(self, "steps", tuple(joined))

    @classmethod
    def parse(cls, text: object) -> Self:
        """Read ``4@6:1`` or ``2@6:1 2@3:1``.

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
            If a step is not ``coats@carrier:colour``.
        """
        words = re.sub(r"\s*([@:])\s*", r"\1", str(text)[:1000].replace("then", " "))
        steps = []
        for word in re.split(r"[\s,;]+", words.strip()):
            match = _STEP.match(word)
            if match is None or not re.fullmatch(r"[+-]?\d{1,6}", match["coats"]):
                raise DomainError(
                    "This is not a coat schedule.",
                    expected="whole coats@carrier:colour, such as 4@6:1 or 2@6:1 2@3:1",
                    got=repr(str(text)[:80]),
                    remedy="write the number of coats, an @, and the ratio with the carrier first.",
                )
            steps.append(CoatStep(int(match["coats"]), MixRatio.parse(match["ratio"])))
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

    @property
    def coats(self) -> int:
        """Coats in all."""
        return sum(step.coats for step in self.steps)

    @property
    def strength(self) -> float:
        """Sum of coats times colour fraction [coats of neat colour]."""
        return math.fsum(step.coats * step.ratio.fraction for step in self.steps)

    @property
    def words(self) -> str:
        """The schedule in words."""
        return ", then ".join(
            f"{s.coats} coat{'s' * (s.coats != 1)} of {s.ratio.words} ({s.ratio})"
            for s in self.steps
        )

    def __str__(self) -> str:
        return " ".join(map(str, self.steps))
