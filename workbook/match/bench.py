"""What all panels of the match share: the session, the work in hand, what was found, undo."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.errors import DomainError, FitError, MatchlibError, TargetError
from workbook.match.keeping import SETTING, Work, plain_of, work_of
from workbook.session import Session, lab_of

if TYPE_CHECKING:
    from matchlib.domain import Recipe, Viewing
    from matchlib.regression import FilmPredictor
    from matchlib.suggest import Limits, Suggestions

__all__ = ["Bench", "plain_recipe_name"]

_MOST_UNDO = 50


class Bench:
    """The state of the match; knows no widgets.

    Parameters
    ----------
    session : Session
        Open.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.trouble = ""
        self.found: Suggestions | None = None
        self.found_for = ""
        self.reach: Any = None
        self.model: FilmPredictor | None = None
        self.outdated = False
        self._undo: list[tuple[str, Callable[[], None]]] = []
        self._watching: list[Callable[[], None]] = []
        try:
            self.work = work_of(session.archive.setting(SETTING))
        except DomainError as error:
            self.work, self.trouble = Work(), str(error)

    # What it holds

    @property
    def folder(self) -> Path | None:
        """Where the archive's file lies; None for an archive on a server."""
        path = self.session.archive.database.path
        return None if path is None else path.parent

    @property
    def viewing(self) -> Viewing:
        """How the target was viewed, or the archive's own way."""
        from matchlib.domain import Viewing as View

        if self.work.target is not None:
            return self.work.target.viewing
        return View(geometry=self.need_model().words_.geometries[0])

    @property
    def target_lab(self) -> tuple[float, float, float] | None:
        """The target's CIELAB, if there is a target."""
        return None if self.work.target is None else lab_of(self.work.target)

    def need_model(self) -> FilmPredictor:
        """Return the model.

        Returns
        -------
        FilmPredictor
            The last one fitted; while the archive's newest panels are being learnt from, the one
            before.

        Raises
        ------
        FitError
            If there is none yet.
        """
        if self.model is None:
            raise FitError("The model is not ready yet.", remedy="wait until it is.")
        return self.model

    def need_target(self) -> tuple[float, float, float]:
        """Return the target's CIELAB.

        Returns
        -------
        tuple of 3 float
            Under its own viewing.

        Raises
        ------
        TargetError
            If no target was chosen.
        """
        lab = self.target_lab
        if lab is None:
            raise TargetError("There is no target yet.", remedy="choose one under Target first.")
        return lab

    def need_recipe(self) -> Recipe:
        """Return the chosen recipe.

        Returns
        -------
        Recipe
            Chosen.

        Raises
        ------
        DomainError
            If none was chosen.
        """
        if self.work.recipe is None:
            raise DomainError(
                "No recipe is chosen yet.",
                remedy="press 'Use this one' at a suggestion, or 'Use this recipe' under What if.",
            )
        return self.work.recipe

    def limits(self) -> Limits:
        """Return the shelf as it stands.

        Returns
        -------
        Limits
            Checked.
        """
        return self.session.limits(max_unevenness=self.work.most_uneven)

    def asked(self, top: int) -> str:
        """Return what a search now would depend on, to tell whether the last one still holds.

        Parameters
        ----------
        top : int
            Suggestions wanted.

        Returns
        -------
        str
            Equal for equal questions.
        """
        work = plain_of(replace(self.work, recipe=None, tried=(), job={}))
        content = self.session.archive.content_hash()
        return json.dumps([work, self.session.shelf(), top, content], sort_keys=True)

    # Changing it

    def watch(self, call: Callable[[], None]) -> None:
        """Call after every change.

        Parameters
        ----------
        call : callable
            Takes nothing.
        """
        self._watching.append(call)

    def change(self, words: str, **fields: Any) -> None:
        """Change the work in hand, keep it, and let it be undone.

        Parameters
        ----------
        words : str
            What is changed, for the undo button.
        **fields : object
            Of `Work`.
        """
        before = self.work
        after = replace(before, **fields)
        if after == before:
            return
        self.work = after
        self._remember(words, lambda: self._put_back(before))

    def note(self, **fields: Any) -> None:
        """Keep what is typed into a form; the form itself is its undo.

        Parameters
        ----------
        **fields : object
            Of `Work`.
        """
        self.work = replace(self.work, **fields)
        self._keep()

    def set_shelf(self, words: str, limits: Mapping[str, Any]) -> None:
        """Change the shop's limits, keep them, and let it be undone.

        Parameters
        ----------
        words : str
            What is changed.
        limits : mapping
            Fields of `Limits`.

        Raises
        ------
        DomainError
            If they are no limits.
        """
        before = self.session.shelf()
        self.session.remember_shelf(limits)
        if self.session.shelf() != before:
            self._remember(words, lambda: self.session.remember_shelf(before or None))

    def did(self, words: str, undo: Callable[[], None]) -> None:
        """Let something be undone that was done to the archive's panels.

        Parameters
        ----------
        words : str
            What was done.
        undo : callable
            Takes it back.
        """

        def back() -> None:
            undo()
            self.outdated = True

        self.outdated = True
        self._remember(words, back)

    @property
    def undo_words(self) -> str:
        """What the next undo takes back; empty for nothing."""
        return self._undo[-1][0] if self._undo else ""

    def undo(self) -> str:
        """Take the last change back.

        Returns
        -------
        str
            What was taken back; empty if there was nothing.
        """
        if not self._undo:
            return ""
        words, back = self._undo.pop()
        back()
        self._keep()
        self._tell()
        return words

    def _put_back(self, work: Work) -> None:
        # What was typed into forms since then is not part of the change.
        self.work = replace(work, job=self.work.job)

    def _remember(self, words: str, undo: Callable[[], None]) -> None:
        self._undo = [*self._undo[-_MOST_UNDO + 1 :], (words, undo)]
        self._keep()
        self._tell()

    def _keep(self) -> None:
        # An archive that cannot be written can be matched from all the same.
        with contextlib.suppress(MatchlibError):
            self.session.archive.set_setting(SETTING, plain_of(self.work))

    def _tell(self) -> None:
        for call in list(self._watching):
            call()


def plain_recipe_name(recipe: Recipe) -> str:
    """Return a recipe's road, ground and colour only.

    Parameters
    ----------
    recipe : Recipe
        Any.

    Returns
    -------
    str
        Such as ``teal over silver``.
    """
    if recipe.colour is None:
        return f"bare {recipe.ground}"
    return f"{recipe.colour} over {recipe.ground}"
