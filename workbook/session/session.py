"""One open archive with its model: what a workbook panel or a command asks for."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from matchlib.domain import BEFORE_CLEAR
from matchlib.domain.reading import geometries_by_use
from matchlib.progress import unmeasured
from workbook.session.model_cache import FitOutcome, model_of
from workbook.session.shelf import usual_limits
from workbook.session.targets import last_tried, stages_read

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.domain import Conditions, Panel, Reading, Recipe
    from matchlib.mixing import Limits
    from matchlib.next_panel import ArchivePlan, TargetPanel
    from matchlib.progress import Callback
    from matchlib.regression import FilmPredictor
    from matchlib.steering import Advice, CardPlan, CardPlans, Steering
    from matchlib.suggest import Suggestions
    from matchlib.target import Target
    from matchlib.validation import Repeatability, TableRow

    Tried = tuple[Recipe, tuple[Reading, ...]]

__all__ = ["Session"]


class Session:
    """An archive, its model, and the use cases of both; made by `Session.open`.

    `archive`: open; closed with the session. `place`: file or URL that it was opened by.
    """

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self.place = archive.label
        self._fit: FitOutcome | None = None
        self._fit_of = ""
        self._asked: Conditions | None = None

    @classmethod
    def open(cls, path_or_url: str | Path, *, create: bool = False, write: bool = True) -> Self:
        """Open an archive.

        `create`: make an empty archive if there is none. Returned: use it in a ``with`` block, or
        close it.
        """
        from matchlib.archive import Archive

        locked = False
        if not write and "://" not in str(path_or_url) and os.path.isfile(path_or_url):
            file = Path(path_or_url)
            locked = not (os.access(file, os.W_OK) and os.access(file.absolute().parent, os.W_OK))
        made = cls(Archive.open(path_or_url, create=create, read_only=locked))
        made.place = str(path_or_url)
        return made

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the archive back."""
        self.archive.close()

    # The model

    def fit(self, *, refit: bool = False, callback: Callback | None = None) -> FitOutcome:
        """Return the model of the archive as it is now."""
        content = self.archive.content_hash()
        if refit or self._fit is None or self._fit_of != content:
            self._fit = model_of(self.archive, refit=refit, callback=callback)
            self._fit_of = content
        return self._fit

    @property
    def model(self) -> FilmPredictor:
        """The fitted model of the archive as it is now, under the conditions asked about."""
        return self._asked_of(self.fit().model)

    def ask_under(self, conditions: Conditions) -> None:
        """Be asked from now on about panels sprayed and read under some conditions.

        `conditions`: what is not said is the archive's latest.
        """
        self._asked = conditions

    def model_without(self, codes: Collection[str]) -> FilmPredictor:
        """Return the model as it is where it has not seen some panels, by their codes."""
        if not codes:
            return self.model
        unseen = {" ".join(code.split()) for code in codes}
        return self._asked_of(model_of(self.archive, without=unseen).model)

    def _asked_of(self, model: FilmPredictor) -> FilmPredictor:
        """The model under the conditions asked about."""
        return model if self._asked is None else model.under(self._asked)

    def left_out(self, recipes: Iterable[Recipe], model: FilmPredictor) -> tuple[str, ...]:
        """Return the panels left out of a fit that would move what it says of recipes.

        Returned: their codes; see `matchlib.audit.excluded`.
        """
        from matchlib.audit import excluded

        return excluded(model, recipes, lambda code: self.archive.panel(code).recipe)

    def left_out_each(self, recipes: Iterable[Recipe]) -> list[tuple[str, ...]]:
        """Return, for each recipe by itself, what `left_out` does of all, by the archive's fit."""
        from matchlib.audit import excluded

        model = self.model
        backs = cache(lambda code: self.archive.panel(code).recipe)
        return [excluded(model, [recipe], backs) for recipe in recipes]

    def gaps(self, recipes: Iterable[Recipe]) -> tuple[str, ...]:
        """Say what results rest on that no panel shows."""
        from matchlib.audit import gaps

        return gaps(self.archive.panels(), recipes)

    @property
    def geometry(self) -> str:
        """The geometry in which instruments read most of the archive; 45:0 where none did."""
        read = (r for p in self.archive.panels() for r in p.readings if r.source != "photo")
        return next(iter(geometries_by_use(r.viewing for r in read)), "45:0")

    @property
    def clear(self) -> str | None:
        """The clear coat that most of the archive's colours stand under; None for none."""
        from matchlib.suggest.ingredients import usual_clear

        return usual_clear(p.recipe for p in self.archive.panels())

    # Matching

    def limits(self, **changes: Any) -> Limits:
        """Return the shop's usual limits with some of them set otherwise.

        `**changes`: fields of `Limits`.
        """
        return replace(usual_limits(self.archive), **changes)

    def match(self, target: Target, limits: Limits, *, top: int) -> Suggestions:
        """Suggest recipes for a target."""
        from matchlib.suggest import suggest

        return suggest(self.model, target, limits, top=top, archive=self.archive.panels())

    def steer(
        self,
        target: Target,
        card: Sequence[Tried],
        limits: Limits,
        *,
        own: str | None,
        codes: Sequence[str],
        file: str | Path | None,
        readings_left: int,
        cup_ml: float | None,
        sure: bool,
    ) -> tuple[Steering, CardPlans | None]:
        """Say what to lay next on a card in progress.

        `own`: its code, where it is in the archive. `cup_ml`: how much is in the cup [mL].
        `steering`: what to do. `following`: for a lost card: how to begin the next.
        """
        from matchlib.correction import Belief, learn
        from matchlib.steering import plan, steer

        model = self.model_without([*codes, *([own] if own else [])])
        before = Belief.of(model, recipes=[r for r, _ in card])
        belief, _ = learn(before, self._cards(codes, file), limits)
        found = steer(
            belief, card, target, limits, readings_left=readings_left, cup_ml=cup_ml, sure=sure
        )
        if found.state != "lost":
            return found, None
        again = plan(
            found.learnt,
            target,
            limits,
            readings=min(readings_left + 1, 3),
            top=1,
            archive=self.archive.panels(),
            source=found.card.stages[-1].source,
        )
        return found, again

    def tried(self, codes: Sequence[str], file: str | Path | None = None) -> list[Tried]:
        """Return panels sprayed for a target: of the archive, then of a table of further ones.

        Repeats of one panel at one angle count as their mean. One read before its clear coat is to
        have the usual one.
        """
        panels = [self.archive.panel(code) for code in codes]
        if file is not None:
            from matchlib.domain import Viewing
            from matchlib.readings import read_file

            panels += read_file(file, viewing=Viewing()).panels
        return [
            stages_read(panel, self.clear)[-1] if _to_clear(panel) else last_tried(panel)
            for panel in panels
        ]

    def _cards(self, codes: Sequence[str], file: str | Path | None = None) -> list[Any]:
        """Return the same, of a card read at several stages all of them."""
        staged = [stages_read(self.archive.panel(code)) for code in codes]
        each = zip(codes, staged, strict=True)
        read = [rows if len(rows) > 1 else self.tried([code])[0] for code, rows in each]
        return [*read, *self.tried((), file)]

    def correct(
        self,
        target: Target,
        limits: Limits,
        *,
        codes: Sequence[str] = (),
        file: str | Path | None = None,
        sprayed: Sequence[Tried] = (),
    ) -> Advice:
        """Say what to change after the panels sprayed for a target.

        `codes`: panels of the archive that were sprayed for it, in order; the model is then fitted
        without them, lest it learn from them twice.
        """
        from matchlib.steering import correct

        model = self.model_without(codes)
        tried = [*self.tried(codes, file), *sprayed]
        return correct(model, tried, target, limits)

    def next_panels(
        self,
        target: Target,
        limits: Limits,
        *,
        codes: Sequence[str] = (),
        file: str | Path | None = None,
        source: str = "spectrophotometer",
        top: int = 5,
    ) -> tuple[tuple[TargetPanel, ...], tuple[Recipe, ...], CardPlan | None]:
        """Rank test panels by the chance of a match by the second one.

        A card tried that was read in stages teaches by all of them, as readings of one card.

        `panels`: the best first. `unfitting`: those sprayed for it that do not fit their readings,
        of which nothing was learnt. `card`: one to be read on its way instead, where that is worth
        more than the best panel.
        """
        from matchlib.correction import Belief, fresh_recipes, learn
        from matchlib.next_panel import next_for_target
        from matchlib.steering import WORTH_A_READING, plan

        cards = self._cards(codes, file)
        recipes = [card[-1][0] if isinstance(card, list) else card[0] for card in cards]
        before = Belief.of(self.model_without(codes), recipes=recipes)
        belief, unfitting = learn(before, cards, limits)
        could = fresh_recipes(belief.model, limits, usual=self.clear)
        found = next_for_target(belief, target, could, source=source, shown=top)
        past = self.archive.panels()
        card = plan(belief, target, limits, top=1, archive=past, source=source)[0]
        worth = card.planned_readings and card.steered > found[0].probability + WORTH_A_READING
        return found, tuple(row.recipe for row in unfitting), card if worth else None

    def plan_panels(
        self, limits: Limits, *, top: int, callback: Callback | None = None
    ) -> ArchivePlan:
        """Choose the panels that would teach most about what the shop could spray."""
        from matchlib.correction import fresh_recipes
        from matchlib.next_panel import next_for_archive

        model = self._asked_of(self.fit(callback=unmeasured(callback)).model)
        could = fresh_recipes(model, limits, usual=self.clear)
        return next_for_archive(model, could, k=top, callback=callback)

    # Trust

    def validate(
        self,
        *,
        by: Sequence[str],
        folds: int,
        n_jobs: int | None = None,
        callback: Callback,
    ) -> tuple[Sequence[TableRow], Repeatability]:
        """Measure how good the regression is on panels left out.

        `by`: what is left out: ``panel``, ``recipe``, ``ground``. `rows`: beside simple regressors
        on the same folds. `n_jobs`: fits at once. `repeatability`: the shop's own floor.
        """
        from matchlib.progress import part_of
        from matchlib.regression import frames_of
        from matchlib.validation import repeatability, validation_table

        panels = self.archive.panels()
        floor = repeatability(panels, callback=part_of(callback, 0.0, 0.1))
        rows = validation_table(
            *frames_of(panels),
            by=by,
            floor=floor.floor,
            folds=folds,
            n_jobs=n_jobs,
            callback=part_of(callback, 0.1, 1.0),
        )
        return rows, floor


def _to_clear(panel: Panel) -> bool:
    """Whether a panel was read, and that before a clear coat that is not on it yet."""
    stage = panel.stages[-1]
    early = [r.state == BEFORE_CLEAR for r in stage.last_read]
    return stage.recipe.clear is None and bool(early) and all(early)
