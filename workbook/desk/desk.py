"""The open archive that the panels of a notebook share, and its model."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.stepping import Step, part_of
from workbook.controls import Seat
from workbook.desk.work import LongWork
from workbook.session import Forms

if TYPE_CHECKING:
    from workbook.session import Session

__all__ = ["Desk"]


_LOOK_UP = 0.2
"""How often one that waits for another's fit asks whether to go on waiting [s]."""


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
        self.fitting = LongWork("Fitting the model", again="Fit the model")
        self.seat = Seat()
        self.seat.observe(self._arrived, "value")
        self.forms = Forms(session.archive)
        self._sitting: list[Callable[[Forms], object]] = []
        self._changed: list[Callable[[], object]] = []
        self._modelled: list[Callable[[Any], object]] = []
        self._model: Any = None
        self._lock = threading.Lock()

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
        from workbook.session.here import session_here

        session, demo = session_here(place)
        return cls(session, "the invented demonstration workshop" if demo else "")

    def _arrived(self, _: object) -> None:
        forms = Forms(self.session.archive, self.seat.value)
        if forms.bench == self.forms.bench:
            return
        self.forms = forms
        for call in list(self._sitting):
            with self.fitting.said.guard():
                call(forms)

    def on_sit(self, call: Callable[[Forms], object]) -> None:
        """Call with the bench's forms, now and when the browser says which bench this is.

        Parameters
        ----------
        call : callable
            Takes what the bench has typed and done.
        """
        self._sitting.append(call)
        call(self.forms)

    @property
    def model(self) -> Any:
        """The model fitted last, or None while there is none yet."""
        return self._model

    def fresh_model(self, step: Step | None = None) -> Any:
        """Return the model of the archive as it is now; two threads never fit at once.

        Parameters
        ----------
        step : callable, optional
            Called while it waits and while it fits; what it raises ends that.

        Returns
        -------
        FilmRegressor
            Fitted; takes its time when the archive has changed.
        """
        told = part_of(step)
        while not self._lock.acquire(timeout=_LOOK_UP):
            told(None, "waiting for the fit under way")
        try:
            return self.session.fit(step=step).model
        finally:
            self._lock.release()

    def on_model(self, call: Callable[[Any], object]) -> None:
        """Call with the model as soon as there is one, and again after each new fit.

        Parameters
        ----------
        call : callable
            Takes the model.
        """
        self._modelled.append(call)
        if self._model is not None:
            call(self._model)

    def fit(self) -> None:
        """Fit the model to the archive as it is now, in a thread; a fit of before is dropped."""
        self.fitting.start("Fitting the model to the archive …", self._fit, self._fitted)

    def _fit(self) -> Any:
        return self.fresh_model(self.fitting.step)

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
