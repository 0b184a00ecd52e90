"""The panels of one notebook."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.controls import HtmlView
from workbook.desk.desk import Desk
from workbook.desk.said import Said
from workbook.figures import ORIENTATION, esc

__all__ = ["Pages"]


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
        return widgets.VBox([desk.seat, head, desk.fitting.view])

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
