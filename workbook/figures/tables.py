"""Tables for reading: plain ones, and the coverage of grounds and strengths as shaded counts."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from workbook.figures.svg import Raw, esc

__all__ = ["coverage_grid", "table"]


def table(
    columns: Sequence[str],
    rows: Sequence[Sequence[object]],
    *,
    caption: str,
    right: Collection[str] = (),
) -> Raw:
    """Return a table with a caption and named columns; the first cell of a row names the row.

    Parameters
    ----------
    columns : sequence of str
        Heads.
    rows : sequence of sequence
        Cells, escaped unless they are `Raw`.
    caption : str
        What the table tells.
    right : collection of str
        Columns of numbers, set to the right.

    Returns
    -------
    Raw
        HTML.
    """
    sides = [' class="cpw-right"' if c in right else "" for c in columns]
    head = "".join(f'<th scope="col"{s}>{esc(c)}</th>' for c, s in zip(columns, sides, strict=True))
    body = []
    for row in rows:
        first, *rest = zip(row, sides, strict=True)
        cells = f'<th scope="row"{first[1]}>{esc(first[0])}</th>'
        cells += "".join(f"<td{s}>{esc(cell)}</td>" for cell, s in rest)
        body.append(f"<tr>{cells}</tr>")
    if not rows:
        body.append(f'<tr><td colspan="{len(columns)}">Nothing to show.</td></tr>')
    return Raw(
        f'<div class="cpw-scroll"><table><caption>{esc(caption)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
    )


def coverage_grid(
    counts: Any,
    *,
    rows: Sequence[str],
    columns: Sequence[str],
    caption: str,
    corner: str = "ground",
    never: str = "never",
) -> Raw:
    """Return how often each combination was sprayed: a number in every cell, darker for more.

    Parameters
    ----------
    counts : array_like of shape (rows, columns)
        Panels.
    rows, columns : sequence of str
        Names.
    caption, corner : str
        What is counted; what the rows are.
    never : str
        The word for 0; those cells are also striped.

    Returns
    -------
    Raw
        HTML table.
    """
    values = np.asarray(counts, int).reshape(len(rows), len(columns))
    most = max(int(values.max(initial=0)), 1)
    head = "".join(f'<th scope="col" class="cpw-right">{esc(c)}</th>' for c in columns)
    body = []
    for name, row in zip(rows, values, strict=True):
        cells = []
        for value in row:
            if value == 0:
                cells.append(f'<td class="cpw-right cpw-never">{esc(never)}</td>')
                continue
            # Greys, not hues: the count is the signal, and black text keeps 7:1 on the darkest.
            grey = round(250 - 90 * np.sqrt(value / most))
            cells.append(
                f'<td class="cpw-right" style="background:rgb({grey},{grey},{grey});color:#000">'
                f"{value}</td>"
            )
        body.append(f'<tr><th scope="row">{esc(name)}</th>{"".join(cells)}</tr>')
    return Raw(
        f'<div class="cpw-scroll"><table><caption>{esc(caption)}</caption><thead><tr>'
        f'<th scope="col">{esc(corner)}</th>{head}</tr></thead>'
        f"<tbody>{''.join(body)}</tbody></table></div>"
    )
