"""Analyse the archive: what is in it, how good it is, what looks wrong, what to spray next."""

from __future__ import annotations

from workbook.archive_view.app import ArchiveView, open_view

__all__ = ["ArchiveView", "open_view"]
