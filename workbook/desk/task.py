"""Long work in a thread, with a bar and a way out."""

from __future__ import annotations

import asyncio
import contextvars
import threading
import time
from collections.abc import Callable
from functools import partial
from typing import TypeVar

from matchlib.stepping import Step, part_of
from workbook.controls import Progress

__all__ = ["Stopped", "Task"]

_TOLD_EVERY = 0.1
"""The bar is moved no more often [s]: each move is a message to the browser."""

T = TypeVar("T")


class Stopped(Exception):  # noqa: N818  no error: the user pressed Cancel, or asked anew
    """The work was stopped by its user."""


class Task:
    """One long piece of work at a time, in a thread.

    Parameters
    ----------
    bar : Progress
        Shows it; a press of its Cancel drops the work.
    failed : callable
        Takes an error.
    stopped : callable, optional
        Called after a cancel.
    """

    def __init__(
        self,
        bar: Progress,
        failed: Callable[[BaseException], object],
        *,
        stopped: Callable[[], object] = lambda: None,
    ) -> None:
        self.bar, self._failed, self._stopped = bar, failed, stopped
        self._number = 0
        self._mine = threading.local()
        self.thread: threading.Thread | None = None
        try:
            # Widgets are changed by the kernel's own thread, as if by a press.
            self.loop: asyncio.AbstractEventLoop | None = asyncio.get_running_loop()
        except RuntimeError:
            self.loop = None
        bar.on_cancel(self.cancel)

    @property
    def busy(self) -> bool:
        """Whether it is at work on something whose outcome is still wanted."""
        return bool(self.bar.running)

    def start(
        self, text: str, work: Callable[[], T], then: Callable[[T], object] = lambda _: None
    ) -> None:
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
        self.bar.start(text)

        def run() -> None:
            mine = self._mine
            mine.number, mine.asked, mine.told, mine.share = number, asked, 0.0, 0.0
            try:
                result = work()
            except Stopped:
                return  # by another piece of work, or by its user, who was told
            except Exception as error:
                end = partial(self._end, number, partial(self._failed, error))
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
        mine = self._mine
        if mine.number != self._number:
            raise Stopped
        mine.share = mine.share if share is None else share
        now = time.monotonic()
        if now - mine.told >= _TOLD_EVERY:
            mine.told = now
            self._hand_over(partial(self._at, mine.number, share, words), mine.asked)

    def rest(self) -> Step:
        """Return the step of the next piece of the work, which has what is left of the bar.

        Returns
        -------
        callable
            Takes shares of that piece.
        """
        return part_of(self.step, self._mine.share, 1.0)

    def cancel(self) -> None:
        """Drop what is running; what it comes to is not used."""
        if self.busy:
            self._number += 1
            self.bar.finish("Stopped; nothing was changed.")
            self._stopped()

    def join(self, timeout: float | None = None) -> None:
        """Wait until the thread of what was begun last has ended.

        Parameters
        ----------
        timeout : float, optional
            At most so long [s].
        """
        if self.thread is not None:
            self.thread.join(timeout)

    def _at(self, number: int, share: float | None, words: str) -> None:
        if number == self._number and self.busy:
            if words:
                self.bar.text = f"{words[:1].upper()}{words[1:]}"
            self.bar.value = share  # last: whoever follows it may cancel

    def _hand_over(self, call: Callable[[], None], asked: contextvars.Context) -> None:
        if self.loop is not None and self.loop.is_running():
            self.loop.call_soon_threadsafe(call, context=asked)
        else:
            asked.run(call)

    def _end(self, number: int, call: Callable[[], object]) -> None:
        if number != self._number:
            return
        self.bar.finish("")
        try:
            call()
        except Exception as error:
            self._failed(error)
