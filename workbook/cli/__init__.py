"""The command line: ``workbook COMMAND …``.

One module a group of commands, loaded when one of them is asked for. Nothing here computes: a
command asks `workbook.session`, which is imported only when a command runs, so that ``--help`` does
not pay for the science.
"""

from __future__ import annotations

from workbook.cli.app import assembled, main

__all__ = ["assembled", "main"]
