"""What the customer's order allows, and at which angles: the same for the command line and a page.

A tolerance has a short name here (``de00``, ``cmc2:1``, ``box``, ``box-lch``), a number or three,
and its words. A target read at several angles is as many readings, one a geometry, with a weight
each.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from matchlib.errors import TargetError

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Reading
    from matchlib.regression import FilmPredictor
    from matchlib.target import Target

__all__ = [
    "DAY",
    "KINDS",
    "aim_of",
    "aim_words",
    "tolerance_of",
]

KINDS = {
    "de00": "ΔE00",
    "cmc2:1": "CMC(2:1): lightness counts half",
    "cmc1:1": "CMC(1:1)",
    "box": "its own limit for ΔL*, Δa*, Δb*",
    "box-lch": "its own limit for ΔL*, ΔC*, ΔH*",
}
"""Kinds of tolerance that are offered, with their words."""

DAY = (
    "These chances allow for a day on which more or less film is laid than in the archive; those "
    "of the suggestions do not, so they are higher."
)
"""Why one recipe has another chance as a suggestion than among the panels to spray next."""

_CMC = re.compile(r"cmc\(?(\d+(?:\.\d+)?):(\d+(?:\.\d+)?)\)?")
_BOXES = {"box": "Lab", "box-lch": "LCh"}
_MOST_WEIGHT = 100.0


def tolerance_of(kind: str, value: float = 1.0, box: Sequence[float] | None = None) -> Tolerance:
    """Return a tolerance by its short name.

    `kind`: one of `KINDS`, or ``cmcL:C`` with other numbers. `value`: greatest difference that
    passes; of no account for a box.
    """
    from matchlib.colorimetry import Tolerance

    name = kind.strip().casefold().replace(" ", "")
    if name in _BOXES:
        first, second, third = (1.0, 1.0, 1.0) if box is None else box
        return Tolerance(_BOXES[name], box=(float(first), float(second), float(third)))
    if not 0 < value <= 50:
        raise TargetError(
            "This is not a tolerance.",
            expected="a difference above 0 and at most 50",
            got=f"{value:g}",
            remedy="1 is a usual tolerance for a match.",
        )
    if name in ("de00", "δe00", "ciede2000"):
        return Tolerance(value=float(value))
    found = _CMC.fullmatch(name)
    if found is None:
        raise TargetError(
            "This kind of difference is not known.",
            expected="de00, cmc2:1 or cmc1:1",
            got=repr(kind[:40]),
            remedy="take the one that the order names; a limit for each axis is a box.",
        )
    return Tolerance("CMC", float(value), float(found[1]), float(found[2]))


def aim_of(
    readings: Sequence[Reading],
    tolerance: Tolerance | float = 1.0,
    weights: Mapping[str, float] | None = None,
) -> Target:
    """Return a target of readings, one an angle, with what passes; the first is the one reported.

    `weights`: how much a difference counts, by geometry; 1 where none is given.
    """
    from matchlib.domain import Viewing
    from matchlib.target import Target

    known = {Viewing(geometry=g).canonical.geometry: w for g, w in (weights or {}).items()}
    have = [r.viewing.canonical.geometry for r in readings]
    for geometry, weight in known.items():
        if geometry not in have:
            raise TargetError(
                f"There is a weight for {geometry}, at which the target was not read.",
                expected=", ".join(have),
                got=geometry,
                remedy="give weights only to the target's own angles.",
            )
        if not 0 < weight <= _MOST_WEIGHT:
            raise TargetError(
                f"This weight of {geometry} is not possible.",
                expected=f"above 0 and at most {_MOST_WEIGHT:g}",
                got=f"{weight:g}",
                remedy="leave the angle out of the target if it does not count.",
            )
    return Target.of_readings(
        readings, weights=[known.get(g, 1.0) for g in have], tolerance=tolerance
    )


def aim_words(model: FilmPredictor, aim: Target) -> str:
    """Say what makes a target hard to meet: angles never read, and its own doubt.

    Returned: sentences; empty where there is nothing to say.
    """
    from matchlib.tails import chance_words

    known = set(model.words_.geometries)
    lack = [
        a.viewing.geometry
        for a in aim.aims
        if a.viewing is not None and a.viewing.canonical.geometry not in known
    ]
    text = []
    if lack == ["photo"]:
        text.append(
            "No panel of the archive was photographed: what a photograph would show of a recipe is "
            f"a guess from {', '.join(sorted(known))}. Photograph a few of its panels."
        )
    elif lack:
        text.append(
            f"No panel of the archive was read at {' or '.join(lack)}: what is predicted there "
            f"is a guess from {', '.join(sorted(known))}. Read some panels at every angle of the "
            "order."
        )
    own = aim.own_uncertainty
    if own is not None and own.probability[0] < 0.99:  # repeats of an instrument take nothing
        text.append(
            "The target itself is only known so far: a panel that reads just as it does would "
            f"truly be {aim.tolerance.with_unit(float(own.mean[0]), 1)} away on average, "
            f"and pass {chance_words(float(own.probability[0]))}. An instrument's reading of the "
            "sample would take that doubt away."
        )
    return " ".join(text)
