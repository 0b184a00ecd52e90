"""What each press on the page of jobs does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matchlib.errors import DomainError
from workbook.jobs import recipe as recipes
from workbook.jobs.done import label_of, sheet_pdf
from workbook.jobs.pot import keep_bottle, keep_typed, take_pot
from workbook.jobs.spray import booth_of, keep_booth, noted
from workbook.jobs.target import begun, of_file, of_text, sample_of
from workbook.page import Press
from workbook.session.photos_kept import keep_picture
from workbook.session.stock import keep_stock
from workbook.session.work import Work

if TYPE_CHECKING:
    from workbook.jobs.app import JobsScreen
    from workbook.session.photos import Photographed

__all__ = ["Presses"]


class Presses:
    """One method a press, named for it."""

    def __init__(self, at: JobsScreen) -> None:
        self.at = at

    def do_open(self, done: Press) -> None:
        """A page arrives with its address."""
        if self.at.address.get("panel") and not self.at.address.get("job"):  # from the library
            self.at.address["job"] = "new"

    def do_jobs(self, done: Press) -> None:
        """To the list."""
        self.at.address = {}

    def do_new(self, done: Press) -> None:
        """Begin a job."""
        self.at.address = {"job": "new"}

    def do_find(self, done: Press) -> None:
        """Look through the jobs."""
        self.at.address = {"sought": done.fields.get("sought", "").strip()}

    def do_job(self, done: Press) -> None:
        """Go on with a job."""
        self.at.address = {"job": done.value}
        self.at.address["step"] = self.at.step

    def do_step(self, done: Press) -> None:
        """Go to a step."""
        self.at.address = {"job": self.at.address["job"], "step": done.value}

    def do_tool(self, done: Press) -> None:
        """Unfold a tool, or fold it."""
        self.at.address["tool"] = done.value

    def do_undo(self, done: Press) -> None:
        """Take back the last step."""
        work = self.at.job.undo()
        self.at.go(work, work.job.state)

    # Target

    def do_begin(self, done: Press) -> None:
        """Keep the job with its target, and go on."""
        self._begin(done, ())

    def _begin(self, done: Press, read: tuple[Any, ...]) -> None:
        session, old = self.at.session, None
        if self.at.address.get("job") != "new":
            old = self.at.job
        job = begun(done, session, None if old is None else old.job, read)
        if old is None:
            kept = Work(session, session.archive.keep_job(job, why="job begun"))
        else:
            kept = old.keep(job, "gave its target")
        self.at.go(kept, "recipe")

    def do_look(self, done: Press) -> None:
        """Show what was typed of the sample; what is no colour is said at once."""
        if done.fields.get("lab", "").strip():
            sample_of(done.fields["lab"], self.at.session)

    def do_words(self, done: Press) -> None:
        """Keep name, customer, day and notes."""
        job = begun(done, self.at.session, self.at.job.job)
        self.at.go(self.at.job.keep(job, "changed its words"), "target")

    def do_file(self, done: Press) -> None:
        """Take a reading from a file: the sample's, or the card's."""
        readings = of_file(done.value, done.content, self.at.session)
        if self.at.step == "read":
            self._keep(done, readings)
        else:
            self._begin(done, readings)

    def do_photo(self, done: Press) -> None:
        """Offer to take a photograph."""
        self.at.address["photo"] = "" if self.at.address.get("photo") else "1"

    def use_photo(self, found: Photographed, done: Press) -> None:
        """Take the reading of a photograph: the sample's, or the card's with its picture."""
        if found.reading is None:
            return
        reading, card = found.reading.reading, None
        if self.at.step == "read":
            card = self.at.job.panel
        if card is None:
            self._begin(done, (reading,))
            return
        name = keep_picture(self.at.session.archive, card.code, found.picture)
        self._keep(done, (replace(reading, picture=name),))

    # Recipe

    def do_use(self, done: Press) -> None:
        """Choose a recipe of the list."""
        work = self.at.job
        found, plans = self.at.found(work)
        # What is pressed may have been drawn before the readings on the way were worked out.
        rows = [*recipes.offers(found, plans), *recipes.offers(found, None)]
        row = _the(rows, done.value)
        self.at.go(work.choose(row.recipe, read_after=row.read_after), "spray")

    def do_useown(self, done: Press) -> None:
        """Choose the recipe of the sliders."""
        work = self.at.job
        self.at.go(work.choose(recipes.own_recipe(work, done)), "spray")

    def do_shelf(self, done: Press) -> None:
        """Change what may be used for this job."""
        work = self.at.job
        limits = recipes.limits_of_press(work, done)
        tool = self.at.address.get("tool", "")
        self.at.go(work.keep(replace(work.job, limits=limits), "changed the shelf"), "recipe")
        self.at.address["tool"] = tool

    def do_unlimit(self, done: Press) -> None:
        """Go back to the shop's usual shelf."""
        work = self.at.job
        self.at.go(work.keep(replace(work.job, limits=None), "changed the shelf"), "recipe")

    def do_usual(self, done: Press) -> None:
        """Make this job's shelf the shop's usual."""
        from workbook.session.shelf import keep_shelf

        keep_shelf(self.at.session.archive, vars(self.at.job.limits))

    # Spray

    def do_coat(self, done: Press) -> None:
        """Note a coat."""
        work = self.at.job
        if work.next_coat is None or str(work.next_coat.number) != done.value:
            raise DomainError("This coat is noted already.", remedy="see the coats.")
        more = noted(booth_of(self.at.session.archive))
        self.at.go(work.coat_laid(code=done.fields.get("code", ""), **more), "spray")

    def do_clear(self, done: Press) -> None:
        """Note the clear coat."""
        self.at.go(self.at.job.clear_laid(), "read")

    def do_booth(self, done: Press) -> None:
        """Keep what holds for the next coats."""
        keep_booth(self.at.session.archive, done)

    def do_pot(self, done: Press) -> None:
        """Keep what a card takes."""
        keep_typed(self.at.session.archive, dict(done.fields), pot=self.at.job.pot_words)
        self.at.address["tool"] = "pot"

    def do_stock(self, done: Press) -> None:
        """Write down a bottle."""
        keep_bottle(self.at.session.archive, done.fields)

    def do_takepot(self, done: Press) -> None:
        """Take the pot that is mixed off the shelf."""
        work = self.at.job
        if work.pot_recipe is not None:
            take_pot(self.at.session.archive, work.pot_recipe, work.pot_words)

    def do_unstock(self, done: Press) -> None:
        """Take a bottle from the list."""
        keep_stock(self.at.session.archive, done.value, None)

    # Read

    def do_again(self, done: Press) -> None:
        """Read the card once more."""
        self.at.address["tool"] = "again"

    def do_read(self, done: Press) -> None:
        """Keep what was read of the card."""
        like = next(iter(self.at.job.job.target), None)
        readings = of_text(done.fields.get("lab", ""), self.at.session, like)
        self._keep(done, readings)

    def _keep(self, done: Press, readings: Sequence[Any]) -> None:
        sure = "sure" in done.ticked("sure")
        self.at.go(self.at.job.read(readings, sure=sure), "read")

    def do_do(self, done: Press) -> None:
        """Do one of the ways."""
        work = self.at.job
        _, ways, _ = self.at.judged(work)
        way = _the(ways, done.value)
        self.at.go(work.choose(way.recipe, on=way.on), "spray")

    # Done

    def do_matched(self, done: Press) -> None:
        """Close the job as matched."""
        self.at.go(self.at.job.close("matched"), "done")

    def do_giveup(self, done: Press) -> None:
        """Give the job up."""
        self.at.go(self.at.job.close("given up", done.fields.get("why", "")), "done")

    def do_reopen(self, done: Press) -> None:
        """Take the job up again."""
        work = self.at.job
        again = work.keep(work.job.reopened(), "taken up again")
        self.at.go(again, again.job.state)

    def do_label(self, done: Press) -> None:
        """Print a card's label."""
        if self.at.page is not None:
            self.at.page.offer(f"{done.value}.pdf", label_of(self.at.job, done.value))

    def do_sheet(self, done: Press) -> None:
        """Print the job's sheet."""
        if self.at.page is not None:
            self.at.page.offer(f"job-{self.at.job.job.number}.pdf", sheet_pdf(self.at.job))


def _the(some: Sequence[Any], key: str) -> Any:
    found = next((one for one in some if one.key == key), None)
    if found is None:
        raise DomainError("This is no longer offered.", remedy="choose among those shown now.")
    return found
