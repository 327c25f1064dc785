"""Hearing instead of playing: the window as it is written, or one's own take and then the written.

What sounds is marked on the staff while it sounds. Any key that is struck ends it at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from textual.timer import Timer

from coach.coaching.drill import CountIn, DrillState, RepetitionEnded
from coach.judging.model import Cause, Judgement, PlayedLabel
from coach.playing.accompaniment import find_other_hand
from coach.playing.click_schedule import ClickStyle, Timed, count_in_beats, messages
from coach.playing.notes import Take
from coach.playing.playback import (
    Sounding,
    heard_length_s,
    note_messages,
    plan_notes,
    take_messages,
)
from coach.score.forms import WrittenForm
from coach.score.model import Hand, Hands, Score, ScoreNote
from coach.score.window import Excerpt
from coach.screens.drill.click import plan_clicks
from coach.screens.interfaces import ClickLike, DrillSession, Host
from coach.screens.marks import MarkKind
from coach.screens.widgets import StaffView
from coach.screens.wording import bpm

LOOK_S = 0.02
"""How often it is looked what sounds. Own choice: within a frame or two."""
BEFORE_S = 0.6
"""From asking to the first note: the hand leaves the key that was pressed. Own choice."""
BETWEEN_S = 0.8
"""Between one's own take and the written: so long that the two are not taken for one. Own
choice."""
RUN_UP_BEATS = 1
"""A take is heard from a beat before the place that failed, and the window from a beat before its
start: most trouble is in arriving."""
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


@dataclass(frozen=True, slots=True)
class HearingWay:
    """How the window is heard."""

    share: float = 1.0
    """Of the tempo asked for."""
    loudness: float = 1.0
    loops: bool = False
    with_click: bool = False
    both_hands: bool = False
    """Whether the other hand is heard too, where only one is asked for."""

    def turn(self, what: str) -> HearingWay:
        """One of the ways the other way round, or the next step of it."""
        match what:
            case "slower" | "faster":
                steps = [one for one in SHARES if (one > self.share) == (what == "faster")]
                steps = [one for one in steps if one != self.share]
                nearest = min(steps, key=lambda one: abs(one - self.share), default=self.share)
                return replace(self, share=nearest)
            case "louder":
                return replace(self, loudness=min(self.loudness + LOUDER, MOST_LOUD))
            case "softer":
                return replace(self, loudness=max(self.loudness - LOUDER, LOUDER))
            case "loops":
                return replace(self, loops=not self.loops)
            case "click":
                return replace(self, with_click=not self.with_click)
            case _:
                return replace(self, both_hands=not self.both_hands)

    @property
    def words(self) -> str:
        """What is not as usual: ``both hands, louder, in a loop, with the click``."""
        parts = [
            "both hands" if self.both_hands else "",
            "louder" if self.loudness > 1 else "softer" if self.loudness < 1 else "",
            "in a loop" if self.loops else "",
            "with the click" if self.with_click else "",
        ]
        return ", ".join(filter(None, parts))


@dataclass(frozen=True, slots=True)
class TakeWay:
    """How one's own take is heard."""

    slower: float = 1.0
    one_hand: bool = False
    """Whether only the hand that failed is heard: the left one where neither did alone, because
    it is the one that is heard less."""

    def turn(self, what: str) -> TakeWay:
        """One of the ways the other way round."""
        if what == "hands":
            return replace(self, one_hand=not self.one_hand)
        return replace(self, slower=HALF_SPEED if what == "slower" else 1.0)

    def words(self, hand: Hands) -> str:
        """``you hear your own, left hand alone, at half the speed``."""
        alone = f"{_HAND[hand]} hand alone" if self.one_hand else ""
        slowly = "at half the speed" if self.slower > 1 else ""
        return ", ".join(filter(None, ("you hear your own", alone, slowly)))


_HAND = {Hands.RIGHT: "right", Hands.LEFT: "left"}
WINDOW_WAYS = ("slower", "faster", "hands", "louder", "softer", "click")
TAKE_WAYS = ("slower", "faster", "hands")
"""What can be asked for while the window is heard, and while one's own take is."""
SHARES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5)
"""Shares of the tempo asked for at which the window can be heard."""
LOUDER, MOST_LOUD = 0.2, 1.6
"""A step of loudness, and the most: by then the right hand is at 122 of 127. Own choice."""


