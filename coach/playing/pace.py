"""Where a player's beat is and how fast it goes, as one who plays along has to know it.

Onsets do not lie on the beat: a stroke comes a little early or late, and the one after it does not
(Wing and Kristofferson 1973). So the beat is held apart from the strokes, with the time that a
quarter takes, and each stroke corrects both by as much as it can be believed: a Kalman filter.

An interval that is not as foreseen tells of one of three things. The hands scatter, and the pace is
as it was. The pace is another from here on. Or this one key was waited for, and the pace is as it
was all the same. Which of them it was is mostly told by what comes next. So all three are kept,
as guesses with a weight each, and the likeliest is followed.

Pure: time is an argument. Positions and lengths are quarters.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import log, pi

STROKE_S = 0.02
"""Standard deviation of a stroke about the beat: between a professional's 6 ms (Jabusch 2006) and
what is met with at home."""
CLOCK_SHARE = 0.02
"""Standard deviation of a beat's length, as a share of it (Repp 1997)."""
WANDER_SHARE = 0.03
"""How far the pace itself wanders in a quarter. Own choice: some phrases bend it by a tenth."""
CHANGES = ((0.15, 0.08), (0.6, 0.01))
"""How far a pace goes that changes at once, as a share of it, and how often it does from one
interval to the next. Own choice: by a little once or twice in a line; by half, hardly ever."""
WAITS, WAIT_S = 0.03, 0.5
"""How often a key is waited for, and how long about. Own choice: a learner's hesitations."""
SHORTEST_SHARE = 0.25
"""One stroke makes a quarter no shorter than to this share of what it was. Own choice: nobody plays
four times as fast from one key to the next, and a length has to stay above nothing."""
MOST_GUESSES = 8
"""So many guesses are kept: four ways out of the two likeliest. Own choice."""
UNKNOWN_SHARE, KNOWN_SHARE = 0.2, 0.06
"""How far the first interval may be from the tempo asked for, and from one's own of the last
times. Own choice."""


@dataclass(frozen=True, slots=True)
class _Guess:
    """One story of what was played, up to now: where the beat is, and how long a quarter takes."""

    beat_s: float
    quarter_s: float
    beat_variance: float
    shared: float
    """Covariance of the two."""
    quarter_variance: float
    log_weight: float = 0.0

    def after(self, quarters: float, change_share: float = 0.0) -> _Guess:
        """So much further, where nothing is heard."""
        length_s = quarters * self.quarter_s
        pace = self.quarter_variance + (change_share * self.quarter_s) ** 2
        return replace(
            self,
            beat_s=self.beat_s + length_s,
            beat_variance=self.beat_variance
            + 2 * quarters * self.shared
            + quarters**2 * pace
            + (CLOCK_SHARE * length_s) ** 2,
            shared=self.shared + quarters * pace,
            quarter_variance=pace + quarters * (WANDER_SHARE * self.quarter_s) ** 2,
        )

    def corrected(self, at_s: float, chance: float) -> _Guess:
        """Where a stroke has come at this time; ``chance`` is how likely this story was before."""
        off_s, spread = at_s - self.beat_s, self.beat_variance + STROKE_S**2
        for_beat, for_pace = self.beat_variance / spread, self.shared / spread
        return _Guess(
            self.beat_s + for_beat * off_s,
            max(self.quarter_s + for_pace * off_s, SHORTEST_SHARE * self.quarter_s),
            (1 - for_beat) * self.beat_variance,
            (1 - for_beat) * self.shared,
            self.quarter_variance - for_pace * self.shared,
            self.log_weight + log(chance) - off_s**2 / (2 * spread) - log(2 * pi * spread) / 2,
        )

    def waited(self, at_s: float, late_s: float) -> _Guess:
        """Where the player waited, and the beat begins anew with this stroke."""
        return replace(
            self,
            beat_s=at_s,
            beat_variance=STROKE_S**2,
            shared=0.0,
            log_weight=self.log_weight + log(WAITS / WAIT_S) - late_s / WAIT_S,
        )


class PaceFollower:
    """Follows one player through one repetition."""

    def __init__(self, quarter_s: float, *, is_known: bool = False) -> None:
        """``quarter_s`` until more is heard; ``is_known``: the player's own, of the last times."""
        self._first_quarter_s = quarter_s
        self._share = KNOWN_SHARE if is_known else UNKNOWN_SHARE
        self._guesses: list[_Guess] = []
        self._here = 0.0

    def begin(self, quarters: float, at_s: float) -> None:
        """The first onset of a repetition was struck."""
        pace_variance = (self._share * self._first_quarter_s) ** 2
        first = _Guess(at_s, self._first_quarter_s, STROKE_S**2, 0.0, pace_variance)
        self._here, self._guesses = quarters, [first]

    def hear(self, quarters: float, at_s: float) -> None:
        """A later onset was struck."""
        length, self._here = quarters - self._here, quarters
        told = [new for one in self._guesses for new in _explain(one, length, at_s)]
        best = sorted(told, key=lambda one: -one.log_weight)[:MOST_GUESSES]
        most = best[0].log_weight
        self._guesses = [replace(one, log_weight=one.log_weight - most) for one in best]

    @property
    def quarter_s(self) -> float:
        """Seconds that a quarter takes now."""
        return self._guesses[0].quarter_s if self._guesses else self._first_quarter_s

    def due_s(self, quarters: float) -> float:
        """When the player's beat will be at a place."""
        return self._guesses[0].after(quarters - self._here).beat_s


def _explain(guess: _Guess, quarters: float, at_s: float) -> Iterator[_Guess]:
    """What the interval may have been: as ever, another pace, or a key that was waited for."""
    foreseen = guess.after(quarters)
    yield foreseen.corrected(at_s, 1 - WAITS - sum(chance for _, chance in CHANGES))
    for share, chance in CHANGES:
        yield guess.after(quarters, share).corrected(at_s, chance)
    if at_s > foreseen.beat_s:
        yield foreseen.waited(at_s, at_s - foreseen.beat_s)
