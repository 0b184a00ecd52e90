"""What every panel of the match is made of: a heading, a place for messages, work in a thread."""

from __future__ import annotations

import asyncio
import contextvars
import logging
import threading
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

import ipywidgets as w

from matchlib.errors import MatchlibError
from workbook.controls import HtmlView, Progress
from workbook.desk import Stopped
from workbook.figures import esc
from workbook.match.bench import Bench

if TYPE_CHECKING:
    from matchlib.suggest import Tolerance

__all__ = [
    "Panel",
    "Task",
    "columns",
    "hide",
    "message",
    "passing",
    "rows",
    "saying",
    "taking",
]

_TOLD_EVERY = 0.1
"""The bar is moved so often while work goes on [s]."""

_log = logging.getLogger(__name__)
T = TypeVar("T")

UNFORESEEN = (
    "Something went wrong inside the workbook and nothing was changed. Please try again; if it "
    "happens again, tell whoever looks after the workbook what you pressed"
)


def saying(error: BaseException) -> str:
    """Return an error in words, never a traceback.

    Parameters
    ----------
    error : BaseException
        Caught.

    Returns
    -------
    str
        The user's own error as it says itself, any other by its kind.
    """
    if isinstance(error, MatchlibError):
        return str(error)
    # Printed it would appear on the page, so it goes to whoever listens to the log.
    _log.debug("unforeseen", exc_info=error)
    return f"{UNFORESEEN} ({type(error).__name__})."


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


def message(text: str, *, good: bool = False) -> str:
    """Return a message as HTML.

    Parameters
    ----------
    text : str
        Lines; empty for none.
    good : bool
        Whether it is no trouble.

    Returns
    -------
    str
        Escaped.
    """
    if not text:
        return ""
    body = "<br>".join(str(esc(line)) for line in text.splitlines())
    return f"<p>{body}</p>" if good else f'<p class="cpw-warn"><strong>{body}</strong></p>'


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


class Task:
    """One long piece of work at a time, in a thread, with a bar and a way out.

    Parameters
    ----------
    progress : Progress
        Shows it.
    failed : callable
        Takes the words of an error.
    stopped : callable, optional
        Called after a cancel.
    """

    def __init__(
        self,
        progress: Progress,
        failed: Callable[[str], object],
        *,
        stopped: Callable[[], object] = lambda: None,
    ) -> None:
        self.progress, self._failed, self._stopped = progress, failed, stopped
        self._number = 0
        self._mine = threading.local()
        self.thread: threading.Thread | None = None
        try:
            # Widgets are changed by the kernel's own thread, as if by a press.
            self.loop: asyncio.AbstractEventLoop | None = asyncio.get_running_loop()
        except RuntimeError:
            self.loop = None
        progress.on_msg(self._heard)

    def start(self, text: str, work: Callable[[], T], then: Callable[[T], object]) -> None:
        """Begin; whatever was running before is dropped.

        Parameters
        ----------
        text : str
            What is being done.
        work : callable
            Done in the thread; must touch no widget, and may call `step`.
        then : callable
            Takes what came of it; not called after a cancel or an error.
        """
        self._number += 1
        number = self._number
        # The kernel files what a widget sends under the message it answers, and takes that from
        # the context; elsewhere it would be filed under a channel that may be closed by then, and
        # the page's replies to it would go nowhere.
        asked = contextvars.copy_context()
        self.progress.start(text)

        def run() -> None:
            self._mine.number, self._mine.asked, self._mine.told = number, asked, 0.0
            try:
                result = work()
            except Stopped:
                return  # by another piece of work, or by its user, who was told
            except Exception as error:
                end = partial(self._end, number, partial(self._fail, error))
            else:
                end = partial(self._end, number, partial(then, result))
            self._hand_over(end, asked)

        self.thread = threading.Thread(target=run, daemon=True)
        self.thread.start()

    def step(self, share: float | None, words: str = "") -> None:
        """Say how far it is; called by the work, in its thread, between its steps.

        Parameters
        ----------
        share : float, optional
            Done [-]; None while nobody can tell.
        words : str
            What is being done.

        Raises
        ------
        Stopped
            If it was cancelled, or other work has begun.
        """
        number = self._mine.number
        if number != self._number:
            raise Stopped
        now = time.monotonic()
        if now - self._mine.told >= _TOLD_EVERY:
            self._mine.told = now
            self._hand_over(partial(self._at, number, share, words), self._mine.asked)

    def _at(self, number: int, share: float | None, words: str) -> None:
        if number == self._number and self.progress.running:
            self.progress.value = share
            if words:
                self.progress.text = f"{words[:1].upper()}{words[1:]}"

    def cancel(self) -> None:
        """Drop what is running; what it comes to is not used."""
        if self.progress.running:
            self._number += 1
            self.progress.finish("Stopped; nothing was changed.")
            self._stopped()

    def _heard(self, _: object, content: dict[str, Any], __: object) -> None:
        if content.get("event") == "cancel":
            self.cancel()

    def _hand_over(self, call: Callable[[], None], asked: contextvars.Context) -> None:
        if self.loop is not None and self.loop.is_running():
            self.loop.call_soon_threadsafe(call, context=asked)
        else:
            asked.run(call)

    def _end(self, number: int, call: Callable[[], object]) -> None:
        if number != self._number:
            return
        self.progress.finish("")
        try:
            call()
        except Exception as error:
            self._fail(error)

    def _fail(self, error: BaseException) -> None:
        self._failed(saying(error))


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
        self.said = HtmlView(live="assertive", label=f"Messages, {self.title}")
        self.busy = Progress(label=f"Working, {self.title}")
        self.task = Task(self.busy, self.complain)
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

    def complain(self, text: str) -> None:
        """Say what is the matter.

        Parameters
        ----------
        text : str
            In words.
        """
        self.said.html = message(text)

    def tell(self, text: str) -> None:
        """Say what was done.

        Parameters
        ----------
        text : str
            In words.
        """
        self.said.html = message(text, good=True)

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
            try:
                call()
            except Exception as error:
                self.complain(saying(error))

        return guarded
