"""Long work as a part of a panel: its bar, its words, and a button to begin it again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.controls import Button, Progress
from workbook.desk.said import Said
from workbook.desk.task import Task

__all__ = ["LongWork"]


class LongWork(Task):
    """One long piece of work at a time, which shows itself.

    Parameters
    ----------
    label : str
        What the bar is for.
    again : str
        What a button says that begins the same work once more, after it was stopped or went wrong;
        empty for none, where another button does that.
    """

    def __init__(self, label: str, *, again: str = "") -> None:
        super().__init__(Progress(label=label), self._went_wrong, stopped=self._offer)
        self.said = Said(f"{label}: message")
        self.again = Button(again or "Begin again", primary=True)
        self.again.layout.display = "none"
        self.again.on_press(lambda _: self._once_more())
        self._offers_again = bool(again)
        self._begun: tuple[str, Callable[[], Any], Callable[[Any], object]] | None = None

    def start(
        self, text: str, work: Callable[[], Any], then: Callable[[Any], object] = lambda _: None
    ) -> None:
        """Begin; whatever was running before is dropped, and what was said of it.

        Parameters
        ----------
        text, work, then
            As for `Task.start`.
        """
        self.said.tell("")
        self.again.layout.display = "none"
        self._begun = (text, work, then)
        super().start(text, work, then)

    def ask(self, text: str, work: Callable[[], Any], then: Callable[[Any], object]) -> bool:
        """Begin as `start` does, unless it is at work already: a second press changes nothing.

        Parameters
        ----------
        text, work, then
            As for `start`.

        Returns
        -------
        bool
            Whether it was begun.
        """
        if self.busy:
            self.said.tell("Still at work; wait, or press Cancel.")
            return False
        self.start(text, work, then)
        return True

    @property
    def view(self) -> widgets.Widget:
        """Bar and words, to be put into a panel."""
        return widgets.VBox([self.bar, self.said, self.again])

    def _went_wrong(self, error: BaseException) -> None:
        self.said.complain(error)
        self._offer()

    def _offer(self) -> None:
        if self._offers_again:
            self.again.layout.display = None

    def _once_more(self) -> None:
        if self._begun is not None:
            self.start(*self._begun)
