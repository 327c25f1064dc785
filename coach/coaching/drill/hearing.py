"""Hearing one assignment: its window, with its follower, its click and its judge.

What earlier repetitions showed of the player (:class:`~coach.judging.timing.Habits`) is carried
from window to window.
"""

from __future__ import annotations

from itertools import pairwise
from math import ceil

from coach.coaching.drill.drill_events import CountIn
from coach.coaching.model import Assignment
from coach.judging.following import FollowedWindow, Follower
from coach.judging.instead import KeyRows, Surroundings
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement
from coach.judging.timing import Habits
from coach.judging.tolerance import Tolerance
from coach.playing.click_schedule import count_in_beats
from coach.playing.notes import Take
from coach.score.model import Score
from coach.score.window import Excerpt, Window, excerpt

# When the drill clicks: one count-in and click for each repetition that asks for it.
#
# Pure: it plans and tells times; whoever can sound or show the click is told by
# :class:`~coach.coaching.drill.drill_events.CountIn`.


BREATH_S = 1.2
"""From a verdict to the next count-in: time to read a line. Our choice."""
LIFT_S = 0.5
"""From a count-in's announcement to its first click: time to lift the hands. Our choice."""
EARLY_BEATS = 0.6
"""How long before the window's first beat a key may belong to it. Our choice: before that one is
only fidgeting through the count-in, and who comes in half a beat early has begun."""
SLOWLY = 2.0
"""Who plays on through the count-in does it at half the tempo at the slowest. Our choice."""


class CountInClick:
    """The click of one assignment: what runs of it, or comes next.

    ``qpm`` is its tempo, None where no click is asked for; ``offset_s`` is how late the player's
    keys come.
    """

    def __init__(self, score: Score, window: Excerpt, qpm: float | None, offset_s: float) -> None:
        self._score, self._window, self._qpm, self._offset_s = score, window, qpm, offset_s
        self.running: CountIn | None = None
        self._next_s: float | None = None
        self._early_s: dict[int, float] = {}
        """When each key was struck that is too soon for the window."""

    @property
    def is_wanted(self) -> bool:
        """Whether the assignment is played with a click."""
        return self._qpm is not None

    def stop(self) -> None:
        """No click runs, and none is planned."""
        self.running = self._next_s = None
        self._early_s.clear()

    def plan(self, now_s: float) -> None:
        """The next count-in comes after a breath, where a click is asked for."""
        self.stop()
        if self.is_wanted:
            self._next_s = now_s + BREATH_S

    def is_due(self, now_s: float) -> bool:
        """Whether a planned count-in should begin."""
        return self._next_s is not None and now_s >= self._next_s

    def start(self, now_s: float, pitch: int | None = None) -> CountIn:
        """Begin to count in; ``pitch`` is the key that was struck for it, if one was."""
        assert self._qpm is not None
        self.stop()
        if pitch is not None:  # it may be the window's first, and the rest may follow at once
            self._early_s[pitch] = now_s
        self.running = count_in(self._window, self._score, self._qpm, now_s)
        return self.running

    @property
    def window_s(self) -> float | None:
        """When the window's first grid beat is due at this player's keys; None without a click."""
        click = self.running
        if click is None:
            return None
        return click.first_beat_s + click.count_in_beats * click.beat_s + self._offset_s

    def is_before_window(self, at_s: float) -> bool:
        """Whether a key comes too early in the count-in to belong to the window."""
        click, due_s = self.running, self.window_s
        return click is not None and due_s is not None and at_s < due_s - EARLY_BEATS * click.beat_s

    def is_early(self, pitch: int, at_s: float) -> bool:
        """Whether with this key the window itself was begun before its time.

        Its first onset was struck in the count-in, and this key goes on from there, no later than
        one would who plays slowly. A key that is only too soon is remembered for that.
        """
        onsets: dict[int, set[int]] = {}
        for note, number in zip(self._window.notes, self._window.onset_numbers, strict=True):
            onsets.setdefault(number, set()).add(note.pitch)
        expected = next((at for at, keys in onsets.items() if not keys <= self._early_s.keys()), 0)
        if expected > 0 and pitch in onsets[expected] - onsets[0] and self.running is not None:
            beats = self._window.beats_of_onsets
            written_s = (beats[expected] - beats[0]) * self.running.beat_s
            if at_s - max(self._early_s.values()) < SLOWLY * written_s:
                return True
        if self.is_before_window(at_s):
            self._early_s[pitch] = at_s
        return False

    def has_run_out(self, now_s: float) -> bool:
        """Whether the click is over."""
        click = self.running
        return click is not None and now_s > click.first_beat_s + click.beats * click.beat_s


