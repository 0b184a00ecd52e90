"""Library and archive as pictures: cards, what was sprayed over what, cards beside twins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from matchlib.overview import card_lab
from workbook.figures.svg import Raw, esc, lab_text, number, picture, screen_colours

if TYPE_CHECKING:
    from matchlib.domain import Colour, Ground, Lab, Panel, Recipe
    from matchlib.overview import Coverage

__all__ = ["card_grid", "card_picture", "coverage_picture", "twins_picture"]

_MOST_CHIPS = 14
_WIDE, _TALL = 142, 42


def _fill(lab: Lab | None) -> str:
    return "none" if lab is None else screen_colours([lab])[0][0]


def card_grid(
    cards: Sequence[tuple[Panel, Lab | None]],
    *,
    chosen: str = "",
    notes: Mapping[str, str] | None = None,
    public: bool = False,
) -> Raw:
    """Return cards as swatches to be pressed.

    `cards`: in order; a card without a colour was never read and is drawn as an empty frame.
    Returned: HTML buttons; a press is named ``card`` and the code.
    """
    out = []
    for panel, lab in cards:
        code, note = panel.code, (notes or {}).get(panel.code, "")
        said = code if public else f"{code}, {panel.recipe}"
        said += "" if lab is not None else ", never read"
        paint = f' style="background:{_fill(lab)}"' if lab is not None else ""
        on = ' aria-pressed="true"' if code == chosen else ""
        out.append(
            f'<button class="wb-tile" data-do="card" data-value="{esc(code)}" '
            f'aria-label="{esc(f"{said} {note}".strip())}"{on}><i{paint}></i>'
            f"<span>{esc(code)}</span>{f'<span>{esc(note)}</span>' if note else ''}</button>"
        )
    return Raw(f'<div class="wb-tiles">{"".join(out)}</div>')


def card_picture(lab: Lab | None, title: str, *, width: int = 236, height: int = 150) -> Raw:
    """Return one card, large, on the surround.

    `lab`: as read; None for a card that never was. `title`: what it is, for those who do not see
    it. `width`, `height`: in all [px].
    """
    told = "never read" if lab is None else lab_text(lab)
    cls = "wb-never" if lab is None else ""
    body = (
        f'<rect width="{width}" height="{height}" class="wb-surround"/>'
        f'<rect x="8" y="8" width="{width - 16}" height="{height - 16}" class="{cls}" '
        f'style="fill:{_fill(lab)}"/>'
    )
    return picture(body, width=width, height=height, title=title, desc=told)


def _strip(labs: Sequence[Lab | None], title: str) -> Raw:
    """Colours edge to edge, evenly chosen from many."""
    if not labs:
        body = f'<rect x="1" y="1" width="{_WIDE - 2}" height="{_TALL - 2}" class="wb-never"/>'
        return picture(body, width=_WIDE, height=_TALL, title=title)
    some = np.unique(np.linspace(0, len(labs) - 1, min(len(labs), _MOST_CHIPS)).astype(int))
    step = min(32.0, (_WIDE - 8) / len(some))
    chips = "".join(
        f'<rect x="{4 + i * step:.1f}" y="4" width="{step - 2:.1f}" height="{_TALL - 8}" '
        f'class="{"" if labs[k] else "wb-never"}" style="fill:{_fill(labs[k])}"/>'
        for i, k in enumerate(some)
    )
    body = f'<rect width="{_WIDE}" height="{_TALL}" class="wb-surround"/>{chips}'
    return picture(body, width=_WIDE, height=_TALL, title=title)


def coverage_picture(
    found: Coverage, grounds: Sequence[Ground], colours: Sequence[Colour], *, caption: str
) -> Raw:
    """Return what was sprayed over what, each pair a strip of its panels from weak to strong.

    Returned: HTML table; pairs never sprayed are empty frames.
    """
    head = "".join(f'<th scope="col">{esc(c)}</th>' for c in colours)
    rows = []
    for ground in grounds:
        cells = []
        for colour in colours:
            row = found.cells.get((ground, colour), ())
            many = f"{len(row)} card{'s' * (len(row) != 1)}"
            words = many if row else "never sprayed"
            strip = _strip([card_lab(p) for p in row], f"{colour} over {ground}: {words}")
            cells.append(f"<td>{strip}<span>{words}</span></td>")
        bare = next(filter(None, map(card_lab, found.cells.get((ground, None), ()))), None)
        mark = "" if bare is None else f'<i class="wb-dab" style="background:{_fill(bare)}"></i>'
        rows.append(f'<tr><th scope="row">{mark}{esc(ground)}</th>{"".join(cells)}</tr>')
    return Raw(
        f'<div class="wb-scroll"><table class="wb-cover"><caption>{esc(caption)}</caption>'
        f"<thead><tr><td></td>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def twins_picture(
    found: Sequence[tuple[Recipe, Sequence[tuple[Panel, Lab]], float]], *, most: int = 6
) -> Raw:
    """Return cards of one recipe edge to edge, a row a recipe.

    Returned: HTML; empty where nothing was sprayed twice.
    """
    rows = []
    for recipe, cards, apart in found[:most]:
        wide = 96
        body = f'<rect width="{wide * len(cards) + 16}" height="76" class="wb-surround"/>'
        for i, (_, lab) in enumerate(cards):
            # No line between them: the eye judges a difference best at a bare edge.
            body += (
                f'<rect x="{8 + i * wide}" y="8" width="{wide}" height="60" '
                f'shape-rendering="crispEdges" style="fill:{_fill(lab)}"/>'
            )
        codes = ", ".join(p.code for p, _ in cards)
        image = picture(
            body,
            width=wide * len(cards) + 16,
            height=76,
            title=f"{codes} side by side",
            desc=". ".join(f"{p.code}: {lab_text(lab)}" for p, lab in cards),
        )
        rows.append(
            f'<div class="wb-twin">{image}<p><strong>{esc(recipe)}</strong><br>{esc(codes)}: '
            f"ΔE00 {number(apart, 1)} apart</p></div>"
        )
    return Raw("".join(rows))
