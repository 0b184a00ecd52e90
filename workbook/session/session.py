"""One open archive with its model: what a workbook panel or a command asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from workbook.session.auditing import Fixed, chosen_findings, findings_of, fix_findings
from workbook.session.matching import (
    cards_for,
    correct_tried,
    next_for,
    plan_for,
    steer_card,
    suggest_for,
    tried_in,
)
from workbook.session.oracle import Oracle
from workbook.session.sheet import sheet_of
from workbook.session.shelf import SHELF, habit_of, limits_of, shelf_of

if TYPE_CHECKING:
    from matchlib.audit import Finding
    from matchlib.correction import Advice
    from matchlib.domain import Reading, Recipe
    from matchlib.next_panel import ArchivePlan, TargetPanel
    from matchlib.steering import CardPlans, Steering
    from matchlib.stepping import Step
    from matchlib.suggest import Limits, Suggestions, Target
    from matchlib.validation import Repeatability, TableRow

__all__ = ["Session"]


class Session(Oracle):
    """An archive, its model, and the use cases of both; made by `Session.open`.

    Parameters
    ----------
    archive : Archive
        Open; closed with the session.
    """

    # Matching

    def shelf(self) -> dict[str, Any]:
        """Return the limits remembered with the archive.

        Returns
        -------
        dict
            Fields of `Limits` that were set; empty where none are remembered.
        """
        return shelf_of(self.archive.setting(SHELF))

    def remember_shelf(self, limits: Mapping[str, Any] | None) -> None:
        """Keep limits with the archive, for the next search.

        Parameters
        ----------
        limits : mapping or None
            Fields of `Limits` by name; None forgets them.

        Raises
        ------
        DomainError
            If they are no limits.
        """
        if limits:
            limits_of(limits)
        self.archive.set_setting(SHELF, shelf_of(limits) or None)

    def limits(self, **changes: Any) -> Limits:
        """Return the remembered limits with some of them set otherwise.

        What neither says is as usual, or as far as the archive's own panels go.

        Parameters
        ----------
        **changes : object
            Fields of `Limits`; those that are None stay as remembered.

        Returns
        -------
        Limits
            Checked.
        """
        given = {k: v for k, v in changes.items() if v is not None}
        habit = habit_of(self.archive.panels())
        return limits_of({**habit, **self.shelf(), **given})

    def match(
        self,
        target: Target,
        limits: Limits | None = None,
        *,
        top: int = 5,
        step: Step | None = None,
    ) -> Suggestions:
        """Suggest recipes for a target.

        Parameters
        ----------
        target : Target
            What is to be matched, at which angles, and what passes.
        limits : Limits, optional
            The shop's; the remembered ones if None.
        top : int
            Suggestions wanted.
        step : callable, optional
            Called between the search's steps with the share done and what is being done; what it
            raises ends the search.

        Returns
        -------
        Suggestions
            Best first.
        """
        wanted = self.limits() if limits is None else limits
        return suggest_for(
            self.model_now(step),
            self.archive.panels(),
            target,
            wanted,
            top=top,
            step=step,
        )

    def cards(
        self,
        target: Target,
        limits: Limits | None = None,
        *,
        readings: int = 2,
        top: int = 5,
        source: str = "spectrophotometer",
        step: Step | None = None,
    ) -> CardPlans:
        """Plan cards for a target: what to spray, when to read it, and what follows.

        Parameters
        ----------
        target, limits, top, step
            As for `match`.
        readings : int
            Looks at a card on its way, 0 to 3.
        source : str
            What reads it.

        Returns
        -------
        CardPlans
            Ranked by the chance that the card passes.
        """
        return cards_for(
            self.model_now(step),
            self.archive.panels(),
            target,
            self.limits() if limits is None else limits,
            readings=readings,
            top=top,
            source=source,
            step=step,
        )

    def steer(
        self,
        target: Target,
        card: Sequence[tuple[Recipe, Reading | tuple[Reading, ...]]],
        *,
        own: str | None = None,
        codes: Sequence[str] = (),
        file: str | Path | None = None,
        limits: Limits | None = None,
        looks: int = 1,
        cup_ml: float | None = None,
        sure: bool = False,
        step: Step | None = None,
    ) -> tuple[Steering, CardPlans | None]:
        """Say what to lay next on a card in progress.

        Parameters
        ----------
        target, codes, file, limits, step
            As for `correct`; the codes are of the cards before this one.
        card : sequence of (Recipe, Reading or tuple of Reading)
            This card's readings, one a stage.
        own : str, optional
            Its code, where it is in the archive.
        looks : int
            Readings still allowed after further coats.
        cup_ml : float, optional
            How much is in the cup [mL].
        sure : bool
            Whether readings that cannot be were taken again.

        Returns
        -------
        steering : Steering
            What to do.
        following : CardPlans or None
            For a lost card: how to begin the next.
        """
        without = [*codes, *([own] if own else [])]
        return steer_card(
            self.model_now(step, without=without),
            self.archive.panels(),
            tried_in(self.archive, codes, file),
            card,
            target,
            limits=self.limits() if limits is None else limits,
            looks=looks,
            cup_ml=cup_ml,
            sure=sure,
        )

    def correct(
        self,
        target: Target,
        *,
        codes: Sequence[str] = (),
        file: str | Path | None = None,
        sprayed: Sequence[tuple[Recipe, Reading | Sequence[Reading]]] = (),
        limits: Limits | None = None,
        step: Step | None = None,
    ) -> Advice:
        """Say what to change after the panels sprayed for a target.

        Parameters
        ----------
        target : Target
            What is to be matched, at which angles, and what passes.
        codes : sequence of str
            Panels of the archive that were sprayed for it, in order; the model is then fitted
            without them, lest it learn from them twice.
        file : str or Path, optional
            A table of such panels with their readings, in order.
        sprayed : sequence of (Recipe, Reading or sequence of Reading)
            Such panels, typed.
        limits : Limits, optional
            The shop's; the remembered ones if None.
        step : callable, optional
            Called between pieces of work with what is being done, and its share where that is
            known; what it raises ends the work.

        Returns
        -------
        Advice
            Small changes and fresh recipes.
        """
        tried = [*tried_in(self.archive, codes, file), *sprayed]
        wanted = self.limits() if limits is None else limits
        return correct_tried(self.model_now(step, without=codes), tried, target, wanted)

    def next_panels(
        self,
        target: Target,
        *,
        codes: Sequence[str] = (),
        file: str | Path | None = None,
        limits: Limits | None = None,
        source: str = "spectrophotometer",
        top: int = 5,
        step: Step | None = None,
    ) -> tuple[tuple[TargetPanel, ...], tuple[Recipe, ...]]:
        """Rank test panels by the chance of a match by the second one.

        Parameters
        ----------
        target : Target
            What is to be matched, at which angles, and what passes.
        codes, file
            What was already sprayed for it, as for `correct`.
        limits : Limits, optional
            The shop's; the remembered ones if None.
        source : str
            What will read the panels: as a rule what read the target.
        top : int
            Panels wanted.
        step : callable, optional
            Called between pieces of work with what is being done, and its share where that is
            known; what it raises ends the work.

        Returns
        -------
        panels : tuple of TargetPanel
            The best first.
        unfitting : tuple of Recipe
            Those sprayed for it that do not fit their readings, of which nothing was learnt.
        """
        tried = tried_in(self.archive, codes, file)
        wanted = self.limits() if limits is None else limits
        return next_for(
            self.model_now(step, without=codes),
            tried,
            target,
            wanted,
            source=source,
            top=top,
            step=step,
        )

    def plan_panels(
        self, limits: Limits | None = None, *, top: int = 5, step: Step | None = None
    ) -> ArchivePlan:
        """Choose the panels that would teach most about what the shop could spray.

        Parameters
        ----------
        limits : Limits, optional
            The shop's; the remembered ones if None.
        top : int
            Panels in the set.
        step : callable, optional
            Called between pieces of work; what it raises ends the choice.

        Returns
        -------
        ArchivePlan
            In order of worth.
        """
        wanted = self.limits() if limits is None else limits
        model = self.model_now(step)
        return plan_for(model, wanted, top=top, step=step)

    # Trust

    def findings(self, keys: Sequence[str] = ()) -> tuple[Finding, ...]:
        """Return what looks wrong in the archive and was not set aside.

        Parameters
        ----------
        keys : sequence of str
            Those of these keys alone; all if none.

        Returns
        -------
        tuple of Finding
            The likeliest first, or in the order of the keys.

        Raises
        ------
        ArchiveError
            If there is no finding of one of the keys.
        """
        found = findings_of(self.archive, self.model)
        return chosen_findings(found, keys) if keys else found

    def fix(self, findings: Sequence[Finding], *, who: str = "") -> tuple[Fixed, ...]:
        """Write what findings propose; logged and reversible.

        Parameters
        ----------
        findings : sequence of Finding
            From `findings`.
        who : str
            For the history.

        Returns
        -------
        tuple of Fixed
            Each with the number of its change.
        """
        return fix_findings(self.archive, findings, who=who)

    def validate(
        self,
        *,
        by: Sequence[str] = ("panel", "recipe", "ground"),
        folds: int = 10,
        step: Step | None = None,
    ) -> tuple[list[TableRow], Repeatability]:
        """Measure how good the regression is on panels left out.

        Parameters
        ----------
        by : sequence of str
            What is left out: ``panel``, ``recipe``, ``ground``.
        folds : int
            Parts for panels and recipes.
        step : callable, optional
            Called between pieces of work with the share done and what is being done; what it
            raises ends the work.

        Returns
        -------
        rows : list of TableRow
            Beside simple regressors on the same folds.
        repeatability : Repeatability
            The shop's own floor.
        """
        from matchlib.regression import frames_of
        from matchlib.stepping import part_of
        from matchlib.validation import repeatability, validation_table

        panels = self.archive.panels()
        floor = repeatability(panels, step=part_of(step, 0.0, 0.1))
        rows = validation_table(
            *frames_of(panels), by=by, floor=floor.floor, folds=folds, step=part_of(step, 0.1, 1.0)
        )
        return rows, floor

    # Sheets

    def job_sheet(
        self, recipe: Recipe, path: str | Path, *, paper: str = "A4", **content: Any
    ) -> Path:
        """Print a job sheet.

        Parameters
        ----------
        recipe : Recipe
            What is sprayed.
        path : str or Path
            The PDF, written whole or not at all.
        paper : str
            ``A4`` or ``Letter``.
        **content : object
            As `workbook.session.sheet.sheet_of` takes it: target, pot, title and the like.

        Returns
        -------
        Path
            The PDF.
        """
        from matchlib.readings.writing import save_bytes
        from workbook.jobsheet import jobsheet_pdf

        sheet = sheet_of(self.model, recipe, panels=self.archive.panels(), **content)
        save_bytes(jobsheet_pdf(sheet, paper=paper), Path(path))
        return Path(path)
