"""A closer look at one recipe, drawn: evenness, other lights, changes, what is near."""

from __future__ import annotations

from typing import TYPE_CHECKING

from workbook.figures import esc, number, panel_picture, table

if TYPE_CHECKING:
    from workbook.session.looking import Look

__all__ = ["closer_look"]


def closer_look(look: Look, head: str) -> str:
    """Draw a closer look.

    Parameters
    ----------
    look : Look
        At one recipe.
    head : str
        What it is called.

    Returns
    -------
    str
        HTML.
    """
    lights = ""
    if look.held is not None:
        heads = ["light", "at least", "probably", "at most"]
        lights = table(
            heads,
            [(h.light, *(number(v) for v in (h.low, h.middle, h.high))) for h in look.held.lights],
            caption=f"ΔE00 that a change from {look.held.reference} alone adds",
            right=heads[1:],
        )
    shifts = ["ΔL*", "ΔC*", "Δh", "ΔE00"]
    changes = table(
        ["change", *shifts],
        [
            (c.name, *(number(v) for v in (c.lightness, c.chroma, c.hue, c.delta_e00)))
            for c in look.why.changes
        ],
        caption="What one change would do",
        right=shifts,
    )
    far = ["away, ΔE00", "the model missed it by, ΔE00"]
    near = table(
        ["panel", "recipe", *far],
        [(n.code, str(n.recipe), number(n.away), number(n.miss)) for n in look.why.near],
        caption="The nearest panels of the archive",
        right=far,
    )
    picture = panel_picture(
        look.uneven.picture,
        title=f"{head}: one panel of 600 by 400 mm, simulated",
        note=look.evenness,
    )
    return (
        f'<h3>{esc(head)}: a closer look</h3><div class="cpw-figures">{picture}'
        f'<div style="flex:1 1 300px;max-width:560px">{lights}<p>{esc(look.metamerism)}</p></div>'
        f'<div style="flex:1 1 300px;max-width:560px">{changes}</div></div>'
        f"{near}<p>{esc(look.why.words)}</p>"
    )
