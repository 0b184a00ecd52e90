"""What a lesson rests on: the law and the archive, asked for recipes, and how it is told."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import lch
from matchlib.domain import CoatStep, Colour, Ground, Lab, Panel, Recipe, three
from matchlib.linear import linearise, values_covariance

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["Evidence", "Lesson", "LessonBasis", "by_recipe", "cannot"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Lesson:
    """A rule and its evidence.

    Parameters
    ----------
    key, title : str
        Its name here, and before the reader.
    rule : str
        What it is about, in general words.
    finding : str
        What this archive says, computed; or why it cannot say it.
    supported : bool
        Whether this archive bears the rule out.
    columns : tuple of str
        Heads of the numbers.
    rows : tuple of tuple of str
        The numbers, one row a recipe, its name first.
    labs : tuple of tuple of 3 float
        CIELAB of the recipes, to be shown as swatches; as many as rows, or none.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> from matchlib.lessons import lesson
    >>> found = lesson(demo_model(), demo_panels(), "value")
    >>> print(found.title)
    The ground sets the value
    """

    key: str
    title: str
    rule: str
    finding: str
    supported: bool
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    labs: tuple[Lab, ...] = ()


class LessonBasis:
    """The law and the archive, asked for recipes."""

    def __init__(
        self, model: FilmPredictor, panels: Sequence[Panel], own: Recipe, step: CoatStep
    ) -> None:
        self.model, self.panels, self.own, self.step = model, panels, own, step
        self.view = model.usual_view
        recipes = [p.recipe for p in panels]
        self.grounds = [g for g in dict.fromkeys(r.ground for r in recipes) if g.neat]
        some = dict.fromkeys(c for r in recipes for c in r.colours)
        self.colours = [c for c in some if c.neat]

    def labs(self, recipes: Sequence[Recipe], light: str = "D65") -> Array:
        """Return CIELAB that recipes should read, shape (n, 3)."""
        view = replace(self.view, illuminant=light)
        return self.model.predict_recipes(recipes, view)

    def over(self, grounds: Sequence[Ground], colour: Colour | None = None) -> list[Recipe]:
        """Return the archive's usual recipe over each ground."""
        return [replace(self.own, ground=g, colour=colour or self.own.colour) for g in grounds]

    def bare(self) -> Array:
        """Return CIELAB of its grounds without colour, shape (n, 3)."""
        return self.labs([Recipe(g, clear=self.own.clear) for g in self.grounds])

    def shift(self, one: Recipe, two: Recipe) -> tuple[Array, Array]:
        """Lab of two less Lab of one, and the standard deviation of that, axis by axis."""
        near = linearise(self.model, [one, two], self.view)
        way = near.jacobian[1] - near.jacobian[0]
        spread = way @ values_covariance(self.model, [one, two]) @ way.T
        return near.lab[1] - near.lab[0], np.sqrt(np.diagonal(spread))


class Evidence(NamedTuple):
    """What an archive says of a rule; the fields of a `Lesson` without its names."""

    finding: str
    supported: bool
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    labs: tuple[Lab, ...] = ()


def cannot(why: str) -> Evidence:
    """Return what an archive says that cannot teach a rule."""
    return Evidence(f"This archive cannot say: {why}", supported=False)


def by_recipe(
    finding: str, supported: bool, *, columns: Sequence[str], rows: Iterable[tuple[Any, ...]]
) -> Evidence:
    """Return what an archive says, a row a recipe: its name, its Lab, and what more is told."""
    told, labs = [], []
    for name, lab, *more in rows:
        light, chroma, hue = (float(v) for v in lch(lab))
        told.append((str(name), f"{light:.1f}", f"{chroma:.1f}", f"{hue:.0f}", *more))
        labs.append(three(lab))
    heads = (columns[0], "L*", "C*", "h°", *columns[1:])
    return Evidence(finding, bool(supported), heads, tuple(told), tuple(labs))
