"""Live score following: marks while the pianist plays, and repetitions found from playing alone.

The beam search of ``alignment``, key by key (``live_alignment``), and a finite-state machine over
it (``states``): nobody presses a button at the beginning or at the end.

Rules
-----
- A repetition begins with a key of the window's first onset after a rest; otherwise, and where keys
  have just gone on past the window's end, when two or three keys that fit have come
  (``begin_end.is_begun``). Keys struck before its first note are not its keys.
- It ends when the last onset is played, 0.15 s after its last key (a beat where notes are wanting;
  as long as is written where the keys may be an earlier onset, gone back to).
- It is broken off by silence (``begin_end.silence_s``), or by starting again from the
  window's first onset: the take up to there is ended, and the next repetition has begun.
- A first onset or two, left and begun again, are a false start, and tell nothing.
- Left, and entered farther on after a rest, it is two: nothing between them was left out.
- A slip at its edge belongs to it: a wrong first onset that came in time, a wrong last one, and
  among a few notes one wrong between two rests, after the music that leads in, or before what
  comes after.
- Where it was said that something else is played, a few right keys in it begin nothing.
- Its last onsets note for note are an attempt of their own, and so are they once more after that.
- A few notes far too fast are the window only between two rests: other music has them, too.
- Of equal chords the lengths between them tell which is the first.
- More keys than two hands can play end it, and are not read until they stop
  (``begin_end.KeyRate``).
- A first onset alone, keys that fit nowhere, and another piece are not repetitions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import inf

from coach.judging.alignment import Labels, written_period
from coach.judging.following import begin_end as rules
from coach.judging.following.events import Ended, FollowerEvent, NotThis, RepetitionBegan
from coach.judging.following.live_alignment import WAIT_S, FollowedWindow, LiveAlignment, Marks
from coach.judging.following.states import FOLLOWER_TABLE, FollowerInput, FollowerState
from coach.judging.instead import (
    LiveRecogniser,
    find_window_part,
    recognise_live,
    recognise_other,
)
from coach.judging.model import Instead, Label, PlayedInstead
from coach.judging.wording import (
    AROUND,
    FALSE_START,
    ONLY_ONE_STROKE,
    ONLY_THE_FIRST,
    OTHER_NOTES,
    TOO_FAST,
    TOO_FEW,
    TOO_MANY_KEYS,
)
from coach.playing.midi_events import KeyDown, KeyEvent, KeyUp, Pedal
from coach.playing.notes import ONE_STROKE_S, PedalMove, PlayedNote, Take
from coach.score.window import Excerpt

NOODLING_STROKES = 3
"""After so many keys or chords, most of their keys wrong, a key of the first onset starts afresh.
Own choice, because two may be the beginning with a slip."""
RESTART_KEYS = 64
"""A new start is looked for among so many last keys. Own choice, because three onsets tell it, and
no three have more keys; a look at all keys of a long take would cost more than following it."""
WRONG_KEYS_TO_ONE = 3
"""Where fewer than one key of so many is right, what was left was no repetition. Own choice,
because so many fit by chance."""

_OTHER_NOTES = PlayedInstead(Instead.OTHER_NOTES, OTHER_NOTES)
_TOO_FAST = PlayedInstead(Instead.TOO_FAST, TOO_FAST)
_AROUND = PlayedInstead(Instead.OTHER_NOTES, AROUND)
_FITS_NOWHERE = (Label.EXTRA, Label.WRONG)


class Follower:
    """Follows repetition after repetition of one window; times come in, marks go out."""

    def __init__(
        self,
        excerpt: Excerpt,
        *,
        qpm: float | None = None,
        window: FollowedWindow | None = None,
    ) -> None:
        """``window``: what was made of the excerpt before, with what is written around it."""
        window = window or FollowedWindow(excerpt)
        self.excerpt = excerpt
        self._surroundings = window.surroundings
        self.state = FollowerState.SILENT
        self._score = window.score
        self._alignment = LiveAlignment(window, written_period(excerpt, qpm))
        self._exact = window.exact
        self._openers = window.openers
        self._last_s = self._before_s = -inf
        """When the last key was struck, and the last one before the take."""
        self._rest_s = rules.rest_s(self._score, self._alignment.usual_s)
        """After such a silence a key of the first onset begins a repetition at once."""
        self._gap_s = rules.gap_s(self._score, self._alignment.usual_s, rules.SLOWEST)
        self._gap_s = max(self._rest_s, self._gap_s)
        """After such a silence nothing that was played before it belongs to the window."""
        self._is_own_pace = qpm is None
        self._tempi_s = (self._alignment.usual_s, written_period(excerpt))
        """Seconds in a beat at the tempo asked for, and at the piece's own."""
        self._written_rest_s = max(self._rest_s, rules.gap_s(self._score, self._alignment.usual_s))
        """In a shorter one keys go on, at the tempo asked for."""
        self._is_fresh = True
        """Whether the keys heard now came after such a silence."""
        self._pedals: list[PedalMove] = []
        self._held: dict[int, int] = {}
        self._take: list[PlayedNote] = []
        self._end_at: tuple[float, bool] | None = None
        """What ``_find_end`` found after the last key."""
        self._recogniser = LiveRecogniser(excerpt, self._rest_s)
        self._rate = rules.KeyRate()
        self._earlier: list[PlayedNote] = []
        """Keys since the last rest or the last whole repetition that are in no take."""
        self._forget()

    def hear(self, event: KeyEvent) -> tuple[FollowerEvent, ...]:
        """A key went down or came up, or a pedal moved."""
        match event:
            case KeyDown():
                return self._add_key(PlayedNote(event.pitch, event.velocity, event.at_s))
            case KeyUp():
                self._release_key(event)
            case Pedal():
                self._move_pedal(event)
        return ()

    def _add_key(self, key: PlayedNote) -> tuple[FollowerEvent, ...]:
        was_flood = self._rate.is_flood
        self._rate.count_key(key.onset_s)
        if self._rate.is_flood:
            return () if was_flood else self._leave_flood()
        out = list(self.tick(key.onset_s))
        if self.state is not FollowerState.FOLLOWING:
            self._drop_old_keys(key)
            self._recogniser.add_key(key)
        self._held[key.pitch] = len(self._take)
        self._take.append(key)
        self._last_s = key.onset_s
        self._waits = True
        self._end_at = None
        self._alignment.add_key(self._take)
        out += self._interpret_key()
        return tuple(out)

    def _release_key(self, key: KeyUp) -> None:
        index = self._held.pop(key.pitch, None)
        if index is None or -index > len(self._earlier):
            return
        keys = self._take if index >= 0 else self._earlier
        keys[index] = replace(keys[index], length_s=max(key.at_s - keys[index].onset_s, 0.0))

    def _move_pedal(self, pedal: Pedal) -> None:
        if not self._take:  # before a repetition only where each pedal stands is of use
            self._pedals = [move for move in self._pedals if move.controller != pedal.controller]
        self._pedals.append(PedalMove(pedal.controller, pedal.value, pedal.at_s))

    def tick(self, now_s: float) -> tuple[FollowerEvent, ...]:
        """Time has passed: what is over is ended, what was doubtful is told."""
        if self.state is not FollowerState.FOLLOWING:
            slip = self._find_slip_at_rest(now_s)
            if slip is not None:
                return tuple(self._begin(slip))
            return self._report_other(self._recogniser.recognise_at_rest(now_s))
        quiet_s = now_s - self._last_s
        if quiet_s < rules.STRAY_S:  # the other keys of a chord: nothing is over so soon
            return ()
        if self._end_at is None:
            self._end_at = self._find_end()
        over_s, is_at_end = self._end_at
        if quiet_s < over_s or self._may_go_on(quiet_s):
            return self._tell_doubtful() if quiet_s >= WAIT_S else ()
        if not is_at_end:
            return (*self._find_entry(), *self._break_off())
        return self._close_at_end()

    def _close_at_end(self) -> tuple[FollowerEvent, ...]:
        """The last onset was played, and it is quiet: one repetition is over, or of two the first.

        Which of the ways in which the window may have been begun again on the way fits is asked
        here alone, the plainest first.
        """
        if (turned := self._find_turned_round()) is not None:
            return tuple(self._begin_again(self._name_attempt(turned), turned))
        if ending := self._exact.find_ending(self._take):
            begun = self._begin_again(self._name_attempt(ending), ending)
            return (*begun, self._end(FollowerInput.AT_END))
        tried = self._exact.find_last_attempt(self._take)
        if tried is not None and not self._goes_on_in_time(tried):
            return (*self._begin_again(self._name_attempt(tried), tried), *self._break_off())
        if tried := self._exact.find_after_first(self._take):
            return tuple(self._begin_again(FollowerInput.FALSE_START, tried))
        after = self._find_after_ornament(1, rules.LONG_AFTER_ORNAMENT_S)
        if after is not None:
            return tuple(self._begin_again(FollowerInput.BEGUN_AGAIN, after))
        return (*self._tell_doubtful(), *self._find_start(), self._end(FollowerInput.AT_END))

    def _find_turned_round(self) -> int | None:
        """The key with which the window may have begun, where its chords are equal and the last
        ones came in other lengths than are written."""
        whole = self._exact.find_whole(self._take)
        if whole is None or not rules.is_turned_round(self._score, self._take[whole:]):
            return None
        return whole + self._score.first[1]

    def _goes_on_in_time(self, at: int) -> bool:
        """Whether with a key it was gone on in time, where the window might have been begun again:
        its figures recur."""
        keys, period_s = self._alignment.trace.keys, self._alignment.period_s
        return len(keys) == len(self._take) and rules.goes_on_in_time(
            self._score, keys, self._take, at, period_s
        )

    def _find_end(self) -> tuple[float, bool]:
        """How long a silence ends the repetition, and whether its last onset was reached.

        Where it was only if no more keys come, they are waited for: as long as is written.
        """
        score, alignment, keys = self._score, self._alignment, self._alignment.trace.keys
        exact = self._exact
        whole = exact.find_whole(self._take)
        if whole is not None and self._is_far_too_fast(self._take[whole:]):
            return rules.FRESH_S, True
        if whole is not None or exact.find_ending(self._take) is not None:
            return rules.STRAY_S, True
        hypothesis, period_s = alignment.likeliest, alignment.period_s
        slower_s = max(period_s, alignment.usual_s)
        if self._is_only_first(self._take):
            return rules.silence_s(score, (0,), 0, period_s), False
        over_s = rules.end_after_s(score, hypothesis, period_s)
        may_be_back = exact.may_have_gone_back(self._take)
        if rules.ends_wrong(score, keys, self._take, period_s):
            return rules.spread_s(period_s), True
        if over_s is not None:
            is_doubtful = rules.is_doubtful(score, hypothesis, keys, rules.DOUBTFUL_SHARE)
            is_doubtful = is_doubtful or may_be_back
            return max(over_s, rules.gap_s(score, slower_s) if is_doubtful else 0.0), True
        at_rest, heard = alignment.find_at_rest()
        beyond = rules.count_beyond(keys, self._take)
        fronts = (hypothesis.front, at_rest.front)
        silence_s = rules.silence_s(score, fronts, beyond, period_s)
        over_s = rules.end_after_s(score, at_rest, period_s)
        if over_s is None or rules.is_doubtful(score, at_rest, heard, rules.LEAST_SHARE):
            return silence_s, False
        is_last = hypothesis.front + beyond >= len(score.beat) - 1 and not may_be_back
        waits_s = rules.spread_s(period_s) if is_last else rules.gap_s(score, slower_s)
        return min(max(over_s, waits_s), silence_s), True

    @property
    def reached(self) -> Fraction | None:
        """The onset that the player has reached; None where no repetition is in hand."""
        if self.state is not FollowerState.FOLLOWING:
            return None
        first_note = self._score.first[self._alignment.likeliest.front]
        return self.excerpt.notes[self._score.note[first_note]].onset_quarters

    def may_begin(self, now_s: float, looks_s: float = 0.0) -> bool:
        """Whether the last keys may yet be the window's beginning: the next one will tell.

        After more than one onset the next one is looked for: ``looks_s`` at the most.
        """
        quiet_s, take = now_s - self._last_s, self._take
        if self.state is FollowerState.FOLLOWING or not take:
            return False
        if quiet_s >= max(self._gap_s, looks_s) or not self._exact.begins_in(take):
            return False
        begun = 0 if self._exact.is_beginning(take) else self._exact.find_start(take, 0)
        return quiet_s < self._gap_s or rules.count_strokes(take[begun:]) >= rules.TELLING_ONSETS

    def _may_go_on(self, quiet_s: float) -> bool:
        """Whether the last keys may be the window begun again, and the silence is a written one."""
        usual_s = self._alignment.usual_s
        if quiet_s >= rules.gap_s(self._score, max(self._alignment.period_s, usual_s)):
            return False
        if self._exact.find_ending(self._take) is not None:
            return False
        whole = self._exact.find_whole(self._take)
        if whole is None:
            return self._exact.begins_in(self._take[1:]) and not self._lands_in_time()
        own_s = rules.find_own_period_s(self._score, self._take[whole:])
        is_unknown = self._is_own_pace and not own_s
        rest_s = self._gap_s if is_unknown else rules.gap_s(self._score, max(own_s, usual_s))
        rested = rules.find_last_rest(self._take, rest_s)  # of equal chords it may be the first
        return rested > 0 and self._exact.is_beginning(self._take[rested:])

    def _lands_in_time(self) -> bool:
        """Whether the last keys are the window's last onset, and came when it was due."""
        keys, score = self._alignment.trace.keys, self._score
        if self._alignment.likeliest.done.bit_count() <= rules.DOUBTFUL_SHARE * len(score.pitch):
            return False  # with so much left out it may as well be an earlier onset
        last, at = len(score.beat) - 1, len(keys)
        while at and keys[at - 1][0] is Label.MATCHED and score.onset[keys[at - 1][1]] == last:
            at -= 1
        return 0 < at < len(keys) and self._goes_on_in_time(at)

    # -- one key ----------------------------------------------------------------------------

    def _change_state(self, meaning: FollowerInput) -> None:
        self.state = FOLLOWER_TABLE[self.state][meaning]

    def _forget(self, keep: int | None = None) -> None:
        """Hear anew, with the keys from ``keep`` on as the first ones."""
        shift = len(self._take) if keep is None else keep
        self._held = {p: i - shift for p, i in self._held.items()}
        most = len(self.excerpt.notes)
        self._earlier = (self._earlier + self._take[:shift])[-most:]
        if shift:
            self._before_s = self._take[shift - 1].onset_s
        self._take = self._take[shift:]
        self._start_anew()

    def _start_anew(self) -> None:
        self._pedals = _keep_pedals_since(
            self._pedals, self._take[0].onset_s if self._take else inf
        )
        self._waits = False
        self._end_at = None
        self._alignment.forget()
        self._marks = Marks(self._score)

    def _take_back(self, count: int) -> None:
        """Hear the last so many of the earlier keys as the first of the take."""
        shift = len(self._earlier) - count
        self._take = self._earlier[shift:] + self._take
        self._held = {p: i + count for p, i in self._held.items()}
        self._earlier = self._earlier[:shift]
        self._before_s = self._earlier[-1].onset_s if self._earlier else -inf
        self._start_anew()

    def _drop_old_keys(self, key: PlayedNote) -> None:
        """Before a repetition: a silence, or a first key amid noodling, starts afresh."""
        keys, pitch, at_s = self._alignment.trace.keys, key.pitch, key.onset_s
        is_more = rules.count_strokes(self._take) >= NOODLING_STROKES
        noodling = is_more and (rules.count_right(keys) * 2 < len(keys) or self._is_elsewhere())
        if at_s - self._last_s >= self._rest_s:
            if self._may_be_slow(at_s - self._last_s, pitch):
                return
            self._forget()
            if at_s - self._last_s >= self._gap_s:
                self._earlier = []
            self._change_state(FollowerInput.RESTED)
            self._recogniser.note_rest()
            self._is_fresh = True
        elif noodling and self._may_begin_with(key):
            self._forget(keep=rules.find_stroke(self._take, self._openers, at_s))
            self._is_fresh = False
        elif len(keys) >= 2 * rules.ENOUGH_KEYS:
            self._forget(keep=len(keys) - rules.FEW_KEYS)
            self._is_fresh = False

    def _may_begin_with(self, key: PlayedNote) -> bool:
        """Whether the window may begin with a key: one of its first, and in no other chord."""
        if key.pitch not in self._openers or self._exact.is_part([*self._take, key]):
            return False
        is_alone = key.onset_s - self._last_s >= ONE_STROKE_S
        return is_alone or rules.find_stroke(self._take, self._openers, key.onset_s) < len(
            self._take
        )

    def _may_be_slow(self, quiet_s: float, pitch: int) -> bool:
        """Whether a few keys before a rest may be the window's first, played far more slowly.

        Hardly where most of them are wrong, and the one that is struck now is such a first key.
        """
        keys = self._alignment.trace.keys
        if not 0 < len(keys) <= rules.FEW_KEYS or quiet_s >= self._gap_s:
            return False
        if self.state is FollowerState.ELSEWHERE:  # it is said already what they were
            return self._exact.is_beginning(self._take)
        if pitch in self._openers and 2 * rules.count_right(keys) < len(keys):
            return False
        return self._is_fresh or rules.count_right(keys) == len(keys)

    def _interpret_key(self) -> list[FollowerEvent]:
        """What the last key means for the repetition and its marks."""
        if self.state is not FollowerState.FOLLOWING:
            return self._await_beginning()
        if len(self._take) > rules.most_keys(self._score):
            return self._leave(None)
        said = self._recognise_other()
        is_lost = rules.is_lost(self._score, self._alignment.trace.keys, self._take)
        if (said or is_lost) and not self._exact.is_part(self._take):
            through = self._count_to_end()
            if through is not None:
                return [self._end(FollowerInput.AT_END, through)]
            return self._leave(said or recognise_live(self.excerpt, self._take))
        if rules.count_strokes(self._take) > rules.TELLS_NOTHING and self._is_only_first(
            self._take
        ):
            last = rules.find_stroke(self._take, self._openers, self._last_s)
            return self._begin_again(FollowerInput.FALSE_START, last)
        at_end = self._find_after_ornament(2, rules.AFTER_ORNAMENT_S)
        if at_end is not None:
            return self._begin_again(FollowerInput.BEGUN_AGAIN, at_end)
        again = rules.find_restart(self._score, self._alignment.trace, self._take, self._openers)
        if again is not None and not self._exact.is_part(self._take):
            meaning, at = again
            return self._begin_again(meaning, self._exact.find_start(self._take, at))
        exactly = self._find_exact_restart()
        if exactly is not None:
            return self._begin_again(self._name_attempt(exactly), exactly)
        return self._update_marks()

    def _find_exact_restart(self) -> int | None:
        """The key with which the window was plainly begun again, where it fits in no other way."""
        keys = self._alignment.trace.keys
        since = max(1, len(keys) - RESTART_KEYS)
        fitting_nowhere = {
            at
            for at, (label, _) in enumerate(keys[since:], since)
            if label in _FITS_NOWHERE and self._take[at].pitch in self._openers
        }
        if not any(self._exact.is_beginning(self._take[at:]) for at in fitting_nowhere):
            return None  # looked at first, since most keys are right
        at = self._exact.find_start(self._take, 0)
        return at if at in fitting_nowhere and self._exact.is_part(self._take[at:]) else None

    def _find_after_ornament(self, onsets: int, quiet_s: float) -> int | None:
        """The key with which the window was begun again, where an ornament ends it: any key might
        be one more of that."""
        end = rules.find_end_key(self._score, self._alignment.trace)
        if end is None:
            return None
        return self._exact.find_begun_after(self._take, end + 1, onsets, quiet_s)

    def _count_to_end(self) -> int | None:
        """How many keys it was to the window's end, where it was reached before other keys came."""
        first = self._take[: self._exact.count]
        if len(first) == self._exact.count and self._exact.is_beginning(first):
            return len(first)
        if self._is_slip_before(len(self._take)):
            return len(first)
        return rules.count_to_end(self._score, self._alignment.trace.keys)

    def _is_slip_before(self, at: int) -> bool:
        """Whether of the keys before one the first were the window, as many as it has and one of
        them wrong, and the others came after its end."""
        count = self._exact.count
        if at <= count or self._take[count].pitch in self._exact.onsets[-1]:
            return False
        return self._is_but_one_right(self._take[:count])

    def _recognise_other(self) -> PlayedInstead | None:
        """What is played instead, where the beginning fitted by chance."""
        keys = self._alignment.trace.keys
        if len(keys) > 2 * rules.ENOUGH_KEYS or 2 * rules.count_right(keys) > len(keys):
            return None
        return recognise_other(self.excerpt, self._take, so_far=True)

    def _await_beginning(self) -> list[FollowerEvent]:
        keys = self._alignment.trace.keys
        played = self._list_keys()
        whole = self._exact.find_whole(played)
        if whole is not None and not self._is_by_chance(played, whole):
            return self._begin_whole(whole - len(self._earlier))
        if whole is not None:  # they are not heard as a beginning with the next key, either
            self._forget()
            self._is_fresh = False
            self._change_state(FollowerInput.KEY)
            return []
        part = self._find_part() if self._is_fresh else None
        begun = part is not None or rules.is_begun(self._score, keys, self._is_fresh)
        if begun and self._recogniser.goes_on():
            begun = len(keys) >= rules.ENOUGH_KEYS and self._exact.is_part(self._take)
            part = -self._exact.count_earlier_keys(self._earlier, self._take) if begun else None
        begun = begun and (part is not None or not self._is_elsewhere())
        if begun:
            return self._begin(part)
        said = self._recogniser.recognise_after_key()
        if not said and len(keys) >= rules.ENOUGH_KEYS:
            is_said = self.state is FollowerState.ELSEWHERE
            said = None
            if not is_said:
                said = self._recogniser.recognise_strange() or self._name_other(self._take)
        self._change_state(FollowerInput.KEY)
        return list(self._report_other(said))

    def _is_far_too_fast(self, whole: Sequence[PlayedNote]) -> bool:
        """Whether keys that are the whole window may have come so by chance, in other music."""
        return rules.is_far_too_fast(self._score, whole, self._tempi_s)

    def _is_by_chance(self, played: Sequence[PlayedNote], at: int) -> bool:
        """Whether the whole window, from a key on, is a bit of other music: far too fast, and other
        keys come right before it or after it.

        Its first onset, tried before it, is no other key.
        """
        end = at + self._exact.count
        if not self._is_far_too_fast(played[at:end]):
            return False
        before = played[rules.find_last_rest(played[: at + 1], rules.FRESH_S) : at]
        if not self._is_led_in(played[:at]) and any(
            key.pitch not in self._openers for key in before
        ):
            return True
        after = played[end : end + 1]
        return bool(after) and after[0].onset_s - played[end - 1].onset_s < rules.FRESH_S

    def _is_elsewhere(self) -> bool:
        """Whether other keys go on, of which it was said what they are, and of which few fit."""
        is_other = self.state is FollowerState.ELSEWHERE and not self._is_fresh
        return is_other and not rules.is_plainly_begun(self._score, self._alignment.trace.keys)

    def _begin(self, part: int | None) -> list[FollowerEvent]:
        """A repetition, from where a part of the window begins, or from the likeliest key."""
        self._change_state(FollowerInput.BEGUN)
        self._recogniser.forget()
        keys = self._alignment.trace.keys
        first = rules.find_first_key(keys, self._take) if part is None else part
        self._start_at(first or -self._count_of_stroke())
        return [RepetitionBegan(self._take[0].onset_s), *self._update_marks()]

    def _find_slip_at_rest(self, now_s: float) -> int | None:
        """The key from which as many keys came as the window has, all right but one, and a rest
        after them; negative where it is of the earlier ones.

        Before them another rest, or the music that leads into the window: of a few keys none that
        came before the second rest could tell.
        """
        if now_s - self._last_s < rules.FRESH_S:
            return None
        played = self._list_keys()
        at = len(played) - self._exact.count
        if at < 0 or not self._take:
            return None
        if not self._is_but_one_right(played[at:]):
            return None
        before_s = played[at - 1].onset_s if at else self._before_s
        rested = played[at].onset_s - before_s >= rules.FRESH_S
        return at - len(self._earlier) if rested or self._is_led_in(played[:at]) else None

    def _list_keys(self) -> list[PlayedNote]:
        """The keys before the take, and the take's."""
        return [*self._earlier, *self._take]

    def _is_led_in(self, before: Sequence[PlayedNote]) -> bool:
        """Whether the last of the keys before the window are the music that leads into it."""
        return self._surroundings is not None and self._surroundings.leads_in(before)

    def _is_but_one_right(self, keys: Sequence[PlayedNote]) -> bool:
        """Whether of as many keys as the window has all are right but one, at the most."""
        least = max(self._exact.count - 1, rules.RIGHT_AFTER_REST)
        return self._exact.count_right(keys) >= least

    def _find_part(self) -> int | None:
        """The key from which the last keys are exactly a part of the window, and plainly meant."""
        return 0 if self._exact.is_part(self._take) else self._exact.find_ending(self._take)

    def _report_other(self, said: PlayedInstead | None) -> tuple[FollowerEvent, ...]:
        """Before a repetition: what was played instead, once it is known."""
        if said is None:
            return ()
        self._change_state(FollowerInput.STRANGE)
        return (NotThis(said.sentence, self._copy_take(len(self._take)), said.what),)

    def _begin_whole(self, first: int) -> list[FollowerEvent]:
        """The last keys are the whole window note for note, whatever came before them."""
        self._change_state(FollowerInput.BEGUN)
        self._recogniser.forget()
        self._start_at(first)
        return [RepetitionBegan(self._take[0].onset_s), *self._update_marks()]

    def _count_of_stroke(self) -> int:
        """How many keys before the take are of its first stroke, and the window's first, too."""
        begun_s = self._take[0].onset_s
        return len(self._earlier) - rules.find_stroke(self._earlier, self._openers, begun_s)

    def _start_at(self, first: int) -> None:
        """Let the take begin with another key; one of the earlier ones, where that is negative."""
        if first < 0:
            self._take_back(-first)
        elif first > 0:
            self._forget(keep=first)
        if first:
            self._waits = True
            self._alignment.begin_again(self._take)

    def _update_marks(self) -> list[FollowerEvent]:
        return self._marks.update_after_key(
            self._alignment.trace, self._alignment.decoder, self._take
        )

    # -- ends -------------------------------------------------------------------------------

    def _begin_again(self, meaning: FollowerInput, at: int) -> list[FollowerEvent]:
        """The attempt in hand is over, and the keys from one on begin the next."""
        ended = self._name_left(meaning, at)
        self._change_state(meaning)
        self._start_at(at)
        return [ended, RepetitionBegan(self._take[0].onset_s), *self._update_marks()]

    def _name_left(self, meaning: FollowerInput, at: int) -> Ended | NotThis:
        """What the first keys so many were, after which the window was begun again."""
        if meaning is FollowerInput.FALSE_START or self._is_only_first(self._take[:at]):
            return NotThis(FALSE_START)
        if self._is_slip_before(at):
            count = self._exact.count
            return self._make_end(self._copy_take(count), count)
        keys = self._alignment.trace.keys[:at]
        take = self._copy_take(at)
        if _is_mostly_wrong(keys):
            return NotThis(_OTHER_NOTES.sentence, take, _OTHER_NOTES.what)
        kept = rules.count_before_stop(self._score, keys, self._take, self._alignment.period_s)
        tried = self._exact.find_start(take.notes, at)
        is_begun = rules.count_strokes(take.notes[tried:]) >= rules.TELLING_ONSETS
        if is_begun and keys[tried][0] in _FITS_NOWHERE:
            kept = min(kept, tried)
        return self._make_end(replace(take, notes=take.notes[:kept]), at)

    def _find_start(self) -> list[FollowerEvent]:
        """Where the last keys are the whole window note for note, it began with these only.

        With some earlier keys too, where only together they are a part of it.
        """
        whole = self._exact.find_whole(self._list_keys())
        if whole is None:
            first = -self._exact.count_earlier_keys(self._earlier, self._take)
        else:
            first = whole - len(self._earlier)
        if first < 0:
            self._take_back(-first)  # it is over: nobody follows it any more
        if first < 0:
            return []
        return self._begin_again(self._name_attempt(first), first) if first else self._find_entry()

    def _find_entry(self) -> list[FollowerEvent]:
        """Where the window was left and entered farther on, these are two."""
        at = rules.find_entry_ahead(
            self._score, self._exact, self._alignment.trace.keys, self._take, self._rest_s,
            self._alignment.usual_s,
        )  # fmt: skip
        return [] if at is None else self._begin_again(self._name_attempt(at), at)

    def _name_attempt(self, attempt: int) -> FollowerInput:
        """What an attempt of so many keys was that was begun again."""
        is_short = rules.count_strokes(self._take[:attempt]) <= rules.TELLS_NOTHING
        return FollowerInput.FALSE_START if is_short else FollowerInput.BEGUN_AGAIN

    def _break_off(self) -> tuple[FollowerEvent, ...]:
        """Silence: a repetition broken off, unless hardly anything of it was played."""
        hypothesis, keys = self._alignment.find_at_rest()
        is_one_grip = len(self._score.beat) > 1 and rules.count_strokes(self._take) == 1
        if hypothesis.front == 0 or is_one_grip or self._is_only_first(self._take):
            said = self._name_few()
            self._change_state(FollowerInput.BROKEN_OFF)
            self._forget()
            return (NotThis(said),)
        if _is_mostly_wrong(keys):
            self._change_state(FollowerInput.BROKEN_OFF)
            return (self._give_up(recognise_live(self.excerpt, self._take)),)
        instead = self._recognise_with_earlier()
        if instead is not None:
            self._change_state(FollowerInput.BROKEN_OFF)
            return (self._give_up(instead),)
        return (*self._tell_doubtful(), self._end(FollowerInput.BROKEN_OFF))

    def _recognise_with_earlier(self) -> PlayedInstead | None:
        """What was played instead, where the keys before the take led into it without a rest: one
        by the pace of these keys, for it may be slow."""
        played = self._list_keys()
        slowest_s = max((b.onset_s - a.onset_s for a, b in pairwise(self._take)), default=0.0)
        rest_s = max(self._rest_s, rules.REST_GAPS * slowest_s)
        led_in = played[rules.find_last_rest(played, rest_s) :]
        if len(led_in) <= len(self._take):
            return None
        if rules.count_strokes(self._take) <= rules.TELLS_NOTHING:
            return self._name_other(led_in)
        return recognise_live(self.excerpt, led_in)

    def _name_few(self) -> str:
        """What is said of a take that is no more than the window's first keys, or other few."""
        if rules.count_strokes(self._take) <= 1:
            return ONLY_ONE_STROKE
        return ONLY_THE_FIRST if self._is_only_first(self._take) else TOO_FEW

    def _is_only_first(self, keys: Sequence[PlayedNote]) -> bool:
        """Whether nothing but the window's first keys was struck, and others come after them."""
        score = self._score
        second = score.pitch[: score.first[2]] if len(score.first) > 2 else ()
        is_alike = self._openers.issuperset(second)
        return not is_alike and self._openers.issuperset(note.pitch for note in keys)

    def _leave(self, said: PlayedInstead | None) -> list[FollowerEvent]:
        """Other keys go on; but with the last one, struck after a rest, the window may begin."""
        self._change_state(FollowerInput.LEFT)
        last = self._take[-1]
        rested = last.onset_s - self._take[-2].onset_s >= self._rest_s
        if not rested or last.pitch not in self._openers:
            return [self._give_up(said)]
        take = self._copy_take(len(self._take) - 1)
        self._forget(keep=len(take.notes))
        self._recogniser.forget()
        self._is_fresh = True
        self._alignment.begin_again(self._take)
        known = said or self._name_other(take.notes)
        return [NotThis(known.sentence, take, known.what), *self._await_beginning()]

    def _give_up(self, said: PlayedInstead | None) -> NotThis:
        """Something else was played: it is forgotten."""
        take = self._copy_take(len(self._take))
        self._forget()
        self._recogniser.adopt(take.notes, is_said=said is not None)
        self._is_fresh = False
        known = said or self._name_other(take.notes)
        return NotThis(known.sentence, take, known.what)

    def _name_other(self, keys: Sequence[PlayedNote]) -> PlayedInstead:
        """What keys are that fit nowhere: what is written around the window, or other notes."""
        is_around = self._surroundings is not None and self._surroundings.explain(keys)
        return _AROUND if is_around else _OTHER_NOTES

    def _leave_flood(self) -> tuple[FollowerEvent, ...]:
        """More keys come than anyone plays: none of them is kept, until they stop."""
        self._change_state(FollowerInput.FLOODED)
        self._recogniser.forget()
        self._forget()
        self._earlier, self._held = [], {}
        return (NotThis(TOO_MANY_KEYS),)

    def _make_end(self, take: Take, count: int) -> Ended | NotThis:
        """What the first keys so many were: a repetition, or the music around the window.

        Only where the keys go on without a rest: then one leads into the other.
        """
        if self._is_only_first(take.notes):
            return NotThis(ONLY_THE_FIRST)
        cost = self._find_cost()
        first = take.notes[: self._exact.count]
        after_s = take.notes[-1].onset_s - first[-1].onset_s
        if self._exact.find_whole(first) == 0 and self._is_by_chance(
            self._list_keys(), len(self._earlier)
        ):
            is_alone = len(take.notes) == len(first)
            other = _TOO_FAST if is_alone else self._name_other(take.notes)
            return NotThis(other.sentence, take, other.what)
        if after_s >= rules.STRAY_S and self._exact.find_whole(first) == 0:
            return Ended(self._copy_take(len(first)), cost)  # who went on, went on past the end
        if self._surroundings is None:
            return Ended(take, cost)
        next_s = self._take[count].onset_s if count < len(self._take) else inf
        rest_s = min(
            take.notes[0].onset_s - self._before_s,
            next_s - take.notes[-1].onset_s,
        )
        alone = self._surroundings.count_one_hand(take.notes)
        if alone and (instead := recognise_live(self.excerpt, take.notes[:alone])):
            return NotThis(instead.sentence, replace(take, notes=take.notes[:alone]), instead.what)
        is_around = rest_s < self._written_rest_s and not self._exact.has_both_ends(take.notes)
        if is_around and self._surroundings.explain(take.notes):
            part = find_window_part(take.notes, self._surroundings)
            return Ended(replace(take, notes=part), cost) if part else NotThis(AROUND)
        left = self._find_leaving(take.notes)
        if left is None:
            return Ended(take, cost)
        if rules.count_strokes(take.notes[:left]) <= rules.TELLS_NOTHING:
            return NotThis(FALSE_START)
        return Ended(replace(take, notes=take.notes[:left]), cost)

    def _find_cost(self) -> float:
        """What the likeliest hypothesis costs; of keys that nobody followed it is not known."""
        if self._alignment.decoder.count == len(self._take):
            return self._alignment.decoder.state.cost
        return 0.0 if self._exact.find_whole(self._take) == 0 else inf

    def _find_leaving(self, keys: Sequence[PlayedNote]) -> int | None:
        """The key with which, after a stop, other music came than the window that was begun."""
        surroundings = self._surroundings
        for at in range(1, len(keys) - 1):  # one key alone may be a wrong one
            if keys[at].onset_s - keys[at - 1].onset_s < self._written_rest_s:
                continue
            if self._exact.is_beginning(keys[:at]) and surroundings:
                return at if surroundings.explain(keys[at:]) else None
        return None

    def _end(self, meaning: FollowerInput, count: int | None = None) -> Ended | NotThis:
        """The repetition is over; ``count``: with its first keys so many, and others came after."""
        count = len(self._take) if count is None else count
        if wrong := self._count_wrong_first():
            self._take_back(wrong)
            count += wrong
        take = self._copy_take(count)
        ended = self._make_end(take, count)
        if meaning is FollowerInput.AT_END:
            self._recogniser.note_end()
            self._is_fresh = False
        is_whole = self._exact.find_whole(self._take[:count]) is not None
        is_heard = is_whole and isinstance(ended, Ended)
        self._change_state(meaning)
        self._forget()
        if is_heard or meaning is FollowerInput.BROKEN_OFF:
            # Else it may have been something else, and the window still comes.
            self._earlier = []
        elif isinstance(ended, Ended):  # of keys that are judged already no second one is made
            self._earlier = self._earlier[max(len(self._earlier) - self._exact.count // 2, 0) :]
        return ended

    def _count_wrong_first(self) -> int:
        """How many keys before the take were its first onset, struck wrong: in time, after a rest
        or the music that leads in."""
        earlier = self._earlier
        if not earlier:
            return 0
        first = rules.find_last_rest(earlier, ONE_STROKE_S)
        before = earlier[:first]
        rested = not before or earlier[first].onset_s - before[-1].onset_s >= rules.FRESH_S
        if not rested and not self._is_led_in(before):
            return 0
        run = self._exact.find_run(self._take, None)
        if run is not None:
            onsets = [at for at in range(run.first, run.last + 1) for _ in self._exact.onsets[at]]
        else:
            keys = self._alignment.trace.keys
            onsets = [self._score.onset[note] if note >= 0 else -1 for _, note in keys]
        is_wrong = rules.is_wrong_first(self._score, onsets, self._take, earlier[-1])
        return len(earlier) - first if is_wrong else 0

    def _copy_take(self, count: int) -> Take:
        notes = tuple(self._take[:count])
        until = self._take[count].onset_s if count < len(self._take) else inf
        return Take(notes, tuple(p for p in self._pedals if p.at_s < until))

    def _tell_doubtful(self) -> tuple[FollowerEvent, ...]:
        """What was held back as doubtful, once."""
        if not self._waits:
            return ()
        self._waits = False
        return tuple(
            self._marks.update_after_wait(
                self._alignment.trace, self._alignment.likeliest, self._take
            )
        )


def _is_mostly_wrong(keys: Labels) -> bool:
    """Whether so few keys are right that they may have fitted by chance."""
    return rules.count_right(keys) * WRONG_KEYS_TO_ONE < len(keys)


def _keep_pedals_since(pedals: list[PedalMove], at_s: float) -> list[PedalMove]:
    """The pedals' moves from a time on, and where each stood then."""
    stood = {move.controller: move for move in pedals if move.at_s < at_s}
    return [*stood.values(), *(move for move in pedals if move.at_s >= at_s)]
