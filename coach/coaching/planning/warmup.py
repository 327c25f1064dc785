"""The warm-up: the weak spots that are due, over all pieces, in the minutes there are.

Rules
-----
- The worst first. As many spots are begun as the minutes hold, the rest waits for another day.
- A spot comes in its smallest useful window; once it holds there, with the bar around it; and once
  more at the end. Between its turns other spots have theirs: what is played in turns is kept better
  over days than the same again and again (Carter and Grahn 2016, Frontiers in Psychology 7:1251,
  ten clarinettists; a small effect).
- A spot that does not hold within ``MOST_TRIES`` tries is left, and comes back after the others.
- The very last is the very first spot of the warm-up: what was learnt in between costs the first
  one its night's gain, and a short replay at the end brings that back (Allen 2013, Psychology of
  Music 41: 60 musicians, a melody of 13 notes).
- Within a round one piece is played to its end before the next one is put on the desk.
- It ends when the minutes are over, or sooner when nothing is left.

``next_turn`` is all of the planning, and a pure function: facts and seconds in, the next turn
out. :class:`WarmUpRound` only keeps the facts.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import count
from math import ceil

from coach.coaching.planning.progress import Day
from coach.coaching.planning.spots import WeakSpot
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import (
    failed_words,
    minutes_left_words,
    minutes_over_words,
    nothing_due_words,
    still_holds_words,
    turn_words,
    weak_words,
)
from coach.score.model import Score
from coach.score.window import Window, whole_piece

WIDENINGS = ((1, 1), (2, 1), (2, 2), (3, 2))
"""Beats of run-up and beats after the move, one after the other, until a window has enough onsets.
Our choice: the run-up first, since the trouble is in arriving."""
FEW_ONSETS = 4
"""A window of fewer onsets is no movement, but notes found one by one. Our choice."""
CLEAN, CLEAN_AGAIN = 2, 1
"""Clean repetitions of each window, and of what comes once more: the last one at the end, and what
a plan brings again. Own choice: it wakes the hands up, the drill comes after; on a later day one is
enough (Rawson and Dunlosky 2011)."""
TRIES = (2.6, 2.3)
"""Repetitions that a spot is expected to take in its smallest window, and in its bar: two clean,
and more often than not one to get there. Own choice."""
MOST_TRIES = 3
"""Repetitions of a spot in one turn, at the most: what does not hold by then needs a rest, and
comes back. Own choice, because whoever goes on is training the mistake."""
MOST_TURNS = 3
"""Turns in which one window of a spot may fail. Own choice: after so many it is for the drill, not
for a warm-up."""
USUAL_MOVES, USUAL_BAR = 3, 5
"""Beats of a spot's smallest window, mostly (a run-up, the move, and one on), and of the bar around
it with its run-up. For a piece whose score is not open yet."""
USUAL_QPM = 80.0
"""Where no tempo is known of a spot. Our choice: a walking pace."""
LINE_S = 3.0
"""Seconds between two repetitions. Our choice: to read the verdict and to lift the hands."""
LEAST_SHARE = 0.5
"""A turn is begun where at least so much of what it takes is left. Own choice, because it then ends
as often before the minutes are over as after."""
KNOWN_PACE_S = 60.0
"""Playing that the expected pace counts for, against what is measured. Own choice."""
AWAY_DAYS, AFTER_AWAY = 14, 5
"""Days without the piano after which a warm-up has no more than so many spots. Own choice, because
after a pause all is due at once, and a short list is begun more gladly than a long one."""


@dataclass(frozen=True, slots=True)
class WarmUpItem:
    """One weak spot as it is warmed up."""

    spot: WeakSpot
    window: Window
    """Its smallest useful context: the trouble as it was drilled, the spot's hand alone."""
    around: Window
    """The same hand with the bar around it, for once the small one holds."""
    qpm: float
    reason: str = ""
    """Why it comes, in a sentence."""

    @property
    def windows(self) -> tuple[Window, ...]:
        """What is played of it, the smallest first."""
        return (self.window,) if self.window.contains(self.around) else (self.window, self.around)

    @property
    def repetitions_s(self) -> tuple[float, ...]:
        """How long one repetition of each window takes, with the pause after it."""
        return tuple(
            _repetition_s(one.end_quarters - one.start_quarters, self.qpm) for one in self.windows
        )

    @property
    def expected_s(self) -> float:
        """How long it will take, about."""
        return DueSpot("", self.spot, self.repetitions_s).left_s


