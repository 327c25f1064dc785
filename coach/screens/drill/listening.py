"""Hearing instead of playing: the window as it is written, or one's own take and then the written.

What sounds is marked on the staff while it sounds. Any key that is struck ends it at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from textual.timer import Timer

from coach.coaching.drill import DrillState, RepetitionEnded
from coach.judging.model import Cause, Judgement
from coach.playing.click_schedule import Timed
from coach.playing.notes import Take
from coach.playing.playback import (
    Sounding,
    heard_length_s,
    note_messages,
    plan_notes,
    take_messages,
)
from coach.score.model import Hands
from coach.score.window import Excerpt
from coach.screens.interfaces import ClickLike, DrillSession, Host
from coach.screens.marks import MarkKind
from coach.screens.widgets import StaffView

LOOK_S = 0.02
"""How often it is looked what sounds. Own choice: within a frame or two."""
BEFORE_S = 0.6
"""From asking to the first note: the hand leaves the key that was pressed. Own choice."""
BETWEEN_S = 0.8
"""Between one's own take and the written: so long that the two are not taken for one. Own
choice."""
RUN_UP_BEATS = 1
"""A take is heard from a beat before the place that failed: most trouble is in arriving."""
HALF_SPEED = 2.0
ALIKE = 3
"""So often has a place to fail in the same way before it is asked whether to listen. Own choice,
because twice may be chance, and four times is practised wrong."""
OFFER = "The same again. Listen once?"
NOT_HERE = "Nothing can sound here: your piano takes no MIDI, or its other cable is missing."
NOTHING_PLAYED = "There is no repetition to hear yet: play one first."


@dataclass(frozen=True, slots=True)
class MarkedSound:
    """A note of the window that sounds from one moment to another."""

    note: int
    """Its index in the window."""
    at_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class SoundPlan:
    """What is to be heard."""

    messages: tuple[Timed, ...]
    marks: tuple[MarkedSound, ...]

    @property
    def end_s(self) -> float:
        """When the last of it ends."""
        return max((at_s for at_s, _ in self.messages), default=0.0)


def plan_window(part: Excerpt, qpm: float, start_s: float) -> SoundPlan:
    """The window as it is written, at a steady tempo."""
    first = part.notes[0].onset_quarters
    sounding = plan_notes(part.notes, qpm=qpm, from_quarters=first, start_s=start_s)
    return SoundPlan(note_messages(sounding), _marks_of(part, sounding))


def _marks_of(part: Excerpt, sounding: Sequence[Sounding]) -> tuple[MarkedSound, ...]:
    index = {id(note): at for at, note in enumerate(part.notes)}
    return tuple(MarkedSound(index[id(one.note)], one.at_s, one.end_s) for one in sounding)


def plan_take(take: Take, judgement: Judgement, start_s: float, slower: float = 1.0) -> SoundPlan:
    """A take from a beat before the place that failed, then the window as it is written from there.

    Where nothing failed it is heard from its beginning. ``slower`` stretches both: 2 is half the
    speed.
    """
    part = judgement.excerpt
    qpm = judgement.qpm or part.qpm
    from_quarters = _failed_from(judgement)
    from_s = _played_at(take, judgement, from_quarters)
    own = take_messages(take, start_s=start_s, from_s=from_s, slower=slower)
    meant = {one.played: one.note for one in judgement.played if one.note is not None}
    marks = [
        MarkedSound(
            meant[at],
            start_s + (note.onset_s - from_s) * slower,
            start_s + (note.onset_s + heard_length_s(note) - from_s) * slower,
        )
        for at, note in enumerate(take.notes)
        if at in meant and note.onset_s >= from_s
    ]
    again_s = max((at_s for at_s, _ in own), default=start_s) + BETWEEN_S
    notes = [note for note in part.notes if note.onset_quarters >= from_quarters]
    first = notes[0].onset_quarters if notes else from_quarters
    sounding = plan_notes(notes, qpm=qpm / slower, from_quarters=first, start_s=again_s)
    return SoundPlan((*own, *note_messages(sounding)), (*marks, *_marks_of(part, sounding)))


def _failed_from(judgement: Judgement) -> Fraction:
    """The onset from which a take is heard."""
    part = judgement.excerpt
    faults = [fault for fault in judgement.faults if not fault.forgiven]
    if not faults:
        return part.notes[0].onset_quarters
    beat = part.grid_quarters[1] - part.grid_quarters[0]
    return min(fault.onset_quarters for fault in faults) - RUN_UP_BEATS * beat


def _played_at(take: Take, judgement: Judgement, from_quarters: Fraction) -> float:
    """When that onset was played: the first key that was meant for a note from there on."""
    notes = judgement.excerpt.notes
    found = [
        take.notes[one.played].onset_s
        for one in judgement.played
        if one.note is not None and notes[one.note].onset_quarters >= from_quarters
    ]
    return min(found, default=take.notes[0].onset_s if take.notes else 0.0)


Failure = tuple[Cause, Fraction, Hands]
"""What failed, where, and in which hands."""


def _failure_of(judgement: Judgement) -> Failure | None:
    faults = [fault for fault in judgement.faults if not fault.forgiven]
    return (faults[0].cause, faults[0].onset_quarters, faults[0].hands) if faults else None


class Listening:
    """Has the window, or a take, heard through the piano, and marks on the staff what sounds."""

    def __init__(
        self,
        session: DrillSession,
        host: Host,
        clock: Callable[[], float],
        staff: StaffView,
        sound: ClickLike | None,
        how_to_ask: Callable[[], str],
    ) -> None:
        """``how_to_ask`` says in a sentence by which key the window is heard."""
        self._session, self._host, self._clock = session, host, clock
        self._how_to_ask = how_to_ask
        self._staff, self._sound = staff, sound
        self._hearing: SoundPlan | None = None
        self._marked: frozenset[int] = frozenset()
        self._timer: Timer | None = None
        self._has_paused = False
        """Whether the drill, which would count in, rests for this."""
        self._failure: Failure | None = None
        self._failures = 0

    @property
    def is_running(self) -> bool:
        """Whether something sounds, or is about to."""
        return self._hearing is not None

    def hear_window(self) -> str:
        """The window at the tempo that is asked for; answers in a sentence where it can't be."""
        drill = self._session.drill
        start_s = self._clock() + BEFORE_S
        qpm = drill.assignment.qpm or drill.excerpt.qpm
        return self._start(plan_window(drill.excerpt, qpm, start_s))

    def hear_take(self, ended: RepetitionEnded | None, *, slower: float = 1.0) -> str:
        """The last repetition from the place that failed, then what is written there."""
        if ended is None or not ended.take.notes:
            return NOTHING_PLAYED
        hearing = plan_take(ended.take, ended.judgement, self._clock() + BEFORE_S, slower)
        if self._staff.excerpt is None or (
            self._staff.excerpt.window != ended.judgement.excerpt.window
        ):
            hearing = replace(hearing, marks=())  # another window is in sight by now
        return self._start(hearing)

    def offer(self, ended: RepetitionEnded) -> str:
        """Whether to listen once, where a place has now failed so often in the same way."""
        failure = _failure_of(ended.judgement)
        self._failures = self._failures + 1 if failure and failure == self._failure else 1
        self._failure = failure
        is_due = failure is not None and self._failures % ALIKE == 0
        return f"{OFFER} {self._how_to_ask()}" if is_due and self._sound else ""

    def stop(self, *, goes_on: bool = True) -> None:
        """Silence at once; ``goes_on`` False where the drill is being left."""
        if self._hearing is None:
            return
        self._hearing = None
        if self._timer:
            self._timer.pause()
        if self._sound:
            self._sound.stop()
        self._mark(frozenset())
        has_paused, self._has_paused = self._has_paused, False
        if has_paused and goes_on:
            self._host.show(self._session.drill.resume(self._clock()))

    def _start(self, hearing: SoundPlan) -> str:
        self.stop()
        drill = self._session.drill
        if drill.state in (DrillState.PLAYING, DrillState.COUNT_IN):
            return ""
        if self._sound is None or not self._sound.play(hearing.messages):
            return NOT_HERE
        if drill.assignment.click and drill.state is DrillState.READY:
            self._has_paused = True
            self._host.show(drill.pause(self._clock()))
        self._staff.mark_all({})
        self._hearing, self._marked = hearing, frozenset()
        if self._timer is None:
            self._timer = self._host.set_interval(LOOK_S, self._look)
        self._timer.resume()
        return ""

    def _look(self) -> None:
        hearing, now_s = self._hearing, self._clock()
        if hearing is None:
            return
        self._mark(frozenset(one.note for one in hearing.marks if one.at_s <= now_s < one.end_s))
        if now_s > hearing.end_s:
            self.stop()

    def _mark(self, notes: frozenset[int]) -> None:
        if notes != self._marked:
            gone = dict.fromkeys(self._marked - notes)
            self._staff.mark({**gone, **dict.fromkeys(notes - self._marked, MarkKind.SOUNDING)})
            self._marked = notes
