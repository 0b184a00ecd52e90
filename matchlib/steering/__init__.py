"""One card: how to begin it, when to read it, what to lay on it, and what to change after it."""

from __future__ import annotations

from matchlib.steering.advice import Advice, correct
from matchlib.steering.checks import check_stages, too_soon
from matchlib.steering.plan import plan
from matchlib.steering.planned import CardPlan, CardPlans
from matchlib.steering.steer import WORTH_A_READING, Steering, steer
from matchlib.steering.topup import SANDING

__all__ = [
    "SANDING",
    "WORTH_A_READING",
    "Advice",
    "CardPlan",
    "CardPlans",
    "Steering",
    "check_stages",
    "correct",
    "plan",
    "steer",
    "too_soon",
]
