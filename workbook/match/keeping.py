"""The work in hand as plain data, kept with the archive's settings: it outlives the kernel."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from matchlib.domain import Reading, Recipe, Viewing
from matchlib.errors import DomainError, MatchlibError
from workbook.session.order import aim_of, tolerance_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matchlib.suggest import Target, Tolerance

__all__ = [
    "SETTING",
    "Tried",
    "Work",
    "plain_of",
    "recipe_of_text",
    "text_of_recipe",
    "work_of",
]

SETTING = "match in hand"
"""Name of the archive's setting."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A panel sprayed for the target.

    Parameters
    ----------
    code : str
        As on its back.
    recipe : Recipe
        What was sprayed.
    reading : Reading
        What it reads.
    kept : bool
        Whether it is in the archive.
    more : tuple of Reading
        What it reads at further angles.
    """

    code: str
    recipe: Recipe
    reading: Reading
    kept: bool = False
    more: tuple[Reading, ...] = ()

    @property
    def readings(self) -> tuple[Reading, ...]:
        """All of them, one an angle."""
        return (self.reading, *self.more)

    def at(self, geometry: str) -> Reading:
        """Return what it reads at an angle.

        Parameters
        ----------
        geometry : str
            The angle's.

        Returns
        -------
        Reading
            The first of all where it was not read there.
        """
        same = [r for r in self.readings if r.viewing.geometry == geometry]
        return same[0] if same else self.reading


@dataclass(frozen=True, slots=True)
class Work:
    """What is being matched, and how far it has come.

    Parameters
    ----------
    target : Reading, optional
        What is wanted.
    target_name : str
        What it is called.
    tolerance : float
        Difference that passes, by `kind`.
    most_uneven : float, optional
        Greatest ΔE00 that 10 percent of film may show.
    recipe : Recipe, optional
        What was chosen.
    tried : tuple of Tried
        Sprayed so far, in order.
    job : mapping of str to str
        Fields of the pot and the job sheet, as typed.
    angles : tuple of Reading
        What is wanted at further angles.
    kind : str
        Of the tolerance, as `workbook.session.order` names it.
    box : tuple of 3 float
        Half widths, for a kind that is a box.
    weights : mapping of str to float
        How often a difference counts, by geometry; 1 where none is given.
    """

    target: Reading | None = None
    target_name: str = ""
    tolerance: float = 1.0
    most_uneven: float | None = None
    recipe: Recipe | None = None
    tried: tuple[Tried, ...] = ()
    job: Mapping[str, str] = field(default_factory=dict)
    angles: tuple[Reading, ...] = ()
    kind: str = "de00"
    box: tuple[float, float, float] = (1.0, 1.0, 1.0)
    weights: Mapping[str, float] = field(default_factory=dict)

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The target's, one an angle; none without a target."""
        return () if self.target is None else (self.target, *self.angles)

    @property
    def order(self) -> Tolerance:
        """What passes."""
        return tolerance_of(self.kind, self.tolerance, self.box)

    @property
    def aim(self) -> Target | None:
        """The target with what passes, if there is one."""
        return aim_of(self.readings, self.order, self.weights) if self.readings else None


def _plain_reading(reading: Reading) -> dict[str, Any]:
    view = reading.viewing
    return {
        "illuminant": view.illuminant,
        "observer": view.observer,
        "geometry": view.geometry,
        "source": reading.source,
        "lab": None if reading.lab is None else list(reading.lab),
        "wavelengths": list(reading.wavelengths),
        "reflectance": list(reading.reflectance),
        "sd": reading.sd,
        "covariance": reading.covariance,
    }


def _reading(plain: Mapping[str, Any]) -> Reading:
    return Reading(
        Viewing(plain["illuminant"], plain["observer"], plain["geometry"]),
        plain["source"],
        _lab(plain["lab"]),
        tuple(float(v) for v in plain["wavelengths"]),
        tuple(float(v) for v in plain["reflectance"]),
        plain["sd"],
        _covariance(plain.get("covariance")),
    )


def _covariance(rows: Any) -> Any:
    return None if rows is None else tuple(tuple(float(v) for v in row) for row in rows)


