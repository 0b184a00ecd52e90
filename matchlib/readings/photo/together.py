"""Several photographs of one panel, the panel or the light turned between them, solved together.

What the gloss mirrors changes when the panel is turned, what the body returns hardly does: so the
least that was mirrored in any of them bounds what the paint is. Errors that photographs share (the
chart's print, the camera's eye for colour) are a common part and are not averaged away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import xyz_to_lab
from matchlib.errors import DomainError
from matchlib.readings.photo.chart import WHITE
from matchlib.readings.photo.estimate import COMMON, PhotoReading, reading_of
from matchlib.readings.photo.gloss import body_lab, parted

__all__ = ["combine"]

Array = NDArray[np.float64]

_TURNED = 0.06  # sd of what is mirrored from photograph to photograph, of white's Y
_FLOP = 0.15  # sd of the body's brightness from photograph to photograph, logarithm


def combine(readings: Sequence[PhotoReading]) -> PhotoReading:
    """Solve photographs of one panel together.

    Parameters
    ----------
    readings : sequence of PhotoReading
        Of the same panel, taken with one camera and chart, best with the panel or the light
        turned between them.

    Returns
    -------
    PhotoReading
        With the picture of the first.

    Raises
    ------
    DomainError
        If there are none.
    """
    if not readings:
        raise DomainError(
            "There is no photograph to read.",
            expected="one or more",
            got="none",
            remedy="take one.",
        )
    first, count = readings[0], len(readings)
    if count == 1:
        return first
    seen = np.array([r.body.xyz for r in readings])
    among = np.median(seen, axis=0)
    errors = 0.02 * seen + 0.001
    mirrored = parted(seen, errors, among, change=_TURNED, slope=_FLOP)[:, 1]
    # One stray dark photograph is not believed beyond what noise can do.
    least = float(np.sort(mirrored)[: max(1, count // 3)].mean())
    more = np.clip(mirrored - least, 0.0, None)
    bodies = seen - more[:, None] * WHITE
    which = int(np.argmin(mirrored))
    body = replace(
        readings[which].body,
        xyz=np.exp(np.log(np.maximum(bodies, 1e-5)).mean(axis=0)),
        slope=float(np.mean([r.body.slope for r in readings])),
    )
    lab, gloss = body_lab(body, [float(m) for i, m in enumerate(more) if i != which])
    # A shift made for a channel at nought is the body's as well.
    shift = np.mean([np.array(r.lab) - body_lab(r.body)[0] for r in readings], axis=0)
    parts = {
        name: np.mean([r.parts[name] for r in readings if name in r.parts], axis=0)
        / (1.0 if name in COMMON else count)
        for name in dict.fromkeys(n for r in readings for n in r.parts)
        if name != "gloss"
    }
    labs = xyz_to_lab(np.maximum(bodies, 1e-5), WHITE)
    away = labs - labs.mean(axis=0)
    parts["scatter"] = away.T @ away / (count - 1) / count
    parts["gloss"] = gloss
    return replace(
        first,
        reading=reading_of(lab + shift, parts),
        parts=parts,
        body=body,
        left_out=float(np.mean([r.left_out for r in readings])),
        warnings=tuple(dict.fromkeys(w for r in readings for w in r.warnings)),
        panel_found=any(r.panel_found for r in readings),
        photographs=sum(r.photographs for r in readings),
    )
