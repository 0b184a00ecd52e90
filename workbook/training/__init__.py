"""The notebook 'Training': what grounds do, ratios, a first day, guessing, lessons, words."""

from __future__ import annotations

from workbook.training.app import training_page

__all__ = ["training_page"]
