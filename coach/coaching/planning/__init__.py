"""What to practise in which order: the plan, what comes next, the warm-up."""

from coach.coaching.planning.next_goal import find_next_goal
from coach.coaching.planning.plan import PlanRow, RowState, make_steps
from coach.coaching.planning.plan_edits import EditablePlan
from coach.coaching.planning.warmup import (
    SESSION_GAP_S,
    WarmUp,
    all_fit,
    last_session,
    warm_up,
    weak_spots,
)
from coach.coaching.planning.warmup_round import MOST_TRIES, Due, Round

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
