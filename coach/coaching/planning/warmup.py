"""The warm-up: the spots that were weak when the pianist last played, worst first.

The rule is unconditional for the next day: every spot that failed in the last session comes
again, also one that was mended, because a day's sleep lies between (Rawson and Dunlosky, 2011:
relearn on later days; the figures come from verbal recall, not from the piano).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.coaching.model import Observation
from coach.coaching.windows import PracticeMap
from coach.judging.model import Outcome
from coach.score.model import Score
from coach.score.window import Transition, Window, whole_piece

SESSION_GAP_S = 3 * 3600.0
"""A pause this long ends a session. Our choice: longer than a meal, shorter than a night."""

SLIP_RATE = 1 / 3
"""A spot that fails in fewer of its tries than this, and only once, was a slip. Our choice."""

MENDED_TRIES = 3
"""A spot is mended whose last so many tries were clean. Our choice: as many as a clean run has."""

WEAK_FAILURES = 2
"""Failures that make a spot weak, however often it was tried. Our choice: one may be a slip."""

PRIOR_FAILED, PRIOR_TRIES = 1, 2
"""A spot counts as tried twice before, and failed once: Laplace's rule of succession (1814), which
is the mean of the posterior of a uniform prior."""

WIDENINGS = ((1, 1), (2, 1), (2, 2), (3, 2))
"""Beats of run-up and beats after the move, one after the other, until a window has enough onsets.
Our choice: the run-up first, since the trouble is in arriving."""

REPETITIONS = 3
"""Repetitions that a spot is expected to take. Our choice: two clean, and one to get there."""

FEW_ONSETS = 4
"""A window of fewer onsets is no movement, but notes found one by one. Our choice."""

USUAL_MOVES = 3
"""Beats of a spot's smallest window, mostly: a run-up, the move, and one on. Told from the code."""

USUAL_QPM = 80.0
"""Where no tempo is known of a spot. Our choice: a walking pace."""

LINE_S = 3.0
"""Seconds between two repetitions. Our choice: to read the verdict and to lift the hands."""


@dataclass(frozen=True, slots=True)
class WeakSpot:
    """A transition of one hand that failed when the pianist last played."""

    transition: Transition
    failures: int
    tries: int
    mended: bool
    """The last three tries of the session were clean."""
    qpm: float | None
    """The tempo it was last tried at, in quarters a minute."""

    @property
    def weight(self) -> float:
        """How weak: the expected chance of failing (uniform prior), mended spots after all
        others."""
        chance = (self.failures + PRIOR_FAILED) / (self.tries + PRIOR_TRIES)
        return chance - 1.0 if self.mended else chance


@dataclass(frozen=True, slots=True)
class WarmUpItem:
    """One weak spot as it is warmed up."""

    spot: WeakSpot
    window: Window
    """Its smallest useful context: the trouble as it was drilled, the spot's hand alone."""
    around: Window
    """The same hand with the bar around it, for once the small one holds."""
    qpm: float
    expected_s: float
    """How long it will take, about."""

    @property
    def windows(self) -> tuple[Window, ...]:
        """What is played of it, the smallest first."""
        return (self.window,) if self.window.contains(self.around) else (self.window, self.around)

    @property
    def reason(self) -> str:
        """Why it comes, in a sentence."""
        failed = f"it failed {self.spot.failures} of {self.spot.tries} times"
        if self.spot.mended:
            return f"Weak when you last played: {failed}, and then it held. Does it still?"
        return f"Weak when you last played: {failed}."


def last_session(history: Iterable[Observation]) -> tuple[Observation, ...]:
    """The observations of the last session, in the order of time."""
    ordered = sorted(history, key=lambda one: one.at_s)
    start = len(ordered)
    while start > 0:
        gap_s = ordered[start].at_s - ordered[start - 1].at_s if start < len(ordered) else 0.0
        if gap_s > SESSION_GAP_S:
            break
        start -= 1
    return tuple(ordered[start:])


