"""The trainee's panels on one desk."""

from __future__ import annotations

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.desk import Desk, Pages
from workbook.training.craft import DrillPanel, FirstDayPanel, protocol, troubles, words
from workbook.training.exercises import ExercisePanel
from workbook.training.fades import FadePanel
from workbook.training.ladders import LadderPanel
from workbook.training.lessons import LessonPanel
from workbook.training.record import RecordPanel

__all__ = ["Training", "open_training"]


class Training(Pages):
    """The panels of one archive for a trainee."""

    def ladders(self) -> widgets.Widget:
        """Return the same colour over different grounds, coats rising."""
        return self.page("ladders", LadderPanel)

    def exercises(self) -> widgets.Widget:
        """Return guess-then-look exercises."""
        return self.page("exercises", ExercisePanel)

    def drill(self) -> widgets.Widget:
        """Return what a ratio is, asked in both directions."""
        return self.page("drill", DrillPanel)

    def first_day(self) -> widgets.Widget:
        """Return the let-down set of one colour, card by card."""
        return self.page("first day", FirstDayPanel)

    def reading(self) -> widgets.Widget:
        """Return how a card is read."""
        return self.page("reading", protocol)

    def fades(self) -> widgets.Widget:
        """Return what blending in and fading show."""
        return self.page("fades", FadePanel)

    def troubles(self) -> widgets.Widget:
        """Return what to check when spraying goes wrong."""
        return self.page("troubles", troubles)

    def words(self) -> widgets.Widget:
        """Return the words of the trade."""
        return self.page("words", words)

    def record(self) -> widgets.Widget:
        """Return what the trainee has done so far."""
        self.exercises()

        def make(desk: Desk) -> RecordPanel:
            return RecordPanel(desk, self.panels["exercises"])

        return self.page("record", make)

    def lessons(self) -> widgets.Widget:
        """Return lessons with their evidence."""
        return self.page("lessons", LessonPanel)


def open_training(place: str | None = None) -> Training:
    """Open the archive for training.

    Parameters
    ----------
    place : str, optional
        File or URL; what ``WORKBOOK_ARCHIVE`` names if None, else the demonstration.

    Returns
    -------
    Training
        Also when it cannot be opened: its first panel then says why.
    """
    return Training.open(place)
