"""Lessons: a rule, what the archive in view says of it, and the numbers."""

from __future__ import annotations

import re
from functools import partial
from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.domain import MixRatio
from matchlib.lessons import LESSONS, Lesson, lesson
from workbook.controls import Choice, HtmlView
from workbook.cup import cup_svg
from workbook.desk import Desk, LongWork
from workbook.figures import chip, esc, table

__all__ = ["LessonPanel"]


class LessonPanel:
    """One lesson at a time.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.which = Choice(list(LESSONS), texts=[t for t, *_ in LESSONS.values()], label="Lesson")
        self.work = LongWork("Working the lesson out")
        self.shown = HtmlView("<p>Waiting for the model …</p>", live="polite", label="Lesson")
        self.which.observe(self.redraw, "value")
        desk.on_model(self.redraw)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([self.which, self.work.view, self.shown])

    def redraw(self, _: Any = None) -> None:
        """Work the chosen lesson out, in a thread; one chosen before is dropped."""
        if self.desk.model is not None:
            compute = partial(self._compute, self.which.value)
            self.work.start("Asking the archive …", compute, self._show)

    def _compute(self, key: str) -> Lesson:
        return lesson(self.desk.model, self.desk.session.archive.panels(), key)

    def _show(self, found: Lesson) -> None:
        cups = ""
        if found.key == "ratio":
            drawn = "".join(
                f"<figure>{cup_svg(r)}<figcaption>{esc(f'{r}: {r.words}')}</figcaption></figure>"
                for r in map(MixRatio.parse, ("6:1", "8:1", "1:6"))
            )
            cups = f"<div class='cpw-figures'>{drawn}</div>"
        columns, rows = list(found.columns), [[_minus(c) for c in r] for r in found.rows]
        if found.labs:
            columns = [columns[0], "swatch", *columns[1:]]
            rows = [
                [r[0], chip(lab, size=34), *r[1:]] for r, lab in zip(rows, found.labs, strict=True)
            ]
        sign, word = ("cpw-good", "Your panels agree.")
        if not found.supported:
            sign, word = ("cpw-bad", "Your panels do not show it.")
        numbers = table(columns, rows, caption="The numbers, as predicted", right=columns[2:])
        self.shown.html = (
            f"<h3>{esc(found.title)}</h3><p>{esc(found.rule)}</p>"
            f"<p><span class='{sign}'>{word}</span> {esc(found.finding)}</p>"
            f"{cups}{numbers if rows else ''}"
        )


def _minus(cell: str) -> str:
    """A cell with a true minus sign before its number, as every other table has."""
    return re.sub(r"(?<!\S)-(?=\d)", "−", cell)
