"""The trainee's screen: its contents in a beginner's order, one part of them on screen."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Any

from workbook.page import frame, steps_list
from workbook.room import Room, room_page
from workbook.session.record import load_attempts
from workbook.training import guess, reading, teach, value

if TYPE_CHECKING:
    from workbook.page import Page, Press
    from workbook.session import Session

__all__ = ["TrainingRoom", "training_page"]

_PARTS = {
    "value": ("Ground value", value.draw),
    "ratio": ("What a ratio is", guess.draw_drill),
    "day": ("A first day", teach.draw_day),
    "reading": ("Reading a card", reading.draw_protocol),
    "guess": ("Guess, then look", guess.draw),
    "lessons": ("Lessons", teach.draw_lesson),
    "fades": ("Blending in and fading", teach.draw_fade),
    "troubles": ("When it goes wrong", reading.draw_troubles),
    "words": ("Words of the trade", reading.draw_words),
}


class TrainingRoom(Room):
    """One archive as a trainee sees it."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self.chosen: dict[str, str] = {}  # what was chosen in a part's fields
        self.drill_right = self.drill_done = 0
        self.drill_choice: int | None = None
        self.lessons: dict[str, Any] = {}  # what was worked out, by key

    @property
    def part(self) -> str:
        """Which part is on screen."""
        named = self.address.get("part", "")
        return named if named in _PARTS else "value"

    @property
    def trainee(self) -> str:
        """Who is learning; what they answered is kept by this name."""
        return self.chosen.get("trainee", "").strip()

    def draw(self) -> str:
        """Return the part that is on screen."""
        contents = [(k, words, str(i)) for i, (k, (words, _)) in enumerate(_PARTS.items(), 1)]
        title, main, forward = _PARTS[self.part][1](self)
        done = load_attempts(self.session.archive, self.trainee)
        right = sum(bool(a.get("passed")) for a in done)
        who = f"<p class='wb-muted'>{len(done)} answers, {right} right</p>" if done else ""
        return frame(
            title,
            f"{self.message}{main}",
            place=f"training {self.part}",
            rail=steps_list(contents, self.part, do="part") + who,
            forward=forward,
        )

    def do_part(self, done: Press) -> None:
        """Go to a part."""
        self.address = {"part": done.value}
        self.drill_choice = None
        if done.value == "lessons":
            teach.work_lesson(self)

    def do_word(self, done: Press) -> None:
        """Look a word up."""
        self.address = {"part": "words", "word": done.value}

    def do_choose(self, done: Press) -> None:
        """Show what is chosen in a part's fields."""
        self.chosen = {**self.chosen, **done.fields}
        if self.part == "lessons":
            teach.work_lesson(self)

    def do_upto(self, done: Press) -> None:
        """Redraw as the slider of coats moves."""
        self.do_choose(done)

    def do_strips(self, done: Press) -> None:
        """Redraw as the slider of strips moves."""
        self.do_choose(done)

    def do_another(self, done: Press) -> None:
        """Look at the next colour."""
        value.turn(self)

    def do_drill(self, done: Press) -> None:
        """Answer a question about a ratio."""
        guess.answer_drill(self, done)

    def do_next_drill(self, _: Press) -> None:
        """Ask another question about a ratio."""
        self.drill_choice = None
        self.address = {**self.address, "drill": str(secrets.randbits(31))}

    def do_new(self, done: Press) -> None:
        """Ask about another card."""
        self.do_choose(done)
        guess.ask(self)

    def do_guess(self, done: Press) -> None:
        """Answer what was asked about a card."""
        self.do_choose(done)
        guess.answer(self, done)

    def do_to_guess(self, _: Press) -> None:
        """Go from the chart to guessing."""
        self.address = {"part": "guess"}
        guess.ask(self)


def training_page(archive: str | Path | None = None) -> Page:
    """Return the page."""
    return room_page(TrainingRoom, archive)
