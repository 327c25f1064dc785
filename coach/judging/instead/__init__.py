"""What was played instead of the window, where it was something else."""

from coach.judging.instead.instead import is_elsewhere, is_wild, played_instead
from coach.judging.instead.so_far import Overheard
from coach.judging.instead.too_fast import is_too_fast
from coach.judging.instead.wording import OTHER_NOTES, TOO_FAST, in_short

__all__ = [
    "OTHER_NOTES",
    "TOO_FAST",
    "Overheard",
    "in_short",
    "is_elsewhere",
    "is_too_fast",
    "is_wild",
    "played_instead",
]
