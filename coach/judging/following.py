"""Following: marks while the pianist plays, and repetitions found from the playing alone.

Rules
-----
- A repetition begins with a key of the window's first onset after a second of silence; otherwise
  when two or three keys that fit have come (``following_rules.is_begun``).
- It ends when the last onset is played, 0.15 s after its last key (a beat where notes are wanting).
- It is broken off by silence (``following_rules.silence_s``), or by starting again from the
  window's first onset: the take up to there is ended, and the next repetition has begun.
- A first onset alone, keys that fit nowhere, and another piece are not repetitions.
"""

from __future__ import annotations

from dataclasses import replace

from coach.judging import following_rules as rules
from coach.judging.following_marks import WAIT_S, Marks
from coach.judging.following_reading import Understanding
from coach.judging.heard import Begun, Ended, Heard, NotThis
from coach.judging.matching_score import lay_out
from coach.judging.matching_tempo import written_period
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.score.window import Excerpt

OTHER_NOTES = "These are not the notes of this window."
ONLY_A_CHORD = "Only the first notes were played."


class Follower:
    """Follows repetition after repetition of one window; times come in, marks go out."""

    def __init__(self, excerpt: Excerpt, *, qpm: float | None = None) -> None:
        self.excerpt = excerpt
        self._layout = lay_out(excerpt)
        self._heard = Understanding(self._layout, written_period(excerpt, qpm))
        self._openers = rules.first_pitches(self._layout)
        self._last_s = float("-inf")
        self._pedals: list[PedalMove] = []
        self._held: dict[int, int] = {}
        self._take: list[PlayedNote] = []
        self._begun = False
        self._clear()

    def key_down(self, pitch: int, velocity: int, at_s: float) -> tuple[Heard, ...]:
        """A key went down."""
        out = list(self.tick(at_s))
        if not self._begun:
            self._make_room(pitch, at_s)
        self._held[pitch] = len(self._take)
        self._take.append(PlayedNote(pitch, velocity, at_s))
        self._last_s = at_s
        self._waiting = True
        self._heard.hear(self._take)
        out += self._listen()
        return tuple(out)

    def key_up(self, pitch: int, at_s: float) -> None:
        """A key came up."""
        index = self._held.pop(pitch, None)
        if index is not None:
            note = self._take[index]
            self._take[index] = replace(note, length_s=max(at_s - note.onset_s, 0.0))

    def pedal(self, controller: int, value: int, at_s: float) -> None:
        """A pedal moved."""
        self._pedals.append(PedalMove(controller, value, at_s))

    def tick(self, now_s: float) -> tuple[Heard, ...]:
        """Time has passed: what is over is ended, what was doubtful is told."""
        if not self._take or not self._begun:
            return ()
        quiet_s = now_s - self._last_s
        over_s = rules.end_after_s(self._layout, self._heard.decoder)
        if over_s is not None and quiet_s >= over_s:
            return (*self._told(), *self._end())
        if quiet_s >= rules.silence_s(self._layout, self._heard.decoder):
            return self._broken_off()
        return self._told() if quiet_s >= WAIT_S else ()

    # -- one key ----------------------------------------------------------------------------

    def _clear(self, keep: int | None = None) -> None:
        """Ready for the next repetition, with the keys from ``keep`` on as its first ones."""
        kept = [] if keep is None else self._take[keep:]
        shift = 0 if keep is None else keep
        held = {} if keep is None else self._held
        self._held = {p: i - shift for p, i in held.items() if i >= shift}
        self._take = kept
        if not kept:
            self._pedals = self._pedals[-1:] if self._pedals else []
        self._begun = self._waiting = False
        self._said_no = False
        self._fresh = True
        self._heard.forget()
        self._marks = Marks(self._layout)

    def _make_room(self, pitch: int, at_s: float) -> None:
        """Before a repetition: a silence, or a first key amid noodling, starts afresh."""
        fresh = at_s - self._last_s >= rules.FRESH_S
        keys = self._heard.trace.keys
        noodling = len(keys) >= 3 and rules.fits(keys) * 2 < len(keys)
        if fresh or (noodling and pitch in self._openers):
            said = self._said_no and not fresh
            self._clear()
            self._fresh, self._said_no = fresh, said
        elif len(keys) >= 2 * rules.ENOUGH_KEYS:
            said = self._said_no
            self._clear(keep=len(keys) - 4)
            self._fresh, self._said_no = False, said
            self._heard.catch_up(self._take)

    def _listen(self) -> list[Heard]:
        """What the last key means for the repetition and its marks."""
        if not self._begun:
            return self._before()
        if rules.is_lost(self._layout, self._heard.trace.keys, self._take):
            self._clear()
            self._said_no, self._fresh = True, False
            return [NotThis(OTHER_NOTES)]
        if self._starts_again():
            return self._start_again()
        return self._marks.after_key(self._heard.trace, self._heard.decoder, self._take)

    def _before(self) -> list[Heard]:
        keys = self._heard.trace.keys
        if rules.is_begun(self._layout, keys, self._fresh):
            self._begun = True
            marks = self._marks.after_key(self._heard.trace, self._heard.decoder, self._take)
            return [Begun(self._take[0].onset_s), *marks]
        if len(keys) >= rules.ENOUGH_KEYS and not self._said_no:
            self._said_no = True
            return [NotThis(OTHER_NOTES)]
        return []

    # -- ends -------------------------------------------------------------------------------

    def _starts_again(self) -> bool:
        """Whether the pianist has gone back to the window's start and on from there."""
        trace, layout = self._heard.trace, self._layout
        if not trace.pass_key or trace.pass_note or trace.left_at < 0:
            return False
        here = {layout.onset[n] for n, key in trace.current.items() if key >= trace.pass_key}
        if trace.left_at > 1:
            return len(here) > 1
        stopped = self._take[trace.pass_key].onset_s - self._take[trace.pass_key - 1].onset_s
        return trace.left_at == 0 and stopped >= rules.FALSE_START_S

    def _start_again(self) -> list[Heard]:
        at, tried = self._heard.trace.pass_key, self._heard.trace.left_at == 0
        ended: list[Heard] = [] if tried else [Ended(self._taken(at))]
        if not tried:
            self._pedals = [p for p in self._pedals if p.at_s >= self._take[at].onset_s]
        self._clear(keep=at)
        self._begun = self._waiting = True
        self._heard.begin_again(self._take)
        marks = self._marks.after_key(self._heard.trace, self._heard.decoder, self._take)
        return [*ended, Begun(self._take[0].onset_s), *marks]

    def _broken_off(self) -> tuple[Heard, ...]:
        """Silence: a repetition broken off, unless hardly anything of it was played."""
        reading, keys = self._heard.decoder.beam[0], self._heard.trace.keys
        reason = OTHER_NOTES if max(reading.right, reading.left) else ONLY_A_CHORD
        if reason == ONLY_A_CHORD or rules.fits(keys) * 3 < len(keys):
            self._clear()
            return (
                NotThis(ONLY_A_CHORD if max(reading.right, reading.left) == 0 else OTHER_NOTES),
            )
        return (*self._told(), *self._end())

    def _end(self) -> tuple[Heard, ...]:
        take = self._taken(len(self._take))
        self._clear()
        return (Ended(take),)

    def _taken(self, count: int) -> Take:
        notes = tuple(self._take[:count])
        until = self._take[count].onset_s if count < len(self._take) else float("inf")
        return Take(notes, tuple(p for p in self._pedals if p.at_s < until))

    def _told(self) -> tuple[Heard, ...]:
        """What was held back as doubtful, once."""
        if not self._waiting:
            return ()
        self._waiting = False
        return tuple(
            self._marks.after_wait(self._heard.trace, self._heard.decoder.beam[0], self._take)
        )