def why_due(spot: WeakSpot, today: Day) -> str:
    """Why a spot comes, in a sentence."""
    if not spot.failed_last:
        ago = today - spot.played_on
        return still_holds_words(spot.held_days, ago, is_settled=spot.is_settled)
    is_first = spot.failures == 1 and spot.tries > MOST_TRIES  # of a known spot that alone counts
    failed = failed_words(spot.failures, None if is_first else spot.tries, spot.weak_days)
    return weak_words(failed, today - spot.failed_on, mended=spot.mended)


def plan_warm_up(score: Score, due: Iterable[WeakSpot], today: Day) -> tuple[WarmUpItem, ...]:
    """A piece's due spots as they are warmed up, in their order; each place once."""
    practice_map = PracticeMap(score, whole_piece(score))
    chosen: list[WarmUpItem] = []
    for spot in due:
        item = _item(practice_map, spot, today)
        if not any(_is_played_with(item, other) for other in chosen):
            chosen.append(item)
    return tuple(chosen)


def _is_played_with(item: WarmUpItem, other: WarmUpItem) -> bool:
    """Whether a spot is in another's window anyway, or its window all around that."""
    move, window = item.spot.transition, other.window
    inside = window.start_quarters <= move.from_quarters and move.to_quarters <= window.end_quarters
    return item.window.contains(window) or (inside and move.hands is window.hands)


def _item(practice_map: PracticeMap, spot: WeakSpot, today: Day) -> WarmUpItem:
    hands = spot.transition.hands
    window, around = _small(practice_map, spot), practice_map.bar(spot.transition, hands)
    if not around.contains(window):
        around = practice_map.bar(spot.transition, hands, before=1)
    asked_qpm = practice_map.score.tempo_at(window.start_quarters)
    qpm = round(min(spot.qpm or asked_qpm, asked_qpm))
    return WarmUpItem(spot, window, around, qpm, why_due(spot, today))


def _small(practice_map: PracticeMap, spot: WeakSpot) -> Window:
    """A run-up and the move, landing on the note arrived at: wide enough to be a movement."""
    move = spot.transition
    window = practice_map.around(move, move.hands)
    for before, after in WIDENINGS:
        if _onsets(practice_map, window) >= FEW_ONSETS:
            break
        window = practice_map.around(move, move.hands, before, after)
    return window


def _onsets(practice_map: PracticeMap, window: Window) -> int:
    onsets = practice_map.onsets[window.hands]
    end = practice_map.end_of(window) if window.landing else window.end_quarters
    return bisect_right(onsets, end) - bisect_left(onsets, window.start_quarters)


def _repetition_s(quarters: Fraction, qpm: float) -> float:
    """How long a repetition takes, about, with its landing and a breath."""
    return float(quarters + 1) * 60.0 / qpm + LINE_S


def _usual_repetitions_s(spot: WeakSpot) -> tuple[float, ...]:
    """The same of each of a spot's windows, told without its score."""
    beat = spot.transition.to_quarters - spot.transition.from_quarters
    return tuple(
        _repetition_s(beats * beat, spot.qpm or USUAL_QPM) for beats in (USUAL_MOVES, USUAL_BAR)
    )


# A warm-up over several pieces: which weak spot is next, and for how much longer.


@dataclass(frozen=True, slots=True)
class DueSpot:
    """A due spot of one of the pieces, and what became of it in this warm-up."""

    piece: str
    """The piece's key."""
    spot: WeakSpot
    repetitions_s: tuple[float, ...]
    """How long one repetition of each of its windows takes."""
    held: int = 0
    """How many of its windows hold by now."""
    failed: int = 0
    """Turns in which the present one did not hold."""
    left_out: bool = False
    """It is not to come again: passed over, or not to be had."""
    played_again: bool = False
    """It was taken once more at the end."""
    number: int | None = None
    """The how-manieth of the warm-up it is; None where it has not come yet."""

    @property
    def windows(self) -> int:
        """How many windows it has."""
        return len(self.repetitions_s)

    @property
    def is_open(self) -> bool:
        """Whether it may come for a turn."""
        return not self.left_out and self.held < self.windows and self.failed < MOST_TURNS

    @property
    def waits_for_end(self) -> bool:
        """Whether it is to be taken again at the end: it held, if only in its smallest window."""
        return not self.left_out and self.held > 0 and not self.played_again

    @property
    def turn_s(self) -> float:
        """How long its next turn takes, about."""
        return TRIES[min(self.held, len(TRIES) - 1)] * self.repetitions_s[self.held]

    @property
    def again_s(self) -> float:
        """How long it takes at the end."""
        return self.repetitions_s[max(self.held - 1, 0)]

    @property
    def left_s(self) -> float:
        """How long all that is still to come of it takes, about."""
        if self.left_out:
            return 0.0
        turns = zip(TRIES, self.repetitions_s, strict=False)
        coming = [tries * each for tries, each in turns][self.held :] if self.is_open else []
        end = self.repetitions_s[-1] if coming else self.again_s if self.waits_for_end else 0.0
        return sum(coming) + end


