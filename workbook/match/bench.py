"""What all panels of the match share: the session, the work in hand, what was found, undo.

Nothing here lives in the kernel alone: the work and what undo takes back are plain data, kept with
the archive under the mark of the bench at every change.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.errors import DomainError, FitError, TargetError
from workbook.match.keeping import Work, plain_of, work_of
from workbook.match.seat import AtBench
from workbook.session import Session, lab_of
from workbook.session.order import aim_of

if TYPE_CHECKING:
    from matchlib.domain import Recipe, Viewing
    from matchlib.regression import FilmPredictor
    from matchlib.suggest import Limits, Suggestions, Target

__all__ = ["Bench", "plain_recipe_name"]

_MOST_UNDO = 50
_WHO = "match notebook"


class Bench(AtBench):
    """The state of the match; knows no widgets.

    Parameters
    ----------
    session : Session
        Open.
    mark : str
        Of the bench, as its browser keeps it; empty for none.
    """

    def __init__(self, session: Session, mark: str = "") -> None:
        self.reach: Any = None
        self.model: FilmPredictor | None = None
        self.outdated = False
        super().__init__(session, mark)

    def _sit(self, mark: str) -> None:
        self.found: Suggestions | None = None
        self.found_for = ""
        super()._sit(mark)

    # What it holds

    @property
    def work(self) -> Work:
        """What is being matched here."""
        return self.hand.work

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

    @property
    def where_first(self) -> str:
        """Words for the target's first angle, such as `` at 45as15``; empty for the only one."""
        work = self.work
        return f" at {work.readings[0].viewing.geometry}" if len(work.readings) > 1 else ""

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

    def need_aim(self) -> Target:
        """Return the target with what passes.

        Returns
        -------
        Target
            At all its angles.

        Raises
        ------
        TargetError
            If no target was chosen, or a weight is for an angle that it has not.
        """
        self.need_target()
        work = self.work
        return aim_of(work.readings, work.order, work.weights)

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

    def change(self, words: str, **fields: Any) -> None:
        """Change the work in hand, keep it, and let it be undone.

        Parameters
        ----------
        words : str
            What is changed, for the undo button.
        **fields : object
            Of `Work`.
        """
        after = replace(self.work, **fields)
        if after == self.work:
            return
        self._not_stale()
        changed = plain_of(after)
        # What is typed into forms is not part of the change.
        kept = {k: v for k, v in plain_of(self.work).items() if k != "job" and v != changed[k]}
        self.hand = replace(self.hand, work=after)
        self._remember(words, kind="work", before=kept)

    def note(self, **fields: Any) -> None:
        """Keep what is typed into a form; the form itself is its undo.

        Parameters
        ----------
        **fields : object
            Of `Work`.
        """
        behind = self.refresh()
        after = replace(self.work, **fields)
        if after != self.work:
            self.hand = replace(self.hand, work=after)
            self._keep()
        if behind:
            self._tell()

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
        self._not_stale()
        before = self.session.shelf()
        self.session.remember_shelf(limits)
        after = self.session.shelf()
        if after != before:
            names = [n for n in {**before, **after} if before.get(n) != after.get(n)]
            self._remember(
                words,
                kind="shelf",
                before={n: before.get(n) for n in names},
                after={n: after.get(n) for n in names},
            )

    def kept_panels(self, words: str, numbers: Sequence[int], codes: Sequence[str]) -> None:
        """Let it be undone that panels were put into the archive.

        Parameters
        ----------
        words : str
            What was done.
        numbers : sequence of int
            Of the archive's changes, oldest first.
        codes : sequence of str
            The panels; those sprayed for this target count as kept from now on.
        """
        self._mark_kept(codes, True)
        self.outdated = True
        self._remember(words, kind="panels", numbers=list(numbers), codes=list(codes))

    def _mark_kept(self, codes: Sequence[str], kept: bool) -> None:
        tried = tuple(replace(t, kept=kept) if t.code in codes else t for t in self.work.tried)
        self.hand = replace(self.hand, work=replace(self.work, tried=tried))

    @property
    def undo_words(self) -> str:
        """What the next undo takes back; empty for nothing."""
        return str(self.hand.steps[-1].get("words", "")) if self.hand.steps else ""

    def undo(self) -> str:
        """Take the last change back, be it from before a restart.

        Returns
        -------
        str
            What was taken back; empty if there was nothing.

        Raises
        ------
        MatchlibError
            If it cannot be any more; it is then no longer offered here.
        """
        self._not_stale()
        if not self.hand.steps:
            return ""
        words, step = self.undo_words, self.hand.steps[-1]
        self.hand = replace(self.hand, steps=self.hand.steps[:-1])
        try:
            self._take_back(step)
        finally:
            self._keep()
            self._tell()
        return words

    def _take_back(self, step: Mapping[str, Any]) -> None:
        kind = step.get("kind")
        if kind == "work":
            work = work_of({**plain_of(self.work), **step["before"]})
            self.hand = replace(self.hand, work=work)
        elif kind == "shelf":
            shelf = self.session.shelf()
            for name, was in step["before"].items():
                # What another bench has set since then stays as that bench set it.
                if shelf.get(name) == step["after"].get(name):
                    shelf[name] = was
            self.session.remember_shelf({n: v for n, v in shelf.items() if v is not None})
        elif kind == "panels":
            self.outdated = True
            gone = {c.undoes for c in self.session.history()}
            for number in reversed(step["numbers"]):
                if number not in gone:
                    self.session.undo(number, who=_WHO, why="undone in the notebook")
            self._mark_kept(step["codes"], False)

    def _remember(self, words: str, **step: Any) -> None:
        steps = (*self.hand.steps[-_MOST_UNDO + 1 :], {"words": words, **step})
        self.hand = replace(self.hand, steps=steps)
        self._keep()
        self._tell()


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
