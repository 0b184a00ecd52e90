"""How good the predictions are on what the fit never saw."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.controls import Button, CheckList, HtmlView
from workbook.desk import Desk, LongWork
from workbook.figures import esc, number, table

__all__ = ["AccuracyPanel"]

_BY = {"panel": "panels", "recipe": "recipes", "ground": "grounds"}


class AccuracyPanel:
    """The validation table.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.by = CheckList(
            options=list(_BY),
            texts=list(_BY.values()),
            value=["recipe"],
            label="Leave out",
            help="Each is a series of fits and takes minutes on a large archive.",
        )
        self.button = Button("Validate", primary=True)
        self.work = LongWork("Validating")
        self.shown = HtmlView(label="Validation")
        self.floor: Any = None
        self.button.on_press(lambda _: self.start())

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([self.by, self.button, self.work.view, self.shown])

    def start(self) -> None:
        """Begin, in a thread."""
        if not self.by.value:
            self.work.said.tell("Choose what to leave out.")
            return
        self.work.ask("Fitting without some of the panels …", self._compute, self._show)

    def _compute(self) -> Any:
        return self.desk.session.validate(by=list(self.by.value), folds=5, step=self.work.step)

    def _show(self, found: Any) -> None:
        rows, self.floor = found
        heads = ["left out", "regression", "readings", "median ΔE00", "mean", "95th percentile"]
        heads += ["times repeatability", "in 50%", "in 80%", "in 90%", "in 95%"]
        lines = []
        for r in rows:
            inside = [f"{100 * c:.0f}%" for c in r.coverage] or ["–"] * 4
            ratio = "–" if r.floor_ratio is None else number(r.floor_ratio, 1)
            sizes = [number(v, 2) for v in (r.median, r.mean, r.high)]
            lines.append([r.by, r.name, r.panels, *sizes, ratio, *inside])
        right = heads[2:]
        if any(r.note for r in rows):
            heads.append("note")
            lines = [[*line, r.note] for line, r in zip(lines, rows, strict=True)]
        caption = (
            "Errors on what was left out, and how many fall inside the regions that promise it"
        )
        words = f"<p><strong>{esc(self.floor.words)}</strong></p>"
        words += (
            "<p>A panel with a wrong back counts as a miss here, and lies outside every region: "
            "set right what the audit finds, then validate again.</p>"
        )
        self.shown.html = words + table(heads, lines, caption=caption, right=right)
