"""The drill: keys, silence and wishes in; marks, verdicts and assignments out.

It reads no clock, keeps no file and calls nobody: every method takes the time and returns the
outcomes in the order in which they happened. Times are seconds on one monotonic clock;
``epoch_s`` (Unix time minus that clock) places them on a day.

Rules
-----
- A repetition is judged against what stood when it began: its window, its tempo, its click.
- What is asked for changes only between repetitions, once the hands rest, or when the pianist asks.
  What is seen is not turned over under the hands, nor before what was said of it could be read.
- A repetition that went wrong is heard at once, and decided upon once the hands rest: with the next
  one, where that is in hand already (begun again from the start, or judged elsewhere meanwhile).
- Verdicts are taken in the order in which the repetitions were played.
- One assignment is heard by one :class:`Hearing`: its window, with its follower, its click and its
  judge. What earlier repetitions showed of the player (:class:`~coach.judging.timing.Habits`) is
  carried from window to window.

Thread-safe: no. Blocks: no.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil

from coach.coaching.coach import Coach
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    CountIn,
    DrillEvent,
    DrillState,
    PlanChanged,
    Proposed,
    RepetitionEnded,
    SetAside,
    StateChanged,
    ToJudge,
)
from coach.coaching.drill.states import DrillInput, next_state
from coach.coaching.model import Assignment, Decision, Goal, Observation, Order, PlanChange, Request
from coach.coaching.wording import ASKED_FOR_ELSE, PAUSED, PLAN_CHANGED, TOO_SOON, UNPLUGGED
from coach.judging.completion import last_struck
from coach.judging.following import (
    Ended,
    FollowedWindow,
    Follower,
    FollowerEvent,
    NoteMarked,
    NotThis,
    RepetitionBegan,
    StrayKey,
)
from coach.judging.instead import KeyRows, Surroundings
from coach.judging.judge import JudgingJob
from coach.judging.model import Instead, Judgement
from coach.judging.timing import Habits
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.click_schedule import count_in_beats
from coach.playing.midi_events import DOWN_FROM, KeyDown, KeyEvent, KeyUp, Pedal
from coach.playing.notes import ONE_STROKE_S, PlayedNote, Take
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


# Hearing one assignment.

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


# When the hands rest: only then may something else be asked for.

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


# The drill.

LARGE = 400
"""Keys times notes from which a take is judged elsewhere, where that is allowed: some 20 keys of 20
notes. Own choice, because half of the takes just below took 6 ms on a busy machine, those of up to
1000 some 9, and what the coach makes of them takes as long again."""
PART, PART_KEYS, LARGE_PART = 0.75, 20, 1000
"""Where fewer keys were struck than this share of the notes, the rest of the window is read, too:
so many keys more, times the notes, are judged elsewhere from here on. With one and a half times
this limit, of 838 beginnings of windows of the sample scores, the largest below took 13 ms."""
STRANGE = 10.0
"""What its reading costs (``Ended.cost``) from which it is judged elsewhere, too. A wrong key costs
five. Of 700 takes of ``scripts/earcases`` and of mashed and shifted ones none within both took
longer than 9 ms on a busy machine; a mashed bar of 22 notes took 0.3 s."""


@dataclass(slots=True)
class _Played:
    """A repetition that has ended, and its verdict once it is there."""

    job: JudgingJob
    asked: Assignment
    judgement: Judgement | None = None
    is_elsewhere: bool = False
    """Whether it was given out to be judged."""


class Drill:
    """One pianist at one piece, until the goal is reached.

    Feed it with :meth:`hear` and, some twenty times a second, :meth:`tick`; or give it whole
    repetitions with :meth:`repetition`. ``click_offset_s`` is how late the player's keys come
    against the click (see ``coach.judging.calibration``). With ``judges_elsewhere`` large takes are
    given out to be judged (:class:`ToJudge`, :meth:`take_verdict`).
    """

    def __init__(
        self,
        score: Score,
        goal: Goal,
        *,
        coach: Coach | None = None,
        history: Iterable[Observation] = (),
        tolerance: Tolerance | None = None,
        now_s: float = 0.0,
        epoch_s: float = 0.0,
        click_offset_s: float = 0.0,
        judges_elsewhere: bool = False,
        habits: Habits | None = None,
    ) -> None:
        self.score = score
        self.goal = goal
        self.coach = coach or Coach(score, goal, history=history, now_s=now_s + epoch_s)
        self.state = DrillState.READY
        self._epoch_s = epoch_s
        self._judges_elsewhere = judges_elsewhere
        tolerance = tolerance or Tolerance.of(Strictness.USUAL)
        asked = self.decision.assignment
        self._ear = Hearing(score, tolerance, click_offset_s, asked, habits or Habits())
        self._played: deque[_Played] = deque()
        """Repetitions that have ended and whose verdict is not taken yet."""
        self._count = 0
        self._rest = HandsRest()
        self._played_qpm: float | None = None
        """The tempo of the last repetition, in quarters a minute."""
        self._goal_reached = False
        """Whether the last verdict reached the goal, and this is not shown yet."""
        self.stands_still = False
        """Whether nothing else is asked for: whoever leads several drills turns to another."""

    @property
    def habits(self) -> Habits:
        """How this player plays, as far as it was heard: to be handed in another day."""
        return self._ear.habits

    @property
    def decision(self) -> Decision:
        """What the coach decided last."""
        return self.coach.decision

    @property
    def assignment(self) -> Assignment:
        """What is to be played now: what was given last, until the hands rest."""
        wanted = self.coach.assignment
        return wanted if wanted.to_play == self._ear.asked.to_play else self._ear.asked

    @property
    def excerpt(self) -> Excerpt:
        """The notes of the present window."""
        return self._ear.excerpt

    @property
    def reached(self) -> Fraction | None:
        """The onset that the player has reached, in quarters; None where nothing is played."""
        return self._ear.follower.reached

    @property
    def is_finished(self) -> bool:
        """Whether it stands at its goal."""
        return self.state is DrillState.FINISHED

    def start(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Show the first assignment."""
        return (StateChanged(self.state), self._tell_assignment())

    # -- what is played ---------------------------------------------------------------------

    def key_down(self, pitch: int, velocity: int, at_s: float) -> tuple[DrillEvent, ...]:
        """A key was struck: :meth:`hear` for programs that have no event of it."""
        return self.hear(KeyDown(pitch, velocity, at_s))

    def key_up(self, pitch: int, at_s: float) -> tuple[DrillEvent, ...]:
        """A key was released."""
        return self.hear(KeyUp(pitch, at_s))

    def pedal(self, controller: int, value: int, at_s: float) -> tuple[DrillEvent, ...]:
        """A pedal moved."""
        return self.hear(Pedal(controller, value, at_s))

    def hear(self, event: KeyEvent) -> tuple[DrillEvent, ...]:
        """A key was struck or released, or a pedal moved.

        With a click any key counts in, at the goal, too.
        """
        if not isinstance(event, KeyDown):
            if isinstance(event, KeyUp):
                self._rest.release(event.pitch)
            else:
                self._rest.tread(event.controller, event.value, event.at_s)
            self._ear.follower.hear(event)
            return ()
        if self.state is DrillState.NO_PIANO:
            return ()
        at_s = event.at_s
        out: list[DrillEvent] = []
        if self.state in (DrillState.COUNT_IN, DrillState.PLAYING):
            out += self._hear(self._ear.follower.tick(at_s), at_s)
        out += self._settle(at_s)
        rested = self._rest.is_quiet(at_s, self._beat_s)
        self._rest.strike(event.pitch, at_s)
        at_rest = self.state is DrillState.RESTING or (self.is_finished and self._click.is_wanted)
        if at_rest:  # no hand is free for a key of the computer
            out += self._move(DrillInput.GO_ON)
        if self.state is DrillState.READY and self._click.is_wanted:
            # Whoever plays on past the window's end asks for no count-in.
            return (*out, *self._start_click(at_s, event.pitch)) if rested else tuple(out)
        if self.state is DrillState.COUNT_IN:
            if self._click.is_early(event.pitch, at_s):
                out += self._drop(TOO_SOON, DrillInput.OVER)
                self._click.plan(at_s)
                return tuple(out)
            if self._click.is_before_window(at_s):
                return tuple(out)
        heard = self._ear.follower.hear(event)
        return (*out, *(self._hear_at_goal if self.is_finished else self._hear)(heard, at_s))

    def tick(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Time passed: silence ends a repetition, a click begins or runs out, the hands rest."""
        if self.state in (DrillState.NO_PIANO, DrillState.RESTING):
            return ()
        out: list[DrillEvent] = []
        heard = self._ear.follower.tick(now_s)
        out += (self._hear_at_goal if self.is_finished else self._hear)(heard, now_s)
        out += self._settle(now_s)
        if self._click.is_due(now_s) and not self._played and self._may_count_in(now_s):
            out += self._start_click(now_s)
        if self.state is DrillState.COUNT_IN and self._click.has_run_out(now_s):
            self._click.stop()
            out += self._move(DrillInput.CLICK_RUNS_OUT)
        return tuple(out)

    def take_verdict(
        self, job: JudgingJob, judgement: Judgement, now_s: float
    ) -> tuple[DrillEvent, ...]:
        """The verdict on a repetition that was given out to be judged (:class:`ToJudge`).

        Verdicts are taken in the order in which the repetitions were played: one that comes too
        soon waits for those before it. Nobody waits for a second verdict on the same one.
        """
        for played in self._played:
            if played.job.number == job.number and played.judgement is None:
                played.judgement = judgement
        return (*self._take_verdicts(now_s), *self._settle(now_s))

    def waits_for(self, job: JudgingJob | None = None) -> bool:
        """Whether the verdict on this job is still to come, or on any."""
        waiting = (one.job for one in self._played if one.judgement is None)
        return any(job is None or one is job or one == job for one in waiting)

    def repetition(
        self, notes: Sequence[PlayedNote], *, now_s: float = 0.0, click_s: float | None = None
    ) -> RepetitionEnded:
        """Judge a whole repetition of the present assignment, and decide: the headless way.

        ``now_s`` is when it ended (for breaks and for tomorrow); ``click_s`` when the window's
        first grid beat was clicked, None where no click ran.
        """
        job, asked = self._ear.job(self._count, Take(tuple(notes)), click_s), self.assignment
        self._count += 1
        judgement = job.judge()
        self._ear.remember(judgement, asked.qpm)
        decision = self.coach.observe_and_decide(judgement, now_s + self._epoch_s)
        if decision.changed:
            self._ear.set_up(decision.assignment)
        return RepetitionEnded(job.take, judgement, decision, asked, self.coach.observed)

    # -- what is asked for ------------------------------------------------------------------

    def ask(self, request: Request, now_s: float) -> tuple[DrillEvent, ...]:
        """The pianist asks for something else; the repetition in hand is set aside."""
        out = self.set_aside()
        self.coach.ask(request, now_s + self._epoch_s)
        return (*out, *self._begin_assignment(now_s))

    def foresee(self, request: Request) -> Excerpt:
        """What would be asked for upon a wish for another window; nothing changes by it."""
        return excerpt(self.score, self.coach.foresee(request).window)

    def set_aside(self) -> list[DrillEvent]:
        """Nothing is in hand any more: the pianist asks for something else."""
        return self._drop(ASKED_FOR_ELSE, DrillInput.OVER)

    def change_plan(self, row: int, change: PlanChange, now_s: float) -> tuple[DrillEvent, ...]:
        """The pianist moves a row of ``coach.plan()``, leaves it out, or takes it up again.

        The last outcome is :class:`PlanChanged`, with what was done or why it can't be; before it
        comes a new assignment, where there is one. See ``Coach.change_plan``.
        """
        return self._follow_changed_plan(self.coach.change_plan(row, change), now_s)

    def reorder(self, order: Order, now_s: float) -> tuple[DrillEvent, ...]:
        """The pianist wants the bars in another order; outcomes as of :meth:`change_plan`."""
        return self._follow_changed_plan(self.coach.reorder(order), now_s)

    def _follow_changed_plan(self, said: str, now_s: float) -> tuple[DrillEvent, ...]:
        self.goal = self.coach.goal
        if not self.decision.changed and not self._can_go_on:
            return (PlanChanged(said),)
        out = self._drop(PLAN_CHANGED, DrillInput.OVER)
        return (*out, *self._begin_assignment(now_s), PlanChanged(said))

    @property
    def _can_go_on(self) -> bool:
        return self.state is DrillState.FINISHED and not self.decision.finished

    def _begin_assignment(self, now_s: float) -> tuple[DrillEvent, ...]:
        self._ear.set_up(self.decision.assignment)
        self._goal_reached = False
        out = self._move(DrillInput.GO_ON) if self.state is DrillState.FINISHED else []
        return (*out, self._tell_assignment())

    def pause(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Rest; the repetition in hand is set aside."""
        if self.state in (DrillState.RESTING, DrillState.NO_PIANO, DrillState.FINISHED):
            return ()
        return tuple(self._drop(PAUSED, DrillInput.PAUSE))

    def resume(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Go on after a pause, or past the goal."""
        if self.state not in (DrillState.RESTING, DrillState.FINISHED):
            return ()
        self._ear.set_up(self.coach.decide().assignment)
        return (*self._move(DrillInput.GO_ON), self._tell_assignment())

    def piano_lost(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano vanished: the repetition in hand is set aside, nothing else is lost."""
        if self.state is DrillState.NO_PIANO:
            return ()
        self._rest.release_all()
        return tuple(self._drop(UNPLUGGED, DrillInput.PIANO_LOST))

    def piano_found(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano is there (again)."""
        if self.state is not DrillState.NO_PIANO:
            return ()
        out = self._move(DrillInput.PIANO_FOUND)
        self._ear.set_up(self.coach.decide().assignment)
        if self.decision.finished:
            self._goal_reached = False
            return (*out, *self._move(DrillInput.GOAL_REACHED))
        return (*out, self._tell_assignment())

    # -- inside -----------------------------------------------------------------------------

    @property
    def _click(self) -> CountInClick:
        return self._ear.click

    def _tell_assignment(self) -> AssignmentGiven:
        return AssignmentGiven(self.assignment, self.excerpt, self.decision)

    def _move(self, event: DrillInput) -> list[DrillEvent]:
        before, self.state = self.state, next_state(self.state, event)
        return [] if self.state is before else [StateChanged(self.state)]

    def _drop(self, reason: str, event: DrillInput) -> list[DrillEvent]:
        """Set aside what is in hand, and hear what is asked for from its beginning."""
        out: list[DrillEvent] = []
        if self.state in (DrillState.PLAYING, DrillState.COUNT_IN):
            out.append(SetAside(reason))
        out += self._move(event)
        self._ear.set_up(self._ear.asked)
        return out

    def _hear(self, heard: Sequence[FollowerEvent], now_s: float) -> list[DrillEvent]:
        out: list[DrillEvent] = []
        for at, one in enumerate(heard):
            if isinstance(one, NoteMarked | StrayKey):
                out.append(one)
            elif isinstance(one, RepetitionBegan):
                out += [*self._move(DrillInput.FIRST_NOTE), one]
            elif isinstance(one, NotThis):
                self._rest.say(now_s)
                out += self._clear_hand([SetAside(one.reason, what=one.what)], now_s)
            elif isinstance(one, Ended):
                goes_on = any(isinstance(later, RepetitionBegan) for later in heard[at:])
                out += self._end_repetition(one, now_s, goes_on=goes_on)
        return out

    def _hear_at_goal(self, heard: Sequence[FollowerEvent], now_s: float) -> list[DrillEvent]:
        """At the goal the window played anew from its beginning goes on with it. Played an octave
        off it is told so, and nothing follows; of other keys nothing is said."""
        if any(isinstance(one, RepetitionBegan) for one in heard):
            return [*self._move(DrillInput.GO_ON), *self._hear(heard, now_s)]
        off = [one for one in heard if isinstance(one, NotThis) and one.what is Instead.OCTAVE]
        if off:
            self._rest.say(now_s)
        return [SetAside(one.reason, what=one.what) for one in off]

    def _clear_hand(self, said: list[DrillEvent], now_s: float) -> list[DrillEvent]:
        """Nothing is in hand any more; the next count-in comes after a breath."""
        said += self._move(DrillInput.OVER)
        if self.state is DrillState.READY:
            self._click.plan(now_s)
        return said

    def _end_repetition(self, ended: Ended, now_s: float, *, goes_on: bool) -> list[DrillEvent]:
        """A repetition is over; ``goes_on``: with the next one in hand."""
        job = self._ear.job(self._count, ended.take, self._click.window_s)
        self._count += 1
        played = _Played(job, self.assignment)
        self._played.append(played)
        # What ends while a verdict is still to come is judged after it, so elsewhere too.
        takes_long = _takes_long(job) or ended.cost > STRANGE or len(self._played) > 1
        if self._judges_elsewhere and takes_long:
            played.is_elsewhere = True
            return self._clear_hand([ToJudge(job)], now_s)
        played.judgement = job.judge()
        if not goes_on:
            said = self._take_verdicts(now_s, ends=True)
            return self._clear_hand(said, now_s) if self.state is DrillState.PLAYING else said
        return self._clear_hand(self._take_verdicts(now_s), now_s)

    def _take_verdicts(self, now_s: float, *, ends: bool = False) -> list[DrillEvent]:
        """Hear the verdicts that are there, in the order played.

        ``ends``: the last of them ended just now, and nothing is in hand after it.
        """
        out: list[DrillEvent] = []
        while self._played and (judgement := self._played[0].judgement) is not None:
            played = self._played.popleft()
            out += self._take(played, judgement, now_s, ends=ends and not self._played)
        return out

    def _take(
        self, played: _Played, judgement: Judgement, now_s: float, *, ends: bool
    ) -> list[DrillEvent]:
        broke_off = judgement.is_repetition and _is_broken_off(judgement)
        begun_s = min((note.onset_s for note in played.job.take.notes), default=now_s)
        is_whole = judgement.is_repetition and not broke_off
        self._rest.say(now_s, broke_off=broke_off, whole_from_s=begun_s if is_whole else None)
        if not judgement.is_repetition:
            job = played.job if played.is_elsewhere else None
            return [SetAside(judgement.sentence, job, judgement.instead)]
        self._ear.remember(judgement, played.asked.qpm)
        self._played_qpm = judgement.qpm
        heard = self.coach.observe_and_decide if judgement.clean else self.coach.observe
        decision = heard(judgement, now_s + self._epoch_s, played.asked)
        out: list[DrillEvent] = [
            RepetitionEnded(played.job.take, judgement, decision, played.asked, self.coach.observed)
        ]
        self._goal_reached = decision.finished and judgement.clean
        if ends:
            out += self._reach_goal()
        return out + [Proposed(text) for text in decision.proposals]

    def _reach_goal(self) -> list[DrillEvent]:
        reached, self._goal_reached = self._goal_reached, False
        return self._move(DrillInput.GOAL_REACHED) if reached else []

    @property
    def _quarter_s(self) -> float:
        """How long a quarter is: as asked for, or as it was played just now, if that is slower."""
        asked_qpm = self._ear.asked.qpm or self.excerpt.qpm
        return 60.0 / min(asked_qpm, self._played_qpm or asked_qpm)

    @property
    def _beat_s(self) -> float:
        grid = self.excerpt.grid
        return (grid[1] - grid[0]) * self._quarter_s

    def hands_are_off(self, now_s: float) -> bool:
        """Whether no key is down, and none has come for a moment."""
        return self._rest.is_off(now_s, self._beat_s)

    def may_turn(self, now_s: float) -> bool:
        """Whether the hands rest, so that something else may be asked for."""
        ear, rest = self._ear, self._rest
        gap_quarters = ear.gap_quarters if rest.is_over else ear.longest_gap_quarters
        wait_s = max(self._beat_s, gap_quarters * self._quarter_s)
        next_s = ear.next_quarters * self._quarter_s
        return rest.may_turn(now_s, wait_s, next_s=next_s, counted_in=self._click.is_wanted)

    def _may_count_in(self, now_s: float) -> bool:
        """Whether the hands are off; after a whole repetition also past what is written there, so
        that what is counted in is what is asked for next."""
        return self.hands_are_off(now_s) and (not self._rest.is_over or self.may_turn(now_s))

    def _settle(self, now_s: float) -> list[DrillEvent]:
        """Between repetitions, once the hands rest: what follows from what was played."""
        free = self.state in (DrillState.READY, DrillState.FINISHED)
        if not free or self._played or not self.may_turn(now_s):
            return []
        if self._ear.follower.may_begin(now_s, LOOKING_S):
            return []  # a long note of the window's beginning
        if self.stands_still:
            return self._reach_goal()
        before = self.assignment
        wanted = self.coach.decide().assignment
        out = self._reach_goal()
        if wanted.to_play != self._ear.asked.to_play:
            self._ear.set_up(wanted)
        if wanted != before:
            self._rest.turn()
            out.append(self._tell_assignment())
            if self.state is DrillState.READY:
                self._click.plan(now_s)
        return out

    def _start_click(self, now_s: float, pitch: int | None = None) -> list[DrillEvent]:
        if self.state is not DrillState.READY:
            self._click.stop()
            return []
        return [*self._move(DrillInput.CLICK_STARTS), self._click.start(now_s, pitch)]


def _takes_long(job: JudgingJob) -> bool:
    """Whether judging it would hold the next key up, by how much there is to compare."""
    keys, notes = len(job.take.notes), len(job.excerpt.notes)
    return job.size > LARGE or (keys < PART * notes and (keys + PART_KEYS) * notes > LARGE_PART)


def _is_broken_off(judgement: Judgement) -> bool:
    """Whether it stopped before the window's last onset."""
    excerpt = judgement.excerpt
    return last_struck(excerpt, judgement.score) < len(excerpt.onsets_quarters) - 1
