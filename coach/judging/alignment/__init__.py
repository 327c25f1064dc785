"""Which key was struck for which note: beam search over a two-hand hidden Markov model."""

from coach.judging.alignment.align import likely_hand, match
from coach.judging.alignment.beam_search import MOST_LIVE, Decoder
from coach.judging.alignment.exact_match import ExactMatcher, match_exactly
from coach.judging.alignment.hypothesis import Hypothesis, Labels, StepKind, Trace, read_labels
from coach.judging.alignment.initial_tempo import beat_period, count_neighbours, written_period
from coach.judging.alignment.score_arrays import ScoreArrays, make_score_arrays
from coach.judging.alignment.transitions import COSTS, Transitions

__all__ = [
    "COSTS",
    "MOST_LIVE",
    "Decoder",
    "ExactMatcher",
    "Hypothesis",
    "Labels",
    "ScoreArrays",
    "StepKind",
    "Trace",
    "Transitions",
    "beat_period",
    "count_neighbours",
    "likely_hand",
    "make_score_arrays",
    "match",
    "match_exactly",
    "read_labels",
    "written_period",
]
