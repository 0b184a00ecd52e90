"""The archive's screen: its contents at the left, one part of them on screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.audit import Finding
from matchlib.plural import counted
from workbook.archive_page import findings, pictures, trust
from workbook.page import frame, steps_list
from workbook.screen import PartedScreen, screen_page

if TYPE_CHECKING:
    from matchlib.domain import Panel
    from workbook.page import Page
    from workbook.session import Session

__all__ = ["ArchiveScreen", "archive_page"]

_PARTS = {
    "sprayed": ("What was sprayed", pictures.draw_sprayed),
    "wrong": ("What looks wrong", findings.draw),
    "reach": ("What is within reach", pictures.draw_reach),
    "repeats": ("How well cards repeat", pictures.draw_repeats),
    "near": ("How near predictions come", trust.draw_near),
    "drift": ("Drift by day and lot", trust.draw_drift),
    "next": ("What to spray next", trust.draw_next),
    "why": ("Why a prediction says so", trust.draw_why),
    "history": ("History", trust.draw_history),
}


class ArchiveScreen(PartedScreen):
    """One archive looked at as a whole."""

    def __init__(self, session: Session) -> None:
        super().__init__(session, _PARTS, findings, pictures, trust)
        self.findings: list[Finding] | None = None
        self.seen: dict[str, Panel] = {}  # the cards as they were looked at
        self.laws: dict[str, tuple[Any, Any, Any]] = {}  # read, as written, as proposed; by key
        self.found: dict[str, Any] = {}  # what was worked out, by part

    def draw(self) -> str:
        """Return the part that is on screen."""
        panels = self.session.archive.panels()
        grounds = {n for p in panels for n in p.recipe.ground.names}
        colours = {n for p in panels for c in p.recipe.colours for n in c.names}
        count = (
            f"<p><b>{counted(len(panels), 'card')}</b> · "
            f"{counted(len(grounds), 'ground')} · "
            f"{counted(len(colours), 'colour')}</p>"
        )
        marks = {"wrong": "·" if self.findings is None else str(len(findings.open_(self)))}
        contents = [(name, words, marks.get(name, "·")) for name, (words, _) in _PARTS.items()]
        title, part = _PARTS[self.part]
        if panels or self.part == "history":  # what emptied the archive is taken back there
            main, forward = part(self)
        else:
            main = "<p>Nothing is sprayed yet, so there is nothing to look at.</p>"
            forward = (
                '<a class="wb-press wb-go" href="browse_the_library.ipynb">Begin the library</a>'
            )
        return frame(
            title,
            f"{self.message}{main}",
            place=f"archive {self.part}",
            rail=count + steps_list(contents, self.part, do="part"),
            undo=self.undo_words,
            forward=forward,
        )

    def _learnt(self, model: Any) -> None:
        super()._learnt(model)
        if self.findings is None and model is not None:
            findings.do_look(self, quiet=True)

    def changed(self) -> None:
        """Note that the archive was changed; what was worked out of it no longer holds."""
        self.found.clear()
        super().changed()

    do_coats = PartedScreen.do_choose  # as the slider moves


def archive_page(archive: str | Path | None = None) -> Page:
    """Return the page."""
    return screen_page(ArchiveScreen, archive)
