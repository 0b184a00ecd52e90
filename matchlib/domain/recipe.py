"""What was, or would be, sprayed on a ground."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Self

from matchlib.domain.blend import Colour, Ground
from matchlib.domain.parts import clean_name
from matchlib.domain.ratio import MixRatio
from matchlib.domain.schedule import CoatSchedule, CoatStep, check_names
from matchlib.errors import DomainError

__all__ = ["Recipe"]

_NO_CLEAR = {"", "no", "none", "n", "0", "false"}
_SOME_CLEAR = {"yes", "y", "1", "true"}


@dataclass(frozen=True, slots=True)
class Recipe:
    """What was, or would be, sprayed.

    Parameters
    ----------
    ground : Ground
        The opaque coat below.
    colour : Colour, optional
        The transparent colour, in layers the first coat's; None for a bare ground.
    schedule : CoatSchedule, optional
        The colour coats; None for a bare ground. Its steps say their colour where the colour
        changes, and only there.
    clear : str, optional
        ``yes`` or the clear coat's name; None for no clear coat.

    Examples
    --------
    >>> recipe = Recipe.of("silver", "cherry", "2@6:1 2@3:1", clear="yes")
    >>> print(recipe)
    cherry over silver, 2@6:1 2@3:1
    >>> recipe.schedule.coats
    4
    """

    ground: Ground
    colour: Colour | None = None
    schedule: CoatSchedule | None = None
    clear: str | None = None

    def __post_init__(self) -> None:
        clear = " ".join(str(self.clear or "").split())
        if clear.casefold() in _NO_CLEAR:
            object.__setattr__(self, "clear", None)
        elif clear.casefold() in _SOME_CLEAR:
            object.__setattr__(self, "clear", "yes")
        else:
            object.__setattr__(self, "clear", clean_name(clear, "clear coat"))
        steps = () if self.schedule is None else self.schedule.steps
        colours = [c for s in steps if (c := s.colour or self.colour) is not None]
        if len(colours) < len(steps) or (not steps and self.colour is not None):
            raise DomainError(
                "A recipe has a colour and coats, or neither.",
                expected="both, or neither for a bare ground",
                got="coats without a colour" if steps else "a colour without coats",
                remedy="fill in what is missing.",
            )
        if self.colour is not None and self.colour not in colours:
            raise DomainError(
                "The colour of this recipe is not one of its coats'.",
                expected=" or ".join(map(str, dict.fromkeys(colours))),
                got=str(self.colour),
                remedy="find out which was sprayed, or leave the colour to the schedule.",
            )
        if any(s.colour for s in steps):
            layered = len(set(colours)) > 1
            for colour in colours if layered else ():
                check_names(colour.names, alone=colour.neat)
            own = tuple(
                replace(s, colour=c if layered else None)
                for s, c in zip(steps, colours, strict=True)
            )
            object.__setattr__(self, "schedule", CoatSchedule(own))
            object.__setattr__(self, "colour", colours[0])

    @classmethod
    def of(
        cls,
        ground: str,
        colour: str | None = None,
        schedule: str | None = None,
        clear: str | None = None,
        *,
        ratio: str = "",
        coats: int | None = None,
    ) -> Self:
        """Read a recipe as it is written.

        Parameters
        ----------
        ground : str
            A name, or a blend such as ``silver 3 + black 1``.
        colour : str, optional
            Likewise; None or empty for a bare ground.
        schedule : str, optional
            Such as ``2@6:1 2@3:1``.
        clear : str, optional
            ``yes``, ``no`` or the clear coat's name.
        ratio : str
            Such as ``6:1``, with `coats` instead of a schedule; beside one, what it should say.
        coats : int, optional
            How many. Both are left aside for a bare ground.

        Returns
        -------
        Recipe
            Checked.

        Raises
        ------
        DomainError
            If a part cannot be read, is missing, or contradicts another.

        Examples
        --------
        >>> Recipe.of("silver 3 + black 1").bare
        True
        >>> Recipe.of("silver", "cherry", ratio="6:1", coats=4).cells["schedule"]
        '4@6:1'
        """
        if not ground.strip():
            raise DomainError(
                "The recipe has no ground.",
                expected="the ground that is under the colour",
                got="none",
                remedy="name it, as the archive does.",
            )
        own = Colour.parse(colour) if colour and colour.strip() else None
        steps = CoatSchedule.parse(schedule) if schedule and schedule.strip() else None
        if own is not None and (ratio.strip() or coats is not None):
            steps = _counted(steps, ratio.strip(), coats)
        return cls(Ground.parse(ground), own, steps, clear)

    @property
    def cells(self) -> dict[str, str]:
        """Ground, colour, schedule and clear as a table holds them; `of` reads them back."""
        parts = (self.ground, self.colour or "", self.schedule or "", self.clear or "no")
        return dict(zip(("ground", "colour", "schedule", "clear"), map(str, parts), strict=True))

    @property
    def bare(self) -> bool:
        """Whether it is a ground without colour."""
        return self.colour is None

    @property
    def steps(self) -> tuple[CoatStep, ...]:
        """Steps of the schedule, each saying its colour; none for a bare ground."""
        steps = () if self.schedule is None else self.schedule.steps
        return tuple(replace(s, colour=s.colour or self.colour) for s in steps)

    @property
    def coats(self) -> int:
        """Coats in all; 0 for a bare ground."""
        return 0 if self.schedule is None else self.schedule.coats

    @property
    def strength(self) -> float:
        """The schedule's strength [coats of neat colour]; 0 for a bare ground."""
        return 0.0 if self.schedule is None else self.schedule.strength

    @property
    def layers(self) -> tuple[tuple[Colour, CoatSchedule], ...]:
        """Runs of coats of one colour, in the order sprayed; none for a bare ground."""
        if self.colour is None or self.schedule is None:
            return ()
        first = self.colour
        if not any(s.colour for s in self.schedule.steps):
            return ((first, self.schedule),)
        return tuple(
            (colour, CoatSchedule(tuple(replace(s, colour=None) for s in run)))
            for colour, run in groupby(self.schedule.steps, key=lambda s: s.colour or first)
        )

    @property
    def colours(self) -> tuple[Colour, ...]:
        """The colour of each of its layers, in the order sprayed; none for a bare ground."""
        return tuple(colour for colour, _ in self.layers)

    def coat_by_coat(self) -> tuple[Recipe, ...]:
        """Return what is on the panel before the first coat, after it, and so on to the last.

        Returns
        -------
        tuple of Recipe
            The bare ground first; each with this recipe's clear coat.

        Examples
        --------
        >>> [str(r) for r in Recipe.of("silver", "cherry", "1@6:1 1@3:1").coat_by_coat()]
        ['silver, bare', 'cherry over silver, 1@6:1', 'cherry over silver, 1@6:1 1@3:1']
        """
        each = () if self.schedule is None else self.schedule.each
        grown = (CoatSchedule(each[:n]) for n in range(1, len(each) + 1))
        bare = replace(self, colour=None, schedule=None)
        return (bare, *(replace(self, schedule=s) for s in grown))

    def after(self, earlier: Recipe) -> Recipe | None:
        """Return what is laid on top of an earlier recipe: the stage to add.

        Parameters
        ----------
        earlier : Recipe
            What is on the panel.

        Returns
        -------
        Recipe or None
            The same ground with the coats added alone; None where there are none.

        Raises
        ------
        DomainError
            If this recipe does not go on from the earlier one.
        """
        if self.ground != earlier.ground:
            raise DomainError(
                "A panel that is built on keeps its ground.",
                expected=str(earlier.ground),
                got=str(self.ground),
                remedy="give a panel on another ground a code of its own.",
            )
        before = CoatSchedule(earlier.steps) if earlier.steps else None
        if before is not None and not self.steps:
            raise DomainError(
                "A panel that is built on keeps its coats.",
                expected=f"all coats so far, beginning with {before}",
                got="a bare ground",
                remedy="write the whole schedule, those on the panel first.",
            )
        added = CoatSchedule(self.steps).after(before) if self.steps else None
        return None if added is None else self.with_steps(added.steps)

    def then(
        self, more: CoatSchedule, *, colour: Colour | None = None, clear: str | None = None
    ) -> Recipe:
        """Return the recipe with further coats on top.

        Parameters
        ----------
        more : CoatSchedule
            The coats to add.
        colour : Colour, optional
            Theirs, where they do not say it; the last coat's if None.
        clear : str, optional
            Clear coat at the end.

        Returns
        -------
        Recipe
            All that is on it then.

        Raises
        ------
        DomainError
            If the ground is bare and no colour is given.
        """
        laid = self.steps
        own = colour or (laid[-1].colour if laid else None)
        added = (replace(s, colour=s.colour or own) for s in more.steps)
        return replace(self.with_steps([*laid, *added]), clear=clear)

    def recoloured(self, own: Colour, other: Colour) -> Recipe:
        """Return the recipe with one of its colours exchanged for another, in all of its coats."""
        return self.with_steps(
            [replace(s, colour=other) if s.colour == own else s for s in self.steps]
        )

    def with_steps(self, steps: Iterable[CoatStep]) -> Recipe:
        """Return the recipe with other coats, which say their colours; bare if there are none."""
        each = tuple(steps)
        return Recipe(self.ground, None, CoatSchedule(each) if each else None, self.clear)

    @property
    def words(self) -> str:
        """The recipe in words, for the back of the panel."""
        clear = "" if self.clear is None else ", under clear coat"
        if self.clear not in (None, "yes"):
            clear += f" {self.clear}"
        if self.colour is None or self.schedule is None:
            return f"{self.ground}, bare{clear}"
        colours = ", then ".join(map(str, self.colours))
        return f"{colours} over {self.ground}: {self.schedule.words}{clear}"

    def __str__(self) -> str:
        if self.colour is None:
            return f"{self.ground}, bare"
        colours = " then ".join(map(str, self.colours))
        return f"{colours} over {self.ground}, {self.schedule}"


def _counted(steps: CoatSchedule | None, ratio: str, coats: int | None) -> CoatSchedule:
    """The schedule of a ratio and a number of coats, or one that they do not contradict."""
    if steps is None:
        if not ratio or coats is None:
            raise DomainError(
                "Ratio and coats belong together.",
                expected="both, or a schedule such as 4@6:1",
                got="a ratio without coats" if ratio else "coats without a ratio",
                remedy="give the other one too.",
            )
        return CoatSchedule.of(coats, ratio)
    ratios = {step.ratio for step in steps.steps}
    if (ratio and ratios != {MixRatio.parse(ratio)}) or coats not in (None, steps.coats):
        raise DomainError(
            "Schedule and ratio or coats contradict each other.",
            expected=f"what the schedule says: {steps.words}",
            got=f"{ratio or 'no ratio'}, {coats if coats is not None else 'no'} coats",
            remedy="give one of the two.",
        )
    return steps
