"""Which panels would teach the archive most."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.overview import usual_view
from matchlib.stepping import part_of
from workbook.controls import Button, HtmlView, Slider
from workbook.desk import Desk, LongWork, colour_cell, flow
from workbook.figures import esc, number, table

__all__ = ["NextPanel"]


class NextPanel:
    """A set of panels to spray for the archive, the best first.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.count = Slider(label="Panels to spray", min=1, max=10, value=5, unit="panels")
        self.button = Button("Choose panels", primary=True)
        self.work = LongWork("Choosing panels")
        self.shown = HtmlView(label="Panels to spray next")
        self.plan: Any = None
        self.button.on_press(lambda _: self.start())

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([flow(self.count), self.button, self.work.view, self.shown])

    def start(self) -> None:
        """Begin, in a thread."""
        self.work.ask("Asking what each panel would teach …", self._compute, self._show)

    def _compute(self) -> Any:
        model = self.desk.fresh_model(part_of(self.work.step, 0.0, 0.6))
        plan = self.desk.session.plan_panels(top=int(self.count.value), step=self.work.rest())
        labs = model.predict_recipes([p.recipe for p in plan.panels], usual_view(model))
        return plan, labs

    def _show(self, result: Any) -> None:
        plan, labs = result
        self.plan = plan
        heads = ["", "spray", "prediction", "uncertainty before", "after"]
        rows = [
            [
                str(i),
                p.recipe.words,
                colour_cell(lab),
                f"{number(p.before, 2)} ΔE00",
                f"{number(p.after, 2)} ΔE00",
            ]
            for i, (p, lab) in enumerate(zip(plan.panels, labs, strict=True), 1)
        ]
        caption = "Panels worth spraying for the archive, each knowing the ones before it"
        self.shown.html = f"<p><strong>{esc(plan.words)}</strong></p>" + table(
            heads, rows, caption=caption, right=heads[3:]
        )
