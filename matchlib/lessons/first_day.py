"""The first cards of a colour: the four of a new shop, and a trainee's guided first day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Panel, Recipe
from matchlib.errors import DomainError
from matchlib.overview import card_lab
from matchlib.plural import counted

__all__ = ["FirstDayCard", "first_day", "first_four"]


_HOW = "Same overlap and speed for each coat."
_BARE = (
    "Value comes from the ground: this is all the light the colour will have.",
    "Even and full coverage; look at face and flop. Read it under the same clear.",
)
_WEAK_END = (
    "The weak end: what two coats do to the ground.",
    "Say the ratio aloud before pouring: carrier first.",
)
_MIDDLE = (
    "The middle: the colour deepens, and each coat does a little less than the last.",
    "Same overlap and speed for each coat; mask half of the card after two.",
)
_FULL_END = (
    "The full end: from here on coats mostly darken.",
    "Watch edges and overlaps: this is where stripes begin to show.",
)
_SAME_POT = "From the same pot and on the same day as the middle card."
_DARK = ("The same coats on another ground: what its value does to them.", _SAME_POT)
_CAST = ("The same coats on another ground: what its cast does to them.", _SAME_POT)
_AGAIN = (
    "The same card again: no recipe can be hit closer than these two read.",
    "Spray it as if the first did not exist.",
)


@dataclass(frozen=True, slots=True)
class FirstDayCard:
    """A card to spray."""

    recipe: Recipe  # what is sprayed on it
    teaches: str  # what it is for
    how: str  # what to watch while it is sprayed
    done: tuple[str, ...] = ()  # the panel of the archive that is one already, if there is one


def first_day(
    panels: Sequence[Panel],
    colour: Colour,
    *,
    ratio: MixRatio | None = None,
    clear: str | None = "yes",
) -> tuple[FirstDayCard, ...]:
    """Plan the first day with a colour.

    Parameters
    ----------
    panels : sequence of Panel
        The archive; bare grounds alone suffice. Its neat grounds are used: the lightest, the
        darkest, and the yellowest where it is another.
    colour : Colour
        Of which the set is made.
    ratio : MixRatio, optional
        Of most cards; 6:1 if None.
    clear : str, optional
        Clear coat over all of them.

    Returns
    -------
    tuple of FirstDayCard
        In the order to spray; five to ten, by the grounds and the ratio.

    Raises
    ------
    DomainError
        If the archive names no neat ground.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> from matchlib.domain import Colour
    >>> cards = first_day(demo_panels(), Colour.parse("cherry"))
    >>> [str(card.recipe) for card in cards][:2]
    ['pearl white, bare', 'pale gold, bare']
    """
    lightness = _lightness(panels)
    grounds = [g for g in dict.fromkeys(p.recipe.ground for p in panels) if g.neat]
    if not grounds:
        raise DomainError(
            "A first day needs a ground.",
            expected="at least one panel over a ground by itself, bare or with colour",
            got=f"{counted(len(panels), 'panel')} over blends of grounds"
            if panels
            else "none in this archive",
            remedy="spray a bare panel of each ground you use, read it and add it.",
        )
    # A ground that nobody has read bare stands between those that were.
    by_light = sorted(grounds, key=lambda g: -lightness.get(g, (50.0, 0.0))[0])
    light, dark = by_light[0], by_light[-1]
    yellow = max(by_light, key=lambda g: lightness.get(g, (0.0, 0.0))[1])
    usual = ratio or MixRatio.parse("6:1")
    pots = []
    if usual.carrier >= usual.colour:  # or no pot is twice as strong
        # Twice the colour in each coat: 6:1 is a seventh, and 2.5:1 two sevenths.
        pots = [MixRatio(usual.carrier - usual.colour, 2 * usual.colour)]
    chosen = list(dict.fromkeys([light, yellow, dark]))

    middle = CoatSchedule.of(4, usual)
    plan = [
        *((ground, None, *_BARE) for ground in chosen),
        (light, CoatSchedule.of(2, usual), *_WEAK_END),
        (light, middle, *_MIDDLE),
        (light, CoatSchedule.of(6, usual), *_FULL_END),
        *(
            (
                light,
                CoatSchedule.of(2, strong),
                f"Two coats at {strong} hold as much colour as four at {usual}: compare it with "
                "that card.",
                "Mind the stripes: fewer, stronger coats forgive less.",
            )
            for strong in pots
        ),
        *((g, middle, *(_DARK if g == dark else _CAST)) for g in chosen[1:]),
        (light, middle, *_AGAIN),
    ]
    return _cards(plan, panels, colour, clear)


def first_four(
    panels: Sequence[Panel],
    colour: Colour,
    *,
    clear: str | None = "yes",
) -> tuple[FirstDayCard, ...]:
    """Return the first four cards of a colour for a shop that has bare grounds alone.

    They are spread over three grounds and two ratios, since what one ground shows does not tell
    what another will.

    Parameters
    ----------
    panels : sequence of Panel
        With the neat grounds that were read bare.
    colour : Colour
        New to the shop.
    clear : str, optional
        Clear coat over all.

    Returns
    -------
    tuple of FirstDayCard
        Four of them: thin and full over the lightest ground, and over one between and the
        darkest; of fewer grounds those there are. None where no neat ground was read bare.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> from matchlib.domain import Colour
    >>> for card in first_four(demo_panels(), Colour.parse("cherry")):
    ...     print(card.recipe)
    cherry over pearl white, 2@6:1
    cherry over pearl white, 4@3:1
    cherry over silver, 3@6:1
    cherry over black, 3@4:1
    """
    lightness = {g: v[0] for g, v in _lightness(panels).items() if g.neat}
    if not lightness:
        return ()
    light, *rest = sorted(lightness, key=lambda g: -lightness[g])
    dark = rest[-1] if rest else light
    middle = rest[(len(rest) - 1) // 2] if rest else light
    usual = MixRatio.parse("6:1")
    strong = MixRatio(usual.carrier, 2 * usual.colour)
    between = MixRatio(2 * usual.carrier, 3 * usual.colour)
    plan = [
        (light, CoatSchedule.of(2, usual), "How the colour begins.", "Even and thin."),
        (light, CoatSchedule.of(4, strong), "How deep it goes, from a stronger pot.", _HOW),
        (
            middle,
            CoatSchedule.of(3, usual),
            "What another ground makes of it." if rest else "What one coat more does.",
            _HOW,
        ),
        (
            dark,
            CoatSchedule.of(3, between),
            "What the darkest ground leaves of it." if rest else "As many coats of a stronger pot.",
            _HOW,
        ),
    ]
    return _cards(plan, panels, colour, clear)


def _cards(
    plan: Sequence[tuple[Ground, CoatSchedule | None, str, str]],
    panels: Sequence[Panel],
    colour: Colour,
    clear: str | None,
) -> tuple[FirstDayCard, ...]:
    """Cards to spray, each with a panel of the archive that is one already."""
    had: dict[Recipe, list[str]] = {}
    for panel in panels:
        had.setdefault(replace(panel.recipe, clear=clear), []).append(panel.code)
    cards = []
    for ground, steps, teaches, how in plan:
        recipe = Recipe(ground, None if steps is None else colour, steps, clear)
        codes = had.get(recipe, [])
        cards.append(FirstDayCard(recipe, teaches, how, tuple(codes[:1])))
        had[recipe] = codes[1:]  # of a card sprayed twice the archive must hold two
    return tuple(cards)


def _lightness(panels: Sequence[Panel]) -> dict[Ground, tuple[float, float]]:
    """L* and b* of grounds that were read bare."""
    found: dict[Ground, tuple[float, float]] = {}
    for panel in panels:
        lab = card_lab(panel) if panel.recipe.bare else None
        if lab is not None:
            found.setdefault(panel.recipe.ground, (lab[0], lab[2]))
    return found
