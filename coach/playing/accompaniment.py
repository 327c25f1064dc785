"""The other hand, played along with the player at their own pace.

What the player strikes says where they are. A note of ours that is written at one of the player's
onsets sounds with the player's key, so it is late by no more than the way through the program. One
that is written between two of them comes at the pace of what was just played. None comes before
the onset that the player has yet to strike: where the player stops, the other hand waits.

Pure: time is an argument. Positions are quarters from the piece's start.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf

from coach.playing.click_schedule import Timed
from coach.playing.playback import begins_note, note_messages, plan_notes
from coach.score.model import Hands, Score, ScoreNote
from coach.score.window import Excerpt

TOGETHER_QUARTERS = 0.02
"""Onsets no further apart than this are one: small notes stand so much before their main note."""
FORGET_QUARTERS = 1.0
"""After so much music what was played tells half as much of the pace now. Own choice, because a
pace that changes by a fifth is then followed within two beats, and one late key is not."""
STOP_RATIO = 2.0
"""An interval longer than this times the pace before is a stop and tells nothing of the pace. Own
choice, because nobody slows down by half from one note to the next."""


RING_S = 1.5
"""How long a note of ours sounds on at most once the player has stopped. Own choice."""


@dataclass(frozen=True, slots=True)
class _Reached:
    """An onset that the player struck."""

    quarters: float
    at_s: float


class Accompanist:
    """Plays the notes of one hand to the onsets of the other, one repetition after the other."""

    def __init__(
        self,
        notes: Sequence[ScoreNote],
        onsets: Sequence[float],
        *,
        quarter_s: float,
        share: float = 1.0,
    ) -> None:
        """``onsets`` are the player's, in order.

        ``quarter_s`` is the pace until the player's own is known; ``share`` is how loud it is, 1 as
        when the window is heard.
        """
        sounding = plan_notes(
            notes, qpm=60.0, from_quarters=Fraction(0), start_s=0.0
        )  # in quarters
        self._cues = note_messages(sounding, share)
        self._onsets = tuple(onsets)
        self._first_quarter_s = quarter_s
        self.begin()

    def begin(self) -> None:
        """A repetition begins: nothing is reached yet."""
        self._quarter_s = self._first_quarter_s
        self._reached: _Reached | None = None
        self._heard_s = self._heard_quarters = 0.0
        """What was played, older music counting less: its length in seconds and in quarters."""
        self._was_stop = False
        """Whether the last interval was taken for a stop: a second one is a slower pace."""

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
        if before is not None:
            self._note_pace(quarters - before.quarters, at_s - before.at_s)
        self._reached = _Reached(quarters, at_s)
        after = (onset for onset in self._onsets if onset > quarters + TOGETHER_QUARTERS)
        since = before.quarters if before else quarters
        return tuple(sorted(self._take_due(since, quarters, min(after, default=inf), at_s)))

    def end(self, now_s: float) -> tuple[Timed, ...]:
        """The player has ended, or stopped: what sounds is let go of at its end, or soon."""
        if self._reached is None:
            return ()
        here, at_s = self._reached.quarters, self._reached.at_s
        ends = (
            (at_s + (place - here) * self._quarter_s, message)
            for place, message in self._cues
            if not begins_note(message)
        )
        return tuple((min(max(when_s, now_s), now_s + RING_S), message) for when_s, message in ends)

    def _take_due(self, since: float, here: float, until: float, at_s: float) -> list[Timed]:
        """The cues at this onset, at once; those up to the next, at the present pace.

        A note that should have sounded before this onset is passed over: it would be late. What
        may have begun is let go of.
        """
        out: list[Timed] = []
        for place, message in self._cues:
            if place <= here + TOGETHER_QUARTERS:
                is_here = abs(place - here) <= TOGETHER_QUARTERS
                if is_here or (place > since and not begins_note(message)):
                    out.append((at_s, message))
            elif place < until - TOGETHER_QUARTERS:
                out.append((at_s + (place - here) * self._quarter_s, message))
        return out

    def _note_pace(self, quarters: float, seconds: float) -> None:
        is_long = seconds > STOP_RATIO * quarters * self._quarter_s
        is_stop = is_long and self._heard_quarters > 0 and not self._was_stop
        self._was_stop = is_long
        if is_stop:
            return
        if is_long:
            self._heard_s = self._heard_quarters = 0.0
        kept = 0.5 ** (quarters / FORGET_QUARTERS)
        self._heard_s = kept * self._heard_s + seconds
        self._heard_quarters = kept * self._heard_quarters + quarters
        self._quarter_s = self._heard_s / self._heard_quarters


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
