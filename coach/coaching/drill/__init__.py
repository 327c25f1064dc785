"""The drill: keys and silence in; marks, verdicts and assignments out."""

from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    CountIn,
    DrillEvent,
    DrillState,
    MovedOn,
    NoteMarked,
    PlanChanged,
    Proposed,
    RepetitionBegan,
    RepetitionEnded,
    SetAside,
    StateChanged,
    StrayKey,
    ToJudge,
)
from coach.coaching.drill.warmup_drill import WarmUpDrill

__all__ = [
    "AssignmentGiven",
    "CountIn",
    "Drill",
    "DrillEvent",
    "DrillState",
    "MovedOn",
    "NoteMarked",
    "PlanChanged",
    "Proposed",
    "RepetitionBegan",
    "RepetitionEnded",
    "SetAside",
    "StateChanged",
    "StrayKey",
    "ToJudge",
    "WarmUpDrill",
]