def _lab(values: Sequence[float] | None) -> tuple[float, float, float] | None:
    if values is None:
        return None
    light, red, yellow = (float(v) for v in values)
    return light, red, yellow


def _plain_recipe(recipe: Recipe) -> dict[str, Any]:
    return {
        "ground": str(recipe.ground),
        "colour": str(recipe.colour or ""),
        "schedule": str(recipe.schedule or ""),
        "clear": recipe.clear,
    }


def _recipe(plain: Mapping[str, Any]) -> Recipe:
    from workbook.session import recipe_of

    return recipe_of(
        ground=plain["ground"],
        colour=plain["colour"],
        schedule=plain["schedule"],
        clear=plain["clear"],
    )


def text_of_recipe(recipe: Recipe) -> str:
    """Return a recipe as a text that can be kept.

    Parameters
    ----------
    recipe : Recipe
        Any.

    Returns
    -------
    str
        For `recipe_of_text`.
    """
    return json.dumps(_plain_recipe(recipe))


def recipe_of_text(text: str) -> Recipe:
    """Return the recipe that was kept as a text.

    Parameters
    ----------
    text : str
        From `text_of_recipe`.

    Returns
    -------
    Recipe
        As it was.
    """
    return _recipe(json.loads(text))


def plain_of(work: Work) -> dict[str, Any]:
    """Return the work as JSON can hold it.

    Parameters
    ----------
    work : Work
        In hand.

    Returns
    -------
    dict
        For `work_of`.
    """
    return {
        "target": None if work.target is None else _plain_reading(work.target),
        "target_name": work.target_name,
        "tolerance": work.tolerance,
        "most_uneven": work.most_uneven,
        "recipe": None if work.recipe is None else _plain_recipe(work.recipe),
        "tried": [
            {
                "code": t.code,
                "recipe": _plain_recipe(t.recipe),
                "reading": _plain_reading(t.reading),
                "kept": t.kept,
                "more": [_plain_reading(reading) for reading in t.more],
            }
            for t in work.tried
        ],
        "job": dict(work.job),
        "angles": [_plain_reading(reading) for reading in work.angles],
        "kind": work.kind,
        "box": list(work.box),
        "weights": dict(work.weights),
    }


def work_of(plain: object) -> Work:
    """Return the work that was kept.

    Parameters
    ----------
    plain : object
        What `plain_of` gave, or None for none.

    Returns
    -------
    Work
        As it was.

    Raises
    ------
    DomainError
        If it is something else.
    """
    if plain is None:
        return Work()
    try:
        if not isinstance(plain, Mapping):
            raise TypeError
        uneven = plain["most_uneven"]
        work = Work(
            target=None if plain["target"] is None else _reading(plain["target"]),
            target_name=str(plain["target_name"]),
            tolerance=float(plain["tolerance"]),
            most_uneven=None if uneven is None else float(uneven),
            recipe=None if plain["recipe"] is None else _recipe(plain["recipe"]),
            job={str(k): str(v) for k, v in plain["job"].items()},
            # What was kept before there were these is a ΔE00 at one angle.
            angles=tuple(_reading(r) for r in plain.get("angles", ())),
            kind=str(plain.get("kind", "de00")),
            box=_lab(plain.get("box", (1.0, 1.0, 1.0))) or (1.0, 1.0, 1.0),
            weights={str(k): float(v) for k, v in plain.get("weights", {}).items()},
        )
        work.order  # noqa: B018  refused here, not at every step
        tried_more = [tuple(_reading(r) for r in t.get("more", ())) for t in plain["tried"]]
        tried = [
            Tried(
                str(t["code"]), _recipe(t["recipe"]), _reading(t["reading"]), bool(t["kept"]), more
            )
            for t, more in zip(plain["tried"], tried_more, strict=True)
        ]
        return replace(work, tried=tuple(tried))
    except (KeyError, TypeError, AttributeError, ValueError, MatchlibError) as error:
        raise DomainError(
            "The work that was kept with this archive cannot be read.",
            expected="what this workbook kept",
            got=type(error).__name__,
            remedy="choose the target again.",
        ) from None