def weak_spots(history: Iterable[Observation]) -> tuple[WeakSpot, ...]:
    """The weak spots of the last session, worst first."""
    tries: dict[Transition, list[Observation]] = defaultdict(list)
    for one in last_session(history):
        if one.outcome is not Outcome.NOT_REACHED:
            tries[one.transition].append(one)
    spots = (_spot(transition, seen) for transition, seen in tries.items())
    weak = (spot for spot in spots if _is_weak(spot))
    return tuple(sorted(weak, key=lambda spot: (-spot.weight, spot.transition.to_quarters)))


def _spot(transition: Transition, seen: Sequence[Observation]) -> WeakSpot:
    failed = [one.outcome is not Outcome.CLEAN for one in seen]
    tempos = [one.qpm for one in seen if one.qpm is not None]
    mended = len(failed) >= MENDED_TRIES and not any(failed[-MENDED_TRIES:])
    return WeakSpot(transition, sum(failed), len(failed), mended, tempos[-1] if tempos else None)


def _is_weak(spot: WeakSpot) -> bool:
    return spot.failures >= WEAK_FAILURES or (
        spot.failures == 1 and spot.failures / spot.tries >= SLIP_RATE
    )


def plan_warm_up(score: Score, history: Iterable[Observation]) -> tuple[WarmUpItem, ...]:
    """The weak spots of a piece as they are warmed up, worst first; each place once."""
    practice_map = PracticeMap(score, whole_piece(score))
    chosen: list[WarmUpItem] = []
    for spot in weak_spots(history):
        item = _item(practice_map, spot)
        if not any(_is_played_with(item, other) for other in chosen):
            chosen.append(item)
    return tuple(chosen)


def _is_played_with(item: WarmUpItem, other: WarmUpItem) -> bool:
    """Whether a spot is in another's window anyway, or its window all around that."""
    move, window = item.spot.transition, other.window
    inside = window.start_quarters <= move.from_quarters and move.to_quarters <= window.end_quarters
    return item.window.contains(window) or (inside and move.hands is window.hands)


def all_fit(spots: Iterable[WeakSpot], minutes: float) -> bool:
    """Whether there is time for all of these spots, told without their score."""
    return sum(map(expected_s, spots)) <= 60 * minutes


def expected_s(spot: WeakSpot) -> float:
    """How long a spot takes, about, told without its score."""
    move = spot.transition.to_quarters - spot.transition.from_quarters
    return _expected_s(USUAL_MOVES * move, spot.qpm or USUAL_QPM)


def _expected_s(quarters: Fraction, qpm: float) -> float:
    """How long a short drill takes, about: its repetitions, each with its landing and a breath."""
    return REPETITIONS * (float(quarters + 1) * 60.0 / qpm + LINE_S)


def _item(practice_map: PracticeMap, spot: WeakSpot) -> WarmUpItem:
    hands = spot.transition.hands
    window, around = _small(practice_map, spot.transition), practice_map.bar(spot.transition, hands)
    if not around.contains(window):
        around = practice_map.bar(spot.transition, hands, before=1)
    asked_qpm = practice_map.score.tempo_at(window.start_quarters)
    qpm = round(min(spot.qpm or asked_qpm, asked_qpm))
    took_s = _expected_s(window.end_quarters - window.start_quarters, qpm)
    return WarmUpItem(spot, window, around, qpm, took_s)


def _small(practice_map: PracticeMap, transition: Transition) -> Window:
    """A run-up and the move, landing on the note arrived at: wide enough to be a movement."""
    window = practice_map.around(transition, transition.hands)
    for before, after in WIDENINGS:
        if _onsets(practice_map, window) >= FEW_ONSETS:
            break
        window = practice_map.around(transition, transition.hands, before, after)
    return window


def _onsets(practice_map: PracticeMap, window: Window) -> int:
    onsets = practice_map.onsets[window.hands]
    end = practice_map.end_of(window) if window.landing else window.end_quarters
    return bisect_right(onsets, end) - bisect_left(onsets, window.start_quarters)


# A warm-up over several pieces: which weak spot is next, and for how much longer.
#
# Rules
# -----
# - Every due spot once, the worst first, piece by piece, in its smallest useful window.
# - A spot that does not hold within ``MOST_TRIES`` tries is left, and comes back at the end.
# - Once it holds there it comes again with the bar around it, after all others have had their turn.
# - The same spot has two turns running only where no other is left.
# - When the minutes are over, or nothing is left, it ends.
#
# ``next_turn`` is all of the planning, and a pure function: facts and seconds in, the next spot
# out. :class:`WarmUpRound` only keeps the facts.


