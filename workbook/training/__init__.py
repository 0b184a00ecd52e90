"""Train on grounds: ladders, exercises from real panels, lessons computed from the archive."""

from __future__ import annotations

from workbook.training.app import Training, open_training

__all__ = ["Training", "open_training"]
