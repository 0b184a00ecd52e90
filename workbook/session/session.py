"""One open archive with its model: what a workbook panel or a command asks for."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from workbook.session.model_cache import FitOutcome, model_of
from workbook.session.predicting import Prediction, predict
from workbook.session.targets import lab_of, single_reading

if TYPE_CHECKING:
    from matchlib.archive import AddResult, Archive, Change
    from matchlib.domain import Panel, Reading, Recipe, Viewing
    from matchlib.readings import RecipeRow
    from matchlib.regression import FilmRegressor

__all__ = ["Exported", "Session"]


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written.

    Parameters
    ----------
    file : Path
        Where to.
    panels : int
        Panels in it.
    customers : bool
        Whether customers' names are in it.
    """

    file: Path
    panels: int
    customers: bool

    @property
    def text(self) -> str:
        """What was written, in words."""
        names = "with" if self.customers else "without"
        return f"{self.panels} panels written to {self.file}, {names} customers' names."

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON.
        """
        return {"file": str(self.file), "panels": self.panels, "customers": self.customers}


class Session:
    """An archive, its model, and the use cases of both; made by `Session.open`.

    Parameters
    ----------
    archive : Archive
        Open; closed with the session.
    """

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self._fit: FitOutcome | None = None
        self._fit_of = ""

    @classmethod
    def open(cls, path_or_url: str | Path, *, create: bool = False, write: bool = True) -> Self:
        """Open an archive.

        Parameters
        ----------
        path_or_url : str or Path
            File or database URL.
        create : bool
            Make an empty archive if there is none.
        write : bool
            Whether changes will be asked for. Without, an archive that cannot be written can be
            used all the same.

        Returns
        -------
        Session
            Use it in a ``with`` block, or close it.

        Raises
        ------
        ArchiveError
            If there is no archive, or it is damaged, something else, or cannot be written.
        """
        from matchlib.archive import Archive

        locked = False
        if not write and "://" not in str(path_or_url) and Path(path_or_url).is_file():
            file = Path(path_or_url)
            locked = not (os.access(file, os.W_OK) and os.access(file.absolute().parent, os.W_OK))
        return cls(Archive.open(path_or_url, create=create, read_only=locked))

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

    # Panels

    def add(self, panels: Iterable[Panel], *, who: str = "") -> AddResult:
        """Keep panels.

        Parameters
        ----------
        panels : iterable of Panel
            New ones, or known ones with more readings.
        who : str
            For the history.

        Returns
        -------
        AddResult
            What was done.

        Raises
        ------
        ArchiveError
            If a code is known with another recipe.
        """
        return self.archive.add(panels, who=who)

    def export(self, path: str | Path, *, customers: bool = False) -> Exported:
        """Write the panels as a table, or everything as a backup.

        Parameters
        ----------
        path : str or Path
            ``.csv``, ``.xlsx`` for a table; ``.zip`` for a backup of everything.
        customers : bool
            Whether customers' names go with it.

        Returns
        -------
        Exported
            What was written.

        Raises
        ------
        FileError
            If it cannot be written.
        """
        from matchlib.archive import export_bundle, export_table

        if Path(path).suffix.casefold() == ".zip":
            export_bundle(self.archive, path, customers=customers)
            return Exported(Path(path), len(self.archive), customers)
        return Exported(
            Path(path), export_table(self.archive, path, customers=customers), customers
        )

    def history(self, code: str | None = None) -> tuple[Change, ...]:
        """Return what was changed.

        Parameters
        ----------
        code : str, optional
            Of one panel, which must exist; None for all.

        Returns
        -------
        tuple of Change
            Oldest first.
        """
        if code is not None:
            code = self.archive.panel(code).code
        return self.archive.history(code)

    def undo(self, change: int, *, who: str = "", why: str = "") -> Change:
        """Undo one change.

        Parameters
        ----------
        change : int
            Its number.
        who, why : str
            For the history.

        Returns
        -------
        Change
            The undoing, itself a change.

        Raises
        ------
        ArchiveError
            If there is no such change, or a later one stands in the way.
        """
        number = self.archive.undo(change, who=who, why=why)
        return next(c for c in self.archive.history() if c.number == number)

    # Targets

    def target_of_panel(self, code: str) -> Reading:
        """Return a panel's reading as a target.

        Parameters
        ----------
        code : str
            As on its back.

        Returns
        -------
        Reading
            The mean of its readings of one kind and viewing.

        Raises
        ------
        TargetError
            If it has none.
        """
        panel = self.archive.panel(code)
        return single_reading(panel.readings, where=f"panel {panel.code}")

    @staticmethod
    def target_of_file(
        path: str | Path,
        *,
        panel: str | None = None,
        decimal: str = ".",
        scale: str | None = None,
    ) -> Reading:
        """Return the reading in a file as a target.

        Parameters
        ----------
        path : str or Path
            The file.
        panel : str, optional
            Which sample, where it holds several.
        decimal, scale : str
            Declarations of the file.

        Returns
        -------
        Reading
            The mean of its repeats.
        """
        from matchlib.readings import read_target

        found = read_target(path, panel=panel, decimal=decimal, scale=scale)
        return single_reading(found, where=Path(path).name)
