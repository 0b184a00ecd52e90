"""The notebook 'Archive': what was sprayed, what looks wrong, what to spray next."""

from __future__ import annotations

from workbook.archive_page.app import archive_page

__all__ = ["archive_page"]
