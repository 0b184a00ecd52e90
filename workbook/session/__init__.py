"""State and use cases of the workbook, without widgets and without printing.

A `Session` holds one archive and the model fitted to it, and answers for whatever target it is
given: the command line and the pages call it. A `Work` (``workbook.session.work``) is one job of
that archive: its target, limits and cards are the job's own, its model has not seen them, and each
step of it is kept in the archive at once. What both give back are dataclasses that say themselves
in words (``text``, or ``words`` of those that `matchlib` gives).
"""

from __future__ import annotations

from workbook.session.session import Session

__all__ = ["Session"]
