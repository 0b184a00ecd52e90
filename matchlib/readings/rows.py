"""Rows of a grid → recipes, readings and panels: the one place where a row is taken or refused.

Repeat readings of a panel are gathered by its code. Where the same code stands with two recipes,
one of the backs is wrong and nobody but the painter knows which, so all rows of that code are
refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from matchlib.domain import (
    CoatSchedule,
    Colour,
    Ground,
    Reading,
    Recipe,
    Viewing,
)
from matchlib.errors import FileError
from matchlib.readings.cells import read_coats, read_number, read_ratio_text, read_text
from matchlib.readings.columns import Columns, read_scale
from matchlib.readings.grid import Cell, Grid, is_blank
from matchlib.readings.names import read_blend, read_ratio, read_schedule, read_viewing
from matchlib.readings.tristimulus import lab_disagreement, lab_from_xyz

__all__ = ["Row", "RowReader"]

_COARSEST = 20.0  # nm; ASTM E308 has no weights beyond
_NEEDED = (400.0, 700.0)  # nm; one interval may be missing at each end
_AGREE = 1.0  # ΔE00 between a file's Lab and its spectrum's: rounding and interpolation stay below


class _NotWholeError(FileError):
    """A spectrum from which no colour can be computed; the row may have Lab instead."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row, looked up by known column.

    Parameters
    ----------
    number : int
        As its user counts.
    cells : tuple
        Values by position.
    """

    number: int
    cells: tuple[Cell, ...]


class RowReader:
    """Reads the rows of one grid by the declarations that hold for it.

    Parameters
    ----------
    grid : Grid
        The table.
    scale : str, optional
        ``unit`` or ``percent``, where the caller declares it.
    decimal : str
        Decimal sign, ``.`` or ``,``.
    viewing : Viewing
        What holds where the file says nothing.
    """

    def __init__(self, grid: Grid, *, scale: str | None, decimal: str, viewing: Viewing) -> None:
        self.grid = grid
        self.columns = Columns.of(grid.header)
        self.decimal = decimal
        self.viewing = viewing
        self.defaults = dict(grid.defaults)
        self.scale = self._file_scale(scale)
        self.gaps: dict[str, list[int]] = {}
        self.reversed: list[int] = []
        self.both: list[int] = []
        self.disagreeing: list[int] = []
        self._suspects = 0

    def cell(self, row: Row, name: str) -> Cell:
        """Return a cell by its known column.

        Parameters
        ----------
        row : Row
            The row.
        name : str
            One of the known columns.

        Returns
        -------
        Cell
            The cell, the file's own default, or None.
        """
        i = self.columns.known.get(name)
        value = row.cells[i] if i is not None and i < len(row.cells) else None
        return self.defaults.get(name) if is_blank(value) else value

    def text(self, row: Row, name: str) -> str:
        """Return a cell as words.

        Parameters
        ----------
        row : Row
            The row.
        name : str
            One of the known columns.

        Returns
        -------
        str
            Empty where blank.

        Raises
        ------
        FileError
            If the cell has no value.
        """
        return read_text(self.cell(row, name), name)

    def check_width(self, row: Row) -> None:
        """Refuse a row that has more cells than the header has names.

        Parameters
        ----------
        row : Row
            The row.

        Raises
        ------
        FileError
            If a nameless cell holds something.
        """
        names = self.grid.header
        for i, cell in enumerate(row.cells):
            if not is_blank(cell) and (i >= len(names) or not names[i]):
                raise FileError(
                    f"Cell {i + 1} stands under no column name.",
                    expected=f"at most {len(names)} cells, each under a name",
                    got=repr(read_text(cell, f"{i + 1}")[:40]),
                    remedy="name the column; or look for decimal commas or commas in names "
                    "(without quotation marks) in a table parted by commas.",
                )

    def recipe(self, row: Row) -> Recipe:
        """Read the recipe.

        Parameters
        ----------
        row : Row
            The row.

        Returns
        -------
        Recipe
            Bare where it has no colour and no coats.

        Raises
        ------
        MatchlibError
            If it is none, or contradicts itself.
        """
        ground = read_blend(Ground, self.text(row, "ground"), "ground")
        if ground is None:
            raise FileError(
                "The ground is blank.",
                expected="the name of the ground coat, or a blend such as silver 3 + black 1",
                remedy="write what the panel was sprayed on.",
            )
        colour = read_blend(Colour, self.text(row, "colour"), "colour")
        schedule = self._schedule(row, bare=colour is None)
        clear = self.text(row, "clear")
        recipe = Recipe(ground, colour, schedule, clear)
        if schedule and any(s.ratio.looks_reversed for s in schedule.steps):
            self.reversed.append(row.number)
        return recipe

    def _schedule(self, row: Row, *, bare: bool) -> CoatSchedule | None:
        written = read_ratio_text(self.cell(row, "schedule"), "schedule", decimal=self.decimal)
        ratio_text = read_ratio_text(self.cell(row, "ratio"), "ratio", decimal=self.decimal)
        coats_cell = self.cell(row, "coats")
        coats = None if is_blank(coats_cell) else read_coats(coats_cell, decimal=self.decimal)
        ratio = read_ratio(ratio_text) if ratio_text else None
        if written:
            schedule = read_schedule(written)
            ratios = {step.ratio for step in schedule.steps}
            if (ratio is not None and ratios != {ratio}) or coats not in (None, schedule.coats):
                said = [f"coats {coats}"] if coats is not None else []
                said += [f"ratio {ratio}"] if ratio is not None else []
                raise FileError(
                    "The ratio and coats do not suit the schedule.",
                    expected=f"what {schedule} says: {schedule.words}",
                    got=" and ".join(said),
                    remedy="find out which of them was sprayed, and empty the other.",
                )
            return schedule
        if bare and ratio is None and coats in (None, 0):
            return None
        if ratio is None or coats is None:
            missing = [n for n, v in (("ratio", ratio), ("coats", coats)) if v is None]
            raise FileError(
                f"The recipe has no {' and no '.join(missing)}.",
                expected="a schedule such as 4@6:1, or a ratio and a number of coats; for a bare "
                "ground neither colour nor coats",
                remedy="fill in what was sprayed.",
            )
        return CoatSchedule.of(coats, ratio)

    def view(self, row: Row) -> Viewing:
        """Read illuminant, observer and geometry.

        Parameters
        ----------
        row : Row
            The row.

        Returns
        -------
        Viewing
            The caller's where the file says nothing.

        Raises
        ------
        MatchlibError
            If one of them is not known.
        """
        illuminant = self.text(row, "illuminant")
        observer = self.text(row, "observer")
        geometry = read_ratio_text(self.cell(row, "geometry"), "geometry")
        return read_viewing(
            illuminant or self.viewing.illuminant,
            observer or self.viewing.observer,
            geometry or self.viewing.geometry,
        )

    def reading(self, row: Row) -> Reading | None:
        """Read the measured part of a row.

        Parameters
        ----------
        row : Row
            The row.

        Returns
        -------
        Reading or None
            None where every such cell is blank.

        Raises
        ------
        MatchlibError
            If it is not whole or not possible.
        """
        viewing = self.view(row)
        source = self.text(row, "source").casefold() or "spectrophotometer"
        sd = self.cell(row, "sd")
        sd_value = None if is_blank(sd) else read_number(sd, "sd", decimal=self.decimal)
        lab = self._triple(row, "Lab")
        xyz = self._triple(row, "XYZ")
        if lab is None and xyz is not None:
            lab = lab_from_xyz(xyz, viewing)
        try:
            spectrum = self._spectrum(row, viewing)
        except _NotWholeError as error:
            if lab is None:
                raise
            spectrum = None
            self.gaps.setdefault(
                f"L, a, b were taken, not the spectrum: {error.problem.rstrip('.')} ({error.got})",
                [],
            ).append(row.number)
        if source == "none":
            if spectrum or lab:
                raise FileError(
                    "The source says that there is no reading, but here is one.",
                    remedy="name the source, spectrophotometer or photo.",
                )
            return None
        if spectrum:
            reading = Reading(viewing, source, None, *spectrum, sd=sd_value)
            if lab:
                Reading(
                    viewing, source, lab
                )  # an impossible Lab is no less wrong beside a spectrum
                self.both.append(row.number)
                if (lab_disagreement(reading, lab) or 0.0) > _AGREE:
                    self.disagreeing.append(row.number)
            return reading
        return Reading(viewing, source, lab, sd=sd_value) if lab else None

    def _triple(self, row: Row, names: str) -> tuple[float, float, float] | None:
        cells = [self.cell(row, n) for n in names]
        if all(map(is_blank, cells)):
            return None
        x, y, z = (
            read_number(c, n, decimal=self.decimal) for c, n in zip(cells, names, strict=True)
        )
        return x, y, z

    def _spectrum(
        self, row: Row, viewing: Viewing
    ) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
        found = [
            (nm, read_number(row.cells[i], f"{nm:g} nm", decimal=self.decimal))
            for nm, i in self.columns.spectral
            if i < len(row.cells) and not is_blank(row.cells[i])
        ]
        if not found:
            return None
        scale = self._row_scale(row)
        top = 1.3 if viewing.aspecular is None else 10.0
        peak = max(v for _, v in found)
        if scale == "unit" and peak > top:
            self._suspects += 1
            raise FileError(
                "The reflectance contradicts the declared scale 0-1.",
                expected=f"at most {top:g}",
                got=f"{peak:g}, which looks like percent",
                remedy="declare percent, if the file is in percent.",
            )
        divisor = 100.0 if scale == "percent" else 1.0
        nm = tuple(w for w, _ in found)
        self._note_gaps(row, nm)
        return nm, tuple(v / divisor for _, v in found)

    def _note_gaps(self, row: Row, nm: tuple[float, ...]) -> None:
        steps = [(b - a, a, b) for a, b in pairwise(nm)]
        if len(steps) < 3:
            return  # too short to be a spectrum, which Reading refuses
        widest, start, end = max(steps)
        if widest > _COARSEST + 1e-6:
            raise _NotWholeError(
                "The spectrum has too wide a gap to be interpolated.",
                expected=f"a reflectance at least every {_COARSEST:g} nm (ASTM E308)",
                got=f"nothing between {start:g} and {end:g} nm",
                remedy="export the whole spectrum, or give L, a, b instead.",
            )
        low, high = _NEEDED
        if nm[0] - steps[0][0] > low or nm[-1] + steps[-1][0] < high:
            raise _NotWholeError(
                "The spectrum does not reach far enough.",
                expected=f"{low:g} to {high:g} nm, at most one interval missing at an end",
                got=f"{nm[0]:g} to {nm[-1]:g} nm",
                remedy="export the whole spectrum; what was not measured is not guessed.",
            )
        if widest > min(steps)[0] + 1e-6:
            text = f"nothing between {start:g} and {end:g} nm, which will be interpolated"
            self.gaps.setdefault(text, []).append(row.number)
        if nm[0] > low or nm[-1] < high:
            text = (
                f"the spectrum covers {nm[0]:g} to {nm[-1]:g} nm; towards {low:g} and {high:g} nm "
                "its end value is held, as ASTM E308 does"
            )
            self.gaps.setdefault(text, []).append(row.number)

    def _file_scale(self, declared: str | None) -> str | None:
        said = {
            s
            for s in (
                read_scale(declared, "the caller") if declared else None,
                self.columns.scale,
                self.grid.scale,
                read_scale(self.defaults["scale"], "the file")
                if "scale" in self.defaults
                else None,
            )
            if s
        }
        if len(said) > 1:
            raise FileError(
                "The reflectance scale is declared twice, and differently.",
                got="0-1 and percent",
                remedy="declare what the file itself says.",
            )
        return next(iter(said), None)

    def _row_scale(self, row: Row) -> str:
        own = self.text(row, "scale")
        scale = read_scale(own, "the column scale") if own else None
        if scale and self.scale and scale != self.scale:
            raise FileError(
                "This row declares another reflectance scale than the file.",
                remedy="declare one scale for the whole table.",
            )
        scale = scale or self.scale
        if scale is None:
            raise FileError(
                "The scale of the reflectances is not declared.",
                expected="0-1 or percent",
                remedy="declare it: --scale 0-1 or --scale percent, a column scale with 0-1 or "
                "percent in each row, or % behind the wavelengths in the header.",
            )
        return scale

    def check_scale(self, rows: list[tuple[Row, Reading]]) -> None:
        """Refuse the file when its spectra as a whole contradict the declared scale.

        Parameters
        ----------
        rows : list of (Row, Reading)
            The rows taken.

        Raises
        ------
        FileError
            If most are far above 1 under ``0-1``, or none above 1.5 percent under ``percent``.
        """
        spectra = [(row, r) for row, r in rows if r.spectral]
        if self._suspects > len(spectra):
            raise FileError(
                "The file declares reflectances of 0-1, but most of its spectra are far above 1.",
                got="numbers that look like percent",
                remedy="declare percent, if the file is in percent.",
            )
        percent = [r for row, r in spectra if self._row_scale(row) == "percent"]
        # Even a black panel's clear surface sends back more than 1.5 % somewhere.
        if percent and max(max(r.reflectance) for r in percent) <= 0.015:
            raise FileError(
                "The file declares reflectances in percent, but none is above 1.5%.",
                got="numbers that look like 0-1",
                remedy="declare 0-1, if the file is in 0-1.",
            )
