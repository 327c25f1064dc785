"""When the hands rest: only then may something else be asked for.

What is seen is not turned over under the hands, nor before what was said of it could be read.
"""

from __future__ import annotations

from collections import deque

from coach.playing.midi_events import DOWN_FROM
from coach.playing.notes import ONE_STROKE_S

REST_S = 1.2
"""A silence after which the hands rest, at the least; and what was said of a repetition stands for
as long. Own choice: whoever begins again meanwhile plays what is seen."""
ELSEWHERE_S = 1.8
"""The same where keys came since then, of which nothing was said. Own choice, because whoever plays
something else, or gropes for a place, stops for longer between two tries."""
REST_BEATS = 1.4
"""The same in beats, or in the gap that is written there: whoever plays on past the window's end
strikes the next key in time."""
LONGEST_REST_S = 6.0
"""Nobody is kept waiting longer for what is written there. Own choice, because a dotted half note
at 42 takes more than four seconds."""
OWN_GAPS = 1.5
"""A silence is long against the player's own last gaps from stroke to stroke where it is so many
times the longest. Own choice, because learners stretch time by less where they do not stop."""
LAST_GAPS = 4
"""So many gaps tell how slowly is played just now. Own choice, because that is about a bar."""
LONGEST_GAP_S = 4.0
"""A longer gap was a rest itself, and nobody is waited for longer: whoever plays slow long notes
over and over would else never be asked for anything new. Own choice, because slow long notes take
no more."""
LONGEST_HELD_S = 6.0
"""A key held for longer is stuck, or its release was never heard. Own choice, because it is a slow
bar."""
OVER_AND_OVER = 2
"""Whole repetitions running of what is asked for, after which it is known that the pianist begins
again at the window's end and does not play on: then a moment is rest enough. Own choice, because
the second shows it, and whoever plays over and over is else never asked for anything new."""
LONGEST_NEXT_S = 1.8
"""But a slow player's next note, where one is written, is waited for as in ``REST_BEATS``; not
longer than a note of this length. Own choice, because a breath between two repetitions takes some
two seconds and a half."""
LOOKING_S = 8.0
"""After a stop before the end it is waited for so long: the pianist may be looking for the next
note, or begin again, and either goes on with what is seen. Own choice, because whoever looks longer
has given the place up."""


class HandsRest:
    """The keys that are down, the last one struck, and when something was said."""

    def __init__(self) -> None:
        self._held: dict[int, float] = {}
        """The keys that are down, and since when."""
        self._last_key_s = self._said_s = self._trod_s = float("-inf")
        self._pedals: set[int] = set()
        """The pedals that are down."""
        self._gaps_s: deque[float] = deque(maxlen=LAST_GAPS)
        self._is_looking = False
        self._whole = 0
        """Whole repetitions running of what is asked for, with nothing played between."""
        self._first_since_s = float("inf")
        """When the first key was struck since something was said."""

    def strike(self, pitch: int, at_s: float) -> None:
        """A key went down."""
        self._held[pitch] = at_s
        gap_s = at_s - self._last_key_s
        if gap_s > LONGEST_GAP_S:
            self._gaps_s.clear()
        elif gap_s >= ONE_STROKE_S:
            self._gaps_s.append(gap_s)
        self._last_key_s = max(at_s, self._last_key_s)
        if at_s > self._said_s:
            self._first_since_s = min(at_s, self._first_since_s)

    def release(self, pitch: int) -> None:
        """A key came up."""
        self._held.pop(pitch, None)

    def tread(self, controller: int, value: int, at_s: float) -> None:
        """A pedal moved: a foot that goes down is about to play."""
        if value < DOWN_FROM:
            self._pedals.discard(controller)
        elif controller not in self._pedals:
            self._pedals.add(controller)
            self._trod_s = at_s

    def release_all(self) -> None:
        """No key is down as far as is known: the piano was lost."""
        self._held.clear()
        self._pedals.clear()

    def say(
        self, now_s: float, *, broke_off: bool = False, whole_from_s: float | None = None
    ) -> None:
        """Something was said of what was played; ``broke_off``: it stopped before the end;
        ``whole_from_s``: it was a whole repetition that began then."""
        self._said_s, self._is_looking = now_s, broke_off
        if whole_from_s is None:
            self._whole = 0
        else:  # whoever struck other keys before it had played on past the window's end
            played_on = whole_from_s > self._first_since_s + ONE_STROKE_S
            self._whole = 1 if played_on else self._whole + 1
        self._first_since_s = float("inf")

    def turn(self) -> None:
        """Something else is asked for now."""
        self._whole = 0

    def is_quiet(self, now_s: float, beat_s: float) -> bool:
        """Whether no key has come for a moment, longer where the beat is long, and no pedal."""
        rest_s = min(max(REST_S, REST_BEATS * beat_s), LONGEST_REST_S)
        return now_s - max(self._last_key_s, self._trod_s) >= rest_s

    def is_off(self, now_s: float, beat_s: float) -> bool:
        """Whether the hands are off the keys, and have been for a moment."""
        is_held = any(now_s - since_s < LONGEST_HELD_S for since_s in self._held.values())
        return self.is_quiet(now_s, beat_s) and not is_held

    @property
    def is_over(self) -> bool:
        """Whether the last that was played was a whole repetition."""
        return self._whole > 0 and self._last_key_s <= self._said_s

    def may_turn(
        self, now_s: float, beat_s: float, *, next_s: float = 0.0, counted_in: bool = False
    ) -> bool:
        """Whether what is seen may be turned over: the hands rest, and what was said is read.

        After a whole repetition it is known when the next key would come, by what is written there
        and by the player's pace: ``beat_s``. Whoever plays it over and over, with a breath between,
        is to be asked for something else in that breath. Who is ``counted_in`` takes none: the next
        count waits. ``next_s``: when the very next note is due. Else the player's own gaps tell.
        """
        quiet_s = now_s - self._last_key_s
        is_over = self.is_over
        if is_over and self._whole >= OVER_AND_OVER and not counted_in:
            beat_s = min(beat_s, next_s, LONGEST_NEXT_S)
        if not self.is_off(now_s, beat_s) or now_s - self._said_s < REST_S:
            return False
        own_gap_s = 0.0 if is_over else max(self._gaps_s, default=0.0)
        least_s = ELSEWHERE_S if self._last_key_s > self._said_s else REST_S
        if quiet_s < max(least_s, min(OWN_GAPS * own_gap_s, LONGEST_GAP_S)):
            return False
        return not self._is_looking or quiet_s >= LOOKING_S
