"""The same colour over different grounds, coats rising: by the law, and as sprayed."""

from __future__ import annotations

from collections import Counter
from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.colorimetry import delta_e00
from matchlib.domain import Colour, MixRatio
from matchlib.lessons import Ladder, coat_ladder
from matchlib.overview import Lab, panel_lab
from workbook.controls import CheckList, Choice, HtmlView, Slider
from workbook.desk import Desk, Said, flow
from workbook.figures import esc, ladder, number

__all__ = ["LadderPanel"]

_MOST_SHOWN = 10


class LadderPanel:
    """Ladders one under the other.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        recipes = [p.recipe for p in desk.session.archive.panels()]
        steps = [s for r in recipes if r.schedule is not None for s in r.schedule.steps]
        ratios = [r for r, _ in Counter(s.ratio for s in steps).most_common()]
        self._ratios = {str(r): r for r in ratios} or {"6:1": MixRatio.parse("6:1")}
        self._grounds = {str(g): g for g in desk.session.archive.grounds()}
        colours = [str(c) for c in desk.session.archive.colours()]
        self.colour = Choice(colours, label="Colour")
        self.ratio = Choice(
            list(self._ratios),
            texts=[f"{r}: {r.words}" for r in self._ratios.values()],
            label="Mix ratio",
        )
        self.coats = Slider(label="Up to", min=2, max=10, value=5, unit="coats")
        self.grounds = CheckList(
            options=list(self._grounds), value=list(self._grounds)[:3], label="Grounds"
        )
        self.shown = HtmlView("<p>Waiting for the model …</p>", label="Ladders")
        self.said = Said("Ladders: message")
        for control in (self.colour, self.ratio, self.coats, self.grounds):
            control.observe(self.redraw, "value")
        desk.on_model(self.redraw)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox(
            [
                flow(self.colour, self.ratio, self.coats, least=250),
                self.grounds,
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
            panels = self.desk.session.archive.panels()
            parts = []
            for name in self.grounds.value:
                found = coat_ladder(
                    model,
                    panels,
                    ground=self._grounds[name],
                    colour=Colour.parse(self.colour.value),
                    ratio=self._ratios[self.ratio.value],
                    most=int(self.coats.value),
                )
                parts.append(_by_law(found))
                parts.append(_as_sprayed(panels, found))
            if parts:
                parts.append(
                    '<p class="cpw-muted">2@6:1 is short for 2 coats of 6 parts carrier to 1 part '
                    "colour.</p>"
                )
            self.shown.html = "".join(parts) or "<p>Choose at least one ground.</p>"


def _by_law(found: Ladder) -> str:
    return ladder(
        [r.lab for r in found.rungs],
        ["bare" if not r.coats else f"{r.coats} coat{'s' * (r.coats != 1)}" for r in found.rungs],
        title=f"{found.colour} over {found.ground} at {found.ratio}, as predicted",
        notes=[f"±{number(r.spread)} ΔE00" for r in found.rungs],
    )


def _as_sprayed(panels: Any, found: Ladder) -> str:
    """Every panel of this colour and ground, weakest first; how near the ladder they are."""
    rows: list[tuple[float, str, str, Lab]] = []
    for panel in panels:
        recipe = panel.recipe
        lab = panel_lab(panel, found.viewing)
        if lab is None or recipe.ground != found.ground or recipe.schedule is None:
            continue
        if recipe.colour == found.colour:
            rows.append((recipe.schedule.strength, str(recipe.schedule), panel.code, lab))
    rows.sort()
    if not rows:
        return (
            f"<p>No panel of {esc(found.colour)} over {esc(found.ground)} was ever sprayed: "
            "the ladder above is a prediction alone.</p>"
        )
    near = [
        f"{code} ({r.coats} coats): ΔE00 {number(float(delta_e00(r.lab, lab)), 2)}"
        for r in found.rungs
        for code, lab in r.panels
        if r.coats
    ]
    drawn = ladder(
        [row[3] for row in rows[:_MOST_SHOWN]],
        [row[1] for row in rows[:_MOST_SHOWN]],
        title=f"{found.colour} over {found.ground}, as sprayed and read, weakest first",
        notes=[row[2] for row in rows[:_MOST_SHOWN]],
    )
    words = f"Panels of this ladder, against the prediction: {'; '.join(near)}." if near else ""
    if not near:
        words = f"None of them is at {found.ratio} throughout, so none can be compared."
    return f"{drawn}<p>{esc(words)}</p>"
