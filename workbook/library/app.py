"""The library's screen: its rooms, and what is pressed in them."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.errors import MatchlibError
from workbook.library import back, begin, intake, look
from workbook.page import frame
from workbook.page.fields import button
from workbook.room import Room, room_page
from workbook.session.library import match_card
from workbook.session.photos_kept import keep_picture

if TYPE_CHECKING:
    from workbook.page import Page, Press
    from workbook.session import Session
    from workbook.session.photos import Photographed

__all__ = ["LibraryRoom", "library_page"]

_ROOMS = {"back": back, "file": intake, "begin": begin}


class LibraryRoom(Room):
    """The cards of one archive."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self.shown = look.PAGE
        self.begun: Any = None  # the job begun last here
        self.entry = back.Entry()
        self.take = intake.Take()
        self.photo: Any = None
        self.photo_for = ""  # which reading the open photograph is for
        self.at_card = ""  # which reading went wrong

    @property
    def room(self) -> str:
        """Which part of the library is on screen."""
        named = self.address.get("room", "")
        if named in _ROOMS or named in ("cards", "show"):
            return named
        young = not self.session.archive.colours()  # bare grounds at most
        return "begin" if young else "cards"

    def draw(self) -> str:
        """Return the room that is on screen."""
        self._show_photo()
        part = _ROOMS.get(self.room)
        return look.draw(self) if part is None else part.draw(self)

    def go(self, room: str = "cards", **address: str) -> None:
        """Go to a room.

        `**address`: what else stands in the address.
        """
        kept = {k: v for k, v in self.address.items() if k in look.ARRANGED}
        self.address = {**kept, "room": room, **address}
        self.photo_for = ""

    # Presses: the cards

    def do_card(self, done: Press) -> None:
        """Look at a card, or no longer at it."""
        chosen = "" if self.address.get("card") == done.value else done.value
        self.address = {**self.address, "card": chosen}
        self.begun = None

    def do_arrange(self, done: Press) -> None:
        """Show other cards, or in another order."""
        look.arrange(self, done)
        self.shown = look.PAGE

    def do_more(self, _: Press) -> None:
        """Show more cards."""
        self.shown += look.PAGE

    def do_room(self, done: Press) -> None:
        """Go to another part of the library."""
        self.go(done.value)
        self.entry, self.take = back.Entry(), intake.Take()

    def do_match(self, done: Press) -> None:
        """Begin a job with this card as its target."""
        self.begun = match_card(self.session.archive, done.value)

    def do_amend(self, done: Press) -> None:
        """Write another back for a card."""
        self.entry = back.Entry()
        self.go("back", card=done.value)

    def do_label(self, done: Press) -> None:
        """Hand over a card's label."""
        with tempfile.TemporaryDirectory() as folder:
            file = self.session.labels(
                [done.value],
                Path(folder) / "label.pdf",
                sheet=done.fields.get("paper", "A4"),
                first=int(done.fields.get("first") or 1),
                cut_lines=True,
            )
            if self.page is not None:
                self.page.offer(f"label {done.value}.pdf", file.read_bytes())
        self.said = f"The label of {done.value} was handed to the browser; print it at full size."

    # Presses: backs, files, the beginning

    def do_typed(self, done: Press) -> None:
        """Say a back again as it is typed."""
        self.entry.read(self, done)

    def do_keep(self, done: Press) -> None:
        """Keep a back as it is typed."""
        self.entry.keep(self, done)

    def do_turn(self, done: Press) -> None:
        """Turn a ratio round, as was asked."""
        self.entry.turn(self, done)

    def do_reading(self, done: Press) -> None:
        """Take readings from a file that an instrument wrote."""
        self.entry.take_file(self, done)

    def do_takeout(self, done: Press) -> None:
        """Take a reading out of a card, or a card out of the library."""
        back.take_out(self, done)

    def do_photo(self, done: Press) -> None:
        """Open a photograph, or close it."""
        self.photo_for = "" if self.photo_for == done.value else done.value

    def do_file(self, done: Press) -> None:
        """Look at a file of cards."""
        self.take.look(self, done)

    def do_answer(self, done: Press) -> None:
        """Look at the file again with the answers given."""
        self.take.answer(self, done)

    def do_import(self, done: Press) -> None:
        """Take the file's cards in."""
        self.take.take(self, done)

    def do_ground(self, done: Press) -> None:
        """Name a ground."""
        begin.name_ground(self, done)

    def do_bare(self, done: Press) -> None:
        """Keep the reading of a bare card, or of one of the first cards."""
        begin.keep_reading(self, done)

    def do_bare_file(self, done: Press) -> None:
        """Take the reading of a card from a file."""
        begin.keep_file(self, done)

    def do_colour(self, done: Press) -> None:
        """Name a colour."""
        begin.name_colour(self, done)

    def do_step(self, done: Press) -> None:
        """Go to a step of the beginning."""
        self.go("begin", step=done.value)

    def do_for(self, done: Press) -> None:
        """Ask for the file of a reading."""
        self.address = {**self.address, "for": done.value}

    def do_read(self, done: Press) -> None:
        """Ask for the reading of one of the first cards."""
        self.address = {**self.address, "read": done.value}

    def do_instrument(self, done: Press) -> None:
        """Note how the shop's instrument reads."""
        begin.note_instrument(self, done)

    # Photographs: a widget of its own, shown where the page has a place for it

    def _show_photo(self) -> None:
        if self.photo is not None:
            self.photo.box.layout.display = None if self.photo_for else "none"

    def use_photo(self, found: list[Photographed]) -> None:
        """Take what was read from photographs for the card that they were opened for."""
        wanted, self.photo_for = self.photo_for, ""
        (first, *_) = found
        try:
            if wanted == "back":
                self.entry.take_photo(first)
            elif first.reading is not None:
                begin.keep_photo(self, wanted, first)
        except MatchlibError as error:
            self.wrong(error, None)
        self.photo.clear()
        if self.page is not None:
            self.page.redraw()

    def keep_picture(self, code: str, picture: bytes) -> None:
        """Keep a small picture with a card.

        `picture`: JPEG; nothing is kept of nothing.
        """
        if picture:
            keep_picture(self.session.archive, code, picture)

    def framed(self, title: str, main: str, **more: Any) -> str:
        """Return a room's page."""
        more.setdefault("place", f"library {self.room}")
        more.setdefault("undo", self.undo_words)
        if self.room != "cards" and len(self.session.archive):
            more.setdefault("forward", button("Back to the cards", "room", "cards"))
        return frame(title, f"{self.message}{main}", **more)


def library_page(archive: str | Path | None = None) -> Any:
    """Return the page."""
    import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

    from workbook.photo_intake import PhotoIntake

    photo = PhotoIntake()
    photo.box.add_class("wb-guest-photo")
    photo.box.layout.display = "none"

    def make(session: Session) -> LibraryRoom:
        room = LibraryRoom(session)
        room.photo = photo
        photo.on_use(room.use_photo)
        return room

    page: Page = room_page(make, archive)
    return widgets.VBox([page, photo.box], layout=widgets.Layout(overflow="visible"))
