"""Guess, then look: a real panel, a question, an answer in ΔE00 and in words."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.colorimetry import delta_e00
from matchlib.lessons import KINDS, Exercise, Marked, make_exercise, mark
from workbook.controls import ButtonRow, Choice, HtmlView, TextField
from workbook.desk import Desk, Said, Typed, colour_cell, flow
from workbook.figures import esc, number, swatch, swatch_pair, table
from workbook.training.record import keep, load

__all__ = ["ExercisePanel"]

_LATELY = 12


class ExercisePanel:
    """One exercise after another.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.trainee = TextField(label="Trainee", help="For the record; empty keeps none.")
        self.kind = Choice(list(KINDS), texts=list(KINDS.values()), label="Question")
        self.start = ButtonRow([], label="Exercise")
        self.start.buttons = [{"name": "new", "label": "New exercise", "disabled": True}]
        self.asked = HtmlView("<p>Waiting for the model …</p>", label="Panel")
        self.answers = ButtonRow([], label="Answers")
        self.result = HtmlView(live="polite", label="What it was")
        self.said = Said("Exercises: message")
        self.exercise: Exercise | None = None
        self.marked: Marked | None = None
        self._lately: list[str] = []
        self._kept: list[Any] = []
        # What is asked now, as plain data: the same seed asks the same again.
        self._asked: dict[str, Any] = {}
        self.start.on_press(lambda _: self.draw())
        self.answers.on_press(self.answer)
        self.typed = Typed(
            "exercise",
            {"trainee": self.trainee, "kind": self.kind},
            {"asked": (lambda: dict(self._asked), self._ask_again)},
        )
        desk.on_sit(self.typed.sit)
        desk.on_model(self._ready)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox(
            [
                flow(self.trainee, self.kind),
                self.start,
                self.said,
                self.asked,
                self.answers,
                self.result,
            ]
        )

    def on_kept(self, call: Any) -> None:
        """Call when an answer was put on record.

        Parameters
        ----------
        call : callable
            Takes nothing.
        """
        self._kept.append(call)

    def _ready(self, _: Any) -> None:
        self.start.buttons = [{"name": "new", "label": "New exercise", "primary": True}]
        if self.exercise is None:
            self.asked.html = "<p>Press New exercise.</p>"
            self._ask_again(self._asked)

    def _ask_again(self, asked: dict[str, Any]) -> None:
        """Show what was asked, and answered, before the page was opened anew."""
        self._asked = dict(asked)
        if not self._asked or self.desk.model is None:
            return
        choice = self._asked.get("choice")
        self.draw(int(self._asked["seed"]), again=True)
        if choice is not None and self.exercise is not None:
            self._asked["choice"] = int(choice)
            self._mark(self.exercise, int(choice))
            self.typed.changed()

    def draw(self, seed: int | None = None, *, again: bool = False) -> None:
        """Ask about another panel.

        Parameters
        ----------
        seed : int, optional
            Decides which; a new one each time if None.
        again : bool
            Whether to ask what was asked last.
        """
        import secrets

        with self.said.guard():
            kind, without = self.kind.value, list(self._lately)
            if again:
                kind, without = str(self._asked["kind"]), list(self._asked["without"])
            if seed is None:
                seed = secrets.randbits(32)
            panels = self.desk.session.archive.panels()
            found = make_exercise(self.desk.model, panels, kind, seed=seed, without=without)
            self._asked = {"kind": kind, "seed": seed, "without": without}
            self._lately = [*without, found.panel][-_LATELY:]
            self.typed.changed()
            self.exercise, self.marked = found, None
            self.said.tell("")
            self.result.html = ""
            shown = swatch(found.lab, "A panel of this archive", size=170)
            if found.start is not None:
                shown = swatch_pair(found.start, found.lab, names=("The card", "Wanted"))
            self.asked.html = (
                f"<div class='cpw-figures'>{shown}<div><h3>{esc(found.question)}</h3>"
                f"<p>{esc(found.given)}</p><p class='cpw-muted'>The numbers are its reading. "
                "Choose an answer; then it is shown.</p></div></div>"
            )
            self.answers.buttons = [
                {"name": str(i), "label": text} for i, text in enumerate(found.texts)
            ]

    def answer(self, name: str) -> None:
        """Mark a guess and show what it was.

        Parameters
        ----------
        name : str
            Number of the option.
        """
        if self.exercise is None or self.marked is not None:
            return
        with self.said.guard():
            found = self.exercise
            self._mark(found, int(name))
            self._asked["choice"] = int(name)
            self.typed.changed()
            if self.marked is not None and self.trainee.value.strip():
                keep(
                    self.desk.session.archive,
                    self.trainee.value,
                    kind=found.kind,
                    panel=found.panel,
                    passed=self.marked.passed,
                    miss=self.marked.miss,
                    best=self.marked.best,
                )
                for call in self._kept:
                    call()

    def _mark(self, found: Exercise, choice: int) -> None:
        self.marked = mark(found, choice)
        self.answers.buttons = [{**b, "disabled": True} for b in self.answers.buttons]
        self.result.html = _shown(found, self.marked)

    @property
    def attempts(self) -> list[dict[str, Any]]:
        """What is on record for the trainee named."""
        return load(self.desk.session.archive, self.trainee.value)


def _shown(found: Exercise, marked: Marked) -> str:
    away = delta_e00(found.labs, found.lab)
    rows = []
    for i, (text, lab) in enumerate(zip(found.texts, found.labs, strict=True)):
        said = ("nearest" if found.kind == "change" else "on the back") * (i == found.right)
        said += " – your answer" if i == marked.choice else ""
        rows.append([text, colour_cell(lab), number(float(away[i]), 1), said.strip(" –")])
    wanted = "ΔE00 from what is wanted" if found.start else "ΔE00 from the panel"
    heads = ["answer", "what it should read", wanted, ""]
    sign = "cpw-good" if marked.passed else "cpw-bad"
    return (
        f"<p><span class='{sign}'>{esc(marked.words)}</span></p>"
        f"<p>Panel {esc(found.panel)}. Your score: ΔE00 {number(marked.miss, 1)} off.</p>"
        + table(heads, rows, caption="The answers", right=heads[2:3])
    )