def plan_window(
    part: Excerpt,
    qpm: float,
    start_s: float,
    other: Sequence[ScoreNote] = (),
    loudness: float = 1.0,
) -> SoundPlan:
    """The window as it is written, at a steady tempo; ``other`` is the other hand, heard along."""
    notes = (*part.notes, *other)
    first = min(note.onset_quarters for note in notes)
    sounding = plan_notes(notes, qpm=qpm, from_quarters=first, start_s=start_s)
    return SoundPlan(note_messages(sounding, loudness), _marks_of(part, sounding))


def find_run_up(score: Score, part: Excerpt, *, both_hands: bool) -> tuple[ScoreNote, ...]:
    """What is played on the beat before a window: heard along, it says where the window comes
    from. Nothing where the window stands in a form of its own."""
    if part.window.form is not WrittenForm.AS_WRITTEN:
        return ()
    start = part.window.start_quarters
    before = score.bar_at(max(start - Fraction(1, 64), score.bars[0].onset_quarters))
    beat = before.metre.beat_quarters
    hands = Hands.TOGETHER if both_hands else part.window.hands
    return score.notes_between(start - RUN_UP_BEATS * beat, start, hands)


def _marks_of(part: Excerpt, sounding: Sequence[Sounding]) -> tuple[MarkedSound, ...]:
    index = {id(note): at for at, note in enumerate(part.notes)}
    return tuple(
        MarkedSound(index[id(one.note)], one.at_s, one.end_s)
        for one in sounding
        if id(one.note) in index
    )


def plan_take(
    take: Take,
    judgement: Judgement,
    start_s: float,
    slower: float = 1.0,
    hands: Hands = Hands.TOGETHER,
) -> SoundPlan:
    """A take from a beat before the place that failed, then the window as it is written from there.

    Where nothing failed it is heard from its beginning. ``slower`` stretches both: 2 is half the
    speed. ``hands``: only what these played, and what is written for them.
    """
    part = judgement.excerpt
    qpm = judgement.qpm or part.qpm
    from_quarters = _failed_from(judgement)
    from_s = _played_at(take, judgement, from_quarters)
    by_others = {one.played for one in judgement.played if _hand_of(one, part) not in hands.members}
    heard = replace(
        take, notes=tuple(note for at, note in enumerate(take.notes) if at not in by_others)
    )
    own = take_messages(heard, start_s=start_s, from_s=from_s, slower=slower)
    meant = {
        one.played: one.note
        for one in judgement.played
        if one.note is not None and one.played not in by_others
    }
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
    notes = [
        note
        for note in part.notes
        if note.onset_quarters >= from_quarters and note.hand in hands.members
    ]
    first = notes[0].onset_quarters if notes else from_quarters
    sounding = plan_notes(notes, qpm=qpm / slower, from_quarters=first, start_s=again_s)
    return SoundPlan((*own, *note_messages(sounding)), (*marks, *_marks_of(part, sounding)))


def marks_in_sight(
    marks: Sequence[MarkedSound], judged: Excerpt, seen: Excerpt | None
) -> tuple[MarkedSound, ...]:
    """The same marks on what is in sight: mostly a part of the window that was judged."""
    places = {note.id: at for at, note in enumerate(seen.notes)} if seen else {}
    return tuple(
        replace(one, note=places[judged.notes[one.note].id])
        for one in marks
        if judged.notes[one.note].id in places
    )


def _hand_of(played: PlayedLabel, part: Excerpt) -> Hand | None:
    """Which hand struck a key; None where it can't be told."""
    if played.note is not None:
        return part.notes[played.note].hand
    return played.hand


def find_failed_hand(judgement: Judgement) -> Hands:
    """The hand of the heaviest fault that is one hand's; of a window of one hand, that."""
    asked = judgement.excerpt.window.hands
    if asked is not Hands.TOGETHER:
        return asked
    faults = [one for one in judgement.faults if one.hands is not Hands.TOGETHER]
    counted = [one for one in faults if not one.forgiven]
    return next((one.hands for one in (*counted, *faults)), Hands.LEFT)


