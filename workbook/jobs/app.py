"""The page of jobs: the list, or one job at one of its five steps; the address says which."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from matchlib.errors import ArchiveError, MatchlibError
from workbook.jobs import done, presses, read, recipe, spray, target
from workbook.jobs.board import board
from workbook.jobs.rail import rail, steps_open
from workbook.jobs.read import Way, once_more, ways_of
from workbook.page import Press
from workbook.page.frame import frame
from workbook.screen import BaseScreen, screen_page
from workbook.session.doing import check
from workbook.session.photos import Photographed
from workbook.session.session import Session
from workbook.session.shelf import shelf_of
from workbook.session.undoing import undo, undo_words
from workbook.session.work import Work

__all__ = ["JobsScreen", "jobs_page"]

_STEPS: dict[str, Callable[[JobsScreen, Work], tuple[str, str, str]]] = {
    "target": target.draw,
    "recipe": recipe.draw,
    "spray": spray.draw,
    "read": read.draw,
    "done": done.draw,
}


class JobsScreen(BaseScreen):
    """Jobs of one archive; holds its address and what was worked out from the archive."""

    def __init__(self, session: Session) -> None:
        super().__init__(session, presses)
        self.last: Press | None = None
        self._worked: dict[str, Any] = {}  # what was worked out of the job as it is
        self._work: Work | None = None
        self._seen: tuple[Any, ...] = ()

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
        archive = self.session.archive
        job = archive.job(int(number))
        # Another tablet may have changed it, the cards or the shop's shelf.
        seen = (job, archive.content_hash(), shelf_of(archive))
        if self._work is None or self._seen != seen:
            self._work, self._seen, self._worked = Work(self.session, job), seen, {}
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
            title, body, forward = target.draw(self, None)
            return frame(title, body, place="new", forward=forward)
        try:
            return self._drawn(self.job, number)
        except MatchlibError as error:  # there is no such job, or its names are in no reading
            self.address = {}
            return board(self.session.archive, wrong=self.error or error)

    def _drawn(self, work: Work, number: str) -> str:
        step = self.step
        title, body, forward = _STEPS[step](self, work)
        held = f'<input type="hidden" name="version" value="{work.job.version}">'
        held += self.message if self.error is None else ""
        place = f"{number} {step}" + (self.address.get("tool", "") if step == "recipe" else "")
        return frame(title, held + body, place=place, rail=rail(work, step),
                     undo=undo_words(work), forward=forward)  # fmt: skip

    @property
    def photo_part(self) -> str:
        """HTML where a photograph is being taken, empty elsewhere."""
        return self.photo.draw() if self.address.get("photo") else ""

    @property
    def photo_waits(self) -> bool:
        """Whether it is a photograph's reading that is to be used next, not what is typed."""
        return bool(self.address.get("photo") and self.photo.shots)

    def use_photo(self, found: Photographed, done: Press) -> None:
        """Take the reading of a photograph for the sample or the card."""
        presses.take_photo(self, found, done)

    # Worked out once for as long as nothing has changed

    def found(self, work: Work) -> tuple[Any, Any]:
        """Return what the search suggests, and the plans with readings once there are any."""
        worked = self._worked
        found = worked["found"] = worked.get("found") or work.suggestions()
        if "plans" not in worked and found[0].probability > 0:
            worked["plans"] = None
            self.page.later(
                "Working out what a reading on the way is worth …",
                lambda _: work.plans(),
                lambda plans: worked.update(plans=plans),
            )
        return found, worked.get("plans")

    def judged(self, work: Work) -> tuple[Any, list[Way], str]:
        """Return what a card's reading says, what may be done, and what is amiss with it."""
        card = work.panel
        if card is None or not card.stages[-1].readings:
            return None, [], ""
        if "judged" not in self._worked:
            advice, steering, lost = work.advice(), None, ""
            if not once_more(advice, card) and card.recipe.schedule is not None:
                steering = work.steering(card)
                lost = steering.verdict if steering.state == "lost" else ""
            amiss = advice.unfitting or lost
            self._worked["judged"] = advice, ways_of(work, advice, steering, card), amiss
        found: tuple[Any, list[Way], str] = self._worked["judged"]
        return found

    def passes(self, work: Work) -> bool | None:
        """Whether the card in hand passes; None while nothing can be said of it."""
        try:
            advice, *_ = self.judged(work)
        except MatchlibError:  # read in another way than the target
            return None
        return None if advice is None else bool(advice.passes)

    # What is pressed everywhere; the rest are the functions of `presses`

    def do_open(self, _: Press) -> None:
        """Take a page with its address: from the library it comes with a card."""
        if self.address.get("panel") and not self.address.get("job"):
            self.address["job"] = "new"

    def do_undo(self, _: Press) -> None:
        """Take back the last step."""
        work = undo(self.job)
        self.go(work, work.job.state)

    def press(self, done: Press) -> None:
        """Do what was pressed, unless another tablet was faster."""
        self.last = done
        if self.address.get("job", "").isdecimal() and done.do not in _LOOKING:
            check(self.job, done.fields.get("version", ""))
        super().press(done)


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
