"""What was played instead of the window, where it was something else."""

from coach.judging.instead.other_music import TELLING_ONSETS, explain_otherwise, is_wild
from coach.judging.instead.recognise import (
    LiveRecogniser,
    recognise_hand_alone,
    recognise_live,
    recognise_other,
)
from coach.judging.instead.surroundings import KeyRows, Surroundings
from coach.judging.instead.too_fast import is_too_fast
from coach.judging.instead.window_part import (
    FALSE_START_S,
    add_other_keys,
    find_own_keys,
    find_window_part,
)

__all__ = [
    "FALSE_START_S",
    "TELLING_ONSETS",
    "KeyRows",
    "LiveRecogniser",
    "Surroundings",
    "add_other_keys",
    "explain_otherwise",
    "find_own_keys",
    "find_window_part",
    "is_too_fast",
    "is_wild",
    "recognise_hand_alone",
    "recognise_live",
    "recognise_other",
]
