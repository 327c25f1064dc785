"""Getting one window clean: locating, repairing, tempo, requests, breaks."""

from coach.coaching.practice.breaks import BreakReminder
from coach.coaching.practice.exercises import list_untried
from coach.coaching.practice.locating import PlaceCheck
from coach.coaching.practice.patience import LeftPlace, PlaceWork
from coach.coaching.practice.repair import RepairLadder, build_rungs
from coach.coaching.practice.requests import follow_request
from coach.coaching.practice.task import OFF_PACE, RunCounts, Task, two_thirds_of
from coach.coaching.practice.task_runner import TaskRunner
from coach.coaching.practice.tempo import TempoLadder

__all__ = [
    "OFF_PACE",
    "BreakReminder",
    "LeftPlace",
    "PlaceCheck",
    "PlaceWork",
    "RepairLadder",
    "RunCounts",
    "Task",
    "TaskRunner",
    "TempoLadder",
    "build_rungs",
    "follow_request",
    "list_untried",
    "two_thirds_of",
]
