"""What the screens of all pages share: their archive, its model, long work, undo."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

from matchlib.errors import FitError, MatchlibError
from workbook.figures import Raw, esc
from workbook.page import Page, Press, frame
from workbook.page.fields import button, problem
from workbook.session import Session
from workbook.session.opening import ARCHIVE, is_missing, open_named
from workbook.session.undoing import last_change

if TYPE_CHECKING:
    from matchlib.archive import Change
    from matchlib.progress import Callback
    from workbook.photo_intake import PhotoIntake
    from workbook.session.photos import Photographed

__all__ = ["BaseScreen", "PartedScreen", "guarded", "screen_page"]


class BaseScreen:
    """A page over one archive; a press goes to the method, or function of a part, ``do_…``.

    `modules`: the parts, whose functions take the screen and the press.
    """

    page: Page
    """What shows it."""

    def __init__(self, session: Session, *modules: ModuleType) -> None:
        self.session, self.modules = session, modules
        self.address: dict[str, str] = {}
        self.model: Any = None
        self.unlearnt: FitError | None = None  # why there is no model, once that is known
        self.error: Exception | None = None
        self.at = ""  # what was pressed when it went wrong
        self._told = False  # whether that is said beside its cause
        self.notice = ""
        self._photo: PhotoIntake | None = None
        self._undoable: tuple[int, Change | None] = (-1, None)  # as of this change of the archive
        self._learnt_of = ""  # content of the archive that the model is of
        self._learning: tuple[str, int] = ("", 0)  # the content being learnt, and its work

    # What a page asks of its screen

    def press(self, done: Press) -> None:
        """Do what was pressed; what it is not known by is no press of this page."""
        self.error, self.at, self.notice, self._told = None, "", "", False
        self._keep_up()
        if done.do.startswith("photo_"):
            self.photo.press(done)
            return
        name = f"do_{done.do}"
        if hasattr(self, name):
            getattr(self, name)(done)
        elif part := next((part for part in self.modules if hasattr(part, name)), None):
            getattr(part, name)(self, done)

    def wrong(self, error: Exception, done: Press | None) -> None:
        """Keep what went wrong until the next press.

        `error`: in the user's words if it is one of ours.
        """
        self.error, self.at, self._told = error, "" if done is None else done.do, False

    def draw(self) -> str:
        """Return the page."""
        raise NotImplementedError

    # What the screens have in common

    def do_open(self, _: Press) -> None:
        """Begin with the model that was fitted last, fitted anew where the archive changed."""
        self.learn()

    @property
    def photo(self) -> PhotoIntake:
        """Where photographs come in."""
        from workbook.photo_intake import PhotoIntake

        if self._photo is None:
            self._photo = PhotoIntake(self.page, self.use_photo, self.session.archive, self.changed)
        return self._photo

    def use_photo(self, found: Photographed, done: Press) -> None:
        """Take what was read in photographs for what they were opened for."""
        raise NotImplementedError

    def do_undo(self, done: Press) -> None:
        """Take back the last change of cards and names."""
        _, offered = self._undoable
        change = self.undoable
        if change != offered:
            self.notice = "The archive was changed elsewhere meanwhile, and nothing was taken back."
            self.notice += f" Undo now takes back {self.undo_words}." if change else ""
        elif change is not None:
            who = done.fields.get("who", "")
            self.session.archive.undo(change.number, who=who, why="taken back")
            self.changed()
            self.notice = f"Taken back: {_said(change)}."

    def do_stop(self, _: Press) -> None:
        """Stop what is being worked out."""
        self.page.drop()
        self.notice = "Stopped; nothing was changed."

    @property
    def undoable(self) -> Change | None:
        """The last change that can be taken back here."""
        archive = self.session.archive
        if (number := archive.last_change()) != self._undoable[0]:
            self._undoable = number, last_change(archive)
        return self._undoable[1]

    @property
    def undo_words(self) -> str:
        """What an undo would take back."""
        change = self.undoable
        return "" if change is None else _said(change)

    def changed(self) -> None:
        """Note that the archive was changed, and learn from it anew."""
        self.learn()

    def learn(self) -> None:
        """Get the model ready without keeping anybody waiting."""
        of = self.session.archive.content_hash()

        def learnt(model: Any) -> None:
            self._learnt_of = of
            self._learnt(model)

        self.page.later("", self._fitted_model, learnt)
        self._learning = of, self.page.task

    def _keep_up(self) -> None:
        """Learn anew where the archive was changed elsewhere, unless somebody waits for work."""
        if not self._learning[0] or self.page.working:
            return
        of = self.session.archive.content_hash()
        if of != self._learnt_of and (of, self.page.task) != self._learning:
            self.learn()

    def _fitted_model(self, callback: Callback) -> Any:
        try:
            model, self.unlearnt = self.session.fit(callback=callback).model, None
        except FitError as error:  # too few cards yet; the page says so where it needs a model
            model, self.unlearnt = None, error
        return model

    def _learnt(self, model: Any) -> None:
        self.model = model

    @property
    def message(self) -> Raw:
        """What was done last, or what went wrong that has no place of its own on what is drawn."""
        html = f'<p class="wb-said" role="status">{esc(self.notice)}</p>' if self.notice else ""
        if self.page.working:
            html += f'<p class="wb-bar">{button("Stop", "stop", quiet=True)}</p>'
        return Raw(html + problem(None if self._told else self.error))

    def trouble(self, *presses: str) -> Raw:
        """Return what went wrong with one of these presses, to stand beside them."""
        if self.at not in presses:
            return Raw("")
        self._told = True
        return problem(self.error)

    def waiting(self, words: str = "Learning from the cards …") -> Raw:
        """Return what stands where a model is needed and there is none."""
        if self.unlearnt is not None:
            return problem(self.unlearnt)
        return Raw(f'<p class="wb-muted">{esc(words)}</p>')


class PartedScreen(BaseScreen):
    """A screen of which one part is on screen; `parts`: heading and drawing of each, by name."""

    def __init__(
        self,
        session: Session,
        parts: Mapping[str, tuple[str, Callable[..., Any]]],
        *modules: ModuleType,
    ) -> None:
        super().__init__(session, *modules)
        self.parts = parts
        self.chosen: dict[str, str] = {}  # what was chosen in a part's fields

    @property
    def part(self) -> str:
        """Which part is on screen."""
        named = self.address.get("part", "")
        return named if named in self.parts else next(iter(self.parts))

    def do_part(self, done: Press) -> None:
        """Go to a part."""
        self.address = {"part": done.value}

    def do_choose(self, done: Press) -> None:
        """Show what is chosen in a part's fields."""
        self.chosen = {**self.chosen, **done.fields}


