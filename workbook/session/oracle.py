"""The model's side of a session: fitted when it must be, asked for predictions."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from matchlib.progress import unmeasured
from workbook.session.keeper import Keeper
from workbook.session.model_cache import FitOutcome, model_of
from workbook.session.targets import reading_of_lab

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.domain import Conditions, Reading, Recipe
    from matchlib.forecast import Forecast
    from matchlib.progress import Callback
    from matchlib.readings import RecipeRow
    from matchlib.regression import FilmPredictor
    from matchlib.suggest import Target, Tolerance

__all__ = ["Oracle"]


class Oracle(Keeper):
    """An archive that answers what a recipe would read.

    `archive`: open; closed with the session.
    """

    def __init__(self, archive: Archive) -> None:
        super().__init__(archive)
        self._fit: FitOutcome | None = None
        self._fit_of = ""
        self._asked: Conditions | None = None

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
        return self.model_now(None)

    def ask_under(self, conditions: Conditions) -> None:
        """Be asked from now on about panels sprayed and read under some conditions.

        `conditions`: what is not said is the archive's latest.
        """
        self._asked = conditions

    def model_now(
        self, callback: Callback | None, *, without: Collection[str] = ()
    ) -> FilmPredictor:
        """Return the model for work of which it is only the beginning.

        `callback`: of the whole work. Mostly no fit is needed; its share is not known beforehand.
        `without`: codes of panels that the model shall not have seen.
        """
        if without:
            codes = {" ".join(code.split()) for code in without}
            model = model_of(self.archive, without=codes, callback=unmeasured(callback)).model
        else:
            model = self.fit(callback=unmeasured(callback)).model
        return model if self._asked is None else model.under(self._asked)

    def left_out(
        self, recipes: Iterable[Recipe], model: FilmPredictor | None = None
    ) -> tuple[str, ...]:
        """Return the panels left out of the fit that would move what is said of recipes.

        `model`: by which; the archive's if None. Returned: their codes; see
        `matchlib.audit.excluded`.
        """
        from matchlib.audit import excluded

        return excluded(model or self.model, recipes, lambda code: self.archive.panel(code).recipe)

    def gaps(self, recipes: Iterable[Recipe]) -> tuple[str, ...]:
        """Say what results rest on that no panel shows."""
        from matchlib.audit import gaps

        return gaps(self.archive.panels(), recipes)

    @property
    def geometry(self) -> str:
        """The geometry in which most of the archive was read; 45:0 for an empty one."""
        seen = [r.viewing.geometry for p in self.archive.panels() for r in p.readings]
        return max(sorted(set(seen)), key=seen.count) if seen else "45:0"

    @property
    def clear(self) -> str | None:
        """The clear coat that most of the archive's colours stand under; None for none."""
        seen = [p.recipe.clear for p in self.archive.panels() if not p.recipe.bare]
        return max(sorted(set(seen), key=str), key=seen.count) if seen else None

    # Predicting

    def predict_file(
        self,
        path: str | Path,
        *,
        target: Target | None = None,
        tolerance: Tolerance | float = 1.0,
        decimal: str | None = None,
        scale: str | None = None,
        answers: Mapping[str, str] | None = None,
    ) -> list[tuple[str | None, Forecast]]:
        """Predict the next panel of every row of a table of recipes.

        A row that does not say whether it is under clear coat, or in which geometry it would be
        read, is taken as the archive mostly is.

        `path`: the table; needs no readings. `target`: what is wanted, and what passes; the
        predictions are then under its viewings. `tolerance`: what passes where there is no target;
        a number is ΔE00. Returned: one a row, in the file's order, with its panel's code where it
        has one.
        """
        from matchlib.forecast import forecast
        from matchlib.readings import read_recipes

        rows: list[RecipeRow] = read_recipes(path, decimal=decimal, scale=scale, answers=answers)
        name = Path(path).name
        clear, geometry = self.clear, self.geometry
        recipes, viewings = [], []
        for r in rows:
            usual = "clear" not in r.stated
            recipes.append(replace(r.recipe, clear=clear) if usual else r.recipe)
            own = "geometry" not in r.stated
            viewings.append(replace(r.viewing, geometry=geometry) if own else r.viewing)
        found = forecast(
            self.model,
            recipes,
            target,
            viewings=viewings,
            tolerance=tolerance,
            places=[f"{name}, row {r.row}" for r in rows],
        )
        return [(r.panel, each) for r, each in zip(rows, found, strict=True)]

    def typed_target(
        self, lab: Sequence[float], *, illuminant: str = "D65", observer: str = "10"
    ) -> Reading:
        """Return typed Lab as a target in the archive's own geometry."""
        from matchlib.domain import Viewing as View

        return reading_of_lab(lab, View(illuminant, observer, self.geometry))
