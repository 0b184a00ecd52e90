"""The archive's panels on one desk."""

from __future__ import annotations

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.archive_view.accuracy import AccuracyPanel
from workbook.archive_view.coverage import CoveragePanel
from workbook.archive_view.drift import DriftPanel
from workbook.archive_view.findings import FindingsPanel
from workbook.archive_view.history import HistoryPanel
from workbook.archive_view.next import NextPanel
from workbook.archive_view.reach import ReachPanel
from workbook.archive_view.repeats import RepeatsPanel
from workbook.archive_view.why import WhyPanel
from workbook.desk import Pages
from workbook.entry import EntryForm

__all__ = ["ArchiveView", "open_view"]


class ArchiveView(Pages):
    """The panels of one archive."""

    def coverage(self) -> widgets.Widget:
        """Return what was sprayed, and what never."""
        return self.page("coverage", CoveragePanel)

    def reach(self) -> widgets.Widget:
        """Return the colours within reach."""
        return self.page("reach", ReachPanel)

    def repeatability(self) -> widgets.Widget:
        """Return how well panels repeat, by sprayer and lot."""
        return self.page("repeatability", RepeatsPanel)

    def drift(self) -> widgets.Widget:
        """Return what changed with time."""
        return self.page("drift", DriftPanel)

    def findings(self) -> widgets.Widget:
        """Return what looks wrong, and its fixes."""
        return self.page("findings", FindingsPanel)

    def accuracy(self) -> widgets.Widget:
        """Return how good the predictions are on what was left out."""
        return self.page("accuracy", AccuracyPanel)

    def next_panels(self) -> widgets.Widget:
        """Return which panels would teach the archive most."""
        return self.page("next_panels", NextPanel)

    def why(self) -> widgets.Widget:
        """Return where a prediction's uncertainty comes from."""
        return self.page("why", WhyPanel)

    def history(self) -> widgets.Widget:
        """Return every change, each with its undo."""
        return self.page("history", HistoryPanel)

    def entry(self) -> widgets.Widget:
        """Return the form for a new panel."""
        return self.page("entry", EntryForm)


def open_view(place: str | None = None) -> ArchiveView:
    """Open the archive for looking at.

    Parameters
    ----------
    place : str, optional
        File or URL; what ``WORKBOOK_ARCHIVE`` names if None, else the demonstration.

    Returns
    -------
    ArchiveView
        Also when it cannot be opened: its first panel then says why.
    """
    return ArchiveView.open(place)
