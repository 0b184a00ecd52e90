"""Where target, suggestions and sprayed panels lie in Lab, seen at one angle of the order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from workbook.figures import Mark, lab_chart
from workbook.session import lab_of

if TYPE_CHECKING:
    from matchlib.suggest import Suggestions
    from workbook.match.keeping import Tried

__all__ = ["lab_charts"]

_ORDER = ("suggestion", "target")


def lab_charts(
    found: Suggestions, tried: Sequence[Tried], reach: Any, *, angle: int = 0, size: int = 260
) -> str:
    """Draw them close up, and in all that the shelf reaches.

    Parameters
    ----------
    found : Suggestions
        For the target.
    tried : sequence of Tried
        Sprayed for it; those that were not read at the angle are left out.
    reach : array_like of shape (m, 3)
        Colours of the shelf at the angle.
    angle : int
        Which of the target's angles.
    size : int
        Side of one plot [px].

    Returns
    -------
    str
        HTML.
    """
    aim = found.target.aims[angle]
    several = len(found.target.aims) > 1
    where = aim.viewing.geometry if several and aim.viewing is not None else ""
    marks = [Mark(s.labs[angle], "suggestion", f"{k}") for k, s in enumerate(found, 1)]
    marks.append(Mark(aim.lab, "target", "target"))
    for panel in tried:
        marks += [
            Mark(lab_of(reading), "sprayed", panel.code)
            for reading in panel.readings
            if not where or reading.viewing.geometry == where
        ][:1]
    seen = f" at {where}" if where else ""
    near = lab_chart(
        marks, order=_ORDER, title=f"Target and suggestions{seen}, close up", size=size
    )
    bare = [Mark(m.lab, m.kind) for m in marks]
    title = f"The same{seen}, in all that the shelf reaches"
    wide = lab_chart(bare, reachable=reach, order=_ORDER, title=title, size=size)
    return f"{near}{wide}"
