"""A page in the browser: HTML from a screen, and to it what was pressed, typed or chosen.

A screen draws itself whole after every press; the browser changes only what differs, so that what
is being typed, the focus and what is unfolded stay. Every named field of the page comes with each
press. A screen holds nothing that is not in the archive or in its address.
"""

from __future__ import annotations

import asyncio
import contextvars
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import parse_qsl, urlencode

import anywidget
import ipywidgets as widgets
import traitlets as t

from matchlib.errors import FileError
from workbook.page.fields import problem
from workbook.page.frame import frame
from workbook.theme import read_static

if TYPE_CHECKING:
    from matchlib.progress import Callback

__all__ = ["Page", "Press", "Screen", "Stopped"]

_MOST_BYTES = 120_000_000


class Stopped(Exception):  # noqa: N818  no error: the user pressed Stop, or asked anew
    """The work was dropped by its user."""


@dataclass(frozen=True, slots=True)
class Press:
    """What was done on a page.

    `do`: name of the press, or of the field that was moved or was given a file. `value`: what the
    press stands for, such as a number in a list; a file's name. `fields`: every named field of the
    page as it is now; a list's ticked values joined by newlines. `content`: of a file.
    """

    do: str
    value: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)
    content: bytes = b""

    def ticked(self, name: str) -> list[str]:
        """Return what is ticked of a list."""
        return [one for one in self.fields.get(name, "").split("\n") if one]


class Screen(Protocol):
    """What a page shows; made once for each browser page."""

    address: dict[str, str]
    """What of it stands in the address: the job, the step."""

    def draw(self) -> str:
        """Return the page as HTML, every name in it escaped."""
        ...

    def press(self, done: Press) -> None:
        """Do what was pressed; an error is said where it was caused and changes nothing."""
        ...

    def wrong(self, error: Exception, done: Press | None) -> None:
        """Keep what went wrong, to be drawn beside its cause.

        `done`: what was pressed; None where it came of nothing pressed now.
        """
        ...


class Page(anywidget.AnyWidget):
    """A page with one screen."""

    html = t.Unicode().tag(sync=True)
    address = t.Unicode().tag(sync=True)
    answered = t.Int(0).tag(sync=True)
    working = t.Unicode().tag(sync=True)
    download = t.Dict().tag(sync=True)

    @property
    def _esm(self) -> str:
        return read_static("page.js")

    @property
    def _css(self) -> str:
        return read_static("page.css")

    def __init__(self, screen: Screen) -> None:
        self.screen = screen
        self._pieces: list[bytes] = []
        self.task = 0  # counts what was begun in a thread, or dropped
        self._offered = 0
        self._heard = 0  # number of the last message that was answered
        self._guests: dict[str, Any] = {}
        try:
            # Widgets are changed by the kernel's own thread, as if by a press.
            self._loop: asyncio.AbstractEventLoop | None = asyncio.get_running_loop()
        except RuntimeError:
            self._loop = None
        self._beside = widgets.VBox()
        super().__init__()
        self.on_msg(self._message)

    def redraw(self) -> None:
        """Show the screen as it is now."""
        with self.hold_sync():
            try:
                self.html = self.screen.draw()
            except Exception as error:
                self.screen.wrong(error, None)
                try:
                    self.html = self.screen.draw()
                except Exception as again:  # better a page of words than one that stands still
                    self.html = frame("This page cannot be drawn", problem(again), place="wrong")
            query = {k: v for k, v in self.screen.address.items() if v}
            self.address = f"?{urlencode(query)}" if query else ""
            self.answered = self._heard

    def invite(self, name: str, make: Callable[[], Any]) -> None:
        """Show a widget in the slot of this name; it is made when it is first asked for."""
        if name not in self._guests:
            guest = self._guests[name] = make()
            guest.add_class(f"wb-guest-{name}")
            self._beside.children = (*self._beside.children, guest)

    @property
    def view(self) -> Any:
        """The page, with the widgets that stand by themselves."""
        return widgets.VBox([self, self._beside])

    def offer(self, name: str, content: bytes) -> None:
        """Hand a PDF to the browser, once, to be saved under this name."""
        import base64

        self._offered += 1  # so that the same file can be handed over twice
        self.download = {
            "name": name,
            "data": f"data:application/pdf;base64,{base64.b64encode(content).decode()}",
            "turn": self._offered,
        }

    def later(
        self, words: str, work: Callable[[Callback], Any], then: Callable[[Any], object]
    ) -> None:
        """Do what takes long in a thread, and say so; what was begun before is dropped.

        `words`: empty where nobody waits for it. `work`: takes a step to call between its pieces,
        which ends it once it is dropped; must touch no widget. `then`: takes what came of it; the
        screen is drawn again after it.
        """
        self.task += 1
        number, asked = self.task, contextvars.copy_context()
        self.working = words

        def step(_: float | None, __: str = "") -> None:
            if number != self.task:
                raise Stopped

        def run() -> None:
            end: Callable[[], object]
            try:
                end = partial(then, work(step))
            except Exception as error:
                end = partial(self.screen.wrong, error, None)
            if self._loop is not None and self._loop.is_running():
                self._loop.call_soon_threadsafe(self._ended, number, end, context=asked)
            else:
                asked.run(self._ended, number, end)

        threading.Thread(target=run, daemon=True).start()

    def drop(self) -> None:
        """Let go of what is being done in a thread: nothing comes of it."""
        self.task += 1
        self.working = ""

    def _ended(self, number: int, end: Callable[[], object]) -> None:
        if number == self.task:
            self.working = ""
            end()
            self.redraw()

    def act(self, done: Press) -> None:
        """Do what a press does, from Python too."""
        try:
            self.screen.press(done)
        except Exception as error:  # a page that stands still says nothing; this one says what
            self.screen.wrong(error, done)
        self.redraw()

    def _message(self, _: object, content: dict[str, Any], buffers: list[Any]) -> None:
        event, serial = content.get("event"), int(content.get("serial") or 0)
        if event != "piece" or content.get("index") == int(content.get("pieces") or 0) - 1:
            self._heard = serial
        fields = {str(k): str(v) for k, v in dict(content.get("fields") or {}).items()}
        if event == "open":
            self.screen.address = dict(parse_qsl(str(content.get("address", "")).lstrip("?")))
            self.act(Press("open", fields=fields))
        elif event == "do":
            done = Press(str(content.get("do", "")), str(content.get("value", "")), fields)
            self.act(done)
        elif event == "piece":
            self._piece(content, fields, buffers)

    def _piece(self, content: dict[str, Any], fields: dict[str, str], buffers: list[Any]) -> None:
        index = content.get("index")
        if index == 0:
            self._pieces = []
        # A piece lost or doubled would make a wrong file; such a sending is dropped whole.
        if index == len(self._pieces) and sum(map(len, self._pieces)) <= _MOST_BYTES:
            self._pieces.append(bytes(buffers[0]) if buffers else b"")
        else:
            self._pieces = []
        if index != int(content.get("pieces") or 0) - 1:
            return
        whole, self._pieces = b"".join(self._pieces), []
        if len(whole) == content.get("size") and len(whole) <= _MOST_BYTES:
            name = str(content.get("name", ""))
            self.act(Press(str(content.get("do", "")), name, fields, whole))
            return
        lost = FileError(
            "The file did not arrive whole.",
            expected=f"a file of at most {_MOST_BYTES // 1_000_000} MB",
            remedy="choose it once more.",
        )
        self.screen.wrong(lost, None)
        self.redraw()
