"""Following the pianist live: marks, and where a repetition begins and ends."""

from coach.judging.following.events import (
    Ended,
    FollowerEvent,
    NoteMarked,
    NotThis,
    RepetitionBegan,
    StrayKey,
)
from coach.judging.following.follower import Follower
from coach.judging.following.live_alignment import FollowedWindow

__all__ = [
    "Ended",
    "FollowedWindow",
    "Follower",
    "FollowerEvent",
    "NotThis",
    "NoteMarked",
    "RepetitionBegan",
    "StrayKey",
]
