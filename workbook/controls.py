"""The controls by which a photograph comes in: labelled, reached by keyboard, big for a glove.

Each is a native HTML element with a visible label, so it has an accessible name and works with the
keyboard and with a screen reader in JupyterLab and in Voilà. Nothing is fetched: script and style
travel with the control.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import anywidget
import traitlets as t

from workbook.theme import read_static

__all__ = ["ButtonRow", "CheckList", "FileField", "Progress", "Words"]


class _Control(anywidget.AnyWidget):
    """What all controls share: script, style, label."""

    kind = t.Unicode().tag(sync=True)
    label = t.Unicode().tag(sync=True)

    # Read when the first control is made, so that importing this module opens no file.
    @property
    def _esm(self) -> str:
        return read_static("controls.js")

    @property
    def _css(self) -> str:
        return read_static("controls.css")


class CheckList(_Control):
    """Any of a list, as tick boxes under one heading; `value` keeps the order of `options`."""

    kind = t.Unicode("checks").tag(sync=True)
    options = t.List(t.Unicode()).tag(sync=True)
    texts = t.List(t.Unicode()).tag(sync=True)
    value = t.List(t.Unicode()).tag(sync=True)

    @t.validate("value")
    def _listed(self, proposal: dict[str, Any]) -> list[str]:
        chosen = set(proposal["value"])
        return [option for option in self.options if option in chosen]


class ButtonRow(_Control):
    """Buttons side by side: dictionaries of ``name``, ``label``, and may be ``primary``."""

    kind = t.Unicode("buttons").tag(sync=True)
    buttons = t.List(t.Dict()).tag(sync=True)

    def __init__(self, buttons: Iterable[dict[str, Any]] = (), **kwargs: Any) -> None:
        self._waiting: list[Callable[[str], object]] = []
        super().__init__(buttons=[dict(b) for b in buttons], **kwargs)
        self.on_msg(self._message)

    def on_press(self, call: Callable[[str], object]) -> None:
        """Call with the name of what was pressed."""
        self._waiting.append(call)

    def press(self, name: str) -> None:
        """Do what a press of the button of this name does, from Python."""
        for call in list(self._waiting):
            call(name)

    def enable(self, name: str, on: bool) -> None:
        """Make the button of this name pressable, or not."""
        self.buttons = [{**b, "disabled": not on} if b["name"] == name else b for b in self.buttons]

    def _message(self, _: object, content: dict[str, Any], __: list[Any]) -> None:
        if content.get("event") == "press":
            self.press(str(content.get("name", "")))


class FileField(_Control):
    """A file chosen from the device.

    One of more than `most_bytes` is refused in words before it is sent, and again on arrival;
    `accept` is as in HTML: ``".csv,.xlsx"``.
    """

    kind = t.Unicode("file").tag(sync=True)
    help = t.Unicode().tag(sync=True)
    accept = t.Unicode().tag(sync=True)
    most_bytes = t.Int(40_000_000).tag(sync=True)

    def __init__(self, **kwargs: Any) -> None:
        self._pieces: list[bytes] = []
        self._waiting: list[Callable[[str, bytes], object]] = []
        super().__init__(**kwargs)
        self.on_msg(self._message)

    def on_file(self, call: Callable[[str, bytes], object]) -> None:
        """Call with name and content when a whole file has come."""
        self._waiting.append(call)

    def receive(self, name: str, content: bytes) -> None:
        """Take a whole file, as if it had been chosen."""
        for call in list(self._waiting):
            call(name, content)

    def _message(self, _: object, content: dict[str, Any], buffers: list[Any]) -> None:
        if content.get("event") != "piece":
            return
        index = content.get("index")
        if index == 0:
            self._pieces = []
        # A piece lost or doubled would make a wrong file; such a sending is dropped whole.
        if index != len(self._pieces):
            self._pieces = []
            return
        self._pieces.append(bytes(buffers[0]) if buffers else b"")
        if sum(map(len, self._pieces)) > self.most_bytes:
            self._pieces = []
            return
        if len(self._pieces) == content.get("pieces"):
            whole, self._pieces = b"".join(self._pieces), []
            if len(whole) == content.get("size"):
                self.receive(str(content.get("name", "")), whole)


class Progress(_Control):
    """That a long computation is at work, with a way to stop it; `text` is what is being done.

    The work must run in a thread: a kernel that is busy in its own thread hears no press.
    """

    kind = t.Unicode("progress").tag(sync=True)
    text = t.Unicode().tag(sync=True)
    running = t.Bool(False).tag(sync=True)

    def __init__(self, **kwargs: Any) -> None:
        self._waiting: list[Callable[[], object]] = []
        super().__init__(**kwargs)
        self.on_msg(self._message)

    def on_cancel(self, call: Callable[[], object]) -> None:
        """Call when Cancel is pressed."""
        self._waiting.append(call)

    def start(self, text: str) -> None:
        """Show the bar, with what is being done."""
        self.text, self.running = text, True

    def finish(self, text: str = "") -> None:
        """Take the bar away and leave a line of text, or nothing."""
        self.running, self.text = False, text

    def cancel(self) -> None:
        """Do what a press of Cancel does, from Python."""
        for call in list(self._waiting):
            call()

    def _message(self, _: object, content: dict[str, Any], __: list[Any]) -> None:
        if content.get("event") == "cancel":
            self.cancel()


class Words(_Control):
    """Lines of plain text that a screen reader speaks when they change.

    It speaks them at once where `live` is ``assertive``; `wrong` draws them as what went wrong.
    """

    kind = t.Unicode("words").tag(sync=True)
    text = t.Unicode().tag(sync=True)
    wrong = t.Bool(False).tag(sync=True)
    live = t.Enum(["polite", "assertive"], "polite").tag(sync=True)
