"""One card: how to begin it, when to read it, and what to lay on it by what was read."""

from __future__ import annotations

from matchlib.steering.checks import too_soon
from matchlib.steering.plan import MOST_READINGS, plan
from matchlib.steering.planned import CardPlan, CardPlans, Likely, PlannedReading
from matchlib.steering.steer import Steering, steer
from matchlib.steering.topup import TopUp, let_down, weak_ratios

__all__ = [
    "MOST_READINGS",
    "CardPlan",
    "CardPlans",
    "Likely",
    "PlannedReading",
    "Steering",
    "TopUp",
    "let_down",
    "plan",
    "steer",
    "too_soon",
    "weak_ratios",
]
