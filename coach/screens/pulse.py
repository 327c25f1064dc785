"""The click as it is seen: the beats of a count-in and of the repetition after it."""

from __future__ import annotations

from collections import deque

from coach.coaching.outcomes import CountIn
from coach.playing.click import Click, clicks
from coach.score.model import Score
from coach.score.window import Excerpt


class Pulse:
    """The beats that are still to come; time is an argument."""

    def __init__(self) -> None:
        self._waiting: deque[Click] = deque()
        self.running = False

    def start(self, score: Score, excerpt: Excerpt, click: CountIn) -> None:
        """These beats in place of any others."""
        beat = score.bar_at(excerpt.grid_quarters[0]).metre.beat_quarters
        self._waiting = deque(
            clicks(
                score,
                excerpt.grid_quarters,
                qpm=60.0 * float(beat) / click.beat_s,
                first_click_s=click.first_beat_s,
                count_in=click.count_in_beats,
            )
        )
        self.running = True

    def stop(self) -> None:
        """No more beats."""
        self._waiting.clear()
        self.running = False

    def due(self, now_s: float) -> Click | None:
        """The beat that has come since this was asked last, the newest of several."""
        beat = None
        while self._waiting and self._waiting[0].at_s <= now_s:
            beat = self._waiting.popleft()
        return beat
