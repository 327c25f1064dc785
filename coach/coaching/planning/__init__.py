"""What to practise in which order: the plan, what comes next, the warm-up."""

from coach.coaching.planning.plan import EditablePlan, PlanRow, RowState, find_next_goal, make_steps
from coach.coaching.planning.warmup import (
    MOST_TRIES,
    SESSION_GAP_S,
    DueSpot,
    WarmUpItem,
    WarmUpRound,
    all_fit,
    last_session,
    plan_warm_up,
    weak_spots,
)

__all__ = [
    "MOST_TRIES",
    "SESSION_GAP_S",
    "DueSpot",
    "EditablePlan",
    "PlanRow",
    "RowState",
    "WarmUpItem",
    "WarmUpRound",
    "all_fit",
    "find_next_goal",
    "last_session",
    "make_steps",
    "plan_warm_up",
    "weak_spots",
]
