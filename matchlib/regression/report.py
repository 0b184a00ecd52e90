"""What a fit has learnt, in the units of the shop: a summary to read, and to have as a table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple, dataclass, fields
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.listing import Listing, html_of
from matchlib.regression.law import motion
from matchlib.regression.reach import KINDS

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression.predictor import FilmPredictor

__all__ = ["FitReport", "Learnt", "Reached", "report_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Learnt:
    """One thing that a fit has learnt.

    Parameters
    ----------
    part : str
        What kind of thing, such as ``sprayer``.
    name : str
        Of what or whom.
    value, sd : float
        Estimate and standard deviation, in the unit; not-a-number where a spread is not known.
    unit : str
        Unit, and what the number is.
    """

    part: str
    name: str
    value: float
    sd: float
    unit: str


@dataclass(frozen=True)
class Reached:
    """How far the fit is trusted for one kind of recipe, by panels left out.

    Parameters
    ----------
    reach : str
        How far the recipe lies from what was sprayed, as in `matchlib.regression.reach.KINDS`.
    groups : int
        Groups of panels left out to learn of it; 0 where none could be.
    law, library, both : float
        Median difference of what was left out, by the law, by the library's regression, and by
        the two together [ΔE00].
    weight : float
        Share of the library's regression in what is predicted [-].
    inflation : float
        By how much the covariance of the law's values grows [-].
    spread : float
        By how much that of what differs from panel to panel does [-].
    dof : float
        Degrees of freedom of that growth.
    """

    reach: str
    groups: int
    law: float
    library: float
    both: float
    weight: float
    inflation: float
    spread: float
    dof: float


@dataclass(frozen=True)
class FitReport:
    """What a fit has learnt.

    Parameters
    ----------
    panels, doubted : int
        Panels of the fit, and those of them that are likelier not what their backs say.
    learnt : tuple of Learnt
        Strengths, slopes, effects and noise.
    reached : tuple of Reached
        A row a kind of reach.

    Examples
    --------
    >>> from matchlib.demo import demo_model
    >>> learnt = demo_model().report()
    >>> learnt.panels, learnt.doubted > 0
    (133, True)
    """

    panels: int
    doubted: int
    learnt: Listing[Learnt]
    reached: Listing[Reached]

    def to_frame(self) -> pd.DataFrame:
        """Return what was learnt as a table; ``reached.to_frame()`` is that of errors left out.

        Returns
        -------
        DataFrame
            Columns ``part``, ``name``, ``value``, ``sd`` and ``unit``.
        """
        return self.learnt.to_frame()

    @property
    def _head(self) -> str:
        return f"Film regression of {self.panels} panels, {self.doubted} of them doubted"

    def __str__(self) -> str:
        lines = [self._head]
        for (part, unit), rows in groupby(self.learnt, key=lambda r: (r.part, r.unit)):
            lines += ["", f"{part} [{unit}]"]
            for row in rows:
                sd = "" if np.isnan(row.sd) else f" ± {row.sd:.3g}"
                lines.append(f"  {row.name:<32} {row.value:9.3g}{sd}")
        lines += ["", "panels left out, by reach [median ΔE00]"]
        heads = ("groups", "law", "library", "both", "weight", "growth", "spread", "df")
        lines.append(" " * 22 + "".join(f"{h:>9}" for h in heads))
        for found in self.reached:
            learnt = astuple(found)[2:-1]
            numbers = "".join(f"{'–' if np.isnan(v) else f'{v:.2f}':>9}" for v in learnt)
            lines.append(f"  {found.reach:<20}{found.groups:>9}{numbers}{found.dof:>9.1f}")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        errors = "Panels left out, by reach [median ΔE00]"
        return html_of(self.to_frame(), caption=self._head) + html_of(
            self.reached.to_frame(), caption=errors
        )


def report_of(model: FilmPredictor) -> FitReport:
    """Return what a fit has learnt."""
    model.check_fitted()
    names = [field.name for field in fields(Reached)[1:]]
    reached = (
        Reached(kind, **{name: getattr(model.stack_, name)[i].item() for name in names})
        for i, kind in enumerate(KINDS)
    )
    doubted = sum(trust < 0.5 for trust in model.trust_.values())
    learnt = (*_films(model), *_conditions(model), *_repeats(model))
    return FitReport(len(model.trust_), doubted, Listing(learnt), Listing(reached))


class _Values:
    """The law's values by the name of their part, and weighted sums of them with their spread."""

    def __init__(self, model: FilmPredictor) -> None:
        self.fit = model.fitted_
        self.at = model.fitted_.law.slices

    def sum(self, weights: dict[str, Array]) -> tuple[float, float]:
        """Value and standard deviation of a weighted sum over parts."""
        row = np.zeros(self.fit.law.size)
        for name, weight in weights.items():
            row[self.at[name]] += weight
        return float(row @ self.fit.z), float(np.sqrt(row @ self.fit.covariance @ row))


