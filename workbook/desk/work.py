"""Plain words beside what was pressed, and long work in a thread."""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.errors import MatchlibError
from matchlib.stepping import Step, part_of
from workbook.controls import Button, HtmlView, Progress
from workbook.figures import esc

__all__ = ["Said", "Stopped", "Work"]

_TOLD_EVERY = 0.1
"""The bar is moved no more often [s]: each move is a message to the browser."""

_LOG = logging.getLogger(__name__)


class Stopped(Exception):  # noqa: N818  no error: the user pressed Cancel
    """The work was stopped by its user."""


class Said(HtmlView):
    """A line of plain words that a screen reader speaks when it changes."""

    def __init__(self, label: str = "Message", **kwargs: Any) -> None:
        super().__init__(live="polite", label=label, **kwargs)

    def tell(self, words: str) -> None:
        """Say what was done.

        Parameters
        ----------
        words : str
            Plain text; nothing is shown if empty.
        """
        lines = "".join(f"<p>{esc(line)}</p>" for line in words.splitlines() if line.strip())
        self.html = lines

    def complain(self, error: BaseException) -> None:
        """Say what went wrong.

        Parameters
        ----------
        error : BaseException
            In the user's words if it is one of ours.
        """
        if isinstance(error, MatchlibError):
            words = str(error)
        else:
            _LOG.error("in a panel", exc_info=error)
            words = (
                f"Something went wrong in the workbook itself ({type(error).__name__}: {error}). "
                "Nothing in the archive was changed by it."
            )
        self.html = f'<p class="cpw-warn"><strong>Not done.</strong> {esc(words)}</p>'

    @contextlib.contextmanager
    def guard(self) -> Iterator[None]:
        """Turn an error inside the block into words."""
        try:
            yield
        except Exception as error:
            self.complain(error)


class Work:
    """One long computation at a time, in a thread, with a bar and a cancel.

    Parameters
    ----------
    label : str
        What the bar is for.
    again : str
        What a button says that begins the same work once more, after a stop; empty for none,
        where another button does that.
    """

    def __init__(self, label: str, *, again: str = "") -> None:
        self.bar = Progress(label=label)
        self.said = Said(f"{label}: message")
        self.again = Button(again or "Begin again")
        self.again.layout.display = "none"
        self.again.on_press(lambda _: self._once_more())
        self._offers_again = bool(again)
        self._begun: tuple[str, Callable[[], Any], Callable[[Any], object] | None] | None = None
        self._thread: threading.Thread | None = None
        self._told = 0.0

    @property
    def busy(self) -> bool:
        """Whether it is at work."""
        return self._thread is not None and self._thread.is_alive()

    def step(self, share: float | None, words: str = "") -> None:
        """Say how far it is; called by the computation between its steps.

        Parameters
        ----------
        share : float, optional
            Done [-]; None while nobody can tell.
        words : str
            What is being done.

        Raises
        ------
        Stopped
            If Cancel was pressed.
        """
        if self.bar.cancelled:
            raise Stopped
        now = time.monotonic()
        if now - self._told < _TOLD_EVERY:
            return
        self._told = now
        self.bar.value = share
        if words:
            self.bar.text = f"{words[:1].upper()}{words[1:]}"

    def rest(self) -> Step:
        """Return the step of the next piece of work, which has what is left of the bar.

        Returns
        -------
        callable
            Takes shares of that piece.
        """
        return part_of(self.step, self.bar.value or 0.0, 1.0)

    def start(
        self, text: str, compute: Callable[[], Any], done: Callable[[Any], object] | None = None
    ) -> bool:
        """Begin, unless it is at work already.

        Parameters
        ----------
        text : str
            What is being done.
        compute : callable
            Runs in the thread; may call `step`.
        done : callable, optional
            Takes what came of it, in the thread; not called when it was stopped.

        Returns
        -------
        bool
            Whether it was begun.
        """
        if self.busy:
            self.said.tell("Still at work; wait, or press Cancel.")
            return False
        self.said.tell("")
        self.again.layout.display = "none"
        self._begun, self._told = (text, compute, done), 0.0
        self.bar.start(text)
        self._thread = threading.Thread(target=self._run, args=(compute, done), daemon=True)
        self._thread.start()
        return True

    def join(self, timeout: float | None = None) -> None:
        """Wait until it is done.

        Parameters
        ----------
        timeout : float, optional
            At most so long [s].
        """
        if self._thread is not None:
            self._thread.join(timeout)

    def _run(self, compute: Callable[[], Any], done: Callable[[Any], object] | None) -> None:
        try:
            result = compute()
            if self.bar.cancelled:
                raise Stopped
            if done is not None:
                done(result)
        except Stopped:
            self.said.tell("Stopped. Nothing was changed.")
            if self._offers_again:
                self.again.layout.display = None
        except Exception as error:
            self.said.complain(error)
        finally:
            self.bar.finish()

    def _once_more(self) -> None:
        if self._begun is not None:
            self.start(*self._begun)

    @property
    def view(self) -> widgets.Widget:
        """Bar and words, to be put into a panel."""
        return widgets.VBox([self.bar, self.said, self.again])
