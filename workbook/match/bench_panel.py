"""Panel: which bench this is, and going on with what another bench has in hand."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from typing import Any

from workbook.controls import Button, Choice, HtmlView, TextField
from workbook.figures import chip, esc, lab_text, table
from workbook.figures.svg import Raw
from workbook.match.hand import InHand
from workbook.match.parts import Panel, columns
from workbook.session import lab_of

__all__ = ["BenchPanel"]

_NEW = "new"
_OWN = "own"
_MOST = 30
_FORGETS = (
    "This browser keeps nothing from one page to the next, so it comes as a new bench each time. "
    "Name this bench, and go to it again after a reload; or let the browser keep cookies."
)


class BenchPanel(Panel):
    """Each tablet is a bench of its own until its user goes to another one."""

    name = "bench"
    title = "Bench: whose match this is"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        self._filling = False
        self._offered: dict[str, InHand] = {}
        self.called = TextField(
            label="Name of this bench", help="Such as Booth 2; kept with the archive."
        )
        self.called.observe(self.safely(self._called), "value")
        self.which = Choice([_OWN], texts=["this one"], label="Bench to work at")
        self.move = Button("Work at this bench")
        self.move.on_press(self.safely(self._go))
        self.view = HtmlView(label="Benches of this archive")
        return [columns(self.called, self.which), self.move, self.said, self.view]

    def _called(self) -> None:
        if not self._filling and self.called.value.strip():
            self.soon(self._rename)

    def _rename(self) -> None:
        self.bench.rename(self.called.value)
        self.said.tell(f"This is {self.bench.hand.name}.")

    def _go(self) -> None:
        chosen = self.which.value
        if chosen == _OWN:
            self.said.tell(f"This is {self.bench.hand.name} already.")
            return
        # The bench without a browser gets a mark with its first one, and its match with it.
        self.bench.move(secrets.token_hex(8) if chosen in (_NEW, "") else chosen)

    def draw(self) -> None:
        """Show the bench as it is now."""
        bench = self.bench
        self._offered = dict(list(bench.others().items())[:_MOST])
        self._filling = True
        try:
            if " ".join(self.called.value.split()) != bench.hand.name:
                self.called.value = bench.hand.name
            options = [_OWN, *self._offered, _NEW]
            texts = [f"{bench.hand.name}, this one"]
            texts += [
                f"{h.name}: {h.work.target_name or 'no target'}" for h in self._offered.values()
            ]
            texts.append("a new bench with nothing in hand")
            with self.which.hold_trait_notifications():
                self.which.options, self.which.texts = options, texts
                if self.which.value not in options:
                    self.which.value = _OWN
        finally:
            self._filling = False
        rows = [_row(bench.hand, here=True)]
        rows += [_row(held) for held in self._offered.values()]
        heads = ["bench", "target", "its reading", "chosen recipe", "sprayed", "last change"]
        self.view.html = (
            "<p>Each tablet has a match of its own. Go to another bench to go on with what it has "
            "in hand; two tablets at one bench would be in each other's way. The limits of the "
            "shelf are the same for all.</p>"
            + ("" if bench.remembered else f'<p class="cpw-warn">{esc(_FORGETS)}</p>')
            + str(table(heads, rows, caption="Benches of this archive", right=["sprayed"]))
        )


def _row(held: InHand, *, here: bool = False) -> list[object]:
    work = held.work
    name = f"{held.name}, this one" if here else held.name
    when = held.at.replace("T", " ")[:16]
    shown: object = ""
    if work.target is not None:
        lab = lab_of(work.target)
        shown = Raw(f'<span class="cpw-key">{chip(lab, size=26)}{esc(lab_text(lab))}</span>')
    recipe = "none yet" if work.recipe is None else str(work.recipe)
    return [
        name,
        work.target_name or "none yet",
        shown,
        recipe,
        len(work.tried),
        f"{when} UTC" if when else "",
    ]
