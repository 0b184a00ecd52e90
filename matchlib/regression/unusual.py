"""Colours and grounds that no film law holds for: fluorescent ones, and interference pearls.

A film takes light away. What gives back more of it than the bare ground did makes light of its own
(fluorescence: CIE 15:2018, 5.1, has the total radiance factor, which may pass 1). A flake coated to
interfere changes hue with the angle, which absorption cannot (ASTM E2539 asks for more angles of
such than of metal flakes for that reason).
"""

from __future__ import annotations

from collections.abc import Container, Iterator

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.observe import Observations
from matchlib.regression.table import RecipeTable
from matchlib.regression.vocabulary import Vocabulary

__all__ = ["FLUORESCENT", "INTERFERENCE", "unusual_names", "unusual_rows", "unusual_words"]

Mask = NDArray[np.bool_]
Ints = NDArray[np.intp]

FLUORESCENT = "it gives back more light than the bare ground, as fluorescent colours do"
INTERFERENCE = "its hue travels with the angle, as interference pearls do"

BRIGHT = 0.25, 55.0
"""Peak reflectance [-] and L* from which a bare ground shows that a colour over it gains light.
Over a darker one a film that scatters may be the lighter."""

MORE = (1.08, 0.01), (1.0, 4.0)
"""Times and plus which the bare ground's peak reflectance [-] and L* are passed by no batch
of it and no slip of reading."""

TRAVEL, COLOURED = 40.0, 8.0
"""Travel of hue that absorption over metal flake does not make [°], and least chroma at which a
hue is one (common practice, no source)."""


def unusual_names(
    table: RecipeTable, seen: Observations, panel: Ints, words: Vocabulary
) -> dict[tuple[str, str], str]:
    """Return the names of `Vocabulary.names` that the law cannot hold for, and why."""
    shown, colours = table.shown, table.colours
    travels, angles = _travel(table, seen, panel)
    gains, bright = _gain(table, seen)
    found = {}
    bare: Mask = np.asarray(~colours.any(axis=1), np.bool_)
    for i, name in enumerate(words.names):
        of_colour = i >= len(words.grounds)
        of_it = shown[:, i] & (shown.sum(axis=1) == 1 + of_colour)
        mine = of_it if of_colour else of_it & bare
        if _most(panel[mine & angles], panel[mine & travels], least=1 + of_colour):
            found[name] = INTERFERENCE
        if of_colour and _most(panel[mine & bright], panel[mine & gains], least=2):
            found[name] = FLUORESCENT
    pearls = [i for i, name in enumerate(words.names) if found.get(name) == INTERFERENCE]
    over = shown[:, [i for i in pearls if i < len(words.grounds)]].any(axis=1)
    for i in pearls:
        # What travels over a ground that travels by itself is the ground's doing.
        if i >= len(words.grounds) and not (travels & shown[:, i] & ~over).any():
            del found[words.names[i]]
    return found


def unusual_words(names: dict[tuple[str, str], str]) -> str:
    """Say which names are beyond the law.

    Parameters
    ----------
    names : dict
        From `unusual_names`.

    Returns
    -------
    str
        A sentence each, and what it means; nothing for none.

    Examples
    --------
    >>> unusual_words({})
    ''
    """
    if not names:
        return ""
    told = sorted((name, why) for (_, name), why in names.items())
    each = " ".join(f"{name}: {why}." for name, why in told)
    return (
        f"Beyond the film law: {each} What is told of it rests on panels near by alone, not on how "
        "films add up: spray and read before you trust it."
    )


def unusual_rows(names: Container[tuple[str, str]], table: RecipeTable, words: Vocabulary) -> Mask:
    """Return which rows show such a name; shape (n,)."""
    odd = np.array([name in names for name in words.names], bool)
    return np.asarray((table.shown & odd).any(axis=1), np.bool_)


def _most(asked: Ints, found: Ints, *, least: int) -> bool:
    """Whether enough panels show it: a third, so that a wrong back or two does not."""
    some = len(np.unique(found))
    return some >= least and 3 * some >= len(np.unique(asked))


def _gain(table: RecipeTable, seen: Observations) -> tuple[Mask, Mask]:
    """Rows that give back more light than their bare ground, and those over a bright one."""
    bare: Mask = np.asarray(~table.colours.any(axis=1), np.bool_)
    gains: Mask = np.zeros(len(table), np.bool_)
    bright: Mask = np.zeros(len(table), np.bool_)
    alike = np.column_stack([table.ground_share, table.geometry, seen.view])
    for rows in _groups(alike):
        for light, floor, (times, plus) in zip(
            (seen.peak, seen.lab[:, 0]), BRIGHT, MORE, strict=True
        ):
            plain = light[rows[bare[rows]]]
            if not np.isfinite(plain).any() or np.nanmedian(plain) < floor:
                continue
            coated = rows[~bare[rows] & np.isfinite(light[rows])]
            bright[coated] = True
            gains[coated] |= light[coated] > times * np.nanmedian(plain) + plus
    return gains, bright


def _travel(table: RecipeTable, seen: Observations, panel: Ints) -> tuple[Mask, Mask]:
    """Rows of panels whose hue travels with the angle, and of panels read at several angles."""
    travels, several = np.zeros(len(panel), bool), np.zeros(len(panel), bool)
    chroma = np.hypot(seen.lab[:, 1], seen.lab[:, 2])
    hue = np.arctan2(seen.lab[:, 2], seen.lab[:, 1])
    for rows in _groups(panel[:, None]):
        some = rows[table.aspecular[rows] & (chroma[rows] > COLOURED)]
        if len(np.unique(table.geometry[some])) > 1:
            several[rows] = True
            gap = np.angle(np.exp(1j * (hue[some][:, None] - hue[some][None, :])))
            travels[rows] = np.degrees(np.abs(gap).max()) > TRAVEL
    return travels, several


def _groups(keys: NDArray[np.generic]) -> Iterator[Ints]:
    _, of = np.unique(keys, axis=0, return_inverse=True)
    order = np.argsort(of.ravel(), kind="stable")
    yield from np.split(order, np.flatnonzero(np.diff(of.ravel()[order])) + 1)
