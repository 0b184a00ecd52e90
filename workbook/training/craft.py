"""What needs no law: the ratio drill, the first day, the reading protocol, troubles and words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.domain import Colour, MixRatio
from matchlib.lessons import Drill, first_day, make_drill
from matchlib.overview import rereading
from workbook.controls import ButtonRow, HtmlView, TextField
from workbook.desk import Desk, Said, flow
from workbook.figures import esc, glossary_list, linked, protocol_list, table, trouble_list

__all__ = ["DrillPanel", "FirstDayPanel", "Shown", "protocol", "troubles", "words"]


@dataclass(frozen=True)
class Shown:
    """A panel with nothing to press.

    Parameters
    ----------
    view : Widget
        What is shown.
    """

    view: widgets.Widget


class DrillPanel:
    """One question about a ratio after another.

    Parameters
    ----------
    desk : Desk
        The archive; it is not asked.
    """

    def __init__(self, desk: Desk) -> None:
        self.start = ButtonRow(
            [{"name": "new", "label": "Next question", "primary": True}], label="Ratio drill"
        )
        self.asked = HtmlView(live="polite", label="Question")
        self.answers = ButtonRow([], label="Choices")
        self.result = HtmlView(live="polite", label="The sum")
        self.said = Said("Drill: message")
        self.drill: Drill | None = None
        self.right = self.done = 0
        self.start.on_press(lambda _: self.draw())
        self.answers.on_press(self.answer)
        self.draw(1)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([self.asked, self.answers, self.result, self.start, self.said])

    def draw(self, seed: int | None = None) -> None:
        """Ask another question.

        Parameters
        ----------
        seed : int, optional
            Decides which; a new one each time if None.
        """
        import secrets

        self.drill = make_drill(secrets.randbits(32) if seed is None else seed)
        self.asked.html = f"<p><strong>{esc(self.drill.question)}</strong></p>"
        self.answers.buttons = [
            {"name": str(i), "label": text} for i, text in enumerate(self.drill.texts)
        ]
        self.result.html = ""

    def answer(self, name: str) -> None:
        """Mark an answer and show the sum.

        Parameters
        ----------
        name : str
            Number of the option.
        """
        if self.drill is None or self.result.html:
            return
        with self.said.guard():
            passed, words = self.drill.mark(int(name))
            self.done += 1
            self.right += passed
            self.answers.buttons = [{**b, "disabled": True} for b in self.answers.buttons]
            sign = "cpw-good" if passed else "cpw-bad"
            self.result.html = (
                f"<p><span class='{sign}'>{esc(words)}</span></p>"
                f"<p>{self.right} of {self.done} right.</p>"
            )


class FirstDayPanel:
    """The let-down set of one colour, card by card.

    Parameters
    ----------
    desk : Desk
        The archive; bare grounds suffice.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        colours = [str(c) for c in desk.session.archive.colours()]
        self.colour = TextField(
            label="Colour", value=colours[0] if colours else "", help="Its name."
        )
        self.ratio = TextField(
            label="Mix ratio of most cards", value="6:1", help="carrier : colour"
        )
        self.shown = HtmlView(live="polite", label="First day")
        self.said = Said("First day: message")
        for control in (self.colour, self.ratio):
            control.observe(self.redraw, "value")
        self.redraw()

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([flow(self.colour, self.ratio), self.said, self.shown])

    def redraw(self, _: Any = None) -> None:
        """Plan the day."""
        if not self.colour.value.strip():
            self.shown.html = "<p>Type the name of the colour to learn.</p>"
            return
        self.said.tell("")
        with self.said.guard():
            cards = first_day(
                self.desk.session.archive.panels(),
                Colour.parse(self.colour.value),
                ratio=MixRatio.parse(self.ratio.value),
            )
            seen: set[str] = set()
            rows = [
                [
                    str(i),
                    str(card.recipe),
                    linked(card.teaches, seen),
                    linked(card.how, seen),
                    f"done: {', '.join(card.done)}" if card.done else "to spray",
                ]
                for i, card in enumerate(cards, 1)
            ]
            heads = ["", "card", "what it teaches", "while spraying it", ""]
            self.shown.html = (
                "<p>Spray in this order, read each card by the protocol below, lay them out from "
                "weak to full, and say what the next will look like before it is dry.</p>"
                + table(heads, rows, caption=f"A let-down set of {self.colour.value}")
            )


def protocol(desk: Desk) -> Shown:
    """Return how a card is read, and how many readings are enough in this archive."""
    found = rereading(desk.session.archive.panels())
    enough = (
        "No card of this archive was read more than once, so its own spread is not known: read "
        "three places of each."
        if found is None
        else found.words()
    )
    source = "ASTM E1345's form, n ≥ (z s / e)², from memory."
    html = (
        f"{protocol_list()}<p><strong>How many readings are enough.</strong> {esc(enough)} "
        f'<span class="cpw-muted">{esc(source)}</span></p>'
    )
    return Shown(HtmlView(html, label="Reading a card"))


def troubles(_: Desk) -> Shown:
    """Return the spraying troubles, each folded."""
    return Shown(HtmlView(trouble_list(), label="When it goes wrong"))


def words(_: Desk) -> Shown:
    """Return the glossary, to which words on the page are linked."""
    return Shown(HtmlView(glossary_list(), label="Words of the trade"))
