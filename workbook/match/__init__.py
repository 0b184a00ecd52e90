"""The notebook 'Match a sample': from a target to a sprayed panel that passes.

One module a panel; `bench` holds what they share, `keeping` what outlives the kernel.
"""

from __future__ import annotations

from workbook.match.app import MatchApp, app

__all__ = ["MatchApp", "app"]
