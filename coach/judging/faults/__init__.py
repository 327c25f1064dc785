"""What was not right in a repetition, with its cause and its place."""

from coach.judging.faults.collect import by_importance, find_faults, tempo_fault
from coach.judging.faults.location import beats_into
from coach.judging.faults.stopped import stopped_again
from coach.judging.faults.timing import SLOWING

__all__ = ["SLOWING", "beats_into", "by_importance", "find_faults", "stopped_again", "tempo_fault"]
