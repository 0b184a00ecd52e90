"""How well panels repeat: by panel, sprayer, lot and reading, with intervals."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.overview import misses, spreads
from matchlib.stepping import part_of
from workbook.controls import Button, HtmlView
from workbook.desk import Desk, LongWork
from workbook.figures import esc, number, table

__all__ = ["RepeatsPanel"]


_PARTS = {
    "panel film": "film, from panel to panel",
    "panel rest": "what else differs from panel to panel",
    "law": "what the law leaves of a recipe; no part of repeatability",
}


class RepeatsPanel:
    """Components of the spread, and each sprayer and lot by itself.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.button = Button("Work out repeatability", primary=True)
        self.work = LongWork("Working out repeatability")
        self.shown = HtmlView(label="Repeatability")
        self.found: Any = None
        self.button.on_press(lambda _: self.start())

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([self.button, self.work.view, self.shown])

    def start(self) -> None:
        """Begin, in a thread."""
        self.work.ask("Comparing panels …", self._compute, self._show)

    def _compute(self) -> Any:
        from matchlib.validation import repeatability

        model = self.desk.fresh_model(part_of(self.work.step, 0.0, 0.6))
        panels = self.desk.session.archive.panels()
        found = repeatability(panels, model, step=self.work.rest())
        return found, misses(model, panels)

    def _show(self, result: Any) -> None:
        found, off = result
        self.found = found
        heads = ["part", "standard deviation", "95% from", "to", "as median ΔE00"]
        rows = []
        for part in found.components:
            film = part.name in ("panel film", "sprayer", "lot")
            scale, unit = (100.0, "% of film") if film else (1.0, " ΔE00")
            numbers = [f"{number(scale * v, 2)}{unit}" for v in (part.sd, part.low, part.high)]
            name = _PARTS.get(part.name, part.name)
            rows.append([name, *numbers, number(part.difference, 2)])
        parts = table(heads, rows, caption="What makes panels differ", right=heads[1:])
        groups = []
        for by in ("sprayer", "lot"):
            some = spreads(off, by)
            lines = [
                [s.name, s.panels, number(s.median, 2), number(s.low, 2), number(s.high, 2)]
                for s in some
            ]
            names = [by, "panels", "median ΔE00", "95% from", "to"]
            caption = f"Distance from the law, by {by} (– under five panels)"
            groups.append(table(names, lines, caption=caption, right=names[1:]))
        self.shown.html = f"<p><strong>{esc(found.words)}</strong></p>{parts}"
        self.shown.html += f"<div class='cpw-figures'>{''.join(groups)}</div>"
