"""How well the shop repeats itself: variance components of panels and readings, with intervals.

What a panel reads differs from what its recipe should read by who sprayed, by the lot, by what
that panel got for itself, and by the reading. The parts are told apart by restricted maximum
likelihood (Patterson and Thompson 1971): the likelihood of the readings with what is common, here
the values of the film law under their priors, integrated out. So a recipe need not be sprayed
twice to speak, while repeats speak most. Intervals come from the curvature of that likelihood in
the logarithm of each size (Laplace).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from matchlib.colorimetry import delta_e00
from matchlib.colorimetry.difference import delta_e00_metric
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Lab, Panel, Recipe
from matchlib.errors import FitError
from matchlib.linear import fit_panels, linearise, panel_spread
from matchlib.listing import items_frame
from matchlib.progress import Callback, part_of
from matchlib.regression.frames import conditions_of

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression import FilmPredictor

__all__ = ["Component", "Repeatability", "repeatability"]

Array = NDArray[np.float64]

MOST = 240
"""Panels that the components are learnt from, at most; the newest are taken."""

PART_WORDS = {
    "panel film": "film, from card to card",
    "panel rest": "all else, from card to card",
    "sprayer": "film, from sprayer to sprayer",
    "lot": "film, from lot to lot",
    "reading": "one reading of a card",
    "law": "what the model misses of a recipe, which is no part of repeatability",
}
"""What each part is, in words."""

LAW = "law"
"""What the film law leaves of a recipe: the same on every panel of it, so no part of the floor."""

# In the order they are told in.
_START = {
    "panel film": 0.05,
    "panel rest": 0.2,
    "sprayer": 0.02,
    "lot": 0.02,
    "reading": 0.08,
    "law": 0.1,
}
_WIDTH = 1.5
"""Spread of the belief about the logarithm of each size: a factor of 4.5 either way."""


@dataclass(frozen=True)
class Component:
    """One part of the spread."""

    # ``panel film``, ``panel rest``, ``sprayer``, ``lot``, ``reading``, or ``law``: what the film
    # law leaves of a recipe, which is no part of the floor
    name: str
    # standard deviation: of log film for film, sprayer and lot [-]; of ΔE00 an axis for the rest
    # and the reading
    sd: float
    low: float  # 95 % interval of it
    high: float
    difference: float  # the same as median ΔE00 over the archive's recipes
    words: str  # in a sentence


@dataclass(frozen=True)
class Repeatability:
    """How well the shop repeats itself.

    Parameters
    ----------
    components : tuple of Component
        Those that the archive can speak of.
    floor : float
        Median ΔE00 of one panel, as read, against its recipe's mean: nobody gets below.
    low, high : float
        95 % interval of it.
    measured : float, optional
        The same straight from recipes sprayed more than once, without any law; None if there is
        none.
    repeats : int
        Panels that `measured` rests on.
    words : str
        In sentences.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> from matchlib.validation import repeatability
    >>> found = repeatability(demo_panels(), demo_model())
    >>> found.repeats > 0, found.low < found.measured < found.high
    (True, True)
    """

    components: tuple[Component, ...]
    floor: float
    low: float
    high: float
    measured: float | None
    repeats: int
    words: str

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row a component.

        Returns
        -------
        DataFrame
            Columns as the fields of `Component`.
        """
        return items_frame(self.components)


def _instrument_read(panels: Sequence[Panel]) -> Sequence[Panel]:
    """Panels with their instrument's readings; as they are where only photographs show colour."""
    only = [(p, tuple(r for r in p.readings if r.source != "photo")) for p in panels]
    read = [p.having(readings=readings) for p, readings in only if readings]
    return read if any(not p.recipe.bare for p in read) else panels


def _measured(panels: Sequence[Panel]) -> tuple[float | None, int]:
    groups: dict[tuple[object, ...], list[Lab]] = defaultdict(list)
    for p in panels:
        first = p.seen[0]
        # Batches of a ground and instruments are no spread of spraying: the floor has none either.
        kind = (p.read_as, p.batch, first.viewing, first.source, first.instrument)
        groups[kind].append(lab_of_reading(first))
    errors: list[float] = []
    for labs in groups.values():
        if len(labs) > 1:
            mean = np.mean(labs, axis=0)
            # The mean is made of the panels themselves and so too near them.
            stretch = np.sqrt(len(labs) / (len(labs) - 1))
            away = mean + stretch * (np.array(labs) - mean)
            errors += delta_e00(away, mean).tolist()
    return (float(np.median(errors)) if errors else None), len(errors)


