"""What following needs of a window: the same whoever plays it, how often, and at whatever tempo."""

from __future__ import annotations

from coach.judging.alignment import (
    COSTS,
    ExactMatcher,
    Transitions,
    count_neighbours,
    make_score_arrays,
)
from coach.judging.following.begin_end import find_opening_pitches
from coach.judging.instead import Surroundings
from coach.score.window import Excerpt

MOST_BACK = 12
"""Notes of a key's pitch, those nearest, that a jump back may be to, besides the window's
beginning. In a whole piece there may be a hundred; own choice, because who goes farther back than
that has turned the page, and the verdict finds it."""


class FollowedWindow:
    """One window, made ready to be followed. Making it takes a moment for each of its notes."""

    def __init__(self, excerpt: Excerpt, surroundings: Surroundings | None = None) -> None:
        """``surroundings``: what is written around the window, where that is known."""
        self.excerpt = excerpt
        self.surroundings = surroundings
        self.score = make_score_arrays(excerpt)
        self.transitions = Transitions(self.score, COSTS, MOST_BACK)
        self.neighbours = count_neighbours(self.score)
        self.exact = ExactMatcher(excerpt)
        self.openers = find_opening_pitches(self.score)
