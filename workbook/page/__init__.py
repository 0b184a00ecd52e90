"""How every page is made: one tree of plain HTML, drawn from what is kept, and presses sent back.

`Page` shows what a `Screen` draws and hands it what was pressed or typed; `frame` lays it out;
`pictures` and `fields` draw what a page is made of: swatches, coats, chances; fields, presses.
"""

from __future__ import annotations

from workbook.page.frame import frame, steps_list
from workbook.page.page import Page, Press, Screen

__all__ = ["Page", "Press", "Screen", "frame", "steps_list"]
