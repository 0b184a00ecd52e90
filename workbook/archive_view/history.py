"""Every change to the archive, newest first, each with its undo."""

from __future__ import annotations

from typing import TYPE_CHECKING

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.controls import HtmlView, TextField
from workbook.desk import Desk, Said, Typed, flow
from workbook.figures import table
from workbook.figures.svg import Raw

if TYPE_CHECKING:
    from matchlib.archive import Change

__all__ = ["HistoryPanel"]

_MOST = 40


class HistoryPanel:
    """The log.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.code = TextField(label="Of one panel only", help="Its code; empty for all.")
        self.who = TextField(label="Who is at the bench", help="Written beside what is undone.")
        self.shown = HtmlView(label="History")
        self.said = Said("History: message")
        self.code.observe(self.redraw, "value")
        self.shown.on_press(self._press)
        desk.on_change(self.redraw)
        self.redraw()
        self.typed = Typed("log", {"code": self.code, "who": self.who})
        desk.on_sit(self.typed.sit)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([flow(self.code, self.who), self.said, self.shown])

    def redraw(self, _: object = None) -> None:
        """Read the log again."""
        self.said.tell("")
        with self.said.guard():
            changes = self.desk.session.history(self.code.value.strip() or None)
            undone = {c.undoes for c in changes}
            rows = [_row(c, c.number in undone) for c in changes[: -_MOST - 1 : -1]]
            left = len(changes) - len(rows)
            note = f"<p>{left} older changes are not shown.</p>" if left else ""
            heads = ["no.", "when", "panel", "what", "why or file", "who", "undo"]
            self.shown.html = table(heads, rows, caption="Changes, newest first") + note

    def _press(self, name: str) -> None:
        with self.said.guard():
            done = self.desk.session.undo(int(name), who=self.who.value, why="undone in the log")
            self.desk.changed()
            self.said.tell(f"Change {name} was undone: {done.subject} ({done.words}).")


def _row(change: Change, undone: bool) -> list[object]:
    button: object = "undone" if undone else ""
    if not undone and change.undoes is None:
        button = Raw(f'<button data-press="{change.number}">Undo {change.number}</button>')
    return [
        change.number,
        f"{change.at:%Y-%m-%d %H:%M} UTC",
        change.subject,
        change.words,
        change.why or change.file,
        change.who,
        button,
    ]
