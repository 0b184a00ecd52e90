"""Library and archive as pictures: cards, what was sprayed over what, cards of one recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from matchlib.overview import card_lab
from matchlib.plural import counted
from workbook.figures.svg import Raw, esc, number, picture, screen_colours
from workbook.figures.swatches import areas, numbers

if TYPE_CHECKING:
    from matchlib.domain import Colour, Ground, Lab, Panel, Recipe
    from matchlib.overview import Coverage

__all__ = ["card_grid", "coverage_picture", "repeats_picture"]

_MOST_CHIPS = 14
_WIDE, _TALL = 142, 42


def _fill(lab: Lab) -> str:
    return screen_colours([lab])[0][0]


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
        name = code if public else f"{code}, {panel.recipe}"
        name += "" if lab is not None else ", never read"
        paint = f' style="background:{_fill(lab)}"' if lab is not None else ""
        on = ' aria-pressed="true"' if code == chosen else ""
        out.append(
            f'<button class="wb-tile" data-do="card" data-value="{esc(code)}" '
            f'aria-label="{esc(f"{name} {note}".strip())}"{on}><i{paint}></i>'
            f"<span>{esc(code)}</span>{f'<span>{esc(note)}</span>' if note else ''}</button>"
        )
    return Raw(f'<div class="wb-tiles">{"".join(out)}</div>')


def _strip(labs: Sequence[Lab | None], words: str) -> Raw:
    """Colours side by side, evenly chosen from many; an empty frame where there are none."""
    if not labs:
        body = f'<rect x="1" y="1" width="{_WIDE - 2}" height="{_TALL - 2}" class="wb-never"/>'
        return picture(body, width=_WIDE, height=_TALL, title=words)
    some = np.unique(np.linspace(0, len(labs) - 1, min(len(labs), _MOST_CHIPS)).astype(int))
    shown = [labs[k] for k in some]
    return areas(shown, words=words, width=_WIDE, height=_TALL, edge=4, gap=2)


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
            many = counted(len(row), "card")
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


def repeats_picture(found: Sequence[tuple[Recipe, Sequence[tuple[Panel, Lab]], float]]) -> Raw:
    """Return cards of one recipe edge to edge, a row a recipe.

    Returned: HTML; empty where nothing was sprayed twice.
    """
    rows = []
    for recipe, cards, apart in found:
        labs, codes = [lab for _, lab in cards], ", ".join(p.code for p, _ in cards)
        words = ", ".join(f"{p.code} {numbers(lab)}" for p, lab in cards)
        image = areas(labs, words=words, width=208, height=76)
        rows.append(
            f'<div class="wb-twin">{image}<p><strong>{esc(recipe)}</strong><br>{esc(codes)}: '
            f"ΔE00 {number(apart, 1)} apart</p></div>"
        )
    return Raw("".join(rows))
