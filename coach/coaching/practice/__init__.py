"""Getting one window clean: locating, repairing, tempo, requests, breaks."""

from coach.coaching.practice.breaks import Rest
from coach.coaching.practice.repair import Case, rungs
from coach.coaching.practice.requests import follow
from coach.coaching.practice.task import Run, Task, most_of
from coach.coaching.practice.task_runner import Work
from coach.coaching.practice.tempo import Climb

__all__ = ["Case", "Climb", "Rest", "Run", "Task", "Work", "follow", "most_of", "rungs"]
