"""One card: how to begin it, when to read it, and what to lay on it by what was read."""

from __future__ import annotations

from matchlib.steering.checks import check_stages, too_soon
from matchlib.steering.plan import WORTH_A_LOOK, plan
from matchlib.steering.planned import CardPlan, CardPlans
from matchlib.steering.steer import Steering, steer
from matchlib.steering.topup import TopUp

__all__ = [
    "WORTH_A_LOOK",
    "CardPlan",
    "CardPlans",
    "Steering",
    "TopUp",
    "check_stages",
    "plan",
    "steer",
    "too_soon",
]
