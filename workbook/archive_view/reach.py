"""The colours within reach of the shelf, as a*–b* and lightness–chroma views, with the panels."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.overview import reach
from workbook.controls import Choice, HtmlView
from workbook.desk import Desk, Said, colour_cell, flow, offer
from workbook.figures import Mark, lab_chart, number, table

__all__ = ["ReachPanel"]

_ALL_COLOURS, _ALL_GROUNDS = "every neat colour", "every neat ground"


class ReachPanel:
    """Where the law says this shelf can go.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.colour = Choice([_ALL_COLOURS], label="Colour")
        self.ground = Choice([_ALL_GROUNDS], label="Ground")
        self._names()
        self.shown = HtmlView("<p>Waiting for the model …</p>", label="Colours within reach")
        self.said = Said("Reach: message")
        for control in (self.colour, self.ground):
            control.observe(self.redraw, "value")
        desk.on_change(self._names)
        desk.on_model(self.redraw)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([flow(self.colour, self.ground), self.shown, self.said])

    def _names(self) -> None:
        archive = self.desk.session.archive
        offer(self.colour, [_ALL_COLOURS, *(str(c) for c in archive.colours() if c.neat)])
        offer(self.ground, [_ALL_GROUNDS, *(str(g) for g in archive.grounds() if g.neat)])

    def redraw(self, _: Any = None) -> None:
        """Work out and draw."""
        model = self.desk.model
        if model is None:
            return
        with self.said.guard():
            found = reach(
                model,
                self.desk.session.archive.panels(),
                grounds=() if self.ground.value == _ALL_GROUNDS else (self.ground.value,),
                colours=() if self.colour.value == _ALL_COLOURS else (self.colour.value,),
            )
            # Bare grounds lie in a heap near the axis: they are named in the table, not there.
            marks = [Mark(lab, "bare ground" if r.bare else "panel") for _, r, lab in found.panels]
            chart = lab_chart(
                marks,
                reachable=found.lab,
                order=["bare ground", "panel"],
                title=f"{self.colour.value} over {self.ground.value}: within reach and sprayed",
                size=380,
            )
            rows = [
                [name, count, *(number(v) for v in ends)] for name, count, *ends in found.extent
            ]
            heads = ["colour", "recipes", "L* from", "L* to", "C* from", "C* to"]
            extent = table(heads, rows, caption="How far each colour goes", right=heads[1:])
            words = (
                "<p class='cpw-muted'>Dashed: round all recipes of a neat colour over a neat "
                "ground, 2:1 to 10:1, 1 to 6 coats, by the law. Inside the outline not every "
                "colour is within reach.</p>"
            )
            bare = {str(r.ground): (code, lab) for code, r, lab in found.panels if r.bare}
            heads = ["bare ground", "panel", "as read"]
            rows = [[name, code, colour_cell(lab)] for name, (code, lab) in bare.items()]
            below = table(heads, rows, caption="Bare grounds, a panel of each")
            self.shown.html = f"{chart}{words}<div class='cpw-figures'>{extent}{below}</div>"
