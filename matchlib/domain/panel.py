"""One physical card: its code, and the stages in which it was sprayed and read."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Self

from matchlib.domain.parts import clean_text
from matchlib.domain.reading import BEFORE_CLEAR, Reading
from matchlib.domain.recipe import Recipe
from matchlib.domain.setup import GunSetup
from matchlib.domain.stage import Stage
from matchlib.errors import DomainError

__all__ = ["Panel", "readings_in"]


@dataclass(frozen=True, slots=True)
class Panel:
    """A sprayed panel: its code, its stages, and what else is written on its back.

    A panel that is built on stays the same panel: it gains a stage. What is asked of the panel
    as a whole (``recipe``, ``readings``, ``date`` and so on) is that of its last stage, which is
    how the card stands now.

    Parameters
    ----------
    code : str
        The panel's own code.
    stages : tuple of Stage
        In the order sprayed, at least one; each goes on from the one before.
    batch : str
        Batch of the ground; empty where not known.
    note, customer : str
        As written on the back, without outer blanks; empty where not.
    drawer : str
        Where the card is kept; empty where not known.
    extra : tuple of (str, str)
        Columns of the file that have no meaning here, kept as they came: by name, in the
        order of names, empty ones left out.

    Examples
    --------
    >>> from matchlib import Reading, Recipe
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1")
    >>> panel = Panel.of("T001", recipe, [Reading(lab=(36.6, 36.7, 8.7))])
    >>> print(panel.recipe)
    cherry over silver, 3@6:1
    """

    code: str
    stages: tuple[Stage, ...]
    batch: str = ""
    note: str = ""
    customer: str = ""
    extra: tuple[tuple[str, str], ...] = ()
    drawer: str = ""

    def __post_init__(self) -> None:
        code = " ".join(str(self.code).split())
        if not code or len(code) > 80 or not code.isprintable():
            raise DomainError(
                "This is not a usable panel code.",
                expected="1 to 80 printable characters",
                got=repr(str(self.code)[:100]),
                remedy="give the panel the code written on its back.",
            )
        object.__setattr__(self, "code", code)
        for what in ("batch", "note", "customer", "drawer"):
            object.__setattr__(self, what, clean_text(getattr(self, what), what))
        extra = {
            " ".join(clean_text(k, "column name").split()): clean_text(v, k) for k, v in self.extra
        }
        kept = tuple(sorted((k, v) for k, v in extra.items() if k and v))
        object.__setattr__(self, "extra", kept)
        self._check_stages()

    def _check_stages(self) -> None:
        if not self.stages:
            raise DomainError(
                "A panel without its first stage is none.",
                expected="what was sprayed on it first",
                got="no stage",
                remedy="write the ground and the first coats, or the bare ground alone.",
            )
        try:
            for before, then in pairwise(self.stages):
                added = then.recipe.after(before.recipe)
                cleared = before.recipe.clear is None and then.recipe.clear is not None
                if added is None and not cleared:
                    raise DomainError(
                        "A stage adds coats, or the clear coat.",
                        expected=f"more than {before.recipe}",
                        got=str(then.recipe),
                        remedy="give another reading of the same coats to the stage before.",
                    )
                if before.date and then.date and then.date < before.date:
                    raise DomainError(
                        "A stage cannot be sprayed before the one it is built on.",
                        expected=f"{before.date.isoformat()} or later",
                        got=then.date.isoformat(),
                        remedy="set the dates right, or leave one empty.",
                    )
            done = 0
            for number, stage in enumerate(self.stages, 1):
                coats = stage.recipe.coats
                wrong = [e.coat for e in stage.log if not done < e.coat <= coats]
                if wrong:
                    raise DomainError(
                        "This log names a coat that was not laid in this stage.",
                        expected=f"coats {done + 1} to {coats}" if coats > done else "no coat",
                        got=f"coat {wrong[0]} in stage {number}",
                        remedy="count the coats on the panel from its first colour coat.",
                    )
                done = coats
        except DomainError as error:
            raise error.at(f"panel {self.code}") from None

    @classmethod
    def of(
        cls,
        code: str,
        recipe: Recipe,
        readings: Iterable[Reading] = (),
        **fields: Any,
    ) -> Self:
        """Return a panel sprayed in one stage.

        Parameters
        ----------
        code : str
            As on its back.
        recipe : Recipe
            What was sprayed.
        readings : iterable of Reading
            Its readings.
        **fields : object
            Other fields of `Panel`: ``batch``, ``note``, ``customer``, ``drawer``, ``extra``; and
            of `Stage`: ``date``, ``sprayer``, ``lot``, ``temperature``, ``humidity``, ``log``,
            ``setup``, ``lots``, ``clear_coats``.

        Returns
        -------
        Panel
            Of one stage.
        """
        own = {k: fields.pop(k) for k in fields.keys() & cls.__slots__}
        return cls(code, (Stage(recipe, tuple(readings), **fields),), **own)

    def having(self, **changes: Any) -> Self:
        """Return the panel with some fields changed, its own or its last stage's.

        Parameters
        ----------
        **changes : object
            Fields of `Panel`, and of `Stage` for the last one.

        Returns
        -------
        Panel
            Checked.
        """
        own = {k: v for k, v in changes.items() if k in self.__slots__}
        last = {k: v for k, v in changes.items() if k not in own}
        stages = own.pop("stages", self.stages)
        if last:
            stages = (*stages[:-1], replace(stages[-1], **last))
        return replace(self, stages=stages, **own)

    def built_on(self, recipe: Recipe, **stage: Any) -> Self:
        """Return the panel with a stage added.

        Parameters
        ----------
        recipe : Recipe
            All that is on it then.
        **stage : object
            Other fields of `Stage`.

        Returns
        -------
        Panel
            With one stage more.

        Raises
        ------
        DomainError
            If the recipe does not go on from what is on the panel.
        """
        return replace(self, stages=(*self.stages, Stage(recipe, **stage)))

    @property
    def recipe(self) -> Recipe:
        """All that is on the panel now."""
        return self.stages[-1].recipe

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Readings of the panel as it is now: of its last stage."""
        return self.stages[-1].readings

    @property
    def seen(self) -> tuple[Reading, ...]:
        """Its `readings` but those from before its clear coat; these where there are no others."""
        return tuple(r for r in self.readings if r.state != BEFORE_CLEAR) or self.readings

    @property
    def under_clear(self) -> bool:
        """Whether it is under a clear coat now, which coats on top would have to be sanded for."""
        stage = self.stages[-1]
        recipes = [stage.recipe_at(reading) for reading in stage.last_read] or [stage.recipe]
        return recipes[-1].clear is not None

    @property
    def read_as(self) -> Recipe:
        """What was on it when it was `seen`: without a clear coat that was still to come."""
        return self.stages[-1].recipe_at(self.seen[0]) if self.readings else self.recipe

    @property
    def times_read(self) -> int:
        """Readings of all its stages."""
        return sum(len(stage.readings) for stage in self.stages)

    @property
    def date(self) -> dt.date | None:
        """Day of the last spraying."""
        return self.stages[-1].date

    @property
    def sprayer(self) -> str:
        """Who sprayed last."""
        return self.stages[-1].sprayer

    @property
    def lot(self) -> str:
        """Lot of the colour sprayed last."""
        return self.stages[-1].lot

    @property
    def setup(self) -> GunSetup:
        """How the gun was set at the last spraying."""
        return self.stages[-1].setup

    @property
    def temperature(self) -> float | None:
        """Booth air at the last spraying [°C]."""
        return self.stages[-1].temperature

    @property
    def humidity(self) -> float | None:
        """Booth relative humidity at the last spraying [%]."""
        return self.stages[-1].humidity


def readings_in(panels: Iterable[Panel]) -> Iterator[tuple[Panel, int, Stage, Reading]]:
    """Yield every reading of panels with what it belongs to."""
    for panel in panels:
        for number, stage in enumerate(panel.stages, 1):
            for reading in stage.readings:
                yield panel, number, stage, reading
