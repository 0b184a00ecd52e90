"""Small parts of panels: rows of controls, headings, swatches in tables."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from workbook.controls import Choice, HtmlView
from workbook.figures import Raw, chip, esc, lab_text

__all__ = ["colour_cell", "flow", "heading", "offer"]


def colour_cell(lab: Any) -> Raw:
    """Return a swatch with its numbers, for a cell of a table.

    Parameters
    ----------
    lab : sequence of 3 float
        CIELAB.

    Returns
    -------
    Raw
        HTML.
    """
    return Raw(f'<span class="cpw-key">{chip(lab, size=30)}{esc(lab_text(lab))}</span>')


def flow(*controls: widgets.Widget, least: int = 170) -> widgets.Box:
    """Put controls side by side, as many as fit, the rest below.

    Parameters
    ----------
    *controls : Widget
        In reading order.
    least : int
        Least width of each [px].

    Returns
    -------
    Box
        Of them.
    """
    for control in controls:
        control.layout.flex = f"1 1 {least}px"
        control.layout.width = "auto"
        control.layout.min_width = "0"
    layout = widgets.Layout(display="flex", flex_flow="row wrap", width="100%")
    return widgets.Box(list(controls), layout=layout)


def heading(text: str, words: str = "", *, level: int = 3) -> HtmlView:
    """Return a heading with a line of explanation.

    Parameters
    ----------
    text, words : str
        The heading, and what is below it.
    level : int
        2 to 4.

    Returns
    -------
    HtmlView
        To be put into a panel.
    """
    below = f'<p class="cpw-muted">{esc(words)}</p>' if words else ""
    return HtmlView(f"<h{level}>{esc(text)}</h{level}>{below}")


def offer(choice: Choice, options: list[str]) -> None:
    """Offer other options, keeping what is chosen where it is still among them.

    Parameters
    ----------
    choice : Choice
        The control.
    options : list of str
        From now on.
    """
    if options == list(choice.options):
        return
    kept = choice.value if choice.value in options else (options or [""])[0]
    with choice.hold_trait_notifications():
        choice.options, choice.value = options, kept
