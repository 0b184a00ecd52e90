"""One customer's job at work: its aim, what is sprayed for it and what to expect of that.

All of it is worked out from the archive alone, for a page and for the command line alike. What
changes a job is in `workbook.session.doing`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import LoggedCoat, Panel, Recipe
from matchlib.errors import DomainError, MatchlibError
from matchlib.job import Job, Plan
from workbook.session.targets import stages_read

if TYPE_CHECKING:
    from matchlib.correction import Belief
    from matchlib.domain import Colour, MixRatio, Reading
    from matchlib.domain.blend import Blend
    from matchlib.forecast import Forecast
    from matchlib.mixing import Limits, Pot
    from matchlib.regression import FilmPredictor
    from matchlib.steering import Advice, CardPlans, Steering
    from matchlib.suggest import Suggestions
    from matchlib.target import Target
    from workbook.jobsheet import JobSheet
    from workbook.session.session import Session

__all__ = ["Coat", "Work"]

B = TypeVar("B", bound="Blend")


@dataclass(frozen=True, slots=True)
class Coat:
    """One coat of a job's plan.

    `number`: on the card, the first colour coat being 1. `colour`: what is in it. `ratio`: at which
    ratio. `recipe`: all that is on the card after it, uncleared. `laid`: whether it is on the card.
    `log`: what was noted of it. `read`: whether the card is to be read after it.
    """

    number: int
    colour: Colour
    ratio: MixRatio
    recipe: Recipe
    laid: bool
    log: LoggedCoat | None
    read: bool


class Work:
    """A job of an archive, as it stands.

    `job`: from its archive.
    """

    def __init__(self, session: Session, job: Job) -> None:
        self.session, self.archive, self.job = session, session.archive, job
        self._learnt: dict[str, FilmPredictor | Belief] = {}

    @cached_property
    def aim(self) -> Target:
        """What is to be matched."""
        from matchlib.target import Target

        job = self.job
        return Target.of_readings(job.target, weights=job.weights or None, tolerance=job.tolerance)

    @property
    def wanted(self) -> tuple[float, float, float]:
        """CIELAB of the target at its first angle."""
        return lab_of_reading(self.job.target[0])

    @property
    def limits(self) -> Limits:
        """What may be used for it."""
        return self.job.limits or self.session.limits()

    @cached_property
    def model(self) -> FilmPredictor:
        """The archive's fit without this job's cards, and without cards that nobody has read."""
        panels, card = self.archive.panels(), self.built_on
        unread = (p.code for p in panels if not any(s.readings for s in p.stages))
        own = () if card is None else (card.code,)
        return self.session.model_without({*self.job.panels, *own, *unread})

    @property
    def plan(self) -> Plan:
        """What is chosen to be sprayed; refused where nothing is."""
        if self.job.plan is None:
            raise DomainError(
                f"No recipe is chosen for job {self.job.number}, {self.job.name}.",
                expected="a recipe, or the stage to add to a panel",
                got="none",
                remedy=f"choose one: workbook job plan {self.job.number} --help.",
            )
        return self.job.plan

    @cached_property
    def built_on(self) -> Panel | None:
        """The card that the plan goes on; None for a fresh one."""
        plan = self.job.plan
        return self.archive.panel(plan.on) if plan is not None and plan.on else None

    @cached_property
    def panel(self) -> Panel | None:
        """The card in hand: the one that is built on, else the last one of the job."""
        fresh = self.job.plan is not None and self.job.state == "spray"
        if self.built_on is not None or fresh or not self.job.panels:
            return self.built_on
        return self.archive.panel(self.job.panels[-1])

    @property
    def cards(self) -> tuple[str, ...]:
        """Codes of the job's cards, the one in hand last."""
        hand = () if self.panel is None else (self.panel.code,)
        return (*(code for code in self.job.panels if code not in hand), *hand)

    @cached_property
    def coats(self) -> tuple[Coat, ...]:
        """The plan's coats, those on the card first."""
        plan = self.job.plan
        if plan is None:
            return ()
        stages = () if self.built_on is None else self.built_on.stages
        on = stages[-1].recipe.coats if stages else 0
        logs = {entry.coat: entry for stage in stages for entry in stage.log}
        found = []
        for number, recipe in enumerate(replace(plan.recipe, clear=None).coat_by_coat()[1:], 1):
            colour, run = recipe.layers[-1]
            ratio, read = run.steps[-1].ratio, number in plan.read_after
            found.append(Coat(number, colour, ratio, recipe, number <= on, logs.get(number), read))
        return tuple(found)

    @property
    def begun(self) -> int:
        """Coats that were on the card when this plan was chosen and the pot mixed."""
        card, plan = self.built_on, self.job.plan
        if card is None or plan is None:
            return 0
        last = card.stages[-1]
        # The plan's own coats are noted one by one as they are laid, until they are read, or
        # cleared and planned on.
        done = last.readings or (last.recipe.clear and self.next_coat)
        noted = [] if done else [entry.coat - 1 for entry in last.log]
        return min([last.recipe.coats, plan.recipe.coats, *noted])

    @property
    def goes_on(self) -> Panel | None:
        """The card with coats that the plan goes on, where its reading tells what comes next."""
        card = self.built_on
        return card if card is not None and self.begun and self.rows(card) else None

    @property
    def next_coat(self) -> Coat | None:
        """The coat to lay next; None where all are laid."""
        return next((c for c in self.coats if not c.laid), None)

    @property
    def to_clear(self) -> bool:
        """Whether all coats are laid and the plan's clear coat is not."""
        return self.uncleared and self.next_coat is None

    @property
    def uncleared(self) -> bool:
        """Whether the card in hand has not got the plan's clear coat yet."""
        card, plan = self.panel, self.job.plan
        given = plan is not None and plan.recipe.clear is not None
        return given and card is not None and card.recipe.clear is None

    @property
    def due_reading(self) -> int:
        """After which coat the card is to be read now, before going on; 0 for none."""
        laid = [c for c in self.coats if c.laid]
        card = self.panel
        if not laid or not laid[-1].read or card is None or card.stages[-1].readings:
            return 0
        return laid[-1].number

    @property
    def pot_recipe(self) -> Recipe | None:
        """The coats of this stage alone, for its pot."""
        plan = self.job.plan
        if plan is None or plan.recipe.schedule is None:
            return None
        before = replace(plan.recipe, clear=None).coat_by_coat()[self.begun]
        return plan.recipe if not self.begun else plan.recipe.after(before)

    @property
    def added(self) -> Recipe:
        """What is still to be sprayed: a whole recipe, or the coats to add to a card, alone."""
        plan, card = self.plan, self.built_on
        recipe = plan.recipe if card is None else plan.recipe.after(card.recipe)
        if recipe is None:
            raise DomainError(
                f"The coats planned for job {self.job.number} are on panel {plan.on} already.",
                expected="a plan that adds coats",
                got=str(plan.recipe),
                remedy="read the panel, or plan further coats.",
            )
        return recipe

    @property
    def pot_words(self) -> str:
        """Which pot it is: of which of the job's cards, and for what coats."""
        # Its first coat gives a card its code, so that its place alone stays as it was.
        job, codes = self.job, self.job.panels
        on = "" if job.plan is None else job.plan.on
        place = codes.index(on) if on in codes else len(codes)
        return f"job {job.number}, card {place + 1}, after {self.begun} coats: {self.pot_recipe}"

    def learnt(self, *, but: str = "") -> FilmPredictor | Belief:
        """Return the fit with what today's other cards of this job told, all `but` one."""
        if but not in self._learnt:
            from matchlib.correction import Belief, learn

            read = [stages_read(self.archive.panel(c)) for c in self.job.panels if c != but]
            self._learnt[but] = self.model
            if cards := [rows for rows in read if rows]:
                before = Belief.of(self.model, recipes=[rows[-1][0] for rows in cards])
                self._learnt[but], _ = learn(before, cards, self.limits)
        return self._learnt[but]

    def expected_labs(
        self, recipes: Sequence[Recipe], *, but: str = ""
    ) -> list[tuple[float, float, float]]:
        """Return what recipes should read, at the target's first angle, as of `learnt`."""
        labs = self.learnt(but=but).predict_recipes(recipes, self.job.target[0].viewing)
        return [(float(v[0]), float(v[1]), float(v[2])) for v in labs]

    def on_top(self, card: Panel, recipes: Sequence[Recipe]) -> tuple[Forecast, ...]:
        """Return what to expect of coats on top of a card, from its own last reading."""
        from matchlib.correction import Belief, Card, Sprayed
        from matchlib.forecast import forecast_on

        if not recipes:
            return ()
        # Its reading is learnt from once: the fit is that of the others.
        begun = Card.of(Belief.of(self.model), [Sprayed.of(self.rows(card)[-1])])
        return forecast_on(begun, recipes, self.aim)

    def outlook(self, *, fresh: bool = False) -> Forecast:
        """Return what to expect of the plan in the end; of a card that was read, from its reading.

        `fresh`: as of a card not begun, all the same.
        """
        from matchlib.forecast import forecast

        plan, card = self.plan, self.goes_on
        if card is not None and not fresh:
            (found,) = self.on_top(card, [plan.recipe])
        else:
            (found,) = forecast(self.learnt(but=plan.on), [plan.recipe], self.aim)
        return found

    def outlook_words(self, found: Forecast) -> str:
        """Say how far from the target the outlook is, and by what that is known."""
        if self.goes_on is None:
            return found.words
        away = found.tolerance.with_unit(found.expected)
        return f"{away} expected{self.aim.worst}, from the reading of {self.plan.on}"

    @cached_property
    def ahead(self) -> list[tuple[float, float, float]]:
        """What the card should read after each coat of this pot, and at last with its clear.

        Of a card that was read, it goes on from that reading.
        """
        plan = self.job.plan
        if plan is None:
            return []
        coming = [coat.recipe for coat in self.coats[self.begun :]]
        card = self.goes_on
        if card is not None and (coming or self.to_clear):
            try:
                return [one.lab for one in self.on_top(card, [*coming, plan.recipe])]
            except MatchlibError:
                pass  # it was read in another way than the target: the fit alone tells
        return self.expected_labs([*coming, plan.recipe], but=plan.on)

    def suggestions(self, *, top: int = 8) -> Suggestions:
        """Return recipes for the target, best first by what is `learnt`."""
        from matchlib.steering.plan import as_believed
        from matchlib.suggest import suggest

        panels = self.archive.panels()
        found = suggest(self.model, self.aim, self.limits, top=top, archive=panels)
        return as_believed(found, self.learnt()) if self.job.panels else found

    def plans(self) -> CardPlans:
        """Return recipes with a reading on the way, best first."""
        from matchlib.steering import plan

        known, source = self.learnt(), self.job.target[0].source
        return plan(known, self.aim, self.limits, readings=1, top=8,
                    archive=self.archive.panels(), source=source)  # fmt: skip

    def known(self, some: Iterable[B]) -> list[B]:
        """Return those of grounds and colours that the fit has seen a reading of."""
        grounds, colours = set(self.model.words_.grounds), set(self.model.words_.colours)
        return [b for b in some if b.shares.keys() <= (grounds if b.kind == "ground" else colours)]

    def rows(self, panel: Panel) -> list[tuple[Recipe, tuple[Reading, ...]]]:
        """Return a card's stages that were read, with the clear coat that it is to have."""
        return stages_read(panel, self.job.plan.recipe.clear if self.job.plan else None)

    def advice(self) -> Advice:
        """Return what was read against the target, and what to change."""
        from matchlib.steering import correct

        tried = [self.rows(self.archive.panel(code))[-1:] for code in self.cards]
        rows = [row for some in tried for row in some]
        return correct(self.model, rows, self.aim, self.limits)

    def steering(self, panel: Panel) -> Steering:
        """Return what to lay next on a card that was read."""
        from matchlib.steering import steer

        known = self.learnt(but=panel.code)
        return steer(known, self.rows(panel), self.aim, self.limits, sure=True)

    @property
    def next_code(self) -> str:
        """A code for the next card that no card has."""
        taken, number = {p.code for p in self.archive.panels()}, len(self.job.panels) + 1
        while f"J{self.job.number}-{number}" in taken:
            number += 1
        return f"J{self.job.number}-{number}"

    def why(self, words: str) -> str:
        """Return the words under which a step of the job stands in the history."""
        return f"job {self.job.number}: {words} #{self.job.version}"

    @property
    def minutes_dry(self) -> float | None:
        """Minutes since the last coat of the card in hand; None where that was not noted."""
        log = self.panel.stages[-1].log if self.panel is not None else ()
        if not log or log[-1].at is None:
            return None
        return (dt.datetime.now().astimezone() - log[-1].at).total_seconds() / 60.0

    def sheet(
        self, *, fresh: bool = False, pot: Pot | None = None, unit: str = "ml", code: str = ""
    ) -> JobSheet:
        """Return the sheet of the job: of its own target, recipe and customer, and of no other's.

        `fresh`: as of a card not begun; else of the coats to add, where there is one. `code`: of a
        card not begun.
        """
        from matchlib.explain import coat_readings
        from matchlib.steering import SANDING
        from workbook.jobsheet import JobSheet

        plan, card = self.plan, None if fresh else self.built_on
        recipe, found = plan.recipe if card is None else self.added, self.outlook(fresh=fresh)
        coats = coat_readings(
            self.learnt(but=plan.on),
            plan.recipe,
            archive=self.archive.panels(),
            viewing=found.viewing,
        )
        sheet = JobSheet(
            title=f"Job {self.job.number}: {self.job.name}",
            recipe=recipe,
            found=found,
            coats=coats,
            target_name=self.job.name,
            pot=pot,
            unit=unit,
            panel_code=code if card is None else card.code,
            customer=self.job.customer,
            notes=_stops(plan, 0 if card is None else card.recipe.coats),
        )
        if card is None:
            return sheet
        if self.goes_on is not None:
            laid = card.recipe.coats
            then = self.on_top(card, [coat.recipe for coat in self.coats[laid:]])
            rest = zip(coats.coats[laid + 1 :], then, strict=True)
            on = [replace(coat, lab=one.lab) for coat, one in rest]
            cleared = coats.cleared and replace(coats.cleared, lab=found.lab)
            coats = replace(coats, coats=(*coats.coats[: laid + 1], *on), cleared=cleared)
        notes = [f"These coats go on panel {card.code}, which has {card.recipe}."]
        notes += [SANDING] if card.under_clear else []
        words = self.outlook_words(found)
        notes += sheet.notes
        return replace(sheet, whole=plan.recipe, coats=coats, words=words, notes=tuple(notes))


def _stops(plan: Plan, laid: int) -> tuple[str, ...]:
    """Where a sheet's coats are read on the way, counted as the sheet counts them."""
    after = " and ".join(str(n - laid) for n in plan.read_after if laid < n < plan.recipe.coats)
    words = f"Read the card, dry, after coat {after}: what it reads decides the rest."
    return (words,) if after else ()
