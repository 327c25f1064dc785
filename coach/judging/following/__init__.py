"""Following the pianist live: marks, and where a repetition begins and ends."""

from coach.judging.following.events import Begun, Ended, Heard, Marked, NotThis, Stray
from coach.judging.following.follower import Follower
from coach.judging.following.surroundings import Surroundings

__all__ = ["Begun", "Ended", "Follower", "Heard", "Marked", "NotThis", "Stray", "Surroundings"]