def _one(count: int, place: int, weight: Array | float = 1.0) -> Array:
    """Weights over the values of several owners, for one of them."""
    own = np.atleast_1d(np.asarray(weight, float))
    row = np.zeros((count, len(own)))
    row[place] = own
    return row.ravel()


def _films(model: FilmPredictor) -> Iterator[Learnt]:
    law, values = model.fitted_.law, _Values(model)
    _, absorption, _ = law.spectra(model.fitted_.z)
    names = law.words.colours
    for c, name in enumerate(names):
        peak = int(absorption[c].argmax())
        parts = {p: _one(len(names), c, law.curves[p][peak]) for p in ("colour", "colour wave")}
        size, sd = float(absorption[c, peak]), values.sum(parts)[1]
        yield Learnt(
            "strength of a coat of 6:1",
            f"{name}, at {GRID[peak]:.0f} nm",
            size,
            size * sd,
            "absorbance, natural logarithm, down and up",
        )
    away, sd = values.sum({"dose": np.array([law.priors.slope_sd, 0.0, 0.0])})
    slope = float(np.exp(away))
    yield Learnt(
        "slope by the colour fraction",
        "all colours",
        slope,
        slope * sd,
        "exponent of the strength at 6:1; 1 is strictly by the fraction",
    )
    ends, turn = law.curves["turn"][[0, -1]], np.tanh(np.log(2.0))
    for c, name in enumerate(names):
        found = values.sum({"turn": _one(len(names), c, turn * (ends[1] - ends[0]))})
        unit = "% more absorbed at 700 nm against 400 nm, of a mix twice as rich"
        yield _percent("hue by the colour fraction", name, found, unit)
    lack, sd = values.sum({"dose": np.array([0.0, 0.0, law.priors.first_coat_sd])})
    yield Learnt("coats", "first", 1.0 - law.priors.first_coat - lack, sd, "of a usual coat")


def _conditions(model: FilmPredictor) -> Iterator[Learnt]:
    law, values = model.fitted_.law, _Values(model)
    words = law.words
    film, light = "% of film against the archive's mean", "% of the ground's light"
    for part, unit in (("sprayer", film), ("lot", film), ("batch", light)):
        names = words.of_kind(part)
        for i, name in enumerate(names):
            found = values.sum({part: _one(len(names), i)})
            yield _percent(part, ", ".join(name), found, unit)
    if words.days:
        first, last = motion(np.array([0.0, 1.0]))
        drift = values.sum({"drift": last - first})
        yield _percent("drift", "first day to last", drift, "% of film")
    level = law.curves["clear"].mean(axis=0)
    devices, clears = words.of_kind("instrument"), words.of_kind("clear")
    for i, (device,) in enumerate(devices):
        gain = values.sum({"instrument": _one(len(devices), i, level)})
        yield _percent("instrument", device, gain, "% of the reflectance, mean over wavelengths")
    for i, (clear,) in enumerate(clears):
        value, sd = values.sum({"clear": _one(len(clears), i, level)})
        yield Learnt("clear coat", clear, value, sd, "absorbance, mean over wavelengths")


def _percent(part: str, name: str, found: tuple[float, float], unit: str) -> Learnt:
    value, sd = found
    return Learnt(
        part, name, 100.0 * float(np.expm1(value)), 100.0 * sd * float(np.exp(value)), unit
    )


def _repeats(model: FilmPredictor) -> Iterator[Learnt]:
    film, ground, _ = model.fitted_.sizes.effects
    nan = float("nan")
    part, unit = "from panel to panel", "standard deviation, %"
    yield Learnt(part, "film", 100.0 * float(film), nan, unit)
    yield Learnt(part, "ground's light", 100.0 * float(ground), nan, unit)
    mottle, reading = model.noise_split_
    axis = "standard deviation an axis, ΔE*ab"
    yield Learnt("repeatability", "mottle", float(np.sqrt(mottle)), nan, axis)
    for source, variance in reading.items():
        yield Learnt("repeatability", f"reading by {source}", float(np.sqrt(variance)), nan, axis)
