"""The other hand, played along with the player at their own pace.

What the player strikes says where they are. A note of ours that is written at one of the player's
onsets sounds with the player's key, so it is late by no more than the way through the program. One
that is written between two of them comes at their pace (``pace.py``). None comes before the onset
that the player has yet to strike: where the player stops, the other hand waits.

Pure: time is an argument. Positions are quarters from the piece's start.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from fractions import Fraction
from math import inf

from coach.playing.click_schedule import Timed
from coach.playing.pace import PaceFollower
from coach.playing.playback import begins_note, note_messages, plan_notes
from coach.score.model import Hands, Score, ScoreNote
from coach.score.window import Excerpt

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
