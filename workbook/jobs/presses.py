"""What each press on the page of jobs does: one function a press, named for it."""

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
from workbook.session.doing import choose, clear_laid, coat_laid, keep, read, reopened
from workbook.session.photos_kept import keep_picture
from workbook.session.stock import keep_stock
from workbook.session.work import Work

if TYPE_CHECKING:
    from workbook.jobs.app import JobsScreen
    from workbook.session.photos import Photographed

__all__ = ["take_photo"]


def do_jobs(screen: JobsScreen, _: Press) -> None:
    """To the list."""
    screen.address = {}


def do_new(screen: JobsScreen, _: Press) -> None:
    """Begin a job."""
    screen.address = {"job": "new"}


def do_find(screen: JobsScreen, done: Press) -> None:
    """Look through the jobs."""
    screen.address = {"sought": done.fields.get("sought", "").strip()}


def do_job(screen: JobsScreen, done: Press) -> None:
    """Go on with a job."""
    screen.address = {"job": done.value}
    screen.address["step"] = screen.step


def do_step(screen: JobsScreen, done: Press) -> None:
    """Go to a step."""
    screen.address = {"job": screen.address["job"], "step": done.value}


def do_tool(screen: JobsScreen, done: Press) -> None:
    """Unfold a tool, or fold it."""
    screen.address["tool"] = done.value


# Target


def do_begin(screen: JobsScreen, done: Press) -> None:
    """Keep the job with its target, and go on."""
    _begin(screen, done, ())


def _begin(screen: JobsScreen, done: Press, read: tuple[Any, ...]) -> None:
    session, old = screen.session, None
    if screen.address.get("job") != "new":
        old = screen.job
    job = begun(done, session, None if old is None else old.job, read)
    if old is None:
        kept = Work(session, session.archive.keep_job(job, why="job begun"))
    else:
        kept = keep(old, job, "gave its target")
    screen.go(kept, "recipe")


def do_look(screen: JobsScreen, done: Press) -> None:
    """Show what was typed of the sample; what is no colour is said at once."""
    if done.fields.get("lab", "").strip():
        sample_of(done.fields["lab"], screen.session)


def do_words(screen: JobsScreen, done: Press) -> None:
    """Keep name, customer, day and notes."""
    job = begun(done, screen.session, screen.job.job)
    screen.go(keep(screen.job, job, "changed its words"), "target")


def do_file(screen: JobsScreen, done: Press) -> None:
    """Take a reading from a file: the sample's, or the card's."""
    readings = of_file(done.value, done.content)
    if screen.step == "read":
        _keep(screen, done, readings)
    else:
        _begin(screen, done, readings)


def do_photo(screen: JobsScreen, _: Press) -> None:
    """Offer to take a photograph."""
    screen.address["photo"] = "" if screen.address.get("photo") else "1"


def take_photo(screen: JobsScreen, found: Photographed, done: Press) -> None:
    """Take the reading of a photograph: the sample's, or the card's with its picture."""
    if found.reading is None:
        return
    reading, card = found.reading.reading, None
    if screen.step == "read":
        card = screen.job.panel
    if card is None:
        _begin(screen, done, (reading,))
        return
    name = keep_picture(screen.session.archive, card.code, found.picture)
    _keep(screen, done, (replace(reading, picture=name),))


# Recipe


def do_use(screen: JobsScreen, done: Press) -> None:
    """Choose a recipe of the list."""
    work = screen.job
    found, plans = screen.found(work)
    # What is pressed may have been drawn before the readings on the way were worked out.
    rows = [*recipes.offers(found, plans), *recipes.offers(found, None)]
    row = _the(rows, done.value)
    screen.go(choose(work, row.recipe, read_after=row.read_after), "spray")


def do_useown(screen: JobsScreen, done: Press) -> None:
    """Choose the recipe of the sliders."""
    work = screen.job
    screen.go(choose(work, recipes.own_recipe(work, done)), "spray")


def do_shelf(screen: JobsScreen, done: Press) -> None:
    """Change what may be used for this job."""
    work = screen.job
    limits = recipes.limits_of_press(work, done)
    tool = screen.address.get("tool", "")
    screen.go(keep(work, replace(work.job, limits=limits), "changed the shelf"), "recipe")
    screen.address["tool"] = tool


