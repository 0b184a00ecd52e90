"""The page of jobs: the list, or one job at one of its five steps; the address says which."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from matchlib.domain import Panel
from matchlib.errors import ArchiveError, MatchlibError
from matchlib.job import Job
from workbook.jobs import recipe as recipes
from workbook.jobs.board import board
from workbook.jobs.done import done_page
from workbook.jobs.presses import Presses
from workbook.jobs.rail import rail, steps_open
from workbook.jobs.read import Way, read_page, verdict_of, ways_of
from workbook.jobs.spray import spray_page
from workbook.jobs.target import target_page
from workbook.page import Press
from workbook.page.fields import button
from workbook.page.frame import frame
from workbook.screen import BaseScreen, screen_page
from workbook.session.photos import Photographed
from workbook.session.session import Session
from workbook.session.work import Work

__all__ = ["JobsScreen", "jobs_page"]


class JobsScreen(BaseScreen):
    """Jobs of one archive; holds its address and what was worked out from the archive."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self.last: Press | None = None
        self._worked: dict[tuple[Any, ...], Any] = {}
        self._work: Work | None = None
        self._seen: tuple[Any, ...] = ()
        self.presses = Presses(self)

    # Where it is

    @property
    def step(self) -> str:
        """The step on screen: the one in the address if it can be gone to, else where it waits."""
        if self.address.get("job") == "new":
            return "target"
        work, opened = self.job, steps_open(self.job)
        asked = (self.address.get("step", ""), work.job.state)
        return next((step for step in asked if step in opened), "target")

    @property
    def job(self) -> Work:
        """The job on screen, as it is now."""
        number = self.address.get("job", "")
        if not number.isdecimal():
            raise ArchiveError("There is no such job.", got=number[:20], remedy="see the list.")
        job = self.session.archive.job(int(number))
        seen = (job, self.session.archive.content_hash())  # another tablet may have changed it
        if self._work is None or self._seen != seen:
            self._work, self._seen = Work(self.session, job), seen
        return self._work

    def go(self, work: Work, step: str) -> None:
        """Show a job at a step."""
        self.address = {"job": str(work.job.number), "step": step}

    # Drawing

    def draw(self) -> str:
        """Return the page."""
        number = self.address.get("job", "")
        if not number:
            return board(
                self.session.archive, sought=self.address.get("sought", ""), wrong=self.error
            )
        if number == "new":
            body = self._sample(None)
            forward = button("Next: recipes", "begin", go=True)
            return frame("New job", body, place="new", forward=forward)
        try:
            return self._drawn(self.job, number)
        except MatchlibError as error:  # there is no such job, or its names are in no reading
            self.address = {}
            return board(self.session.archive, wrong=self.error or error)

    def _drawn(self, work: Work, number: str) -> str:
        step = self.step
        title, body, forward = getattr(self, f"_{step}")(work)
        held = f'<input type="hidden" name="version" value="{work.job.version}">'
        place = f"{number} {step}" + (self.address.get("tool", "") if step == "recipe" else "")
        return frame(title, held + body, place=place, rail=rail(work, step),
                     undo=work.undo_words, forward=forward)  # fmt: skip

    def _sample(self, job: Job | None) -> str:
        typed = "" if self.last is None else self.last.fields.get("lab", "")
        return target_page(self.session, job, self.error, self._photo_part, typed)

    @property
    def _photo_part(self) -> str:
        return self.photo.draw() if self.address.get("photo") else ""

    def use_photo(self, found: Photographed, done: Press) -> None:
        """Take the reading of a photograph for the sample or the card."""
        self.presses.use_photo(found, done)

    def _target(self, work: Work) -> tuple[str, str, str]:
        body = self._sample(work.job)
        if work.job.target:
            return "The sample", body, button("Next: recipes", "step", "recipe", go=True)
        return "The sample", body, button("Next: recipes", "begin", go=True)

    def _recipe(self, work: Work) -> tuple[str, str, str]:
        title = f"Recipes for {work.job.name}"
        try:
            found, plans = self.found(work)
        except MatchlibError as error:  # nothing of what is ticked can be sprayed
            return title, recipes.empty_page(work, self.error or error), ""
        rows = recipes.offers(found, plans)
        tool = self.address.get("tool", "")
        body = recipes.recipe_page(
            work,
            rows,
            found=found,
            notes=[*filter(None, [plans[0].own_words]), *plans.notes] if plans else (),
            tool=tool,
            done=self.last,
            wrong=self.error,
        )
        ready = work.job.plan is not None and work.job.state != "recipe"
        do, value = ("step", "spray") if ready else ("use", rows[0].key)
        if tool == "own":  # what is on screen is what is sprayed next
            do, value = "useown", ""
        forward = button("Next: spray it", do, value, go=True)
        return title, body, forward

    def _spray(self, work: Work) -> tuple[str, str, str]:
        body = spray_page(
            work,
            tool=self.address.get("tool", ""),
            wrong=self.error,
            where=self.at,
            done=self.last,
        )
        plan = work.job.plan
        code = plan.on if plan is not None and plan.on else work.next_code
        coat = work.next_coat
        if work.due_reading:
            forward = button("Next: read it", "step", "read", go=True)
        elif coat is not None:
            forward = button(f"Next: coat {coat.number} sprayed", "coat", coat.number, go=True)
        elif work.to_clear:
            forward = button("Next: clear laid", "clear", go=True)
        else:
            forward = button("Next: read it", "step", "read", go=True)
        return f"Spray card {code}", body, forward

    def _read(self, work: Work) -> tuple[str, str, str]:
        again = self.address.get("tool") == "again"
        advice: Any = None
        ways: list[Way] = []
        caution = ""
        try:
            advice, ways, caution = self.judged(work)
        except MatchlibError as error:  # read elsewhere, in another way than the target
            self.error = self.error or error
        card = work.panel
        code = card.code if card is not None else ""
        body = read_page(
            work,
            advice=advice,
            ways=ways,
            caution=caution,
            wrong=self.error,
            photo=self._photo_part,
            doubted=bool(self.address.get("photo")) and self.photo.error is not None,
            again=again,
        )
        if advice is None or again:
            return f"Card {code}", body, button("Next: keep this reading", "read", go=True)
        passes, _ = verdict_of(advice)
        if passes and work.to_clear:
            forward = button("Next: clear laid", "clear", go=True)
        elif passes:
            forward = button("Next: finish", "step", "done", go=True)
        elif card is not None and _once_more(advice, card):
            forward = button("Next: read it again", "again", go=True)
        elif ways and ways[0].on:
            forward = button("Next: build on it", "do", ways[0].key, go=True)
        elif ways:
            forward = button("Next: a fresh card", "do", ways[0].key, go=True)
        else:
            forward = button("Next: another recipe", "step", "recipe", go=True)
        return f"Card {code}, as read", body, forward

    def _done(self, work: Work) -> tuple[str, str, str]:
        body = done_page(work, self.error)
        if not work.job.open:
            return f"{work.job.name}: done", body, button("Back to the jobs", "jobs", go=True)
        try:
            advice, *_ = self.judged(work)
        except MatchlibError:  # read in another way than the target
            advice = None
        passes = advice is not None and verdict_of(advice)[0]
        words = "Close it as matched" + " all the same" * (not passes)
        return f"{work.job.name}: finish", body, button(words, "matched", go=passes)

    # Worked out once for as long as nothing has changed

    def _once(self, what: str, work: Work, make: Callable[[], Any]) -> Any:
        key = (what, work.job.number, work.job.version, self.session.archive.content_hash())
        if key not in self._worked:
            self._worked = {k: v for k, v in self._worked.items() if k[1:] == key[1:]}
            self._worked[key] = make()
        return self._worked[key]

    def found(self, work: Work) -> tuple[Any, Any]:
        """Return what the search suggests, and the plans with readings once there are any."""
        found = self._once("found", work, work.suggestions)
        held: dict[str, Any] = self._once("plans", work, dict)
        if "plans" not in held and self.page is not None and found[0].probability > 0:
            held["plans"] = None
            done = held.__setitem__
            self.page.later(
                "Working out what a reading on the way is worth …",
                work.plans,
                lambda plans: done("plans", plans),
            )
        return found, held.get("plans")

    def judged(self, work: Work) -> tuple[Any, list[Way], str]:
        """Return what a card's reading says, what may be done, and what is amiss with it."""
        card = work.panel
        if card is None or not card.stages[-1].readings:
            return None, [], ""

        def judge() -> tuple[Any, list[Way], str]:
            advice = work.advice()
            if _once_more(advice, card):
                return advice, ways_of(work, advice, None, card), advice.unfitting
            steering = work.steering(card) if card.recipe.schedule is not None else None
            lost = steering.verdict if steering is not None and steering.state == "lost" else ""
            return advice, ways_of(work, advice, steering, card), advice.unfitting or lost

        found: tuple[Any, list[Way], str] = self._once("judged", work, judge)
        return found

    def press(self, done: Press) -> None:
        """Do what was pressed, unless another tablet was faster."""
        self.last = done
        if self.address.get("job", "").isdecimal() and done.do not in _LOOKING:
            self.job.check(done.fields.get("version", ""))
        super().press(done)


def _once_more(advice: Any, card: Panel) -> bool:
    """Whether a card is read again before it is built on: it does not fit, and was read once."""
    return bool(advice.unfitting) and len(card.stages[-1].readings) <= len(advice.finished)


_LOOKING = {
    "open",
    "jobs",
    "new",
    "find",
    "job",
    "step",
    "tool",
    "own",
    "compare",
    "photo",
    "look",
}
"""Presses that change nothing, so that they may be made on a page that is behind."""


def jobs_page(archive: str | Path | None = None) -> widgets.Widget:
    """Return the page of jobs of an archive, as `workbook.session.opening.open_named` takes it."""
    return screen_page(JobsScreen, archive).view
