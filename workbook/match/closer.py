"""A closer look at one recipe, drawn: evenness, other lights, changes, what is near."""

from __future__ import annotations

from typing import TYPE_CHECKING

from workbook.figures import Raw, esc, number, panel_picture, table

if TYPE_CHECKING:
    from workbook.session.looking import Look

__all__ = ["closer_look"]


def closer_look(look: Look, head: str, *, angle: int = 0) -> str:
    """Draw a closer look.

    Parameters
    ----------
    look : Look
        At one recipe.
    head : str
        What it is called.
    angle : int
        Which of the order's angles is drawn, and at which changes are told.

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
    seen = look.uneven.angles[angle]
    where = f" at {seen.viewing.geometry}" if len(look.uneven.angles) > 1 else ""
    picture = panel_picture(
        seen.picture,
        title=f"{head}: one panel of 600 by 400 mm, simulated{where and f', seen{where}'}",
        note=look.evenness,
        judge=look.tolerance,
    )
    return (
        f'<h3>{esc(head)}: a closer look</h3><div class="cpw-figures">{picture}'
        f'<div style="flex:1 1 300px;max-width:560px">{_by_angle(look)}{lights}'
        f"<p>{esc(look.metamerism)}</p></div>"
        f'<div style="flex:1 1 460px;max-width:640px">{_changes(look, angle)}</div>'
        f'<div style="flex:1 1 400px;max-width:640px">{_near(look)}'
        f"<p>{esc(look.why.words)}</p></div></div>"
    )


def _unit(look: Look) -> str:
    return "of the box" if look.tolerance.boxed else look.tolerance.unit


def _digits(look: Look) -> int:
    return 2 if look.tolerance.boxed else 1


def _by_angle(look: Look) -> Raw | str:
    """How unevenness shows at each angle; for one the words under the picture say it."""
    angles = look.uneven.angles
    if len(angles) < 2:
        return ""
    heads = ["angle", *(f"±{share:.0%}" for share, _ in look.by_film), "side to side"]
    rows = [
        (
            angle.viewing.geometry,
            *(number(v, _digits(look)) for v in (*shown, angle.side_to_side)),
        )
        for angle, shown in zip(angles, look.film_angles, strict=True)
    ]
    whole = (*(v for _, v in look.by_film), look.uneven.side_to_side)
    rows.append(("order", *(number(v, _digits(look)) for v in whole)))
    weighed = [f"{a.viewing.geometry} counts {a.weight:g} times" for a in angles if a.weight != 1.0]
    caption = "; ".join([f"What more or less film shows, {_unit(look)}", *weighed])
    return table(heads, rows, caption=caption, right=heads[1:])


def _changes(look: Look, angle: int) -> Raw:
    several = len(look.why.viewings) > 1
    shifts = ["ΔL*", "ΔC*", "Δh", _unit(look)]
    order = ["the order"] if several else []
    rows = []
    for change in look.why.changes:
        shift = change.angles[angle]
        cells = [number(v) for v in (shift.lightness, shift.chroma, shift.hue)]
        cells += [
            number(v, _digits(look))
            for v in (shift.difference, *([change.difference] if several else []))
        ]
        rows.append((change.name, *cells))
    where = f" at {look.why.viewings[angle].geometry}" if several else ""
    return table(
        ["change", *shifts, *order],
        rows,
        caption=f"What one change would do{where}"
        + (", and by the order over all angles" if several else ""),
        right=[*shifts, *order],
    )


def _near(look: Look) -> Raw:
    unit, every = _unit(look), len(look.why.viewings)
    far = [f"away, {unit}", f"the model missed it by, {unit}"]
    partly = any(len(n.seen) < every for n in look.why.near)
    rows = [
        (
            n.code,
            str(n.recipe),
            *([", ".join(n.seen)] if partly else []),
            number(n.away, _digits(look)),
            number(n.miss, _digits(look)),
        )
        for n in look.why.near
    ]
    return table(
        ["panel", "recipe", *(["read at"] if partly else []), *far],
        rows,
        caption="The nearest panels of the archive",
        right=far,
    )