def _failed_from(judgement: Judgement) -> Fraction:
    """The onset from which a take is heard."""
    part = judgement.excerpt
    faults = [fault for fault in judgement.faults if not fault.forgiven]
    if not faults:
        return part.notes[0].onset_quarters
    beat = part.beat_quarters
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
        tell: Callable[[str], None] = lambda words: None,
        style: Callable[[], ClickStyle] = ClickStyle,
    ) -> None:
        """``how_to_ask`` says in a sentence by which key the window is heard.

        ``tell`` is told what is heard, "" once nothing is; ``style`` is how the click sounds.
        """
        self._tell, self._style = tell, style
        self._way, self._take_way = HearingWay(), TakeWay()
        self._take: RepetitionEnded | None = None
        """The take that sounds, where it is no window."""
        self._is_window = False
        """Whether it is the window that sounds."""
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
        """The window as the pianist wants it; answers in a sentence where it can't be."""
        drill, way, score = self._session.drill, self._way, self._session.score
        part = drill.excerpt
        qpm = (drill.assignment.qpm or part.qpm) * way.share
        other = find_other_hand(score, part) if way.both_hands else ()
        start_s = self._clock() + BEFORE_S
        clicked: tuple[Timed, ...] = ()
        if not way.with_click:
            other = (*find_run_up(score, part, both_hands=way.both_hands), *other)
        else:
            first = part.grid_quarters[0]
            beat_s = float(score.bar_at(first).metre.beat_quarters) * 60 / qpm
            count = count_in_beats(score, first)
            beats = plan_clicks(score, part, CountIn(start_s, beat_s, count, count))
            clicked = messages(beats, self._style())
            onset = min(note.onset_quarters for note in (*part.notes, *other))
            start_s += count * beat_s + float(onset - first) * 60 / qpm
        heard = plan_window(part, qpm, start_s, other, way.loudness)
        said = self._start(replace(heard, messages=(*clicked, *heard.messages)))
        if self.is_running:
            self._is_window = True
            at = f"you hear it at {bpm(score, part.window, qpm)} bpm"
            led = any(one.onset_quarters < part.window.start_quarters for one in other)
            run_up = "from the beat before" if led else ""
            self._tell(", ".join(filter(None, (at, run_up, way.words))))
        return said

    @property
    def is_hearing_window(self) -> bool:
        """Whether the window sounds, or is about to."""
        return self.is_running and self._is_window

    @property
    def ways(self) -> tuple[str, ...]:
        """In what other ways what sounds now can be heard (:meth:`hear_otherwise`)."""
        if not self.is_running:
            return ()
        return WINDOW_WAYS if self._is_window else TAKE_WAYS

    def hear_otherwise(self, what: str) -> str:
        """What sounds in another way, from its beginning; the window where nothing does."""
        if self.is_running and not self._is_window and what in TAKE_WAYS:
            return self._hear_take(self._take, self._take_way.turn(what))
        self._way = self._way.turn(what)
        return self.hear_window()

    def hear_take(self, ended: RepetitionEnded | None, *, slower: float = 1.0) -> str:
        """The last repetition from the place that failed, then what is written there."""
        return self._hear_take(ended, TakeWay(slower))

    def _hear_take(self, ended: RepetitionEnded | None, way: TakeWay) -> str:
        if ended is None or not ended.take.notes:
            return NOTHING_PLAYED
        judgement = ended.judgement
        hand = find_failed_hand(judgement)
        hands = hand if way.one_hand else Hands.TOGETHER
        start_s = self._clock() + BEFORE_S
        hearing = plan_take(ended.take, judgement, start_s, way.slower, hands)
        marks = marks_in_sight(hearing.marks, judgement.excerpt, self._staff.excerpt)
        hearing = replace(hearing, marks=marks)
        said = self._start(hearing)
        if self.is_running:
            self._take, self._take_way = ended, way
            self._tell(way.words(hand))
        return said

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
        self._hearing, self._is_window, self._take = None, False, None
        self._tell("")
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
            loops = self._is_window and self._way.loops
            self.stop()
            if loops:
                self.hear_window()

    def _mark(self, notes: frozenset[int]) -> None:
        if notes != self._marked:
            gone = dict.fromkeys(self._marked - notes)
            self._staff.mark({**gone, **dict.fromkeys(notes - self._marked, MarkKind.SOUNDING)})
            self._marked = notes
