"""A customer's job: one sample to be met, and how far it has come."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from matchlib.colorimetry import Tolerance
from matchlib.domain import Reading, Recipe
from matchlib.domain.parts import clean_text
from matchlib.errors import DomainError
from matchlib.mixing import Limits

__all__ = ["JOB_STATES", "OUTCOMES", "Job", "Plan"]

JOB_STATES = ("target", "recipe", "spray", "read", "done")
"""Where a job stands: what it waits for, in the order of the work."""

OUTCOMES = ("matched", "given up")
_MOST = 200  # panels of one job


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be sprayed for a job, and where on the way it is read.

    Parameters
    ----------
    recipe : Recipe
        All that is to be on the card at the end.
    on : str
        Code of the panel that is built on; empty for a fresh card.
    read_after : tuple of int
        Coats, counted on the card, after which it is read before going on; the last coat and
        what comes after the clear need not be named.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> plan = Plan(Recipe.of("pale gold", "cherry", "3@3:1", "yes"), read_after=(2,))
    >>> plan.read_after
    (2,)
    """

    recipe: Recipe
    on: str = ""
    read_after: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        coats = self.recipe.coats
        stops = tuple(sorted(set(self.read_after)))
        if stops and not (stops[0] >= 1 and stops[-1] <= coats):
            raise DomainError(
                "This plan reads the card after a coat that it has not.",
                expected=f"1 to {coats}" if coats else "none for a bare ground",
                got=", ".join(map(str, stops)),
                remedy="name coats of the schedule.",
            )
        object.__setattr__(self, "read_after", stops)


