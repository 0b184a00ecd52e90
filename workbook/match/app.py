"""The match, put together: steps, what is in hand at a glance, undo."""

from __future__ import annotations

from pathlib import Path
from textwrap import shorten
from typing import Any

from matchlib.errors import MatchlibError
from workbook.controls import ButtonRow, HtmlView, Seat
from workbook.desk import LongWork, Said
from workbook.figures import chip, esc, lab_text
from workbook.match.bench import Bench
from workbook.match.bench_panel import BenchPanel
from workbook.match.keeping import Work
from workbook.match.limits import LimitsPanel
from workbook.match.parts import Panel, rows
from workbook.match.pot import PotPanel
from workbook.match.sheet import SheetPanel
from workbook.match.sprayed import SprayedPanel
from workbook.match.suggestions import SuggestionsPanel
from workbook.match.target import TargetPanel
from workbook.match.what_if import WhatIfPanel
from workbook.session import FitOutcome, Session, lab_of
from workbook.session.here import session_here

__all__ = ["MatchApp", "app"]

_STEPS: tuple[tuple[type[Panel], str], ...] = (
    (TargetPanel, "Target"),
    (LimitsPanel, "Limits"),
    (SuggestionsPanel, "Suggestions"),
    (WhatIfPanel, "What if"),
    (SprayedPanel, "I sprayed this"),
    (PotPanel, "The pot"),
    (SheetPanel, "Job sheet"),
    (BenchPanel, "Bench"),
)


class MatchApp:
    """The notebook's whole page.

    Parameters
    ----------
    session : Session
        Open.
    demo : bool
        Whether its archive is the demonstration because no other was named.
    """

    def __init__(self, session: Session, *, demo: bool = False) -> None:
        self.bench = Bench(session)
        self.demo = demo
        self.ready = False
        self.seat = Seat()
        self._at = ""
        self.panels: dict[str, Panel] = {}
        self.said = Said("Messages", live="assertive")
        self.fitting = LongWork("Working", again="Go on: learn from the archive's panels")
        self.glance = HtmlView(label="In hand")
        self.steps = ButtonRow([], label="Steps")
        self.steps.on_press(self.go)
        self.room = rows()
        self.box = rows(self.seat, self.glance, self.steps, self.said, self.fitting.view, self.room)
        self.box.add_class("cpw-match")
        self.said.warn(self.bench.trouble)
        self.bench.watch(self._changed)
        self.bench.on_move(self._moved)
        self.seat.observe(self._arrived, ["value", "kept"])
        self._glance()
        self._learn("Getting the model of the archive ready; the first time takes some seconds")

    def _learn(self, words: str = "Learning from the archive's panels") -> None:
        """Fit the model anew without keeping anybody waiting."""
        self.bench.outdated = False
        self.fitting.start(words, self._fit, self._learnt)

    def _learnt(self, outcome: FitOutcome) -> None:
        if self.bench.model is None:
            self._begin(outcome)
        else:
            self.bench.model = outcome.model
            self._changed()

    def _fit(self) -> FitOutcome:
        return self.bench.session.fit(step=self.fitting.step)

    def _begin(self, outcome: FitOutcome) -> None:
        self.bench.model = outcome.model
        # A browser says which bench it is as soon as it shows the page, and until then nobody's
        # match is shown. Where no kernel's loop runs there is no browser to wait for.
        if self.fitting.loop is None or self.seat.value:
            self._furnish()

    def _arrived(self, _: object) -> None:
        self.bench.remembered = self.seat.kept
        if self.seat.value == self.bench.mark:
            return
        with self.said.guard():
            self.bench.move(self.seat.value)

    def _moved(self) -> None:
        """Show what this bench has in hand, now that it is another one."""
        if self.bench.mark:
            self.seat.value = self.bench.mark
        self.said.warn(self.bench.trouble)
        if self.bench.model is not None:
            self._furnish()
        self._glance()

    def _furnish(self) -> None:
        for panel in self.panels.values():
            panel.close()
        self.panels = {kind.name: kind(self.bench) for kind, _ in _STEPS}
        self.room.children = [panel.box for panel in self.panels.values()]
        self.ready = True
        work = self.bench.work
        first = "target" if work.target is None else "suggestions"
        self.go("sprayed" if work.tried else first)

    def go(self, name: str) -> None:
        """Open a step.

        Parameters
        ----------
        name : str
            Of its panel.
        """
        if name == "undo":
            self._undone()
        if name not in self.panels:
            return
        self._at = name
        self._steps()
        for panel in self.panels.values():
            panel.show(panel.name == name)
        self._glance()

    def _changed(self) -> None:
        self._glance()
        self._steps()
        if self.bench.outdated:
            self._learn()
        for panel in self.panels.values():
            panel.changed()

    def _steps(self) -> None:
        undo = self.bench.undo_words
        self.steps.buttons = [
            *(
                {
                    "name": kind.name,
                    "label": f"▸ {words}" if kind.name == self._at else words,
                    "primary": kind.name == self._at,
                }
                for kind, words in _STEPS
            ),
            {
                "name": "undo",
                "label": f"Undo: {shorten(undo, 44)}" if undo else "Nothing to undo",
                "disabled": not undo,
            },
        ]

    def _undone(self) -> None:
        with self.said.guard():
            words = self.bench.undo()
            self.said.tell(f"Undone: {words}." if words else "")
        self._changed()

    def _glance(self) -> None:
        bench = self.bench
        target, work = bench.target_lab, bench.work
        where = "the demonstration" if self.demo else bench.session.archive.label
        told = []
        if target is None:
            told.append("<p><strong>Target:</strong> none yet</p>")
        else:
            told.append(
                f'<p style="display:flex;gap:8px;align-items:center">'
                f'<span style="flex:none">{chip(target, size=34)}</span><span>'
                f"<strong>Target:</strong> {esc(work.target_name)}, "
                f'<span class="cpw-num">{esc(_target_words(work))}</span>; '
                f"{esc(work.order.words)}</span></p>"
            )
        chosen = "none yet" if work.recipe is None else work.recipe.words
        told.append(f"<p><strong>Chosen recipe:</strong> {esc(chosen)}</p>")
        told.append(
            f'<p class="cpw-muted">{esc(bench.hand.name)}; archive: {esc(where)}</p>'
            if self.ready
            else f'<p class="cpw-muted">Archive: {esc(where)}</p>'
        )
        flow = "display:flex;flex-wrap:wrap;gap:0 28px;align-items:center"
        self.glance.html = f'<div class="cpw-card" style="{flow}">{"".join(told)}</div>'


def _target_words(work: Work) -> str:
    if len(work.readings) == 1:
        return lab_text(lab_of(work.readings[0]))
    return "; ".join(f"{r.viewing.geometry} {lab_text(lab_of(r))}" for r in work.readings)


def app(archive: str | Path | None = None) -> Any:
    """Return the page of the match.

    Parameters
    ----------
    archive : str or Path, optional
        File or URL; else the archive that the workbook was opened with, else the demonstration.

    Returns
    -------
    Widget
        To be shown as a cell's last value.
    """
    try:
        session, demo = session_here(archive)
    except MatchlibError as error:
        said = Said("Messages", live="assertive")
        said.complain(error)
        return said
    return MatchApp(session, demo=demo).box
