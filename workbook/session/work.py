"""One customer's job at work: aimed, planned, sprayed coat by coat, read, judged, taken back.

What it says is worked out from the archive alone; what it does goes into the archive at once, each
step under words of its own in the history, by which it can be taken back whole.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import BEFORE_CLEAR, CoatSchedule, LoggedCoat, Panel, Recipe, Stage
from matchlib.errors import ArchiveError, DomainError, MatchlibError, TargetError
from matchlib.job import Job, Plan
from workbook.session.customer import aim_of_job, expected_on, fit_of_job
from workbook.session.targets import stages_read
from workbook.session.undoing import standing

if TYPE_CHECKING:
    from matchlib.archive import Change
    from matchlib.correction import Belief
    from matchlib.domain import Colour, MixRatio, Reading, Viewing
    from matchlib.domain.blend import Blend
    from matchlib.mixing import Limits
    from matchlib.regression import FilmPredictor
    from matchlib.steering import Advice, CardPlans, Steering
    from matchlib.suggest import Suggestions
    from matchlib.target import Target
    from workbook.session.session import Session

__all__ = ["Coat", "Work"]

_OF_COATS = ("sprayer", "lot", "lots", "setup", "temperature", "humidity")  # under a clear too

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

    # What it says

    @cached_property
    def aim(self) -> Target:
        """What is to be matched."""
        return aim_of_job(self.job)

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
        return fit_of_job(self.archive, self.job)

    @cached_property
    def panel(self) -> Panel | None:
        """The card in hand: the one that is built on, else the last one of the job."""
        plan = self.job.plan
        if plan is not None and plan.on:
            return self.archive.panel(plan.on)
        if plan is not None and self.job.state == "spray":
            return None
        return self.archive.panel(self.job.panels[-1]) if self.job.panels else None

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
        stages = self.panel.stages if plan.on and self.panel is not None else ()
        laid = stages[-1].recipe.schedule if stages else None
        on = 0 if laid is None else laid.coats
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
        card, plan = self.panel, self.job.plan
        if card is None or plan is None or not plan.on:
            return 0
        last = card.stages[-1]
        # The plan's own coats are noted one by one as they are laid, until they are read.
        noted = [] if last.readings else [entry.coat - 1 for entry in last.log]
        return min([last.recipe.coats, plan.recipe.coats, *noted])

    @property
    def next_coat(self) -> Coat | None:
        """The coat to lay next; None where all are laid."""
        return next((c for c in self.coats if not c.laid), None)

    @property
    def to_clear(self) -> bool:
        """Whether all coats are laid and the plan's clear coat is not."""
        card, plan = self.panel, self.job.plan
        if card is None or plan is None or plan.recipe.clear is None or self.next_coat:
            return False
        return card.recipe.clear is None

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
    def pot_words(self) -> str:
        """Which pot it is: of what card, and for what coats."""
        plan = self.job.plan
        code = plan.on if plan is not None and plan.on else self.next_code
        return f"job {self.job.number}, {code}: {self.pot_recipe}"

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
        labs = self.learnt(but=but).predict_recipes(recipes, self.viewing)
        return [(float(v[0]), float(v[1]), float(v[2])) for v in labs]

    def labs_on_top(
        self, card: Panel, recipes: Sequence[Recipe]
    ) -> list[tuple[float, float, float]]:
        """Return what coats on top of a card should make it read, from its own last reading."""
        return [one.lab for one in expected_on(self.model, self.rows(card)[-1], self.aim, recipes)]

    @cached_property
    def ahead(self) -> list[tuple[float, float, float]]:
        """What the card should read after each coat of this pot, and at last with its clear.

        Of a card that was read, it goes on from that reading.
        """
        plan = self.job.plan
        if plan is None:
            return []
        coming = [coat.recipe for coat in self.coats[self.begun :]]
        card = self.panel if self.begun and (coming or self.to_clear) else None
        if card is not None and self.rows(card):
            try:
                return self.labs_on_top(card, [*coming, plan.recipe])
            except MatchlibError:
                pass  # it was read in another way than the target: the fit alone tells
        return self.expected_labs([*coming, plan.recipe], but=plan.on)

    @property
    def viewing(self) -> Viewing:
        """How the target was read; how the archive was where there is none."""
        first = self.job.target[0].viewing if self.job.target else None
        return first or self.model.usual_view

    def suggestions(self, *, top: int = 8) -> Suggestions:
        """Return recipes for the target, best first by what is `learnt`."""
        from matchlib.colorimetry import delta_e00
        from matchlib.outcome import outcomes
        from matchlib.suggest import suggest

        panels = self.archive.panels()
        found = suggest(self.model, self.aim, self.limits, top=top, archive=panels)
        if not self.job.panels:
            return found
        recipes = [one.recipe for one in found]
        there = self.learnt().predict_together(recipes, self.aim.viewings)
        told = zip(found, outcomes(recipes, there, self.aim.hope(there)), strict=True)
        items = [
            replace(one, **vars(now), delta_e00=float(delta_e00(self.wanted, now.lab)))
            for one, now in told
        ]
        return replace(found, items=tuple(sorted(items, key=lambda one: -one.probability)))

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

    # What it does

    def check(self, version: str) -> None:
        """Refuse what was pressed on a page that shows the job as it was before."""
        if version and version != str(self.job.version):
            raise ArchiveError(
                f"Job {self.job.number} was changed elsewhere meanwhile, so this press did "
                "nothing. The page now shows how it stands.",
                remedy="look again, and press once more.",
            )

    def _why(self, words: str) -> str:
        return f"job {self.job.number}: {words} #{self.job.version}"

    def keep(self, job: Job, words: str, *, who: str = "") -> Work:
        """Keep the job as it is to be."""
        kept = self.archive.keep_job(job, who=who, why=self._why(words))
        return Work(self.session, kept)

    def choose(self, recipe: Recipe, *, on: str = "", read_after: Sequence[int] = ()) -> Work:
        """Choose what to spray: a fresh card, or what is to be on a card in the end."""
        plan = Plan(recipe, on, tuple(read_after))
        return self.keep(self.job.planned(plan), "chose the recipe")

    def coat_laid(self, *, code: str = "", **noted: Any) -> Work:
        """Note the next coat: a card is made by its first, and gets a stage after a reading."""
        coat, plan = self.next_coat, self.job.plan
        schedule = None if coat is None else coat.recipe.schedule
        if coat is None or plan is None or schedule is None:
            raise DomainError("All coats of this plan are laid.", remedy="clear it, or read it.")
        words = f"coat {coat.number} sprayed"
        who, why = noted.get("sprayer", ""), self._why(words)
        now = dt.datetime.now().astimezone().replace(microsecond=0)
        entry = LoggedCoat(coat.number, now, coat.ratio, **noted)
        stage = {**noted, "date": now.date()}
        card = self.panel if plan.on else None
        code = (" ".join(code.split()) or self.next_code) if card is None else card.code
        panels = self.job.panels if code in self.job.panels else (*self.job.panels, code)
        # Before anything is noted: a closed job takes no coat.
        job = replace(self.job, plan=replace(plan, on=code), panels=panels, state="spray")
        if card is None:
            if same := [p for p in self.archive.panels() if p.code.casefold() == code.casefold()]:
                raise DomainError(
                    f"There is a card {same[0].code} already.",
                    got=code,
                    remedy="write another code on the back of this one.",
                )
            made = Panel(
                code, (Stage(coat.recipe, log=(entry,), **stage),), customer=self.job.customer
            )
            self.archive.add([made], who=who)
            return self.keep(job, words, who=who)
        # What is on it is what its back says by now, whatever was planned.
        recipe = card.recipe.then(CoatSchedule(schedule.each[-1:]), colour=coat.colour)
        if card.stages[-1].readings:
            self.archive.build_on(code, recipe, who=who, why=why, log=(entry,), **stage)
        else:
            log = (*card.stages[-1].log, entry)
            self.archive.amend(code, who=who, why=why, recipe=recipe, log=log)
        return self.keep(job, words, who=who)

    def clear_laid(self) -> Work:
        """Note the clear coat."""
        card, plan = self.panel, self.job.plan
        if card is None or plan is None or not self.to_clear:
            raise DomainError("There is nothing to clear.", remedy="lay the colour coats first.")
        job, why = replace(self.job, state="read"), self._why("clear coat laid")
        recipe = replace(card.recipe, clear=plan.recipe.clear)
        if card.stages[-1].readings:
            kept = {name: getattr(card.stages[-1], name) for name in _OF_COATS}
            self.archive.build_on(card.code, recipe, why=why, date=dt.date.today(), **kept)
        else:
            self.archive.amend(card.code, why=why, recipe=recipe)
        return self.keep(job, "clear coat laid")

    @property
    def minutes_dry(self) -> float | None:
        """Minutes since the last coat of the card in hand; None where that was not noted."""
        log = self.panel.stages[-1].log if self.panel is not None else ()
        if not log or log[-1].at is None:
            return None
        return (dt.datetime.now().astimezone() - log[-1].at).total_seconds() / 60.0

    def read(self, readings: Sequence[Reading], *, sure: bool = False) -> Work:
        """Note what was read of the card in hand.

        `sure`: it was read again, and is as no such card can be expected to read.
        """
        card = self.panel
        if card is None:
            raise DomainError("There is no card to read yet.", remedy="spray it first.")
        have = {r.viewing.canonical for r in readings}
        lack = [str(r.viewing) for r in self.job.target if r.viewing.canonical not in have]
        if lack:
            raise TargetError(
                "The target was not read like this, so the two cannot be compared.",
                expected=", ".join(lack),
                got=", ".join(map(str, have)),
                remedy="read the card as the target was read, at every angle of it.",
            )
        job = replace(self.job, state="read")
        plan, stage = self.job.plan, card.stages[-1]
        before = stage.recipe.clear is None and plan is not None and plan.recipe.clear is not None
        state, words = BEFORE_CLEAR if before else "", f"{card.code} read"
        new = tuple(replace(r, state=state, date=dt.date.today()) for r in readings)
        if not sure:
            self._question(replace(card, stages=(replace(stage, readings=new),)), card)
        kept = replace(stage, readings=(*stage.readings, *new))
        stages = (*card.stages[:-1], kept)
        self.archive.amend(card.code, why=self._why(words), stages=stages)
        return self.keep(job, words)

    def _question(self, latest: Panel, card: Panel) -> None:
        """Refuse a reading that this card can hardly have, or that its last one gainsays."""
        from matchlib.correction import Belief, Sprayed
        from matchlib.steering import check_stages

        stages = [Sprayed.of(row) for row in (*self.rows(card), *self.rows(latest))]
        recipes = [s.recipe for s in stages]
        known = all(map(self.model.words_.knows, recipes))
        if latest.recipe.schedule is not None and known:
            check_stages(Belief.of(self.model, recipes=recipes), stages)

    def close(self, outcome: str, why: str = "") -> Work:
        """Close the job."""
        return self.keep(self.job.closed(outcome, why), outcome)

    # Taking back

    @cached_property
    def _done(self) -> tuple[Change, ...]:
        """Changes of the step done last that was not taken back, the last first."""
        beginning = f"job {self.job.number}: "
        mine = self.archive.history(why=beginning)
        if not mine:
            return ()
        # Between them the job may have been changed at the command line, or taken back there.
        since = self.archive.history(numbers=(mine[0].number, self.archive.last_change()))
        left = [c for c in standing(since) if self._is_step(c, beginning)]
        return tuple(c for c in left if c is left[0] or (c.why and c.why == left[0].why))

    def _is_step(self, change: Change, beginning: str) -> bool:
        if change.why.startswith(beginning):
            return not change.why.startswith(f"{beginning}took back ")
        own = {(item.kind, item.name) for item in change.items}
        return own == {("job", f"job {self.job.number}")} and change.action != "job begun"

    @property
    def undo_words(self) -> str:
        """What an undo would take back; empty for nothing."""
        last = next(iter(self._done), None)
        return last.why.partition(": ")[2].rpartition(" #")[0] or last.action if last else ""

    def undo(self) -> Work:
        """Take back the step done last, whole."""
        if not self._done:
            raise DomainError("There is nothing to take back.", remedy="go on.")
        words = self._why(f"took back {self.undo_words}")
        self.archive.undo_each([change.number for change in self._done], why=words)
        # A card made by the first coat is put aside with it, unless it is another job's as well.
        jobs = self.archive.jobs()
        held = {code for j in jobs for code in (*j.panels, *([j.plan.on] if j.plan else []))}
        for code in set(self.job.panels) - held:
            if not any(s.readings for s in self.archive.panel(code).stages):
                self.archive.delete(code, why=words)
        return Work(self.session, self.archive.job(self.job.number))