def guarded(head: str, make: Callable[[], str]) -> str:
    """Return fields with what follows from them, or with what is wrong in them.

    `head`: HTML of the fields. `make`: gives the HTML that follows.
    """
    try:
        return head + make()
    except MatchlibError as error:
        return head + problem(error)


class _Unopened:
    """Stands in for a screen whose archive is not open: offers to make it, or says why."""

    def __init__(self, make: Callable[[Session], BaseScreen], place: str) -> None:
        self.make, self.place = make, place
        self.page: Any = None
        self.error: Exception | None = None
        self.address: dict[str, str] = {}

    @property
    def missing(self) -> bool:
        """Whether there is no archive where one was named."""
        return bool(self.place) and is_missing(self.place)

    def draw(self) -> str:
        if not self.missing:
            main = problem(self.error) + button("Try again", "open", quiet=True)
            return frame("The archive cannot be opened", main, place="closed")
        main = (
            f"<p>There is no archive of your own at <b>{esc(self.place)}</b> yet. What you sprayed "
            "and read is kept in it; it stays on this machine.</p>"
            f"{problem(self.error)}"
            '<p class="wb-muted">To look round first: <b>workbook demo --open</b> shows an '
            "invented workshop, and touches nothing of yours.</p>"
        )
        return frame(
            "A shop begins", main, place="missing", forward=button("Make it", "make", go=True)
        )

    def press(self, done: Press) -> None:
        """Make the archive, or open it where there is one, and go on with the page."""
        if done.do == "make":
            self.begin(Session.open(self.place, create=True), {})
        elif done.do == "open" and not self.missing:
            self.begin(open_named(self.place), self.address)
        else:
            return
        self.page.screen.press(Press("open"))

    def begin(self, session: Session, address: dict[str, str]) -> None:
        """Give the page its screen."""
        screen = self.make(session)
        screen.page, screen.address, self.page.screen = self.page, address, screen

    def wrong(self, error: Exception, done: Press | None) -> None:
        """Keep what went wrong."""
        self.error = error


def _said(change: Change) -> str:
    to = " to" if change.action == "readings added" else ""
    return f"{change.action}{to} {change.subject}"


def screen_page(make: Callable[[Session], BaseScreen], place: str | Path | None = None) -> Page:
    """Return a page of the archive named, or of the one that the workbook was opened with.

    `make`: takes the session, gives the screen. `place`: file or URL; what ``WORKBOOK_ARCHIVE``
    names if None, else the demonstration. Returned: also when it cannot be opened: it then says
    why.
    """
    first = _Unopened(make, str(place or os.environ.get(ARCHIVE, "")))
    first.page = page = Page(first)
    if not first.missing:
        try:
            first.begin(open_named(first.place), {})
        except MatchlibError as error:
            first.error = error
    return page
