"""What was not right in a repetition, with its cause and its place."""

from coach.judging.faults.catalogue import CATALOGUE, as_markdown, is_asked, outcome_of
from coach.judging.faults.collect import find_faults, sort_by_weight
from coach.judging.faults.context import FaultContext, beats_into
from coach.judging.faults.timing import find_stop_again, find_tempo_off

__all__ = [
    "CATALOGUE",
    "FaultContext",
    "as_markdown",
    "beats_into",
    "find_faults",
    "find_stop_again",
    "find_tempo_off",
    "is_asked",
    "outcome_of",
    "sort_by_weight",
]