def count_in(window: Excerpt, score: Score, qpm: float, now_s: float) -> CountIn:
    """The count-in before a window and the click through it, up to the beat after its last note."""
    start = window.grid_quarters[0]
    beat_s = float(score.bar_at(start).metre.beat_quarters) * 60.0 / qpm
    count = count_in_beats(score, start)
    return CountIn(now_s + LIFT_S, beat_s, count, count + ceil(window.onset_beats[-1]) + 1)


AFTER_QUARTERS = 8
"""How far past a window's end it is looked for how far apart the onsets are. Own choice, because
whoever plays on seldom plays more than two bars."""
MOST_WINDOWS = 4
"""So many windows are kept ready. Own choice, because a coach turns between the whole, the place in
hand and a probe, and the pianist to one more; more of a long piece would take megabytes."""


class Hearing:
    """Hears one assignment after the other; ``click_offset_s`` is how late the keys come."""

    def __init__(
        self,
        score: Score,
        tolerance: Tolerance,
        click_offset_s: float,
        asked: Assignment,
        habits: Habits,
    ) -> None:
        self._score, self._tolerance, self._click_offset_s = score, tolerance, click_offset_s
        self._rows = KeyRows(score)
        self.habits = habits
        """The player's own way, as far as it is known."""
        self._windows: dict[Window, FollowedWindow] = {}
        """The windows that were heard last, the very last one at the end."""
        self.set_up(asked)

    def set_up(self, asked: Assignment) -> None:
        """Turn to an assignment from its beginning: nothing is heard of it yet, no click runs."""
        self.asked = asked
        window = self._find_window(asked.window)
        self.excerpt = window.excerpt
        self.follower = Follower(self.excerpt, qpm=asked.qpm, window=window)
        self._surroundings = window.surroundings
        inside = [float(b - a) for a, b in pairwise(self.excerpt.onsets_quarters)]
        after = _list_gaps_after(self._score, self.excerpt)
        self.next_quarters = after[0] if after else 0.0
        """From the window's last onset to the next that is written; 0 where none is."""
        self.gap_quarters = max([*inside[-1:], *after], default=0.0)
        """The longest written gap from one onset to the next, where the window ends,"""
        self.longest_gap_quarters = max([self.gap_quarters, *inside])
        """and there or in the window."""
        click_qpm = asked.qpm if asked.click else None
        self.click = CountInClick(self._score, self.excerpt, click_qpm, self._click_offset_s)

    def _find_window(self, window: Window) -> FollowedWindow:
        """The window as it was made ready the last time, where it was heard lately."""
        found = self._windows.pop(window, None)
        if found is None:
            written = excerpt(self._score, window)
            found = FollowedWindow(written, Surroundings(self._rows, written))
        self._windows[window] = found
        if len(self._windows) > MOST_WINDOWS:
            del self._windows[next(iter(self._windows))]
        return found

    def job(self, number: int, take: Take, click_s: float | None) -> JudgingJob:
        """What the judge needs for a take of what is set up.

        ``click_s`` is when the window's first grid beat was clicked; None where no click ran.
        """
        return JudgingJob(
            number,
            self.excerpt,
            take,
            self.asked.stage,
            self.asked.qpm,
            click_s,
            self._tolerance,
            self.habits,
            self._surroundings,
        )

    def remember(self, judgement: Judgement, asked_qpm: float | None) -> None:
        """Remember how this player plays."""
        if judgement.is_repetition:
            self.habits = self.habits.with_(judgement, asked_qpm)


def _list_gaps_after(score: Score, window: Excerpt) -> list[float]:
    """The gaps between neighbouring onsets from the window's last one on, in quarters."""
    last, hands = window.onsets_quarters[-1], window.window.hands
    after = score.notes_between(last, last + AFTER_QUARTERS, hands)
    return [float(b - a) for a, b in pairwise(sorted({last, *(n.onset_quarters for n in after)}))]
