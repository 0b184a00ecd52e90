"""The trainee's screen: its contents in a beginner's order, one part of them on screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from workbook.page import frame, steps_list
from workbook.page.fields import field
from workbook.screen import PartedScreen, screen_page
from workbook.session.record import load_attempts
from workbook.training import guess, reading, teach, value

if TYPE_CHECKING:
    from workbook.page import Page, Press
    from workbook.session import Session

__all__ = ["TrainingScreen", "training_page"]

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


class TrainingScreen(PartedScreen):
    """One archive as a trainee sees it."""

    def __init__(self, session: Session) -> None:
        super().__init__(session, _PARTS, guess, reading, teach, value)
        self.drill_right = self.drill_done = 0
        self.drill_choice: int | None = None
        self.lessons: dict[str, Any] = {}  # what was worked out, by key

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
        who = f"<p class='wb-muted'>{right} of {len(done)} right</p>" if done else ""
        if self.part == "guess":
            who = field("Trainee", "trainee", self.trainee, help="empty keeps no record") + who
        return frame(
            title,
            f"{self.message}{main}",
            place=f"training {self.part}",
            rail=steps_list(contents, self.part, do="part") + who,
            forward=forward,
        )

    def do_part(self, done: Press) -> None:
        """Go to a part."""
        super().do_part(done)
        self.drill_choice = None
        self._work_lesson()

    def _learnt(self, model: Any) -> None:
        super()._learnt(model)
        self.lessons = {}  # they are of the cards as they were
        self._work_lesson()

    def _work_lesson(self) -> None:
        """Work out the lesson that is on screen."""
        if self.part == "lessons":
            teach.work_lesson(self)

    def do_choose(self, done: Press) -> None:
        """Show what is chosen in a part's fields."""
        super().do_choose(done)
        self._work_lesson()

    do_upto = do_strips = do_choose  # as the sliders move


def training_page(archive: str | Path | None = None) -> Page:
    """Return the page."""
    return screen_page(TrainingScreen, archive)
