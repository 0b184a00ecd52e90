"""The page of jobs: the list, or one job at one of its five steps; the address says which."""

from __future__ import annotations

from pathlib import Path

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.jobs.board import board
from workbook.page import Page, Press
from workbook.page.fields import problem
from workbook.page.frame import frame
from workbook.session.here import session_here
from workbook.session.session import Session

__all__ = ["JobsScreen", "jobs_page"]


class JobsScreen:
    """Jobs of one archive.

    Parameters
    ----------
    session : Session
        Open.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.address: dict[str, str] = {}
        self.sought = ""
        self.error: Exception | None = None

    def wrong(self, error: Exception, done: Press | None) -> None:
        """Keep what went wrong until the next press."""
        self.error = error

    def draw(self) -> str:
        """Return the page."""
        return board(self.session.archive, sought=self.sought, wrong=self.error)

    def press(self, done: Press) -> None:
        """Do what was pressed."""
        self.error = None
        if done.do == "find":
            self.sought = done.fields.get("sought", "")


class _Closed:
    """Says why there is no archive to show."""

    def __init__(self, error: Exception) -> None:
        self.error, self.address = error, dict[str, str]()

    def draw(self) -> str:
        return frame("The archive cannot be opened", problem(self.error), place="closed")

    def press(self, done: Press) -> None:
        pass

    def wrong(self, error: Exception, done: Press | None) -> None:
        self.error = error


def jobs_page(archive: str | Path | None = None) -> widgets.Widget:
    """Return the page.

    Parameters
    ----------
    archive : str or Path, optional
        As `workbook.session.here.session_here` takes it.

    Returns
    -------
    Widget
        To be shown.
    """
    try:
        session, _ = session_here(archive)
    except Exception as error:
        return Page(_Closed(error))
    return Page(JobsScreen(session))
