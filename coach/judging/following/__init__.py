"""Following the pianist live: marks, and where a repetition begins and ends."""

from coach.judging.following.events import Begun, Ended, FollowerEvent, Marked, NotThis, Stray
from coach.judging.following.followed_window import FollowedWindow
from coach.judging.following.follower import Follower

__all__ = [
    "Begun",
    "Ended",
    "FollowedWindow",
    "Follower",
    "FollowerEvent",
    "Marked",
    "NotThis",
    "Stray",
]
