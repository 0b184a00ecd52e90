"""The notebook 'Jobs': customers' samples, each from its target to a card that passes."""

from __future__ import annotations

from workbook.jobs.app import jobs_page

__all__ = ["jobs_page"]