@dataclass(frozen=True, slots=True)
class Job:
    """One customer's sample to be met.

    Parameters
    ----------
    name : str
        What the shop calls it.
    customer : str
        For whom; empty where it is for nobody.
    due : datetime.date, optional
        Wanted by.
    target : tuple of Reading
        The sample as read, one a geometry, the first being the one reported; none while it is
        still to be read.
    weights : tuple of float
        How much a difference counts at each of them [-]; none for 1 each.
    tolerance : Tolerance
        What passes, as the order names it.
    limits : Limits, optional
        What may be used for this job; None for the shop's usual.
    plan : Plan, optional
        The chosen recipe, or the stage to add.
    panels : tuple of str
        Codes of the panels sprayed for it, in order.
    state : str
        One of `JOB_STATES`.
    notes : str
        Anything else.
    outcome : str
        One of `OUTCOMES` once it is done; empty before.
    why : str
        Why it was given up.
    number : int
        Its number in the archive; 0 before it is kept.
    version : int
        Counts its changes; what is kept on an older one is refused.

    Examples
    --------
    >>> from matchlib import Reading, Recipe
    >>> job = Job("tank", "Ann Example", target=(Reading(lab=(27.1, 45.9, 28.5)),))
    >>> job.planned(Plan(Recipe.of("pale gold", "cherry", "3@3:1", "yes"))).state
    'spray'
    """

    name: str
    customer: str = ""
    due: dt.date | None = None
    target: tuple[Reading, ...] = ()
    weights: tuple[float, ...] = ()
    tolerance: Tolerance = field(default_factory=Tolerance)
    limits: Limits | None = None
    plan: Plan | None = None
    panels: tuple[str, ...] = ()
    state: str = "target"
    notes: str = ""
    outcome: str = ""
    why: str = ""
    number: int = 0
    version: int = 0

    def __post_init__(self) -> None:
        for what in ("name", "customer", "notes", "why"):
            object.__setattr__(self, what, clean_text(getattr(self, what), what))
        if not self.name or len(self.name) > 120 or "\n" in self.name:
            raise DomainError(
                "A job needs a name.",
                expected="1 to 120 characters on one line",
                got=repr(self.name[:60]),
                remedy="call it as you would on the order, such as 'tank, blue over silver'.",
            )
        object.__setattr__(self, "panels", tuple(dict.fromkeys(self.panels)))
        self._check_target()
        done = self.state == "done"
        if self.outcome in OUTCOMES and not done:
            raise DomainError(
                "This job is closed.",
                expected="a job in hand",
                got=f"one that was {self.outcome}",
                remedy="take it up again first: `workbook job reopen`, or at its step Done.",
            )
        for wrong, problem, expected, got in (
            (
                self.state not in JOB_STATES,
                "This is no state of a job.",
                ", ".join(JOB_STATES),
                self.state,
            ),
            (
                done != bool(self.outcome) or self.outcome not in ("", *OUTCOMES),
                "A job is done when it was matched or given up, and only then.",
                " or ".join(OUTCOMES),
                self.outcome or "no outcome",
            ),
            (
                self.outcome == "given up" and not self.why,
                "A job that is given up needs a reason.",
                "why, in a few words",
                "none",
            ),
            (
                self.plan is not None and not self.target,
                "A recipe cannot be chosen before there is a target.",
                "the sample's reading",
                "none",
            ),
            (len(self.panels) > _MOST, "So many panels belong to no one job.", f"{_MOST}", "more"),
        ):
            if wrong:
                raise DomainError(
                    problem, expected=expected, got=got, remedy="see `workbook job --help`."
                )

    def _check_target(self) -> None:
        geometries = [r.viewing.geometry for r in self.target]
        if len(set(geometries)) < len(geometries):
            raise DomainError(
                "The target of a job has two readings at one geometry.",
                expected="one a geometry",
                got=", ".join(geometries),
                remedy="average repeats first.",
            )
        weights = self.weights
        if weights and (len(weights) != len(geometries) or not all(0 < w <= 100 for w in weights)):
            raise DomainError(
                "These weights do not suit the target's readings.",
                expected=f"{len(geometries)} numbers above 0 and at most 100, or none",
                got=", ".join(f"{w:g}" for w in weights),
                remedy="leave a reading out if it does not count.",
            )

    def aimed(
        self,
        target: Iterable[Reading],
        tolerance: Tolerance | None = None,
        weights: Iterable[float] = (),
    ) -> Job:
        """Return the job with its target.

        Parameters
        ----------
        target : iterable of Reading
            The sample as read, one a geometry.
        tolerance : Tolerance, optional
            What passes; as it is if None.
        weights : iterable of float
            One a reading, or none.

        Returns
        -------
        Job
            Waiting for a recipe, or for what it waited for before.

        Raises
        ------
        DomainError
            If it has another target already: a new target is a new job.
        """
        readings = tuple(target)
        if self.target and readings != self.target:
            raise DomainError(
                "A new target is a new job.",
                expected="a job without a target",
                got=f"the target of {self.name}",
                remedy="begin another job for it; this one keeps its own panels and recipe.",
            )
        passing = self.tolerance if tolerance is None else tolerance
        aimed = replace(self, target=readings, tolerance=passing, weights=tuple(weights))
        return replace(aimed, state=aimed.waiting)

    def planned(self, plan: Plan | None) -> Job:
        """Return the job with a recipe, or a stage to add, chosen.

        Parameters
        ----------
        plan : Plan or None
            None takes the choice back.

        Returns
        -------
        Job
            Waiting to be sprayed.
        """
        if plan is None:
            return replace(self, plan=None, state="recipe" if self.target else "target")
        return replace(self, plan=plan, state="spray")

    def sprayed(self, code: str) -> Job:
        """Return the job with a panel that was sprayed for it.

        Parameters
        ----------
        code : str
            The panel; one that was built on keeps its place.

        Returns
        -------
        Job
            Waiting to be read.
        """
        return replace(self, panels=(*self.panels, code), state="read")

    def without(self, code: str) -> Job:
        """Return the job without a panel that is none of it.

        Parameters
        ----------
        code : str
            One of its panels, or that which its plan builds on.

        Returns
        -------
        Job
            Where it stands by what it still holds; the plan goes too if it was to build on it.

        Raises
        ------
        DomainError
            If the panel is none of the job's.
        """
        plan = None if self.plan is not None and self.plan.on == code else self.plan
        if plan is self.plan and code not in self.panels:
            raise DomainError(
                f"This panel is none of job {self.number}'s.",
                expected=", ".join(self.panels) or "none: the job has no panel",
                got=code,
                remedy="write its code as the job shows it.",
            )
        left = replace(self, plan=plan, panels=tuple(p for p in self.panels if p != code))
        return replace(left, state=left.waiting) if self.open else left

    def closed(self, outcome: str, why: str = "") -> Job:
        """Return the job done.

        Parameters
        ----------
        outcome : str
            One of `OUTCOMES`.
        why : str
            Needed where it is given up.

        Returns
        -------
        Job
            Done.
        """
        return replace(self, state="done", outcome=outcome, why=why)

    def reopened(self, stood: str = "") -> Job:
        """Return the job taken up again.

        Parameters
        ----------
        stood : str
            Where it stood before it was closed, if that is known.

        Returns
        -------
        Job
            Where it stood by what it holds.
        """
        held = replace(self, state=stood or "target", outcome="", why="")
        return replace(held, state=held.waiting)

    @property
    def waiting(self) -> str:
        """Where it stands by what it holds, if it is not done."""
        # A card that is being sprayed is none to be read yet, whatever else is said of the job.
        if self.plan is not None and (self.state == "spray" or not self.panels):
            return "spray"
        if self.panels:
            return "read"
        return "recipe" if self.target else "target"

    @property
    def open(self) -> bool:
        """Whether it is still to be done."""
        return self.state != "done"
