"""How long work says where it has come, and how it is told to stop."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Step"]

Step = Callable[[float | None, str], None]
"""Called between the steps of long work with the share done, or None where that is not known, and
with what is being done, in words. What it raises ends the work."""
