"""The open archive that the panels of a notebook share, and its model."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from workbook.desk.work import Work

if TYPE_CHECKING:
    from workbook.session import Session

__all__ = ["ARCHIVE", "Desk", "demo_folder"]

ARCHIVE = "WORKBOOK_ARCHIVE"
"""Environment variable that names the archive; the demonstration is used without it."""


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


def demo_folder() -> Path:
    """Return where the demonstration is kept for notebooks opened without an archive.

    Returns
    -------
    Path
        In the user's data folder, so that what was changed in it outlives the kernel.
    """
    import platformdirs

    return Path(platformdirs.user_data_dir("candy-panel-workbook")) / "demo-workshop"
