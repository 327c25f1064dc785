"""Following the pianist live: marks, and where a repetition begins and ends."""

from coach.judging.following.events import (
    Ended,
    FollowerEvent,
    NoteMarked,
    NotThis,
    RepetitionBegan,
    StrayKey,
)
from coach.judging.following.followed_window import FollowedWindow
from coach.judging.following.follower import Follower

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
