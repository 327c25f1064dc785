"""What to practise in which order: the plan, what comes next, the warm-up."""

from coach.coaching.planning.plan import EditablePlan, PlanRow, RowState, find_next_goal, make_steps
from coach.coaching.planning.progress import (
    BarMap,
    BarState,
    DayFigures,
    PlayedOnce,
    best_tempi,
    chance_of_failing,
    count_days,
    map_bars,
)
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
    "BarMap",
    "BarState",
    "DayFigures",
    "DueSpot",
    "EditablePlan",
    "PlanRow",
    "PlayedOnce",
    "RowState",
    "WarmUpItem",
    "WarmUpRound",
    "all_fit",
    "best_tempi",
    "chance_of_failing",
    "count_days",
    "find_next_goal",
    "last_session",
    "make_steps",
    "map_bars",
    "plan_warm_up",
    "weak_spots",
]
