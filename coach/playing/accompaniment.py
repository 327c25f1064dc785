"""The other hand, played along with the player at their own pace.

What the player strikes says where they are. A note of ours that is written at one of the player's
onsets sounds with the player's key, so it is late by no more than the way through the program. One
that is written between two of them comes at their pace. None comes before the onset that the player
has yet to strike: where the player stops, the other hand waits.

Where the player's beat is and how fast it goes is the business of :class:`PaceFollower`. Onsets do
not lie on the beat: a stroke comes a little early or late, and the one after it does not (Wing and
Kristofferson 1973). So the beat is held apart from the strokes, with the time that a quarter takes,
and each stroke corrects both by as much as it can be believed: a Kalman filter.

An interval that is not as foreseen tells of one of three things. The hands scatter, and the pace is
as it was. The pace is another from here on. Or this one key was waited for, and the pace is as it
was all the same. Which of them it was is mostly told by what comes next. So all three are kept,
as guesses with a weight each, and the likeliest is followed.

Pure: time is an argument. Positions and lengths are quarters, positions from the piece's start.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass, replace
from fractions import Fraction
from math import inf, log, pi

from coach.playing.click_schedule import Timed
from coach.playing.playback import begins_note, note_messages, plan_notes
from coach.score.model import Hands, Score, ScoreNote
from coach.score.window import Excerpt

# Where the player's beat is, and how fast it goes.

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


# The other hand, played along.

TOGETHER_QUARTERS = 0.02
"""Onsets no further apart than this are one: small notes stand so much before their main note."""
LEAST_WAY = 0.5
"""The way to the next beat takes at least this share of what the pace says, however late the stroke
was. Own choice."""
RING_S = 1.5
"""How long a note of ours sounds on at most once the player has stopped. Own choice."""


@dataclass(frozen=True, slots=True)
class _Reached:
    """An onset that the player struck, and how fast it goes on from there."""

    quarters: float
    at_s: float
    quarter_s: float

    def when_s(self, quarters: float) -> float:
        """When a later place will be."""
        return self.at_s + (quarters - self.quarters) * self.quarter_s


class Accompanist:
    """Plays the notes of one hand to the onsets of the other, one repetition after the other."""

    def __init__(
        self,
        notes: Sequence[ScoreNote],
        onsets: Sequence[float],
        pace: PaceFollower,
        *,
        share: float = 1.0,
    ) -> None:
        """``onsets`` are the player's, in order, ``pace`` is what is known of theirs; ``share`` is
        how loud it is, 1 as when the window is heard."""
        sounding = plan_notes(
            notes, qpm=60.0, from_quarters=Fraction(0), start_s=0.0
        )  # in quarters
        self._cues = note_messages(sounding, share)
        self._onsets = tuple(onsets)
        self._first_pace = pace
        self.begin()

    def begin(self) -> None:
        """A repetition begins: nothing is reached yet."""
        self._pace = copy(self._first_pace)
        self._reached: _Reached | None = None

    def follow(self, quarters: float, at_s: float) -> tuple[Timed, ...] | None:
        """What is to sound from now on, once the player has struck the onset at ``quarters``.

        In place of all that was to sound after ``at_s``; what sounds goes on until its end is sent.
        None where they are no further than before.
        """
        before = self._reached
        if before is not None and quarters < before.quarters - TOGETHER_QUARTERS:
            self.begin()  # gone back
            before = None
        if before is not None and quarters <= before.quarters + TOGETHER_QUARTERS:
            return None
        if before is None:
            self._pace.begin(quarters, at_s)
        else:
            self._pace.hear(quarters, at_s)
        after = (onset for onset in self._onsets if onset > quarters + TOGETHER_QUARTERS)
        until = min(after, default=inf)
        self._reached = _Reached(quarters, at_s, self._find_way(quarters, at_s, until))
        since = before.quarters if before else quarters
        return tuple(sorted(self._take_due(self._reached, since, until)))

    def _find_way(self, here: float, at_s: float, until: float) -> float:
        """Seconds a quarter takes from this stroke to where the player's next beat will be."""
        pace_s = self._pace.quarter_s
        if until == inf:
            return pace_s
        way_s = (self._pace.due_s(until) - at_s) / (until - here)
        return max(way_s, pace_s * LEAST_WAY)

    def expects(self, quarters: float) -> float | None:
        """When the player will be at a place; None before they have begun."""
        return self._reached.when_s(quarters) if self._reached else None

    def end(self, now_s: float) -> tuple[Timed, ...]:
        """The player has ended, or stopped: what sounds is let go of at its end, or soon."""
        if self._reached is None:
            return ()
        ends = (
            (self._reached.when_s(place), message)
            for place, message in self._cues
            if not begins_note(message)
        )
        return tuple((min(max(when_s, now_s), now_s + RING_S), message) for when_s, message in ends)

    def _take_due(self, reached: _Reached, since: float, until: float) -> list[Timed]:
        """The cues at this onset, at once; those up to the next, on the way to it.

        A note that should have sounded before this onset is passed over: it would be late. What
        may have begun is let go of.
        """
        out: list[Timed] = []
        for place, message in self._cues:
            if place <= reached.quarters + TOGETHER_QUARTERS:
                is_here = abs(place - reached.quarters) <= TOGETHER_QUARTERS
                if is_here or (place > since and not begins_note(message)):
                    out.append((reached.at_s, message))
            elif place < until - TOGETHER_QUARTERS:
                out.append((reached.when_s(place), message))
        return out


def find_other_hand(score: Score, part: Excerpt) -> tuple[ScoreNote, ...]:
    """What the other hand plays to a window of one hand, up to where that ends; else nothing.

    A key that the player strikes at that onset themselves is left to them.
    """
    if part.window.hands is Hands.TOGETHER or not part.notes:
        return ()
    own = {(note.onset_quarters, note.pitch) for note in part.notes}
    first, last = part.window.start_quarters, part.onsets_quarters[-1]
    return tuple(
        note
        for note in score.notes
        if first <= note.onset_quarters <= last
        and Hands(note.hand) is not part.window.hands
        and (note.onset_quarters, note.pitch) not in own
    )