def due_spot(piece: str, spot: WeakSpot) -> DueSpot:
    """A spot of a piece whose score is not open yet."""
    return DueSpot(piece, spot, _usual_repetitions_s(spot))


def dues_of(piece: str, items: Sequence[WarmUpItem]) -> tuple[DueSpot, ...]:
    """A piece's spots as they are due, where its score is open."""
    return tuple(DueSpot(piece, one.spot, one.repetitions_s) for one in items)


def shorten_after_away(dues: Sequence[DueSpot], today: Day, played_on: Day) -> list[DueSpot]:
    """The due spots for a pianist who last played on that day: after two weeks only a few."""
    return list(dues[:AFTER_AWAY] if today - played_on >= AWAY_DAYS else dues)


@dataclass(frozen=True, slots=True)
class Turn:
    """What comes next."""

    at: int
    """The place of its spot among those that are due."""
    window: int
    """Which of its windows."""
    is_again: bool = False
    """It is the replay at the end: one repetition."""


def next_turn(dues: Sequence[DueSpot], left_s: float, last: int | None) -> Turn | None:
    """What is next; None where the warm-up is over.

    ``dues`` come the worst first; ``last`` is the one played last.
    """
    turns = [*_list_turns(dues, left_s, last)]
    if others := [turn for turn in turns if turn.at != last]:
        return others[0]
    is_alone = not any(due.is_open for at, due in enumerate(dues) if at != last)
    return next((turn for turn in turns if is_alone and not turn.is_again), None)


def _list_turns(dues: Sequence[DueSpot], left_s: float, last: int | None) -> Iterator[Turn]:
    """What may come now, the best first."""
    again = [at for at, due in enumerate(dues) if due.waits_for_end]
    again.sort(key=lambda at: (dues[at].number == 1, dues[at].number or 0))
    end_s = sum(dues[at].again_s for at in again)
    begun = [at for at in choose_spots(dues, left_s) if dues[at].is_open]
    begun.sort(key=lambda at: _rank_turn(dues, at, last))
    for at in begun:
        if left_s - end_s >= LEAST_SHARE * dues[at].turn_s:
            yield Turn(at, dues[at].held)
    first_s = dues[again[-1]].again_s if again else 0.0
    for at in again[:-1]:
        if left_s - first_s >= LEAST_SHARE * dues[at].again_s:
            yield Turn(at, dues[at].held - 1, is_again=True)
    for at, due in enumerate(dues):  # a little time is left, and somebody waits
        if due.is_open and due.number is None and left_s - first_s >= LEAST_SHARE * due.turn_s:
            yield Turn(at, 0)
    for at in again[-1:]:
        if left_s >= LEAST_SHARE * dues[at].again_s:
            yield Turn(at, dues[at].held - 1, is_again=True)


def choose_spots(dues: Sequence[DueSpot], left_s: float) -> list[int]:
    """Which spots there is time for: those that were begun, then the worst of the others."""
    chosen = [at for at, due in enumerate(dues) if due.number is not None]
    room_s = left_s - sum(dues[at].left_s for at in chosen)
    for at, due in enumerate(dues):
        if due.number is not None or not due.is_open:
            continue
        if due.left_s > room_s and chosen:
            break
        chosen.append(at)
        room_s -= due.left_s
    return chosen


def _rank_turn(dues: Sequence[DueSpot], at: int, last: int | None) -> tuple[int, int, bool, int]:
    """Small where it comes early: round by round; within one first what lies on the desk, and the
    worst."""
    due = dues[at]
    elsewhere = last is not None and due.piece != dues[last].piece
    return 2 if due.held else 1 if due.failed else 0, due.failed, elsewhere, at


