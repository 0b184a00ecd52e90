"""How the workbook looks: where its style sheets lie, and the grey that a colour is judged on.

Swatches lie on a neutral grey of L* 50 in both the light and the dark theme, since a surround that
is light, dark or coloured shifts how a colour is seen (ISO 3664 asks for a neutral grey surround).
Text contrast is at least 4.5:1 and the outline of a control 3:1 (WCAG 2.2, 1.4.3 and 1.4.11);
``tests/test_theme.py`` computes both from ``static/page.css``.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path

__all__ = [
    "SURROUND",
    "VOILA_TEMPLATE",
    "jupyter_folder",
    "read_static",
    "watch_script",
]

VOILA_TEMPLATE = "workbook"
"""Voilà's page, found through `jupyter_folder`; asks for nothing from outside."""

SURROUND = "#777777"
"""Neutral grey of L* 50 in sRGB; N5 of the Munsell scale is L* 51 (from memory)."""


@cache
def read_static(name: str) -> str:
    """Return the text of a file of ``workbook/static``, read once and only when asked for."""
    return (files("workbook") / "static" / name).read_text("utf-8")


def jupyter_folder() -> Path:
    """Return the folder to put on ``JUPYTER_PATH``: Voilà's template, JupyterLab's extension."""
    return Path(__file__).parent / "jupyter"


def watch_script() -> str:
    """Return the script by which a page notices that its server or kernel went.

    A page of Voilà holds it, JupyterLab loads it with our extension.
    """
    place = jupyter_folder() / "labextensions" / "workbook-pages" / "static" / "watch.js"
    return place.read_text("utf-8")
