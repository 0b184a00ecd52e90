"""The library's screen: its parts, and what is pressed in them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets

from matchlib.errors import ArchiveError
from workbook.library import back, begin, intake, look
from workbook.page import frame
from workbook.page.fields import button
from workbook.screen import BaseScreen, screen_page

if TYPE_CHECKING:
    from workbook.page import Press
    from workbook.session import Session
    from workbook.session.photos import Photographed

__all__ = ["LibraryScreen", "library_page"]

_PARTS: dict[str, Callable[[LibraryScreen], str]] = {
    "cards": look.draw,
    "show": look.draw,
    "back": back.draw,
    "file": intake.draw,
    "begin": begin.draw,
}


class LibraryScreen(BaseScreen):
    """The cards of one archive."""

    def __init__(self, session: Session) -> None:
        super().__init__(session, look, back, intake, begin)
        self.shown = look.PAGE
        self.begun: Any = None  # the job begun last here
        self.entry = back.CardForm()
        self.take = intake.Take()
        self.photo_for = ""  # which reading the open photograph is for
        self.at_card = ""  # which reading went wrong

    @property
    def part(self) -> str:
        """Which part of the library is on screen."""
        named = self.address.get("part", "")
        if named in _PARTS:
            return named
        young = not self.session.archive.colours()  # bare grounds at most
        return "begin" if young else "cards"

    def draw(self) -> str:
        """Return the part that is on screen."""
        try:
            return _PARTS[self.part](self)
        except ArchiveError as error:  # another tablet gave the card another code
            self.go()
            self.error, self.at = error, ""
            return look.draw(self)

    def go(self, part: str = "cards", **address: str) -> None:
        """Go to a part.

        `**address`: what else stands in the address.
        """
        kept = {k: v for k, v in self.address.items() if k in look.ARRANGED}
        self.address = {**kept, "part": part, **address}
        self.photo_for = ""

    def do_part(self, done: Press) -> None:
        """Go to another part of the library."""
        self.go(done.value)
        self.entry, self.take = back.CardForm(), intake.Take()

    def do_photo(self, done: Press) -> None:
        """Open a photograph, or close it."""
        self.photo_for = "" if self.photo_for == done.value else done.value

    def use_photo(self, found: Photographed, done: Press) -> None:
        """Take what was read from photographs for the card that they were opened for."""
        if self.photo_for == "back":
            back.take_photo(self, found)
        else:
            begin.keep_photo(self, self.photo_for, found, done)
        self.photo_for = ""

    def framed(self, title: str, main: str, **more: Any) -> str:
        """Return a part's page."""
        more.setdefault("place", f"library {self.part}")
        more.setdefault("undo", self.undo_words)
        if self.part != "cards" and len(self.session.archive):
            more.setdefault("forward", button("Back to the cards", "part", "cards"))
        return frame(title, f"{self.message}{main}", **more)


def library_page(archive: str | Path | None = None) -> widgets.Widget:
    """Return the page of the library, as `workbook.session.opening.open_named` takes it."""
    return screen_page(LibraryScreen, archive).view
