"""What changed with time: readings against the law, in the order of their dates."""

from __future__ import annotations

import datetime as dt
from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types
import numpy as np

from matchlib.errors import MatchlibError
from matchlib.overview import Miss, misses, strays, trend
from workbook.controls import Choice, HtmlView
from workbook.desk import Desk, Said, flow
from workbook.figures import esc, number, table, timeline

__all__ = ["DriftPanel"]

_MEASURES = {
    "lightness": "ΔL*, reading less law",
    "chroma": "ΔC*, reading less law",
    "difference": "ΔE00 from the law",
}
_PARTS = {
    "all": "all together",
    "sprayer": "by sprayer",
    "lot": "by lot",
    "source": "by instrument",
}
_MOST = 5


class DriftPanel:
    """A timeline of how far panels read from the law, with the change a year.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.measure = Choice(
            list(_MEASURES), texts=list(_MEASURES.values()), label="What is looked at"
        )
        self.by = Choice(list(_PARTS), texts=list(_PARTS.values()), label="Parted")
        self.shown = HtmlView("<p>Waiting for the model …</p>", label="Drift in time")
        self.said = Said("Drift: message")
        self._found: tuple[Miss, ...] = ()
        for control in (self.measure, self.by):
            control.observe(self.redraw, "value")
        desk.on_model(self._look)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([flow(self.measure, self.by), self.shown, self.said])

    def _look(self, model: Any) -> None:
        with self.said.guard():
            self._found = misses(model, self.desk.session.archive.panels())
            self.redraw()

    def redraw(self, _: Any = None) -> None:
        """Draw what is chosen."""
        if self.desk.model is None:
            return
        with self.said.guard():
            series: dict[str, list[tuple[dt.date, float]]] = {}
            odd = strays(self._found, self.measure.value)
            for miss in self._found:
                if miss.panel.date is not None and miss not in odd:
                    value = float(getattr(miss, self.measure.value))
                    series.setdefault(self._part(miss), []).append((miss.panel.date, value))
            some = dict(sorted(series.items(), key=lambda s: -len(s[1]))[:_MOST])
            name = _MEASURES[self.measure.value]
            values = [v for rows in some.values() for _, v in rows]
            band = tuple(np.quantile(values, (0.25, 0.75))) if values else None
            chart = timeline(
                some,
                title=f"{name}, in the order sprayed",
                y_name=name.split(",")[0],
                band=band,
                band_name="the middle half",
                width=860,
            )
            rows = [[part, _words(points, name)] for part, points in some.items()]
            left = len(series) - len(some)
            more = f"<p>{left} smaller groups are not drawn.</p>" if left else ""
            if odd:
                far = ", ".join(
                    f"{m.panel.code} ({number(getattr(m, self.measure.value))})" for m in odd
                )
                more += f"<p>Far from the law, so neither drawn nor counted here: {esc(far)}.</p>"
            heads = ["panels", "change"]
            self.shown.html = chart + table(heads, rows, caption="Change with time") + more

    def _part(self, miss: Miss) -> str:
        if self.by.value == "source":
            return ", ".join(dict.fromkeys(r.source for r in miss.panel.readings))
        if self.by.value != "all":
            return getattr(miss.panel, self.by.value) or "not written"
        return "all panels"


def _words(points: list[tuple[dt.date, float]], name: str) -> str:
    try:
        return trend(points, unit=name.partition(",")[0].partition(" ")[0]).words
    except MatchlibError as error:
        return str(error)
