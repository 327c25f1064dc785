"""Which key was struck for which note: beam search over a two-hand hidden Markov model."""

from coach.judging.alignment.align import match
from coach.judging.alignment.beam_search import MOST_LIVE, Decoder
from coach.judging.alignment.costs import COSTS
from coach.judging.alignment.hypothesis import Kind, Reading
from coach.judging.alignment.initial_tempo import beat_period, neighbours_of, written_period
from coach.judging.alignment.key_hands import likely_hand
from coach.judging.alignment.score_arrays import Layout, lay_out
from coach.judging.alignment.traceback import Trace
from coach.judging.alignment.transitions import Moves

__all__ = [
    "COSTS",
    "MOST_LIVE",
    "Decoder",
    "Kind",
    "Layout",
    "Moves",
    "Reading",
    "Trace",
    "beat_period",
    "lay_out",
    "likely_hand",
    "match",
    "neighbours_of",
    "written_period",
]
