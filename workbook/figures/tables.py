"""Tables for reading."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from workbook.figures.svg import Raw, esc

__all__ = ["table"]


def table(
    columns: Sequence[str],
    rows: Sequence[Sequence[object]],
    *,
    caption: str,
    right: Collection[str] = (),
) -> Raw:
    """Return a table with a caption and named columns; the first cell of a row names the row.

    `rows`: cells, escaped unless they are `Raw`.
    """
    sides = [' class="wb-right"' if c in right else "" for c in columns]
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
        f'<div class="wb-scroll"><table><caption>{esc(caption)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
    )