class _Sums:
    """Readings whitened to ΔE00, with what is common to them, ready for the likelihood."""

    def __init__(self, model: FilmPredictor, panels: Sequence[Panel]) -> None:
        rows = [(i, r) for i, p in enumerate(panels) for r in p.seen]
        recipes: list[Recipe] = [panels[i].read_as for i, _ in rows]
        # By who sprayed it from what, as far as the fit knows: a straight line from there is short.
        under = [conditions_of(panels[i], panels[i].stages[-1], r) for i, r in rows]
        views = [r.viewing for _, r in rows]
        near = linearise(model, recipes, views, conditions=under)
        root = np.linalg.cholesky(delta_e00_metric(near.lab))
        self.metric: Array = np.asarray(root.transpose(0, 2, 1), float)
        lab = np.array([lab_of_reading(r) for _, r in rows])
        fit = model.fitted_
        common = self.metric @ near.jacobian
        self.film = (self.metric @ near.film[:, :, None])[:, :, 0]
        residual = (self.metric @ (lab - near.lab)[:, :, None])[:, :, 0]
        residual = residual + common @ fit.z
        self.residual = residual.ravel()
        flat = common.reshape(self.residual.size, -1) * fit.sizes.groups[fit.law.group_of]
        panel = np.array([i for i, _ in rows])
        same_panel = np.equal.outer(panel, panel)
        self.parts: dict[str, Array] = {}
        self.parts["panel film"] = _shared(self.film, same_panel)
        # Stray light tells more on dark panels: the fit knows the shape, its size is learnt here.
        spray = model.predict_each(recipes, views, conditions=under).spray
        self.rest = _roots(model, spray, self.metric, near.film)
        self.parts["panel rest"] = _shared(self.rest, same_panel)
        for name in ("sprayer", "lot"):
            who = np.array([getattr(panels[i], name) for i, _ in rows])
            if len({w for w in who if w}) > 1:
                same = np.equal.outer(who, who) & (who != "")[:, None]
                self.parts[name] = _shared(self.film, same)
                flat[:, fit.law.slices[name]] = 0.0  # told apart here, not common
        self.base = flat @ flat.T
        marks = [recipes.index(r) for r in recipes]
        each_axis = np.tile(np.eye(3), (len(rows), 1, 1))
        self.parts[LAW] = _shared(each_axis, np.equal.outer(marks, marks))
        if len(rows) > len(set(panel.tolist())):  # else nothing tells it from the panel's rest
            self.parts["reading"] = np.eye(self.residual.size)
        self.names = [n for n in _START if n in self.parts]
        self.start = np.log([_START[n] for n in self.names])

    def loss(self, x: Array) -> tuple[float, Array]:
        """Minus the log posterior of the log sizes, and its gradient."""
        sizes = np.exp(2.0 * np.clip(x, -12.0, 4.0))
        v = self.base + sum(s * self.parts[n] for s, n in zip(sizes, self.names, strict=True))
        v[np.diag_indices_from(v)] += 1e-6
        root = np.linalg.cholesky(v)
        inverse = np.linalg.inv(root)
        inverse = inverse.T @ inverse
        solved = inverse @ self.residual
        away = (x - self.start) / _WIDTH
        value = 0.5 * self.residual @ solved + np.log(np.diag(root)).sum() + 0.5 * away @ away
        slope = np.array(
            [
                s * (np.vdot(inverse, self.parts[n]) - solved @ self.parts[n] @ solved)
                for s, n in zip(sizes, self.names, strict=True)
            ]
        )
        return float(value), slope + away / _WIDTH

    def best(self, callback: Callback) -> tuple[Array, Array]:
        """Log sizes of greatest posterior, and their covariance."""

        def loss(x: Array) -> tuple[float, Array]:
            callback(0.0, "telling panel, sprayer, lot and reading apart")
            return self.loss(x)

        found = minimize(loss, self.start, jac=True, method="L-BFGS-B")
        small, count = 0.02, len(self.names)
        bend = np.empty((count, count))
        for i in range(count):
            callback(0.7 + 0.3 * i / count, "asking how sure that is")
            move = small * np.eye(count)[i]
            bend[i] = (self.loss(found.x + move)[1] - self.loss(found.x - move)[1]) / (2 * small)
        bend = 0.5 * (bend + bend.T)
        size, axes = np.linalg.eigh(bend)
        least = 1.0 / _WIDTH**2
        return found.x, (axes / np.maximum(size, least)) @ axes.T


