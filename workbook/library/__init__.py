"""The notebook 'Library': every card as a swatch, its back, new cards, and a shop's beginning."""

from __future__ import annotations

from workbook.library.app import library_page

__all__ = ["library_page"]