def do_unlimit(screen: JobsScreen, _: Press) -> None:
    """Go back to the shop's usual shelf."""
    work = screen.job
    screen.go(keep(work, replace(work.job, limits=None), "changed the shelf"), "recipe")


def do_usual(screen: JobsScreen, _: Press) -> None:
    """Make this job's shelf the shop's usual."""
    from workbook.session.shelf import keep_shelf

    keep_shelf(screen.session.archive, vars(screen.job.limits))
    screen.notice = "Kept: jobs without a shelf of their own go by this one."


# Spray


def do_coat(screen: JobsScreen, done: Press) -> None:
    """Note a coat."""
    work = screen.job
    if work.next_coat is None or str(work.next_coat.number) != done.value:
        raise DomainError("This coat is noted already.", remedy="see the coats.")
    more = noted(booth_of(screen.session.archive))
    screen.go(coat_laid(work, code=done.fields.get("code", ""), **more), "spray")


def do_clear(screen: JobsScreen, _: Press) -> None:
    """Note the clear coat."""
    screen.go(clear_laid(screen.job), "read")


def do_booth(screen: JobsScreen, done: Press) -> None:
    """Keep what holds for the next coats."""
    keep_booth(screen.session.archive, done)


def do_pot(screen: JobsScreen, done: Press) -> None:
    """Keep what a card takes."""
    keep_typed(screen.session.archive, dict(done.fields), pot=screen.job.pot_words)
    screen.address["tool"] = "pot"


def do_stock(screen: JobsScreen, done: Press) -> None:
    """Write down a bottle."""
    keep_bottle(screen.session.archive, done.fields)


def do_takepot(screen: JobsScreen, _: Press) -> None:
    """Take the pot that is mixed off the shelf."""
    work = screen.job
    if work.pot_recipe is not None:
        take_pot(screen.session.archive, work.pot_recipe, work.pot_words)


def do_unstock(screen: JobsScreen, done: Press) -> None:
    """Take a bottle from the list."""
    keep_stock(screen.session.archive, done.value, None)


# Read


def do_again(screen: JobsScreen, _: Press) -> None:
    """Read the card once more."""
    screen.address["tool"] = "again"


def do_read(screen: JobsScreen, done: Press) -> None:
    """Keep what was read of the card."""
    like = next(iter(screen.job.job.target), None)
    readings = of_text(done.fields.get("lab", ""), screen.session, like)
    _keep(screen, done, readings)


def _keep(screen: JobsScreen, done: Press, readings: Sequence[Any]) -> None:
    sure = "sure" in done.ticked("sure")
    screen.go(read(screen.job, readings, sure=sure), "read")


def do_do(screen: JobsScreen, done: Press) -> None:
    """Do one of the ways."""
    work = screen.job
    _, ways, _ = screen.judged(work)
    way = _the(ways, done.value)
    screen.go(choose(work, way.recipe, on=way.on), "spray")


# Done


def do_matched(screen: JobsScreen, done: Press) -> None:
    """Close the job as matched."""
    work = screen.job
    screen.go(keep(work, work.job.closed("matched"), "matched"), "done")


def do_giveup(screen: JobsScreen, done: Press) -> None:
    """Give the job up."""
    work = screen.job
    closed = work.job.closed("given up", done.fields.get("why", ""))
    screen.go(keep(work, closed, "given up"), "done")


def do_reopen(screen: JobsScreen, _: Press) -> None:
    """Take the job up again."""
    work = screen.job
    again = keep(work, reopened(work.archive, work.job.number), "taken up again")
    screen.go(again, again.job.state)


def do_label(screen: JobsScreen, done: Press) -> None:
    """Print a card's label."""
    screen.page.offer(f"{done.value}.pdf", label_of(screen.job, done.value))


def do_sheet(screen: JobsScreen, _: Press) -> None:
    """Print the job's sheet."""
    screen.page.offer(f"job-{screen.job.job.number}.pdf", sheet_pdf(screen.job))


def _the(some: Sequence[Any], key: str) -> Any:
    found = next((one for one in some if one.key == key), None)
    if found is None:
        raise DomainError("This is no longer offered.", remedy="choose among those shown now.")
    return found
