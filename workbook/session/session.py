"""One open archive with its model: what a workbook panel or a command asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from workbook.session.keeper import Keeper
from workbook.session.matching import correct_tried, next_for, plan_for, suggest_for, tried_in
from workbook.session.model_cache import FitOutcome, model_of
from workbook.session.predicting import Prediction, predict
from workbook.session.sheet import sheet_of
from workbook.session.shelf import SHELF, limits_of, shelf_of
from workbook.session.targets import lab_of, reading_of_lab

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.correction import Advice
    from matchlib.domain import Reading, Recipe, Viewing
    from matchlib.next_panel import ArchivePlan, TargetPanel
    from matchlib.readings import RecipeRow
    from matchlib.regression import FilmRegressor
    from matchlib.suggest import Limits, Suggestions

__all__ = ["Session"]


class Session(Keeper):
    """An archive, its model, and the use cases of both; made by `Session.open`.

    Parameters
    ----------
    archive : Archive
        Open; closed with the session.
    """

    def __init__(self, archive: Archive) -> None:
        super().__init__(archive)
        self._fit: FitOutcome | None = None
        self._fit_of = ""

    # The model

    def fit(self, *, refit: bool = False) -> FitOutcome:
        """Return the model of the archive as it is now.

        Parameters
        ----------
        refit : bool
            Whether to fit although a kept fit holds.

        Returns
        -------
        FitOutcome
            With how it came about.

        Raises
        ------
        FitError
            If nothing can be learnt from the archive.
        """
        content = self.archive.content_hash()
        if refit or self._fit is None or self._fit_of != content:
            self._fit, self._fit_of = model_of(self.archive, refit=refit), content
        return self._fit

    @property
    def model(self) -> FilmRegressor:
        """The fitted model of the archive as it is now."""
        return self.fit().model

    # Predicting

    def predict(
        self,
        recipes: Sequence[Recipe],
        *,
        viewing: Viewing | None = None,
        target: tuple[float, float, float] | None = None,
        tolerance: float = 1.0,
    ) -> tuple[Prediction, ...]:
        """Predict the next panel of each recipe.

        Parameters
        ----------
        recipes : sequence of Recipe
            What would be sprayed.
        viewing : Viewing, optional
            How it would be read; D65/10° 45:0 where not given.
        target : tuple of 3 float, optional
            CIELAB wanted, under the viewing.
        tolerance : float
            Difference that passes [ΔE00].

        Returns
        -------
        tuple of Prediction
            One a recipe, in their order.

        Raises
        ------
        UnknownName
            If a ground or colour is on no panel.
        """
        from matchlib.domain import Viewing as View

        view = viewing or View()
        return predict(
            self.model,
            recipes,
            viewings=[view] * len(recipes),
            codes=[None] * len(recipes),
            places=[str(r) for r in recipes],
            target=target,
            tolerance=tolerance,
        )

    def predict_file(
        self,
        path: str | Path,
        *,
        target: Reading | None = None,
        tolerance: float = 1.0,
        decimal: str = ".",
        scale: str | None = None,
    ) -> tuple[Prediction, ...]:
        """Predict the next panel of every row of a table of recipes.

        Parameters
        ----------
        path : str or Path
            The table; needs no readings.
        target : Reading, optional
            What is wanted; it and the predictions are then both under its viewing.
        tolerance : float
            Difference that passes [ΔE00].
        decimal, scale : str
            Declarations of the file.

        Returns
        -------
        tuple of Prediction
            One a row, in the file's order.
        """
        from matchlib.readings import read_recipes

        rows: list[RecipeRow] = read_recipes(path, decimal=decimal, scale=scale)
        name = Path(path).name
        return predict(
            self.model,
            [r.recipe for r in rows],
            viewings=[r.viewing if target is None else target.viewing for r in rows],
            codes=[r.panel for r in rows],
            places=[f"{name}, row {r.row}" for r in rows],
            target=None if target is None else lab_of(target),
            tolerance=tolerance,
        )

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
        return limits_of({**self.shelf(), **given})

    def typed_target(
        self, lab: Sequence[float], *, illuminant: str = "D65", observer: str = "10"
    ) -> Reading:
        """Return typed Lab as a target in the archive's own geometry.

        Parameters
        ----------
        lab : sequence of 3 float
            CIELAB.
        illuminant, observer : str
            Under which it holds.

        Returns
        -------
        Reading
            Checked.

        Raises
        ------
        TargetError
            If no surface can have it.
        """
        from matchlib.domain import Viewing as View

        reading_of_lab(lab, View(illuminant, observer))  # refused before the model is fitted
        geometry = self.model.words_.geometries[0]
        return reading_of_lab(lab, View(illuminant, observer, geometry))

    def match(
        self,
        target: Reading,
        limits: Limits | None = None,
        *,
        tolerance: float = 1.0,
        top: int = 5,
    ) -> Suggestions:
        """Suggest recipes for a target.

        Parameters
        ----------
        target : Reading
            What is to be matched.
        limits : Limits, optional
            The shop's; the remembered ones if None.
        tolerance : float
            Difference that passes [ΔE00].
        top : int
            Suggestions wanted.

        Returns
        -------
        Suggestions
            Best first.
        """
        wanted = self.limits() if limits is None else limits
        return suggest_for(
            self.model, self.archive.panels(), target, wanted, tolerance=tolerance, top=top
        )

    def correct(
        self,
        target: Reading,
        *,
        codes: Sequence[str] = (),
        file: str | Path | None = None,
        sprayed: Sequence[tuple[Recipe, Reading]] = (),
        limits: Limits | None = None,
        tolerance: float = 1.0,
    ) -> Advice:
        """Say what to change after the panels sprayed for a target.

        Parameters
        ----------
        target : Reading
            What is to be matched.
        codes : sequence of str
            Panels of the archive that were sprayed for it, in order; the model is then fitted
            without them, lest it learn from them twice.
        file : str or Path, optional
            A table of such panels with their readings, in order.
        sprayed : sequence of (Recipe, Reading)
            Such panels, typed.
        limits : Limits, optional
            The shop's; the remembered ones if None.
        tolerance : float
            Difference that passes [ΔE00].

        Returns
        -------
        Advice
            Small changes and fresh recipes.
        """
        tried = [*tried_in(self.archive, codes, file), *sprayed]
        wanted = self.limits() if limits is None else limits
        return correct_tried(
            self.archive,
            self.model if not codes else None,
            tried,
            target,
            wanted,
            without=codes,
            tolerance=tolerance,
        )

    def next_panels(
        self,
        target: Reading,
        *,
        codes: Sequence[str] = (),
        file: str | Path | None = None,
        limits: Limits | None = None,
        tolerance: float = 1.0,
        top: int = 5,
    ) -> tuple[TargetPanel, ...]:
        """Rank test panels by the chance of a match by the second one.

        Parameters
        ----------
        target : Reading
            What is to be matched.
        codes, file
            What was already sprayed for it, as for `correct`.
        limits : Limits, optional
            The shop's; the remembered ones if None.
        tolerance : float
            Difference that passes [ΔE00].
        top : int
            Panels wanted.

        Returns
        -------
        tuple of TargetPanel
            The best first.
        """
        tried = tried_in(self.archive, codes, file)
        wanted = self.limits() if limits is None else limits
        model = self.model if not codes else None
        return next_for(
            self.archive,
            model,
            tried,
            target,
            wanted,
            without=codes,
            tolerance=tolerance,
            top=top,
        )

    def plan_panels(self, limits: Limits | None = None, *, top: int = 5) -> ArchivePlan:
        """Choose the panels that would teach most about the recipes in use.

        Parameters
        ----------
        limits : Limits, optional
            The shop's; the remembered ones if None.
        top : int
            Panels in the set.

        Returns
        -------
        ArchivePlan
            In order of worth.
        """
        wanted = self.limits() if limits is None else limits
        return plan_for(self.model, self.archive.panels(), wanted, top=top)

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

        save_bytes(jobsheet_pdf(sheet_of(self.model, recipe, **content), paper=paper), Path(path))
        return Path(path)
