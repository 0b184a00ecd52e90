"""Results that are lists: the same list as a table for pandas, and as a picture in a notebook."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any, TypeVar, overload

from matchlib.colorimetry import to_srgb
from matchlib.domain import Panel, Recipe

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Listing", "Ranked", "html_of", "items_frame"]

Item = TypeVar("Item")

_SWATCH = "display:inline-block;width:5em;height:2.4em;border:.35em solid #808080;"


class Listing(tuple[Item, ...]):
    """A tuple of results of one kind, which can also be had as a table."""

    __slots__ = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row an item."""
        return items_frame(self)

    def _repr_html_(self) -> str:
        return html_of(self.to_frame())


class Ranked(Sequence[Item]):
    """Results, best first, of which more is said: a dataclass that has them as its `items`."""

    items: tuple[Item, ...]

    @overload
    def __getitem__(self, index: int) -> Item: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Item, ...]: ...
    def __getitem__(self, index: int | slice) -> Item | tuple[Item, ...]:
        return self.items[index]

    def __len__(self) -> int:
        return len(self.items)

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row an item."""
        return items_frame(self.items)


def items_frame(items: Iterable[Any]) -> pd.DataFrame:
    """Return results as a table, one row an item."""
    import pandas as pd

    told = [(item, _cells(item)) for item in items]
    rows = [cells for _, cells in told]
    # What an item has in columns of other names, or not at all, is no column of the empty others.
    odd = {f.name for item, cells in told for f in fields(item) if f.name not in cells}
    names = dict.fromkeys(n for row in rows for n in row if n not in odd)
    return pd.DataFrame(rows, columns=list(names))


def _cells(item: Any) -> dict[str, Any]:
    cells: dict[str, Any] = {}
    for field in fields(item):
        value = getattr(item, field.name)
        if isinstance(value, Recipe):
            before = "" if field.name == "recipe" else f"{field.name} "
            cells |= {before + name: text for name, text in value.cells.items()}
        elif isinstance(value, Panel):
            cells[field.name] = value.code
        elif field.name == "lab":
            cells |= dict(zip("Lab", map(float, value), strict=True))
        elif isinstance(value, tuple) and all(isinstance(v, str | Recipe) for v in value):
            cells[field.name] = "; ".join(map(str, value))
        elif value is None or isinstance(value, str | bool | int | float):
            cells[field.name] = value
        elif not (is_dataclass(value) or hasattr(value, "__len__")) or hasattr(value, "parts"):
            cells[field.name] = str(value)
    return cells


def html_of(
    table: pd.DataFrame, *, caption: str = "", beside: tuple[float, float, float] | None = None
) -> str:
    """Return a table as HTML, with a swatch in each row that has a Lab."""
    swatches = [""] * len(table)
    if {"L", "a", "b"} <= set(table.columns):
        swatches = [_swatch(row, beside) for row in table[["L", "a", "b"]].to_numpy(float)]
    drawn = any(swatches)
    heads = [*([""] if drawn else []), *map(str, table.columns)]
    head = "".join(f'<th style="text-align:left">{html.escape(h)}</th>' for h in heads)
    body = []
    for swatch, row in zip(swatches, table.itertuples(index=False), strict=True):
        cells = "".join(f'<td style="text-align:left">{_cell(v)}</td>' for v in row)
        body.append(f"<tr>{f'<td>{swatch}</td>' if drawn else ''}{cells}</tr>")
    title = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table>"


def _cell(value: object) -> str:
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.2f}".replace("-", "−")
    return html.escape("" if value is None else str(value))


def _swatch(lab: Any, beside: tuple[float, float, float] | None) -> str:
    labs = [lab if beside is None else beside, lab]
    rgb, inside = to_srgb(labs)
    left, right = ("#" + "".join(f"{round(255 * v):02x}" for v in c) for c in rgb)
    words = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*lab)
    words += (
        "" if beside is None else " (right), beside L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*beside)
    )
    words += "" if inside.all() else "; outside what a screen can show"
    fill = f"background:linear-gradient(90deg,{left} 50%,{right} 50%)"
    span = f'<span role="img" aria-label="{words}" title="{words}" style="{_SWATCH}{fill}"></span>'
    return f'<span style="white-space:nowrap">{span}{"" if inside.all() else "*"}</span>'
