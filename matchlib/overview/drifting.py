"""How far panels read from the law, by whom, and as time goes by."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from matchlib.colorimetry import delta_e00, delta_lch
from matchlib.domain import Panel
from matchlib.errors import DomainError
from matchlib.listing import Listing
from matchlib.overview.cards import panel_lab

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["PanelResidual", "Spread", "Trend", "outliers", "panel_residuals", "spreads", "trend"]


@dataclass(frozen=True)
class PanelResidual:
    """How far a panel reads from what the law says of its recipe.

    Parameters
    ----------
    panel : Panel
        Which.
    difference : float
        ΔE00 of the reading from the law, the panel itself being in the fit.
    lightness, chroma : float
        Reading less law [ΔL*, ΔC*].

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = panel_residuals(demo_model(), demo_panels())
    >>> found[0].panel.code, found[0].difference < 2
    ('T001', True)
    """

    panel: Panel
    difference: float
    lightness: float
    chroma: float


@dataclass(frozen=True)
class Spread:
    """How far the panels of one group read from the law."""

    name: str  # of the group
    panels: int  # in it
    # median ΔE00 and its 95 % interval; the interval is not-a-number under five panels
    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Trend:
    """A change with time."""

    # change in a year, and its 95 % interval
    slope: float
    low: float
    high: float
    dates: int  # panels it rests on
    words: str  # the same in a sentence


def panel_residuals(model: FilmPredictor, panels: Sequence[Panel]) -> Listing[PanelResidual]:
    """Return how far each panel reads from what the law says of its recipe.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    panels : sequence of Panel
        The archive.

    Returns
    -------
    Listing of PanelResidual
        A tuple, of the panels with a reading under the usual viewing, in their order.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = panel_residuals(demo_model(), demo_panels())
    >>> found.to_frame().nlargest(1, "difference")["panel"].tolist()
    ['T029']
    """
    view = model.usual_view
    pairs = [(p, panel_lab(p, view)) for p in panels]
    read = [(p, lab) for p, lab in pairs if lab is not None]
    if not read:
        return Listing()
    seen = np.array([lab for _, lab in read])
    law = model.predict_recipes([p.read_as for p, _ in read], view)
    away = np.asarray(delta_e00(law, seen))
    shift = delta_lch(law, seen)
    return Listing(
        PanelResidual(p, float(away[i]), float(shift.lightness[i]), float(shift.chroma[i]))
        for i, (p, _) in enumerate(read)
    )


def outliers(found: Sequence[PanelResidual], measure: str) -> tuple[PanelResidual, ...]:
    """Return the panels so far from the law that they would hide everything else.

    Parameters
    ----------
    found : sequence of PanelResidual
        Of the archive.
    measure : str
        ``difference``, ``lightness`` or ``chroma``.

    Returns
    -------
    tuple of PanelResidual
        Further from the median than 6 standard deviations by the median absolute deviation
        (1.4826 of it is one, for normal values).

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = panel_residuals(demo_model(), demo_panels())
    >>> "T029" in [one.panel.code for one in outliers(found, "difference")]
    True
    """
    if not found:
        return ()
    values = np.array([getattr(m, measure) for m in found], float)
    away = np.abs(values - np.median(values))
    size = 1.4826 * float(np.median(away))
    return tuple(m for m, off in zip(found, away, strict=True) if size and off > 6.0 * size)


def spreads(found: Sequence[PanelResidual], by: str) -> Listing[Spread]:
    """Return how far panels read from the law, by who sprayed them or by lot.

    Parameters
    ----------
    found : sequence of PanelResidual
        Of the archive.
    by : str
        ``sprayer`` or ``lot``.

    Returns
    -------
    Listing of Spread
        A tuple, by name; intervals by the bootstrap (Efron 1979, Ann. Stat. 7, 1), percentiles.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = panel_residuals(demo_model(), demo_panels())
    >>> spreads(found, "sprayer").to_frame()[["name", "panels"]]
                name  panels
    0     apprentice      19
    1      day bench      65
    2  evening bench      49
    """
    groups: dict[str, list[float]] = {}
    for miss in found:
        name = getattr(miss.panel, by) or "not written"
        groups.setdefault(name, []).append(miss.difference)
    rng = np.random.default_rng(0)
    rows = []
    for name in sorted(groups):
        values = np.array(groups[name])
        low = high = float("nan")
        if len(values) >= 5:
            again = np.median(rng.choice(values, (2000, len(values))), axis=1)
            low, high = (float(v) for v in np.quantile(again, (0.025, 0.975)))
        rows.append(Spread(name, len(values), float(np.median(values)), low, high))
    return Listing(rows)


def trend(points: Sequence[tuple[dt.date, float]], *, unit: str = "ΔE00") -> Trend:
    """Fit a change a year through dated values, robustly.

    Parameters
    ----------
    points : sequence of (date, float)
        In any order.
    unit : str
        Of the values.

    Returns
    -------
    Trend
        Median of all slopes between pairs and its interval (Theil 1950; Sen 1968, J. Am. Stat.
        Assoc. 63, 1379), which a few wrong panels cannot bend.

    Raises
    ------
    DomainError
        If there are fewer than five dates.

    Examples
    --------
    >>> import datetime as dt
    >>> days = [dt.date(2024, month, 1) for month in range(1, 11)]
    >>> found = trend([(day, 0.1 * i) for i, day in enumerate(days)])
    >>> round(found.slope, 1)
    1.2
    """
    from scipy.stats import theilslopes

    days = np.array([d.toordinal() for d, _ in points], float)
    values = np.array([v for _, v in points], float)
    if len(np.unique(days)) < 5:
        raise DomainError(
            "There are too few dates to see a change with time.",
            expected="panels of at least five days",
            got=str(len(np.unique(days))),
            remedy="write the date on the back of every panel.",
        )
    slope, _, low, high = (float(v) for v in theilslopes(values, days / 365.25, alpha=0.95))
    sure = low > 0 or high < 0
    words = f"{slope:+.2f} {unit} a year (95%: {low:+.2f} to {high:+.2f}) over {len(points)} panels"
    words += ": a drift." if sure else ": no drift that could not be chance."
    return Trend(slope, low, high, len(points), words)