MOST_TRIES = 3
"""Repetitions of a spot in one turn, at the most: what does not hold by then needs a rest, and
comes back. Own choice, because whoever goes on is training the mistake."""
MOST_TURNS = 4
"""Turns in which one window of a spot may fail. Own choice: after so many it is for the drill, not
for a warm-up."""
LEAST_SHARE = 0.5
"""A turn is begun where at least so much of what it takes is left. Own choice, because what
goes well takes half of it."""
WINDOWS = 2
"""Windows of a spot: the smallest useful, and the bar around it."""


@dataclass(frozen=True, slots=True)
class DueSpot:
    """A weak spot of one of the pieces, and what became of it in this warm-up."""

    piece: str
    """The piece's key."""
    spot: WeakSpot
    windows: int = WINDOWS
    """How many windows it has."""
    held: int = 0
    """How many of them hold by now."""
    failed: int = 0
    """Turns in which the present one did not hold."""
    left_out: bool = False
    """It is not to come again: passed over, or not to be had."""

    @property
    def is_open(self) -> bool:
        """Whether it may come again."""
        return not self.left_out and self.held < self.windows and self.failed < MOST_TURNS


def next_turn(dues: Sequence[DueSpot], left_s: float, last: int | None) -> int | None:
    """Which of the due spots is next; None where the warm-up is over.

    ``dues`` come piece by piece, in each the worst first; ``last`` is the one played last.
    """
    able = [
        at
        for at, due in enumerate(dues)
        if due.is_open and left_s >= LEAST_SHARE * expected_s(due.spot) * (1 + due.held)
    ]

    def rank(at: int) -> tuple[bool, int, int, bool, int]:
        due = dues[at]
        elsewhere = last is not None and due.piece != dues[last].piece
        stage = 2 if due.held else 1 if due.failed else 0
        return at == last, stage, due.failed, elsewhere, at

    return min(able, key=rank, default=None)


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
        self.now: int | None = None
        """The spot whose turn it is."""
        self._last: int | None = None
        self._begun_s: float | None = None

    def begin(self, at_s: float) -> None:
        """A key was struck."""
        if self._begun_s is None:
            self._begun_s = at_s

    def left_s(self, now_s: float) -> float:
        """Seconds that are left."""
        passed_s = 0.0 if self._begun_s is None else now_s - self._begun_s
        return 60.0 * self.minutes - passed_s

    def choose(self, now_s: float) -> DueSpot | None:
        """The next turn; None where the warm-up is over."""
        self.now = next_turn(self.dues, self.left_s(now_s), self._last)
        return None if self.now is None else self.dues[self.now]

    def over(self, *, held: bool) -> None:
        """The present turn is over."""
        if self.now is None:
            return
        due = self.dues[self.now]
        self._set(
            self.now,
            replace(due, held=due.held + 1, failed=0)
            if held
            else replace(due, failed=due.failed + 1),
        )
        self._last, self.now = self.now, None

    def leave_out(self, at: int) -> None:
        """A spot is not to come (again)."""
        self._set(at, replace(self.dues[at], left_out=True))

    def has_windows(self, at: int, count: int) -> None:
        """A spot has so many windows; known once its score is open."""
        self._set(at, replace(self.dues[at], windows=count))

    def _set(self, at: int, due: DueSpot) -> None:
        self.dues[at] = due

    def why_over(self, now_s: float) -> str:
        """Why the warm-up is over, in a sentence."""
        coming = sum(due.is_open for due in self.dues)
        if coming:
            return f"The {self.minutes:g} minutes are over."
        loose = sum(not due.left_out and due.held < due.windows for due in self.dues)
        if loose:
            one = "One spot does" if loose == 1 else f"{loose} spots do"
            return f"{one} not hold yet, and the rest does: enough of a warm-up."
        return "Every weak spot held, and its bar with it: nothing is left to warm up."
