"""What every notebook panel stands on: the open archive, a line that speaks, work in a thread.

A panel never shows a traceback. What went wrong comes as plain words in a live region beside what
was pressed; what takes longer than a second runs in a thread, with a bar and a way to stop it.
"""

from __future__ import annotations

from workbook.desk.desk import Desk
from workbook.desk.pages import Pages
from workbook.desk.parts import colour_cell, flow, heading, offer
from workbook.desk.said import UNFORESEEN, Said, saying
from workbook.desk.task import Stopped, Task
from workbook.desk.typed import Typed
from workbook.desk.work import LongWork

__all__ = [
    "UNFORESEEN",
    "Desk",
    "LongWork",
    "Pages",
    "Said",
    "Stopped",
    "Task",
    "Typed",
    "colour_cell",
    "flow",
    "heading",
    "offer",
    "saying",
]
