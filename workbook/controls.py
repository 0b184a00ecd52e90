"""The controls of the notebooks: labelled, reached by keyboard, big enough for a gloved hand.

Each is a native HTML element with a visible label, so it has an accessible name and works with the
keyboard and with a screen reader in JupyterLab and in Voilà. Nothing is fetched: script and style
travel with the control. `value` is kept in step both ways; what is typed or dragged reaches Python
once a frame at most. Observe it as with any widget: ``slider.observe(redraw, "value")``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import anywidget
import traitlets as t

from workbook.theme import read_static, stylesheet

__all__ = [
    "Button",
    "ButtonRow",
    "CheckList",
    "Choice",
    "FileField",
    "HtmlView",
    "NumberField",
    "Progress",
    "Seat",
    "Slider",
    "TextField",
]


class _Control(anywidget.AnyWidget):
    """What all controls share: script, style, label, help line.

    `spoken` follows the label for those who hear it and do not see where the control stands: in a
    row of a list, ``" angle 2"``.
    """

    kind = t.Unicode().tag(sync=True)
    label = t.Unicode().tag(sync=True)
    spoken = t.Unicode().tag(sync=True)
    help = t.Unicode().tag(sync=True)
    disabled = t.Bool(False).tag(sync=True)

    # Read when the first control is made, so that importing this module opens no file.
    @property
    def _esm(self) -> str:
        return read_static("controls.js")

    @property
    def _css(self) -> str:
        return stylesheet()


class Slider(_Control):
    """A labelled slider; arrows step, Home and End go to the ends.

    Parameters
    ----------
    value, min, max, step : float
        In `unit`.
    unit : str
        Written after the value, in the plural: ``coats``, which is ``coat`` after 1.
    texts : list of str
        What to show and speak for each step from `min`, in place of the number: for a ratio,
        ``["8 parts carrier to 1 part colour", ...]``.
    """

    kind = t.Unicode("slider").tag(sync=True)
    min = t.Float(0.0).tag(sync=True)
    max = t.Float(100.0).tag(sync=True)
    step = t.Float(1.0).tag(sync=True)
    unit = t.Unicode().tag(sync=True)
    texts = t.List(t.Unicode()).tag(sync=True)
    value = t.Float(0.0).tag(sync=True)

    @t.validate("value")
    def _inside(self, proposal: dict[str, Any]) -> float:
        return float(min(max(proposal["value"], self.min), self.max))


class Choice(_Control):
    """One of a list; `texts` are what is shown for `options`, the options themselves if empty."""

    kind = t.Unicode("choice").tag(sync=True)
    options = t.List(t.Unicode()).tag(sync=True)
    texts = t.List(t.Unicode()).tag(sync=True)
    value = t.Unicode().tag(sync=True)

    def __init__(self, options: Sequence[str] = (), **kwargs: Any) -> None:
        options = list(options)
        kwargs.setdefault("value", options[0] if options else "")
        super().__init__(options=options, **kwargs)

    @t.validate("value")
    def _listed(self, proposal: dict[str, Any]) -> str:
        value: str = proposal["value"]
        if self.options and value not in self.options:
            raise t.TraitError(f"{value!r} is not among {self.options}")
        return value


class NumberField(_Control):
    """A number that is typed; `value` is None while the field is empty or says something else.

    A decimal comma, letters and numbers outside `min` to `max` are refused in words below it.
    """

    kind = t.Unicode("number").tag(sync=True)
    min = t.Float(None, allow_none=True).tag(sync=True)
    max = t.Float(None, allow_none=True).tag(sync=True)
    unit = t.Unicode().tag(sync=True)
    value = t.Float(None, allow_none=True).tag(sync=True)


class TextField(_Control):
    """Text of one line, or of `lines` lines."""

    kind = t.Unicode("text").tag(sync=True)
    lines = t.Int(1).tag(sync=True)
    value = t.Unicode().tag(sync=True)


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


class _Pressed(_Control):
    """Shared by what can be pressed: named presses go to the functions that asked for them."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self._waiting: list[Callable[[str], object]] = []
        super().__init__(*args, **kwargs)
        self.on_msg(self._message)

    def on_press(self, call: Callable[[str], object]) -> None:
        """Call with the name of what was pressed.

        Parameters
        ----------
        call : callable
            Takes the name.
        """
        self._waiting.append(call)

    def press(self, name: str) -> None:
        """Do what a press does, from Python.

        Parameters
        ----------
        name : str
            Of the button.
        """
        for call in list(self._waiting):
            call(name)

    def _message(self, _: object, content: dict[str, Any], __: list[Any]) -> None:
        if content.get("event") == "press":
            self.press(str(content.get("name", "")))


