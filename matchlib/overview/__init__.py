"""The archive at a glance: what was sprayed and what never, what is in reach, what drifted."""

from __future__ import annotations

from matchlib.overview.cards import ORDERS, arranged, card_lab, nearest, panel_lab, sprayed_twice
from matchlib.overview.coverage import BANDS, Coverage, coverage
from matchlib.overview.drifting import PanelResidual, outliers, panel_residuals, spreads, trend
from matchlib.overview.rereading import rereading
from matchlib.overview.within import reach

__all__ = [
    "BANDS",
    "ORDERS",
    "Coverage",
    "PanelResidual",
    "arranged",
    "card_lab",
    "coverage",
    "nearest",
    "outliers",
    "panel_lab",
    "panel_residuals",
    "reach",
    "rereading",
    "sprayed_twice",
    "spreads",
    "trend",
]
