"""What was sprayed over what, how strong, and what never was."""

from __future__ import annotations

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.overview import BANDS, coverage
from workbook.controls import Choice, HtmlView
from workbook.desk import Desk, Said
from workbook.figures import coverage_grid, esc

__all__ = ["CoveragePanel"]

_ALL = "every colour"


class CoveragePanel:
    """Counts of ground by strength and by colour.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.colour = Choice([_ALL], label="Strength of which colour")
        self.shown = HtmlView(label="What was sprayed")
        self.said = Said("Coverage: message")
        self.colour.observe(self.redraw, "value")
        desk.on_change(self.redraw)
        self.redraw()

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([self.colour, self.shown, self.said])

    def redraw(self, _: object = None) -> None:
        """Count again."""
        with self.said.guard():
            panels = self.desk.session.archive.panels()
            only = None if self.colour.value == _ALL else self.colour.value
            found = coverage(panels, only)
            if list(self.colour.options) != [_ALL, *found.colours]:
                self.colour.options = [_ALL, *found.colours]
            strength = coverage_grid(
                found.by_strength,
                rows=found.grounds,
                columns=[name for name, _ in BANDS],
                caption=f"Panels by ground and strength, {self.colour.value}. Strength is coats "
                "times the colour's share of the pot.",
            )
            colours = coverage_grid(
                found.by_colour,
                rows=found.grounds,
                columns=found.colours,
                caption="Panels by ground and colour",
            )
            never = "".join(f"<li>{esc(pair)}</li>" for pair in found.never)
            words = (
                f"<p><strong>Never sprayed: {len(found.never)} of the pairs of a neat ground and "
                f"a neat colour.</strong></p><ul>{never}</ul>"
                if never
                else "<p>Every neat colour was sprayed over every neat ground.</p>"
            )
            self.shown.html = f"{strength}{colours}{words}"