def _roots(model: FilmPredictor, spray: Array, metric: Array, film: Array) -> Array:
    """Root of each panel's spread without its film, in ΔE00, its mean variance an axis 1."""
    size, _ = panel_spread(model)
    rest = metric @ (spray - size**2 * film[:, :, None] * film[:, None, :]) @ metric.swapaxes(1, 2)
    values, axes = np.linalg.eigh(rest)
    values = np.maximum(values, 1e-4 * values[:, -1:])
    values /= values.mean()
    return np.asarray(axes * np.sqrt(values)[:, None, :], float)


def _shared(roots: Array, same: NDArray[np.bool_]) -> Array:
    """Covariance of n readings by what moves each along its roots (n, 3, ...), where it is one."""
    flat = roots.reshape(3 * len(roots), -1)
    return np.asarray(flat @ flat.T * np.kron(same, np.ones((3, 3))))


def repeatability(
    panels: Sequence[Panel],
    model: FilmPredictor | None = None,
    *,
    callback: Callback | None = None,
) -> Repeatability:
    """Return how well a shop repeats itself.

    Parameters
    ----------
    panels : sequence of Panel
        The archive.
    model : FilmPredictor, optional
        Fitted to it; fitted here, without knowledge of sprayers, if None.
    callback : callable, optional
        Called between pieces of work with the share done and what is being done; what it raises
        ends the work.

    Returns
    -------
    Repeatability
        Components with intervals, and the floor.

    Raises
    ------
    FitError
        If there are no panels with colour.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = repeatability(demo_panels(), demo_model())
    >>> 0.4 < found.low < found.floor < found.high < 0.8
    True
    """
    read = _instrument_read([p for p in panels if p.readings])
    if not any(not p.recipe.bare for p in read):
        raise FitError(
            "There is nothing to learn repeatability from.",
            expected="panels with colour, and readings",
            got=f"{len(read)} panels that were read",
            remedy="spray some; one recipe three times tells most.",
        )
    report = part_of(callback, 0.0 if model is not None else 0.7)
    model = model or fit_panels(read, callback=part_of(callback, 0.0, 0.7))
    right = [p for p in read if model.trust_.get(p.code, 1.0) >= 0.5 and not p.recipe.bare]
    right = sorted(right, key=lambda p: (p.date is not None, p.date or 0, p.code))[-MOST:]
    report(0.0, "comparing panels")
    sums = _Sums(model, right)
    x, covariance = sums.best(part_of(report, 0.1, 0.8))
    report(0.8, "working out the floor")
    return _told(sums, x, covariance, right, np.random.default_rng(0))


def _told(
    sums: _Sums, x: Array, covariance: Array, panels: Sequence[Panel], rng: np.random.Generator
) -> Repeatability:
    sds, give = np.exp(x), np.sqrt(np.diag(covariance))
    draws = rng.normal(size=(40, len(sums.film), 7))

    def medians(sizes: dict[str, float]) -> float:
        film = np.hypot(sizes.get("panel film", 0.0), sizes.get("sprayer", 0.0))
        film = np.hypot(film, sizes.get("lot", 0.0))
        rest = (sums.rest @ draws[:, :, 1:4, None])[..., 0]
        cloud = film * draws[:, :, :1] * sums.film + sizes.get("panel rest", 0.0) * rest
        cloud = cloud + sizes.get("reading", 0.0) * draws[:, :, 4:]
        return float(np.median(np.linalg.norm(cloud, axis=2)))

    components = []
    for i, name in enumerate(sums.names):
        low, high = float(np.exp(x[i] - 1.96 * give[i])), float(np.exp(x[i] + 1.96 * give[i]))
        sd, difference = float(sds[i]), medians({name: float(sds[i])})
        if name in ("panel film", "sprayer", "lot"):
            size = f"±{100 * sd:.1f}% ({100 * low:.1f} to {100 * high:.1f}%)"
        else:
            size = f"±{sd:.2f} ({low:.2f} to {high:.2f}) ΔE00 an axis"
        words = f"{PART_WORDS[name]}: {size}"
        words += "." if name == LAW else f", which shows as a median ΔE00 of {difference:.2f}."
        components.append(Component(name, sd, low, high, difference, words))
    floor = medians(dict(zip(sums.names, sds.tolist(), strict=True)))
    several = rng.multivariate_normal(x, covariance, size=60)
    floors = [medians(dict(zip(sums.names, np.exp(s).tolist(), strict=True))) for s in several]
    low, high = (float(v) for v in np.quantile(floors, (0.025, 0.975)))
    measured, repeats = _measured(panels)
    words = (
        f"One panel reads a median ΔE00 of {floor:.2f} ({low:.2f} to {high:.2f}) from its recipe."
    )
    if measured is not None:
        words += f" The {repeats} panels of recipes sprayed more than once say {measured:.2f}."
    return Repeatability(tuple(components), floor, low, high, measured, repeats, words)