class ButtonRow(_Pressed):
    """Buttons side by side.

    Parameters
    ----------
    buttons : iterable of (name, label) or dict
        As dict: ``name``, ``label``, and optionally ``primary``, ``disabled``, ``help``, and
        ``spoken`` as for every control.
    """

    kind = t.Unicode("buttons").tag(sync=True)
    buttons = t.List(t.Dict()).tag(sync=True)

    def __init__(
        self, buttons: Iterable[tuple[str, str] | dict[str, Any]] = (), **kwargs: Any
    ) -> None:
        rows = [dict(b) if isinstance(b, dict) else {"name": b[0], "label": b[1]} for b in buttons]
        super().__init__(buttons=rows, **kwargs)

    def enable(self, name: str, on: bool = True) -> None:
        """Make a button pressable, or not.

        Parameters
        ----------
        name : str
            Of the button.
        on : bool
            Whether it can be pressed.
        """
        self.buttons = [
            {**b, "disabled": not on} if b.get("name") == name else b for b in self.buttons
        ]


class Button(ButtonRow):
    """One button; `on_press` as for a row.

    Parameters
    ----------
    label : str
        What it says, an action: ``"Suggest recipes"``.
    primary : bool
        Whether it is the main action of its panel.
    """

    def __init__(self, label: str, *, primary: bool = False, help: str = "", **kwargs: Any) -> None:  # noqa: A002 the word all controls use
        row = {"name": label, "label": label, "primary": primary, "help": help}
        super().__init__([row], **kwargs)


class FileField(_Control):
    """A file chosen from the device, as `name` and `content`.

    Parameters
    ----------
    accept : str
        As in HTML: ``".csv,.xlsx"``.
    most_bytes : int
        Larger files are refused in words, before they are sent and again on arrival.
    """

    kind = t.Unicode("file").tag(sync=True)
    accept = t.Unicode().tag(sync=True)
    most_bytes = t.Int(40_000_000).tag(sync=True)

    def __init__(self, **kwargs: Any) -> None:
        self.name = ""
        self.content = b""
        self._pieces: list[bytes] = []
        self._waiting: list[Callable[[str, bytes], object]] = []
        super().__init__(**kwargs)
        self.on_msg(self._message)

    def on_file(self, call: Callable[[str, bytes], object]) -> None:
        """Call with name and content when a whole file has come.

        Parameters
        ----------
        call : callable
            Takes name and content.
        """
        self._waiting.append(call)

    def receive(self, name: str, content: bytes) -> None:
        """Take a whole file, as if it had been chosen.

        Parameters
        ----------
        name : str
            File name, without folder.
        content : bytes
            All of it.
        """
        self.name, self.content = name, content
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
    """How far a long computation is, with a way to stop it.

    The work must run in a thread: a kernel that is busy in its own thread hears no press.

    Parameters
    ----------
    value : float or None
        0 to 1; None while nobody can tell.
    text : str
        What is being done, read out when it changes.
    """

    kind = t.Unicode("progress").tag(sync=True)
    value = t.Float(None, allow_none=True).tag(sync=True)
    text = t.Unicode().tag(sync=True)
    running = t.Bool(False).tag(sync=True)
    cancellable = t.Bool(True).tag(sync=True)

    def __init__(self, **kwargs: Any) -> None:
        self._waiting: list[Callable[[], object]] = []
        super().__init__(**kwargs)
        self.on_msg(self._message)

    def on_cancel(self, call: Callable[[], object]) -> None:
        """Call when Cancel is pressed.

        Parameters
        ----------
        call : callable
            Takes nothing.
        """
        self._waiting.append(call)

    def cancel(self) -> None:
        """Do what a press of Cancel does, from Python."""
        for call in list(self._waiting):
            call()

    def start(self, text: str) -> None:
        """Show the bar.

        Parameters
        ----------
        text : str
            What is being done.
        """
        self.value, self.text, self.running = None, text, True

    def finish(self, text: str = "") -> None:
        """Take the bar away and leave a line of text, or nothing.

        Parameters
        ----------
        text : str
            What came of it.
        """
        self.running, self.text = False, text

    def _message(self, _: object, content: dict[str, Any], __: list[Any]) -> None:
        if content.get("event") == "cancel":
            self.cancel()


class HtmlView(_Pressed):
    """HTML and SVG made by `workbook.figures`, redrawn in place without a jump.

    Buttons in it with a ``data-press`` name report to `on_press`. Whoever makes the HTML escapes
    the names in it; scripts, handlers and addresses are dropped on arrival all the same.

    Parameters
    ----------
    html : str
        What is shown.
    live : {"off", "polite", "assertive"}
        Whether a screen reader speaks it when it changes.
    """

    kind = t.Unicode("html").tag(sync=True)
    html = t.Unicode().tag(sync=True)
    live = t.Enum(["off", "polite", "assertive"], "off").tag(sync=True)

    def __init__(self, html: str = "", **kwargs: Any) -> None:
        super().__init__(html=html, **kwargs)


class Seat(_Control):
    """Which bench this browser is: nothing to see, a mark that the browser keeps for itself.

    On arrival the page sends the mark that its browser keeps, or a new one at random. Set from
    Python, the browser keeps the one set from then on.

    Parameters
    ----------
    value : str
        Hexadecimal digits; empty until the page has said.
    kept : bool
        Whether the browser keeps it; if not, the next page comes with another one.
    """

    kind = t.Unicode("seat").tag(sync=True)
    value = t.Unicode().tag(sync=True)
    kept = t.Bool(True).tag(sync=True)
