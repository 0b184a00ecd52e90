"""Why a prediction is what it is, and as sure as it is."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.controls import Choice, HtmlView, Slider, TextField
from workbook.desk import Desk, Said, colour_cell, flow, offer
from workbook.figures import bars, esc, number, swatch, table

__all__ = ["WhyPanel"]

_SHARES = {
    "panels": "what more panels would teach",
    "spray": "the spread of spraying",
    "reading": "the reading",
}


class WhyPanel:
    """What each change would do, what is near, where the doubt comes from.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.ground = Choice(label="Ground")
        self.colour = Choice(label="Colour")
        self._names()
        self.ratio = TextField(label="Mix ratio", value="6:1", help="Carrier first.")
        self.coats = Slider(label="Coats", min=1, max=10, value=3, unit="coats")
        self.shown = HtmlView("<p>Waiting for the model …</p>", label="Why it says so")
        self.said = Said("Why: message")
        for control in (self.ground, self.colour, self.ratio, self.coats):
            control.observe(self.redraw, "value")
        desk.on_change(self._names)
        desk.on_model(self.redraw)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox(
            [flow(self.ground, self.colour, self.ratio, self.coats), self.said, self.shown]
        )

    def _names(self) -> None:
        archive = self.desk.session.archive
        offer(self.ground, [str(g) for g in archive.grounds()])
        offer(self.colour, [str(c) for c in archive.colours()])

    def redraw(self, _: Any = None) -> None:
        """Work out and draw."""
        from matchlib.explain import explain
        from workbook.session import recipe_of

        model = self.desk.model
        if model is None:
            return
        self.said.tell("")
        with self.said.guard():
            recipe = recipe_of(
                ground=self.ground.value,
                colour=self.colour.value,
                ratio=self.ratio.value,
                coats=int(self.coats.value),
                clear="yes",
            )
            found = explain(model, recipe, archive=self.desk.session.archive.panels())
            drawn = bars(
                list(_SHARES.values()),
                [100 * found.shares[k] for k in _SHARES],
                title="Where the uncertainty comes from",
                most=100,
            )
            heads = ["change", "it would read", "ΔL*", "ΔC*", "Δh", "ΔE00"]
            rows = [
                [
                    c.name,
                    colour_cell(c.lab),
                    number(c.lightness),
                    number(c.chroma),
                    f"{number(c.hue)}°",
                    number(c.delta_e00),
                ]
                for c in found.changes
            ]
            changes = table(heads, rows, caption="What one change would do", right=heads[2:])
            heads = ["panel", "recipe", "as read", "away, ΔE00", "law misses it by, ΔE00"]
            near = [
                [p.code, str(p.recipe), colour_cell(p.lab), number(p.away), number(p.miss)]
                for p in found.near
            ]
            panels = table(heads, near, caption="The nearest panels", right=heads[3:])
            self.shown.html = (
                f"<p><strong>{esc(recipe.words)}.</strong> {esc(found.words)}</p>"
                f"<div class='cpw-figures'>{swatch(found.lab, 'Prediction', size=120)}{drawn}</div>"
                f"{changes}{panels}"
            )