class WarmUpRound:
    """What has become of each spot of a warm-up; its clock runs from the first key."""

    def __init__(
        self,
        dues: Sequence[DueSpot],
        minutes: float,
        is_ready: Callable[[str], bool] = lambda _: True,
    ) -> None:
        """``is_ready``: whether a piece can be put on the desk at once."""
        self.dues = list(dues)
        self.minutes = minutes
        self.is_ready = is_ready
        self.turn: Turn | None = None
        """Whose turn it is."""
        self._last: int | None = None
        self._begun_s: float | None = None
        self._expected_s = 0.0
        """How long the turns so far should have taken."""
        self._turns_s = 0.0
        """How long they took."""
        self._turn_begun_s: float | None = None
        self._numbers = count(1)

    @property
    def now(self) -> int | None:
        """The spot whose turn it is."""
        return None if self.turn is None else self.turn.at

    def begin(self, at_s: float) -> None:
        """A key was struck."""
        if self._begun_s is None:
            self._begun_s = self._turn_begun_s = at_s

    def left_s(self, now_s: float) -> float:
        """Seconds that are left."""
        passed_s = 0.0 if self._begun_s is None else now_s - self._begun_s
        return 60.0 * self.minutes - passed_s

    @property
    def pace(self) -> float:
        """How much longer than expected this pianist takes."""
        return (self._turns_s + KNOWN_PACE_S) / (self._expected_s + KNOWN_PACE_S)

    def choose(self, now_s: float) -> DueSpot | None:
        """The next turn; None where the warm-up is over."""
        self.turn = next_turn(self.dues, self.left_s(now_s) / self.pace, self._last)
        if self.turn is None:
            return None
        due = self.dues[self.turn.at]
        if due.number is None:
            due = self._set(self.turn.at, replace(due, number=next(self._numbers)))
        if self._begun_s is not None:
            self._turn_begun_s = now_s
        return due

    def over(self, now_s: float, *, held: bool) -> None:
        """The present turn is over."""
        turn = self.turn
        if turn is None:
            return
        due = self.dues[turn.at]
        if self._turn_begun_s is not None:
            self._turns_s += now_s - self._turn_begun_s
            self._expected_s += due.again_s if turn.is_again else due.turn_s
        if turn.is_again:
            self._set(turn.at, replace(due, played_again=True))
        elif held:
            self._set(turn.at, replace(due, held=due.held + 1, failed=0))
        else:
            self._set(turn.at, replace(due, failed=due.failed + 1))
        self._last, self.turn = turn.at, None

    def leave_out(self, at: int) -> None:
        """A spot is not to come (again)."""
        self._set(at, replace(self.dues[at], left_out=True))

    def has_windows(self, at: int, repetitions_s: tuple[float, ...]) -> None:
        """How long each of a spot's windows takes; known once its score is open."""
        self._set(at, replace(self.dues[at], repetitions_s=repetitions_s))

    def _set(self, at: int, due: DueSpot) -> DueSpot:
        self.dues[at] = due
        return due

    def describe_rest(self, now_s: float) -> str:
        """What remains, as ``3 of 7 hold, about 6 minutes``.

        A spot counts once it holds in its smallest window. So the first number never goes back, in
        whatever order the spots come.
        """
        left_s = self.left_s(now_s)
        chosen = choose_spots(self.dues, left_s / self.pace)
        coming_s = min(left_s, self.pace * sum(self.dues[at].left_s for at in chosen))
        minutes = ceil(coming_s / 60 - 0.25)
        if self.turn is None:
            return minutes_left_words(minutes)
        now = {at for at, due in enumerate(self.dues) if due.number is not None} | {*chosen}
        of = [self.dues[at] for at in now if not self.dues[at].left_out]
        held = sum(due.held > 0 for due in of)
        return turn_words(held, len(of), minutes, is_again=self.turn.is_again)

    def why_over(self, now_s: float) -> str:
        """Why the warm-up is over, in a sentence."""
        begun = [due for due in self.dues if due.number is not None and not due.left_out]
        waiting = sum(due.is_open and due.number is None for due in self.dues)
        loose = sum(not due.held for due in begun)
        if waiting or any(due.is_open for due in begun):
            return minutes_over_words(self.minutes, waiting)
        took = max(1, round((60.0 * self.minutes - self.left_s(now_s)) / 60))
        return nothing_due_words(loose, took if took < self.minutes else None)
