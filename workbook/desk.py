"""What every notebook panel stands on: the open archive, a line that speaks, work in a thread.

A panel never shows a traceback. What went wrong comes as plain words in a live region beside what
was pressed; what takes longer than a second runs in a thread, with a bar and a way to stop it.
"""

from __future__ import annotations

import contextlib
import logging
import os
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Self

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.errors import MatchlibError
from workbook.controls import HtmlView, Progress
from workbook.figures import ORIENTATION, Raw, chip, esc, lab_text

if TYPE_CHECKING:
    from pathlib import Path

    from workbook.session import Session

__all__ = [
    "ARCHIVE",
    "Desk",
    "Pages",
    "Said",
    "Stopped",
    "Work",
    "colour_cell",
    "demo_folder",
    "flow",
    "heading",
]

ARCHIVE = "WORKBOOK_ARCHIVE"
"""Environment variable that names the archive; the demonstration is used without it."""

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
    """

    def __init__(self, label: str) -> None:
        self.bar = Progress(label=label)
        self.said = Said(f"{label}: message")
        self._thread: threading.Thread | None = None

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
        self.bar.value = share
        if words:
            self.bar.text = words

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
        except Exception as error:
            self.said.complain(error)
        finally:
            self.bar.finish()

    @property
    def view(self) -> widgets.Widget:
        """Bar and words, to be put into a panel."""
        return widgets.VBox([self.bar, self.said])


class Desk:
    """An open archive that several panels share.

    Parameters
    ----------
    session : Session
        Open.
    name : str
        The archive as it is called before the user.
    """

    def __init__(self, session: Session, name: str = "") -> None:
        self.session = session
        self.name = name or session.archive.label
        self.fitting = Work("Fitting the model")
        self._changed: list[Callable[[], object]] = []
        self._modelled: list[Callable[[Any], object]] = []
        self._model: Any = None
        self._stale = True

    @classmethod
    def open(cls, place: str | Path | None = None) -> Desk:
        """Open the archive named, or the one of the environment, or the demonstration.

        Parameters
        ----------
        place : str or Path, optional
            File or URL.

        Returns
        -------
        Desk
            Ready.

        Raises
        ------
        MatchlibError
            If it cannot be opened.
        """
        from workbook.session import Session, make_demo

        given = place or os.environ.get(ARCHIVE)
        if given:
            session = Session.open(given, write=False)
            return cls(session, session.archive.label)
        shop = make_demo(demo_folder())
        return cls(Session.open(shop.archive), "the invented demonstration workshop")

    @property
    def model(self) -> Any:
        """The model fitted last, or None while there is none yet."""
        return self._model

    def on_model(self, call: Callable[[Any], object]) -> None:
        """Call with the model as soon as there is one, and again after each new fit.

        Parameters
        ----------
        call : callable
            Takes the model; runs in the thread of the fit.
        """
        self._modelled.append(call)
        if self._model is not None:
            call(self._model)

    def fit(self) -> None:
        """Fit the model to the archive as it is now, in a thread."""
        self._stale = True
        if not self.fitting.busy:
            self.fitting.start("Fitting the model to the archive …", self._fit, self._fitted)

    def _fit(self) -> Any:
        model = None
        while self._stale:  # the archive may change while a fit runs
            self._stale = False
            self.fitting.step(None)
            model = self.session.model
        return model

    def _fitted(self, model: Any) -> None:
        self._model = model
        for call in list(self._modelled):
            call(model)

    def on_change(self, call: Callable[[], object]) -> None:
        """Call whenever a panel of the archive was changed.

        Parameters
        ----------
        call : callable
            Takes nothing.
        """
        self._changed.append(call)

    def changed(self) -> None:
        """Tell every panel that the archive was changed, and fit anew."""
        for call in list(self._changed):
            call()
        self.fit()


class Pages:
    """The panels of a notebook, each made when it is first asked for, all on one desk.

    Parameters
    ----------
    desk : Desk, optional
        The open archive; None when it could not be opened, and then every panel says so.
    trouble : Exception, optional
        Why it could not.
    """

    def __init__(self, desk: Desk | None, trouble: Exception | None = None) -> None:
        self.desk = desk
        self.trouble = trouble
        self.panels: dict[str, Any] = {}

    @classmethod
    def open(cls, place: str | Path | None = None) -> Self:
        """Open the archive.

        Parameters
        ----------
        place : str or Path, optional
            As for `Desk.open`.

        Returns
        -------
        Pages
            Also when it cannot be opened: the first panel then says why.
        """
        try:
            return cls(Desk.open(place))
        except Exception as error:
            return cls(None, error)

    def opening(self) -> widgets.Widget:
        """Return which archive this is, and begin to fit its model."""
        if self.desk is None:
            said = Said("Archive: message")
            if self.trouble is not None:
                said.complain(self.trouble)
            return said
        head = HtmlView(label="Archive")
        desk = self.desk

        def count() -> None:
            panels = desk.session.archive.panels()
            readings = sum(len(p.readings) for p in panels)
            head.html = (
                f"<p><strong>{esc(desk.name)}</strong>: {len(panels)} panels, {readings} readings."
                f"</p><p class='cpw-muted'>{ORIENTATION}</p>"
            )

        with desk.fitting.said.guard():
            count()
            desk.on_change(count)
            desk.fit()
        return widgets.VBox([head, desk.fitting.view])

    def page(self, name: str, make: Callable[[Desk], Any]) -> widgets.Widget:
        """Return a panel, or words where there can be none.

        Parameters
        ----------
        name : str
            Its name.
        make : callable
            Takes the desk, gives something with a ``view``.

        Returns
        -------
        Widget
            To be shown.
        """
        if self.desk is None:
            return HtmlView("<p>No archive is open.</p>")
        if name not in self.panels:
            try:
                self.panels[name] = make(self.desk)
            except Exception as error:
                said = Said(f"{name}: message")
                said.complain(error)
                return said
        return self.panels[name].view


def demo_folder() -> Path:
    """Return where the demonstration is kept for notebooks opened without an archive.

    Returns
    -------
    Path
        In the user's data folder, so that what was changed in it outlives the kernel.
    """
    from pathlib import Path

    import platformdirs

    return Path(platformdirs.user_data_dir("candy-panel-workbook")) / "demo-workshop"


def colour_cell(lab: Any) -> Raw:
    """Return a swatch with its numbers, for a cell of a table.

    Parameters
    ----------
    lab : sequence of 3 float
        CIELAB.

    Returns
    -------
    Raw
        HTML.
    """
    return Raw(f'<span class="cpw-key">{chip(lab, size=30)}{esc(lab_text(lab))}</span>')


def flow(*controls: widgets.Widget, least: int = 200) -> widgets.Box:
    """Put controls side by side, as many as fit, the rest below.

    Parameters
    ----------
    *controls : Widget
        In reading order.
    least : int
        Least width of each [px].

    Returns
    -------
    Box
        Of them.
    """
    for control in controls:
        control.layout.flex = f"1 1 {least}px"
        control.layout.width = "auto"
        control.layout.min_width = "0"
    layout = widgets.Layout(display="flex", flex_flow="row wrap", width="100%")
    return widgets.Box(list(controls), layout=layout)


def heading(text: str, words: str = "", *, level: int = 3) -> HtmlView:
    """Return a heading with a line of explanation.

    Parameters
    ----------
    text, words : str
        The heading, and what is below it.
    level : int
        2 to 4.

    Returns
    -------
    HtmlView
        To be put into a panel.
    """
    below = f'<p class="cpw-muted">{esc(words)}</p>' if words else ""
    return HtmlView(f"<h{level}>{esc(text)}</h{level}>{below}")
