"""Breaks: when to propose one, and how often to say so.

Twenty-five minutes at a stretch (a usual figure, from memory) and ten minutes in the hour (Horvath;
the student guides of music schools) are offers, said once each; pain is never to be played
through. Teachers and medical professionals know more than a clock.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from coach.coaching.wording import BREAK, FIVE_MINUTES, TEN_MINUTES, WIDE
from coach.score.model import Hand
from coach.score.window import Excerpt

STRETCH_MINUTES = 25.0
"""Playing on end after which a break is proposed (a usual figure, from memory)."""
HOUR_MINUTES = 50.0
"""Playing in any one hour that leaves the ten minutes of rest (Horvath)."""
PAUSE_S = 300.0
"""A silence this long is a break. Own choice: the five minutes that are proposed."""
NINTH_SEMITONES = 14
"""A hand that spans more than a major ninth is stretched wide (common practice)."""
WIDE_REPETITIONS = 20
"""Repetitions of wide stretches on end, after which a change is proposed. Own choice, because so
many of a short window are a few minutes of stretching."""
HOUR_S = 3600.0


@dataclass
class BreakReminder:
    """Keeps the time played and the wide stretches, and says when to propose a break."""

    _played: deque[tuple[float, float]] = field(default_factory=deque)
    _since_s: float | None = None
    _last_s: float = 0.0
    _wide: int = 0
    _said: set[str] = field(default_factory=set)

    def count_playing(self, excerpt: Excerpt, playing_s: float, now_s: float) -> tuple[str, ...]:
        """A repetition of so many seconds of playing ended at ``now_s``: the offers, if any."""
        if self._since_s is None or now_s - self._last_s > PAUSE_S:
            self._since_s, self._said, self._wide = now_s - playing_s, set(), 0
        self._last_s = now_s
        self._played.append((now_s, playing_s))
        while self._played and self._played[0][0] < now_s - HOUR_S:
            self._played.popleft()
        self._wide = self._wide + 1 if is_wide(excerpt) else 0
        return tuple(self._offers(now_s))

    def _offers(self, now_s: float) -> list[str]:
        assert self._since_s is not None
        offers = []
        minutes = (now_s - self._since_s) / 60.0
        hour = sum(seconds for _, seconds in self._played) / 60.0
        if minutes >= STRETCH_MINUTES and "stretch" not in self._said:
            self._said.add("stretch")
            offers.append(BREAK.format(minutes=round(minutes), rest=FIVE_MINUTES))
        elif hour >= HOUR_MINUTES and "hour" not in self._said:
            self._said.add("hour")
            offers.append(BREAK.format(minutes=round(hour), rest=TEN_MINUTES))
        if self._wide >= WIDE_REPETITIONS:
            self._wide = 0
            offers.append(WIDE)
        return offers


def is_wide(excerpt: Excerpt) -> bool:
    """Whether one hand has to span more than a ninth at once somewhere in it."""
    low: dict[tuple[Hand, int], int] = {}
    high: dict[tuple[Hand, int], int] = {}
    for note, onset in zip(excerpt.notes, excerpt.onset_numbers, strict=True):
        chord = (note.hand, onset)
        low[chord] = min(low.get(chord, note.pitch), note.pitch)
        high[chord] = max(high.get(chord, note.pitch), note.pitch)
    return any(high[chord] - low[chord] > NINTH_SEMITONES for chord in low)
