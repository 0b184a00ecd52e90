"""What a photograph's page says of its work, and long work that can be stopped."""

from __future__ import annotations

from workbook.desk.said import Said
from workbook.desk.task import Task

__all__ = ["Said", "Task"]
