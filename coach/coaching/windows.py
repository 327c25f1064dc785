"""The practice map: beats, onsets and moves of a window, and the windows that can be cut from it.

Every window keeps the note arrived at (it ends on it) and the note departed from (its run-up);
a pickup belongs to its bar; nothing reaches outside the whole window that the map was made for.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import replace
from fractions import Fraction
from functools import cached_property

from coach.coaching.observations import share_heard_late
from coach.score.model import INSTANT_QUARTERS, Hands, Score, ScoreNote
from coach.score.window import Excerpt, Transition, Window, excerpt

SINGLE = (Hands.RIGHT, Hands.LEFT)


class PracticeMap:
    """Beats, onsets and transitions of one whole window of a score, and the windows inside it."""

    def __init__(self, score: Score, whole: Window) -> None:
        self.score = score
        self.whole = whole
        self.excerpt: Excerpt = excerpt(score, whole)
        self.grid = self.excerpt.grid_quarters
        self._index = {beat: i for i, beat in enumerate(self.grid)}
        self.onsets = {hands: self._onsets(hands) for hands in Hands}
        self._near = {hands: [float(one) for one in self.onsets[hands]] for hands in Hands}
        """The same to be searched: a Fraction is slow to compare. No two onsets are so near to each
        other that they become one."""
        self.transitions = self.excerpt.transitions

    def _onsets(self, hands: Hands) -> list[Fraction]:
        return sorted({n.onset_quarters for n in self.excerpt.notes if n.hand in hands})

    def is_entry(self, transition: Transition, window: Window) -> bool:
        """Whether the hand only begins here in this window: it arrives from nowhere.

        Such a move tells nothing of the transition, unless the whole window begins with it. Nor
        does one that is not on the map: a hand alone may land later than the whole window does.
        """
        arrivals = self.onsets_in(transition)
        if not arrivals:
            return True
        if window.start_quarters == self.whole.start_quarters:
            return False
        onsets = self.onsets[transition.hands]
        first = bisect_left(onsets, window.start_quarters)
        return first >= len(onsets) or onsets[first] >= arrivals[-1]

    @cached_property
    def hands_in_use(self) -> tuple[Hands, ...]:
        """The single hands that have something to play."""
        return tuple(hands for hands in SINGLE if self.onsets[hands])

    def onsets_in(self, transition: Transition) -> list[Fraction]:
        """The onsets that a transition arrives at, in order."""
        near = self._near[transition.hands]
        low = bisect_right(near, float(transition.from_quarters))
        return self.onsets[transition.hands][
            low : bisect_right(near, float(transition.to_quarters))
        ]

    def onset_before(self, onset: Fraction, hands: Hands) -> Fraction | None:
        """The hand's last onset before this one, None where there is none."""
        onsets = self.onsets[hands]
        at = bisect_left(onsets, onset)
        return onsets[at - 1] if at else None

    def notes_at(self, onset: Fraction, hands: Hands) -> tuple[ScoreNote, ...]:
        """The notes that these hands strike at an onset."""
        return self.score.notes_between(onset, onset + INSTANT_QUARTERS, hands)

    def beats(self, window: Window) -> int:
        """Length of a window in beats: the grid steps that it touches."""
        low = bisect_right(self.grid, window.start_quarters) - 1
        return max(bisect_left(self.grid, window.end_quarters) - low, 1)

    def beat_quarters(self, window: Window) -> Fraction:
        """The metre's beat where a window begins, in quarters."""
        return self.score.bar_at(window.start_quarters).metre.beat_quarters

    def clip(self, start: Fraction, end: Fraction, hands: Hands) -> Window:
        """The part of a stretch that lies in the whole window, for hands that play there.

        Where nobody does (a bar's rest in both hands), it reaches back to the hands' last note
        before it, or on over the piece's first one: there is always something to play.
        """
        low = max(start, self.whole.start_quarters)
        high = min(end, self.whole.end_quarters)
        landing = self.whole.landing or high < self.whole.end_quarters
        window = Window(low, high, self._limit_hands(hands), landing)
        for found in (window, window.of(self.whole.hands)):
            if self._sounds(found):
                return found
        return (
            self._widen_to_notes(window)
            or self._widen_to_notes(window.of(self.whole.hands))
            or self.whole
        )

    def _widen_to_notes(self, window: Window) -> Window | None:
        """A silent window widened to where these hands play; None where they never do."""
        onsets, low, high = self.onsets[window.hands], window.start_quarters, window.end_quarters
        before = bisect_left(onsets, low)
        if before:
            low = onsets[before - 1]
        elif onsets and onsets[0] < self.whole.end_quarters:
            high = self.grid[bisect_right(self.grid, onsets[0])]
        else:
            return None
        high = min(high, self.whole.end_quarters)
        return Window(low, high, window.hands, self.whole.landing or high < self.whole.end_quarters)

    def _limit_hands(self, hands: Hands) -> Hands:
        return hands if hands.members <= self.whole.hands.members else self.whole.hands

    def _sounds(self, window: Window) -> bool:
        onsets = self.onsets[window.hands]
        low = bisect_left(onsets, window.start_quarters)
        return low < len(onsets) and onsets[low] < window.end_quarters

    def around(
        self, transition: Transition, hands: Hands, run_up_beats: int = 1, beats_after: int = 0
    ) -> Window:
        """A transition with its run-up: from at least the note departed from to its landing.

        ``beats_after`` are played on beyond the landing.
        """
        before = max(self._index.get(transition.from_quarters, 0) - run_up_beats, 0)
        start = self._include_departure(replace(transition, hands=hands), self.grid[before])
        end = transition.to_quarters
        if end <= self.whole.start_quarters:  # the whole window's very first note
            end = self.grid[1]
        last = min(self._index.get(end, 0) + beats_after, len(self.grid) - 1)
        return self.clip(start, max(end, self.grid[last]), hands)

    def hears_late(self, window: Window, transition: Transition, quarter_ms: float) -> float:
        """The chance that a hesitation into a move, heard in the whole, is heard in a window."""
        arrived = self.onsets_in(transition)
        onsets = self.onsets[window.hands]
        low = bisect_left(onsets, window.start_quarters)
        high = bisect_right(onsets, self.end_of(window))
        inside = onsets[low:high]
        if not arrived or arrived[-1] not in inside:
            return 0.0
        in_all = self.onsets[self.whole.hands]
        return share_heard_late(inside, in_all, inside.index(arrived[-1]), quarter_ms)

    def bar_stretch(
        self, onset: Fraction, before: int = 0, after: int = 0
    ) -> tuple[Fraction, Fraction]:
        """From the start of an onset's bar to its end, with so many bars before and after.

        A pickup is one with the bar after it.
        """
        bars = self.score.bars
        low = max(self.score.bar_at(onset).index - before, 0)
        high = min(self.score.bar_at(onset).index + after, len(bars) - 1)
        if low == 1 and bars[0].is_pickup:
            low = 0
        if high == 0 and bars[0].is_pickup and len(bars) > 1:
            high = 1
        return bars[low].onset_quarters, bars[high].end_quarters

    def bar(self, transition: Transition, hands: Hands, before: int = 0, after: int = 0) -> Window:
        """The bar that a transition departs in, and neighbours; it lands on the next downbeat.

        Where the hand rests there at first, it begins with the note departed from.
        """
        low, high = self.bar_stretch(transition.from_quarters, before, after)
        return self.clip(
            self._include_departure(transition, low), max(high, transition.to_quarters), hands
        )

    def _include_departure(self, transition: Transition, low: Fraction) -> Fraction:
        """``low``, or the onset before it that a transition departs from, in each of its hands."""
        for hand in map(Hands, transition.hands.members):
            arrived = self.onsets_in(replace(transition, hands=hand))
            departed = self.onset_before(arrived[0], hand) if arrived else None
            low = low if departed is None else min(low, departed)
        return low

    def half_bar(self, transition: Transition, hands: Hands) -> Window:
        """The half of its bar in which a transition departs, to the note that it arrives at."""
        low, high = self.bar_stretch(transition.from_quarters)
        inner = [beat for beat in self.grid if low <= beat < high]
        if len(inner) < 2:
            return self.bar(transition, hands)
        middle = inner[(len(inner) + 1) // 2]
        if transition.from_quarters >= middle:
            low, middle = middle, high
        low = self._include_departure(transition, low)
        return self.clip(low, max(middle, transition.to_quarters), hands)

    def covers(self, window: Window, transition: Transition) -> bool:
        """Whether playing a window makes this move: hand, departure and arrival lie in it.

        The whole window's first note, which is arrived at from nowhere, is made by beginning there.
        """
        if not transition.hands.members <= window.hands.members:
            return False
        first = transition.to_quarters <= self.whole.start_quarters == window.start_quarters
        return first or window.start_quarters < transition.to_quarters <= self.end_of(window)

    def end_of(self, window: Window) -> Fraction:
        """The last beat that a window arrives at (its end, or beyond for a late landing)."""
        return self.grid[min(bisect_left(self.grid, window.end_quarters), len(self.grid) - 1)]
