"""Results as plain text: tables in columns, and the parts in the cup as a drawing."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matchlib.domain import Colour, MixRatio, Recipe

__all__ = [
    "before_mixing",
    "chance",
    "csv_text",
    "cup_text",
    "number",
    "recipe_row",
    "table",
    "wrapped",
]

_WIDEST = 96
_CUP_ROWS = 14
_FILLS = ".#/+=%"  # for each of the hatches of a drawn cup


def number(value: float | None, digits: int = 2) -> str:
    """Return a number for a table.

    `value`: None leaves the cell empty.
    """
    if value is None:
        return ""
    text = f"{value:.{digits}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def chance(probability: float | None) -> str:
    """Return a chance as it is said everywhere: none is certain, and none impossible.

    `probability`: 0 to 1 [-]; None leaves the cell empty. Returned: such as ``73%``, ``under 1%``
    or ``over 99%``.
    """
    from matchlib.tails import chance_words

    return "" if probability is None else chance_words(probability)


def recipe_row(recipe: Recipe) -> tuple[str, str, str]:
    """Return ground, colour and coats for the cells of a table."""
    return str(recipe.ground), str(recipe.colour or "bare"), str(recipe.schedule or "")


def table(header: Sequence[str], rows: Sequence[Sequence[str]], *, right: str = "") -> str:
    """Return rows in columns.

    `right`: one letter a column, ``r`` for those that are set to the right; the rest to the left.
    """
    cells = [list(header), *(list(row) for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(header))]
    sides = right.ljust(len(header))
    lines = []
    for row in cells:
        padded = [
            cell.rjust(width) if side == "r" else cell.ljust(width)
            for cell, width, side in zip(row, widths, sides, strict=True)
        ]
        lines.append("  ".join(padded).rstrip())
    lines.insert(1, "  ".join("-" * width for width in widths).rstrip())
    return "\n".join(lines)


def csv_text(columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> str:
    """Return rows as CSV, without a line end at the last.

    `columns`: those shown, in their order.
    """
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue().rstrip("\n")


def wrapped(text: str) -> str:
    """Return sentences broken into lines."""
    return "\n".join(
        textwrap.fill(line, _WIDEST, break_long_words=False, break_on_hyphens=False)
        for line in text.splitlines()
    )


def before_mixing() -> str:
    """Return the cautions of mixing, which stand below whatever is to be poured."""
    from matchlib.cautions import DEFERENCE, cautions_at

    return f"Before you open a tin: {' '.join(c.first for c in cautions_at('mix'))}\n{DEFERENCE}"


def cup_text(ratio: MixRatio, colour: Colour | None = None) -> str:
    """Draw the parts in the cup in characters, each layer with its words."""
    from workbook.cup import HATCHES, cup_layers

    layers = cup_layers(ratio, colour)
    rows: list[str] = []
    for layer in layers:
        # Every layer shows, however thin; the words carry the exact parts.
        height = max(1, round((layer.high - layer.low) * _CUP_ROWS))
        for row in range(height):
            words = f"  {layer.words}" if row == height // 2 else ""
            rows.append(f"  |{_FILLS[HATCHES.index(layer.hatch)] * 10}|{words}")
    return "\n".join([*reversed(rows), "  +----------+"])
