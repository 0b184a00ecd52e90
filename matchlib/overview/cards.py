"""The cards of a library: what they read, in an order, by a colour, and those of one recipe."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence

import numpy as np

from matchlib.colorimetry import delta_e00, lch
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import BEFORE_CLEAR, Lab, Panel, Recipe, Viewing, three
from matchlib.domain.panel import readings_in
from matchlib.linear import lab_under

__all__ = ["ORDERS", "arranged", "card_lab", "nearest", "panel_lab", "sprayed_twice"]

GREY = 6.0
"""Chroma C* under which a card counts as grey and has no hue to be sorted by (common practice, no
source)."""

Key = tuple[float | str, ...]


def panel_lab(panel: Panel, viewing: Viewing) -> Lab | None:
    """Return the mean of a panel's readings under a viewing.

    Parameters
    ----------
    panel : Panel
        With its readings.
    viewing : Viewing
        Wanted.

    Returns
    -------
    tuple of 3 float or None
        CIELAB, under its clear coat where it was read so; spectra are worked out for the light
        wanted, Lab readings count only where they were taken under it; photographs never count.
        None where no reading serves.

    Examples
    --------
    >>> from matchlib import Viewing
    >>> from matchlib.demo import demo_panels
    >>> panel_lab(demo_panels()[0], Viewing(geometry="45as15")) is None
    True
    """
    read = (lab_under(r, viewing) for r in panel.seen if r.source != "photo")
    labs = [lab for lab in read if lab is not None]
    return three(np.mean(labs, axis=0)) if labs else None


def card_lab(panel: Panel) -> Lab | None:
    """Return the colour by which a card is known at a glance.

    Parameters
    ----------
    panel : Panel
        A card as it is now.

    Returns
    -------
    tuple of 3 float or None
        CIELAB, the mean of the readings of its latest stage under one viewing, those under its
        clear coat before those without, an instrument's before a photograph's and a face angle's
        before an aspecular one's; None where it was never read.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> [round(value, 1) for value in card_lab(demo_panels()[0])]
    [60.1, -0.1, 0.4]
    """
    found = _as_seen(panel)
    return None if found is None else found[1]


def _as_seen(panel: Panel) -> tuple[Viewing, Lab] | None:
    """How a card is looked at, and what it reads then; spectra by D65/10°."""
    alike: dict[tuple[Key, Viewing], list[Lab]] = {}
    for _, stage, _, r in readings_in([panel]):
        view = Viewing(geometry=r.viewing.geometry) if r.spectral else r.viewing
        light = (view.illuminant, view.observer) != ("D65", "10")
        early = r.state == BEFORE_CLEAR
        rank = (-stage, early, r.source == "photo", view.aspecular is not None, light)
        alike.setdefault((rank, view), []).append(lab_of_reading(r, view))
    if not alike:
        return None
    best = min(alike, key=lambda key: key[0])  # of equal ones the first that was read
    return best[1], three(np.mean(alike[best], axis=0))


def _hue(panel: Panel, lab: Lab) -> Key:
    _, chroma, hue = (float(v) for v in lch(np.array(lab)))
    return (True, -lab[0]) if chroma < GREY else (False, hue)


def _recipe(panel: Panel) -> Key:
    return (panel.recipe.strength, panel.code)


def _colour(panel: Panel) -> str:
    return "" if panel.recipe.colour is None else str(panel.recipe.colour).casefold()


def _ground(panel: Panel) -> str:
    return str(panel.recipe.ground).casefold()


ORDERS: dict[str, tuple[str, Callable[[Panel, Lab], Key]]] = {
    "hue": ("by hue", _hue),
    "lightness": ("by lightness", lambda _, lab: (-lab[0],)),
    "ground": ("by ground", lambda p, _: (_ground(p), _colour(p), *_recipe(p))),
    "colour": ("by colour", lambda p, _: (_colour(p), _ground(p), *_recipe(p))),
    "date": ("newest first", lambda p, _: (-(p.date or dt.date.min).toordinal(),)),
    "customer": ("by customer", lambda p, _: (not p.customer, p.customer.casefold())),
}
"""Orders by name: what each is called, and its key; greys come last by hue, undated cards last by
date, and those of no customer last by customer."""


def arranged(panels: Sequence[Panel], by: str = "hue") -> tuple[tuple[Panel, Lab | None], ...]:
    """Return cards in an order to look through them in.

    Parameters
    ----------
    panels : sequence of Panel
        A library.
    by : str
        One of `ORDERS`.

    Returns
    -------
    tuple of (Panel, tuple of 3 float or None)
        Each with its `card_lab`; what was never read comes last where the order is one of colour.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> darkest, lab = arranged(demo_panels(), "lightness")[-1]
    >>> darkest.code, round(lab[0], 1)
    ('T006', 6.4)
    """
    key = ORDERS[by][1]
    faces = [(p, card_lab(p)) for p in panels]
    if by not in ("hue", "lightness"):
        return tuple(sorted(faces, key=lambda f: key(f[0], f[1] or (0.0, 0.0, 0.0))))
    seen = [(p, lab) for p, lab in faces if lab is not None]
    unseen = [f for f in faces if f[1] is None]
    return (*sorted(seen, key=lambda f: key(*f)), *unseen)


def nearest(panels: Sequence[Panel], lab: Lab) -> tuple[tuple[Panel, Lab, float], ...]:
    """Return the cards that were read, the nearest to a colour first.

    Parameters
    ----------
    panels : sequence of Panel
        A library.
    lab : tuple of 3 float
        CIELAB wanted.

    Returns
    -------
    tuple of (Panel, tuple of 3 float, float)
        Each with its `card_lab` and how far that is [ΔE00].

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> panel, lab, away = nearest(demo_panels(), (27.1, 45.9, 28.5))[0]
    >>> panel.code, round(float(away), 1)
    ('T036', 2.5)
    """
    seen = [(p, own) for p in panels if (own := card_lab(p)) is not None]
    if not seen:
        return ()
    away = delta_e00(lab, [own for _, own in seen])
    order = np.argsort(away, kind="stable")
    return tuple((*seen[i], float(away[i])) for i in order)


def sprayed_twice(
    panels: Sequence[Panel],
) -> tuple[tuple[Recipe, tuple[tuple[Panel, Lab], ...], float], ...]:
    """Return recipes that more than one card was sprayed of, those furthest apart first.

    Parameters
    ----------
    panels : sequence of Panel
        A library.

    Returns
    -------
    tuple of (Recipe, tuple of (Panel, tuple of 3 float), float)
        Each recipe with its cards as read and the largest difference between two [ΔE00]; only
        readings under one viewing are laid beside one another.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> recipe, cards, apart = sprayed_twice(demo_panels())[0]
    >>> len(cards), round(apart, 1)
    (2, 10.1)
    """
    groups: dict[tuple[Recipe, Viewing], list[tuple[Panel, Lab]]] = {}
    for panel in panels:
        seen = _as_seen(panel)
        if seen is not None and panel.readings:
            view, lab = seen
            groups.setdefault((panel.read_as, view), []).append((panel, lab))
    found = []
    for (recipe, _), cards in groups.items():
        labs = np.array([lab for _, lab in cards])
        if len(cards) > 1:
            apart = delta_e00(labs[:, None], labs[None, :])
            found.append((recipe, tuple(cards), float(np.max(apart))))
    return tuple(sorted(found, key=lambda f: -f[2]))
