"""What to practise in which order: the plan, what comes next, the warm-up."""

from coach.coaching.planning.plan import EditablePlan, PlanRow, RowState, find_next_goal, make_steps
from coach.coaching.planning.warmup import (
    MOST_TRIES,
    SESSION_GAP_S,
    Due,
    Round,
    WarmUp,
    all_fit,
    last_session,
    warm_up,
    weak_spots,
)

__all__ = [
    "MOST_TRIES",
    "SESSION_GAP_S",
    "Due",
    "EditablePlan",
    "PlanRow",
    "Round",
    "RowState",
    "WarmUp",
    "all_fit",
    "find_next_goal",
    "last_session",
    "make_steps",
    "warm_up",
    "weak_spots",
]
