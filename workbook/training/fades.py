"""What more or fewer coats show beside a finish, and one colour led into another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.repair import Zone, blend_in, fade
from workbook.controls import Choice, HtmlView, Slider, TextField
from workbook.desk import Desk, Said, flow
from workbook.figures import ladder, linked, number
from workbook.session import recipe_of

__all__ = ["FadePanel"]

_NONE = "the bare ground"


class FadePanel:
    """Strips from one end to the other.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        colours = [str(c) for c in desk.session.archive.colours() if c.neat]
        grounds = [str(g) for g in desk.session.archive.grounds() if g.neat]
        self.ground = Choice(grounds, label="Ground under both ends")
        self.one = Choice(colours, label="From")
        self.one_coats = TextField(label="Its coats", value="4@6:1")
        self.two = Choice([_NONE, *colours], label="To")
        self.two_coats = TextField(label="Coats of that end", value="3@6:1")
        self.strips = Slider(label="Strips", min=3, max=12, value=5)
        self.shown = HtmlView("<p>Waiting for the model …</p>", live="polite", label="Fade")
        self.said = Said("Fade: message")
        for control in (
            self.ground,
            self.one,
            self.one_coats,
            self.two,
            self.two_coats,
            self.strips,
        ):
            control.observe(self.redraw, "value")
        desk.on_model(self.redraw)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox(
            [
                flow(self.ground, self.one, self.one_coats),
                flow(self.two, self.two_coats, self.strips),
                self.said,
                self.shown,
            ]
        )

    def redraw(self, _: Any = None) -> None:
        """Work out and draw."""
        model = self.desk.model
        if model is None:
            return
        self.said.tell("")
        with self.said.guard():
            one = recipe_of(
                ground=self.ground.value,
                colour=self.one.value,
                schedule=self.one_coats.value,
                clear="yes",
            )
            if self.two.value == _NONE:
                found = blend_in(model, one)
                title = f"{one}: more and fewer coats beside it"
            else:
                two = recipe_of(
                    ground=self.ground.value,
                    colour=self.two.value,
                    schedule=self.two_coats.value,
                    clear="yes",
                )
                found = fade(model, one, two, zones=int(self.strips.value))
                title = f"{self.one.value} led into {self.two.value} over {self.ground.value}"
            self.shown.html = _drawn(found, title)


def _drawn(zones: Sequence[Zone], title: str) -> str:
    notes = [
        "" if not i else f"step ΔE00 {number(z.step)}{', shows' if z.shows else ''}"
        for i, z in enumerate(zones)
    ]
    names = [str(z.recipe.schedule or "bare") for z in zones]
    words = linked(
        "An edge whose step shows is led out longer: a hand's width and more, the gun moving away "
        "before the trigger is let go; weaker coats make smaller steps (common practice, no "
        "source). What each strip reads is predicted; where layers of two colours were never "
        "sprayed, spray a card first."
    )
    return f"{ladder([z.lab for z in zones], names, title=title, notes=notes)}<p>{words}</p>"
