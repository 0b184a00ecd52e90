"""What every panel of the match is made of: a heading, a place for messages, work in a thread."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import ipywidgets as w

from workbook.controls import HtmlView, Progress
from workbook.desk import Said, Task
from workbook.figures import esc
from workbook.match.bench import Bench

if TYPE_CHECKING:
    from matchlib.suggest import Tolerance

__all__ = [
    "Panel",
    "columns",
    "hide",
    "passing",
    "rows",
    "taking",
]


def passing(tolerance: Tolerance) -> str:
    """Return what passes, in few words.

    Parameters
    ----------
    tolerance : Tolerance
        The order's.

    Returns
    -------
    str
        Such as ``within 1``; the whole tolerance for a box.
    """
    if tolerance.boxed:
        return f"({tolerance.words})"
    return f"within {tolerance.value:g}"


def rows(*children: Any) -> w.VBox:
    """Return widgets below each other.

    Parameters
    ----------
    *children : Widget
        In order.

    Returns
    -------
    VBox
        Without scroll bars of its own.
    """
    return w.VBox(list(children), layout=w.Layout(overflow="visible"))


def columns(*children: Any) -> w.HBox:
    """Return widgets beside each other, wrapping on a narrow screen.

    Parameters
    ----------
    *children : Widget
        In order.

    Returns
    -------
    HBox
        Without scroll bars of its own.
    """
    flow = w.Layout(flex_flow="row wrap", overflow="visible", align_items="flex-start")
    return w.HBox(list(children), layout=flow)


def taking(widget: Any, width: str) -> Any:
    """Let a widget take the room beside others, from a width up.

    Parameters
    ----------
    widget : Widget
        Any.
    width : str
        CSS length below which it goes under the others.

    Returns
    -------
    Widget
        The same.
    """
    widget.layout.flex, widget.layout.min_width = f"1 1 {width}", "0"
    return widget


def hide(widget: Any, away: bool = True) -> None:
    """Show a widget or not.

    Parameters
    ----------
    widget : Widget
        Any.
    away : bool
        Whether it is out of sight, for screen readers too.
    """
    widget.layout.display = "none" if away else None


class Panel:
    """One panel of the match.

    Parameters
    ----------
    bench : Bench
        What is worked on.
    """

    name = ""
    title = ""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.open = False
        self._waiting: asyncio.TimerHandle | None = None
        self.said = Said(f"Messages, {self.title}", live="assertive")
        self.busy = Progress(label=f"Working, {self.title}")
        self.task = Task(self.busy, self.said.complain)
        head = HtmlView(f"<h2>{esc(self.title)}</h2>")
        self.box = rows(head, *self.build(), self.busy)

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets.

        Returns
        -------
        sequence of Widget
            In order; `said` among them.
        """
        raise NotImplementedError

    def draw(self) -> None:
        """Show the bench as it is; called when the panel opens, and after changes while open."""

    def soon(self, call: Callable[[], object], seconds: float = 1.0) -> None:
        """Call when nothing more has been asked for a while; at once where no loop runs.

        Parameters
        ----------
        call : callable
            Takes nothing; the last one asked for is called.
        seconds : float
            Of quiet [s].
        """
        if self._waiting is not None:
            self._waiting.cancel()
        loop = self.task.loop
        if loop is None or not loop.is_running():
            call()
        else:
            self._waiting = loop.call_later(seconds, self.safely(call))

    def show(self, on: bool) -> None:
        """Open or close.

        Parameters
        ----------
        on : bool
            Whether it is on the page.
        """
        self.open = on
        hide(self.box, not on)
        if on:
            self.safely(self.draw)()

    def close(self) -> None:
        """Drop what is under way, for another bench's panel takes this one's place."""
        self.open = False
        self.task.cancel()
        if self._waiting is not None:
            self._waiting.cancel()

    def changed(self) -> None:
        """Redraw after a change of the bench."""
        if self.open:
            self.safely(self.draw)()

    def safely(self, call: Callable[..., object]) -> Callable[..., None]:
        """Return a call whose errors are said in words.

        Parameters
        ----------
        call : callable
            Takes nothing.

        Returns
        -------
        callable
            Takes anything, as presses and observers give.
        """

        def guarded(*_: object) -> None:
            with self.said.guard():
                call()

        return guarded
