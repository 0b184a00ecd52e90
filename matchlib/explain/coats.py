"""What a card should read after each coat, before clear, and what the clear will do to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from matchlib.colorimetry import delta_e00, delta_lch, expected_delta_e00
from matchlib.domain import Lab, Panel, Recipe, Viewing, three
from matchlib.domain.panel import readings_in
from matchlib.regression import FilmPredictor

if TYPE_CHECKING:
    from matchlib.correction import Belief

__all__ = ["CoatReading", "CoatReadings", "clear_change", "coat_readings"]


@dataclass(frozen=True, slots=True)
class CoatReading:
    """What a card should read at one point of its spraying."""

    coats: int  # colour coats on it; 0 is the bare ground
    lab: Lab  # CIELAB
    spread: float  # how far the card is expected to read from that [ΔE00]


@dataclass(frozen=True, slots=True)
class CoatReadings:
    """What a card should read on the way.

    Parameters
    ----------
    coats : tuple of CoatReading
        Before clear, from the bare ground up.
    cleared : CoatReading, optional
        Under the recipe's clear coat; None where it has none.
    seen_uncleared : bool
        Whether the archive holds panels without clear; else what is said of them rests on what is
        usual alone.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> found = coat_readings(demo_model(), Recipe.of("silver", "cherry", "3@6:1", "yes"))
    >>> found.seen_uncleared, found.cleared.coats
    (False, 3)
    """

    coats: tuple[CoatReading, ...]
    cleared: CoatReading | None
    seen_uncleared: bool

    @property
    def clear_words(self) -> str:
        """What the clear will do to it; empty where there is none."""
        if self.cleared is None:
            return ""
        before, after = self.coats[-1].lab, self.cleared.lab
        away = float(delta_e00(before, after))
        text = (
            f"The clear will make it {clear_change(before, after)}, ΔE00 {away:.1f} in all: "
            "do not spray a coat for it."
        )
        if not self.seen_uncleared:
            text += " No panel of this archive was read without clear: take it as a guess."
        return text


def clear_change(before: Lab, after: Lab) -> str:
    """Say what the clear does to value and chroma.

    Parameters
    ----------
    before, after : tuple of 3 float
        CIELAB without clear and under it.

    Returns
    -------
    str
        The difference of each, in words.

    Examples
    --------
    >>> clear_change((29.4, 44.4, 25.1), (27.0, 45.9, 28.3))
    '2.4 L* darker and 2.9 C* more vivid'
    """
    light, chroma, *_ = (float(v) for v in delta_lch(before, after))
    value, depth = "darker" if light < 0 else "lighter", "more vivid" if chroma > 0 else "duller"
    return f"{abs(light):.1f} L* {value} and {abs(chroma):.1f} C* {depth}"


def coat_readings(
    model: FilmPredictor | Belief,
    recipe: Recipe,
    *,
    archive: Sequence[Panel] = (),
    viewing: Viewing | None = None,
) -> CoatReadings:
    """Predict a card coat by coat.

    Parameters
    ----------
    model : FilmPredictor or Belief
        Fitted; or what is believed of today.
    recipe : Recipe
        What will be sprayed.
    archive : sequence of Panel
        What was sprayed, to know whether any card was read without clear.
    viewing : Viewing, optional
        D65/10° in the archive's own geometry if None.

    Returns
    -------
    CoatReadings
        One more than there are coats, and the cleared card.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> found = coat_readings(demo_model(), Recipe.of("silver", "cherry", "3@6:1", "yes"))
    >>> [(coat.coats, round(coat.lab[0])) for coat in found.coats]
    [(0, 61), (1, 48), (2, 38), (3, 32)]
    """
    view = viewing or model.usual_view
    plan = [*replace(recipe, clear=None).coat_by_coat(), recipe]
    there = model.predict_each(plan, view)
    lab = there.lab
    spread = expected_delta_e00(lab, lab, there.covariance, tolerance=1.0, dof=there.dof).mean
    found = [
        CoatReading(n, three(v), float(s)) for n, (v, s) in enumerate(zip(lab, spread, strict=True))
    ]
    cleared = None if recipe.clear is None else replace(found[-1], coats=len(plan) - 2)
    seen = any(
        stage.recipe.colour is not None and stage.recipe_at(read).clear is None
        for _, _, stage, read in readings_in(archive)
    )
    return CoatReadings(tuple(found[:-1]), cleared, seen)
