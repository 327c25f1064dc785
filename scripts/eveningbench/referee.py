"""Holds what the drill answers against what the player meant."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from coach.coaching.drill.drill_events import AssignmentGiven, DrillEvent, RepetitionEnded
from coach.coaching.model import Assignment
from coach.coaching.observations import FAILED, observe_transitions
from coach.judging.completion import stopped_before
from coach.judging.model import Cause, Family, Fault
from coach.playing.simulated.evening import IN_TIME, LOOK_S
from coach.playing.simulated.gesture import Do, Gesture, Passage, Planted, Worth
from coach.score.window import Excerpt, Transition
from scripts.eveningbench.tally import Tally

NOTE_FAMILIES = frozenset({Family.PITCH, Family.MISSING, Family.EXTRA, Family.REPEAT})
TOLD_FAMILIES = frozenset({Family.PITCH, Family.MISSING, Family.EXTRA})
BREAKS = frozenset(
    {"false start", "broken off", "a long stop", "on after a long stop", "stops", "unplugged",
     "leaves", "joins in"}
)  # fmt: skip
STOPS = frozenset({"broken off", "a long stop"})
"""After these the pianist goes on with the same window."""
LONG_MS = 800.0
"""Lateness that only a break makes."""
OWN_GAPS = 1.5
"""Hands that are off the keys for ``LOOK_S`` may be looking at the screen, where it is so many
times the player's own longest gap in what was played just before: no coach can hear what is still
meant in a silence so long."""
STOPPED_S = 8.0
"""But in the middle of the window a stop is no rest for so long: the next note is looked for. Of
what is not the window no coach can hear where its middle is."""
LONGEST_HELD_S = 6.0
"""A key held for longer tells nothing of a hand."""
SETTLED_S = 30.0
"""A verdict comes within this time, or not at all."""
LAST_STOPS = 3
"""A stop before the same onset as in one of so many repetitions before it is no break any more: it
is a hesitation there, and may be told."""
MOST = 0.6
"""Share of a passage's keys that a verdict has to be about to be its verdict."""


@dataclass(eq=False)
class _Open:
    """A passage that waits for its verdict."""

    passage: Passage
    gesture: Gesture
    judged: RepetitionEnded | None = None


class Referee:
    """Watches one evening."""

    def __init__(self, tally: Tally, name: str) -> None:
        self.tally, self._name = tally, name
        self._by_time: dict[float, _Open] = {}
        self._open: list[_Open] = []
        self._hands_on: tuple[float, float] | None = None
        self._gesture: Gesture | None = None
        self._asked: Assignment | None = None
        self._stops: deque[Fraction | None] = deque(maxlen=LAST_STOPS)
        """The onsets that the last repetitions were broken off before; None for the end."""
        self.where = ""
        """The piece in hand, for examples."""

    def watch(self, gesture: Gesture) -> None:
        """A gesture is about to be made."""
        self.tally.gestures[gesture.kind] += 1
        self._gesture, self._hands_on = gesture, gesture.hands_on
        for passage in gesture.passages:
            one = _Open(passage, gesture)
            self._open.append(one)
            self._by_time.update(dict.fromkeys(passage.struck_s, one))

    def hear(self, outcome: DrillEvent, now_s: float) -> None:
        """The drill answered."""
        if isinstance(outcome, AssignmentGiven):
            self._given(outcome.assignment, now_s)
        elif isinstance(outcome, RepetitionEnded):
            self._ended(outcome, now_s)

    def opened_none(self) -> None:
        """Another piece comes onto the desk: what is asked for then is no change."""
        self._asked = self._hands_on = None
        self._stops.clear()

    def note_exception(self, text: str, now_s: float) -> None:
        """The drill ended in an exception: what was played then can't get its verdict."""
        kind = self._gesture.kind if self._gesture else ""
        self._example("EXCEPTION", kind, now_s, text)
        self._open = [one for one in self._open if one.gesture is not self._gesture]

    def settle(self, now_s: float) -> None:
        """Let go of passages that can't get a verdict any more."""
        still: list[_Open] = []
        for one in self._open:
            if one.passage.struck_s[-1] + SETTLED_S > now_s:
                still.append(one)
                continue
            for at_s in one.passage.struck_s:
                self._by_time.pop(at_s, None)
            self._account(one)
        self._open = still

    # -- inside -----------------------------------------------------------------------------

    def _given(self, asked: Assignment, now_s: float) -> None:
        before, self._asked = self._asked, asked
        if before is None or before.to_play == asked.to_play or self._hands_on is None:
            return
        gesture = self._gesture
        if gesture is None or gesture.may_change:
            return
        if not self._is_under_the_hands(gesture, now_s):
            if now_s > self._hands_on[0]:
                self._let_off(now_s)
        else:
            self.tally.windows_changed[gesture.kind] += 1
            self._example(
                "window changed", gesture.kind, now_s, f"{before.window} to {asked.window}"
            )

    def _let_off(self, now_s: float) -> None:
        """Another window was given in a rest: what is still meant for the old one is open, and
        nobody looks at what is seen until it is over."""
        self._hands_on = None
        for one in self._open:
            if one.passage.struck_s[0] >= now_s:
                one.passage = replace(
                    one.passage, worth=Worth.OPEN, is_whole=False, notes_right=False, planted=()
                )

    def _is_under_the_hands(self, gesture: Gesture, now_s: float) -> bool:
        """Whether the hands were at the keys, by all that could be heard until now."""
        if self._hands_on is None or not self._hands_on[0] < now_s <= self._hands_on[1]:
            return False
        downs = [act for act in gesture.acts if act.do is Do.DOWN and act.at_s < now_s]
        ups = {act.one: act.at_s for act in gesture.acts if act.do is Do.UP and act.at_s < now_s}
        if any(ups.get(act.one, 0.0) < act.at_s > now_s - LONGEST_HELD_S for act in downs):
            return True
        quiet_s = now_s - downs[-1].at_s
        current = [p for p in gesture.passages if p.struck_s[0] < now_s][-1]
        heard = [at_s for at_s in current.struck_s if at_s < now_s]
        own_s = max((b - a for a, b in pairwise(heard)), default=0.0)
        is_of_window = current.worth is not Worth.NOTHING or current.kind in BREAKS
        amid = is_of_window and len(heard) < len(current.struck_s)
        stopped = current.kind in STOPS or amid
        return quiet_s < max(LOOK_S, OWN_GAPS * own_s, STOPPED_S if stopped else 0.0)

    def _ended(self, ended: RepetitionEnded, now_s: float) -> None:
        tally, judgement = self.tally, ended.judgement
        tally.repetitions += 1
        played = Counter(
            self._by_time[note.onset_s]
            for note in ended.take.notes
            if note.onset_s in self._by_time
        )
        if not played:
            return
        for one, keys in played.items():
            if keys >= MOST * len(one.passage.struck_s):
                one.judged = ended
        main = max(played, key=lambda one: played[one])
        kinds = " + ".join(sorted({one.passage.kind for one in played}))
        if judgement.clean and main.passage.worth in (Worth.UNCLEAN, Worth.NOTHING):
            tally.false_clean[main.passage.kind] += 1
            self._example("false clean", kinds, now_s, judgement.sentence)
        if main.passage.worth is Worth.NOTHING:
            tally.recorded_nothings[main.passage.kind] += 1
        passages = [one.passage for one in played]
        self._false_faults(ended, passages, kinds, now_s)
        self._stops.append(stopped_before(judgement.excerpt, judgement.score))

    def _false_faults(
        self, ended: RepetitionEnded, passages: list[Passage], kinds: str, now_s: float
    ) -> None:
        if not all(passage.notes_right for passage in passages):
            return
        judgement = ended.judgement
        heard = observe_transitions(judgement, now_s)
        if judgement.unsure and not any(one.outcome in FAILED for one in heard):
            return  # it is said that it is not sure, and nothing is kept
        until = _find_last_heard(ended, passages)
        counted = [
            fault for fault in judgement.faults
            if not fault.forgiven and (until is None or fault.onset_quarters <= until)
        ]  # fmt: skip
        # Where other keys went on in time, nobody can tell the tempo of those before them.
        broken = until is None and any(passage.kind in BREAKS for passage in passages)
        repeats = any(passage.repeats for passage in passages)
        false = [f for f in counted if f.family in NOTE_FAMILIES]
        if repeats:
            false = [f for f in false if f.family is not Family.REPEAT]
        caused = []
        if broken:
            caused = [f for f in counted if f not in false and self._is_by_break(f)]
            failed = [
                one.transition for one in heard
                if one.outcome in FAILED
                and (until is None or one.transition.to_quarters <= until)
                and not any(_is_in(one.transition, fault, judgement.excerpt) for fault in counted)
            ]  # fmt: skip
            if failed and not any(self._is_stop_again(fault) for fault in counted):
                self.tally.by_breaks[kinds] += 1
                self._example("kept as failed for a break", kinds, now_s, judgement.sentence)
        if false:
            self.tally.false_faults[kinds] += len(false)
            self._example("false fault", kinds, now_s, _told(false))
        if caused:
            self.tally.by_breaks[kinds] += len(caused)
            self._example("fault by a break", kinds, now_s, _told(caused))

    def _is_by_break(self, fault: Fault) -> bool:
        if fault.cause is Cause.STOPPED_AGAIN:
            return not self._is_stop_again(fault)
        return fault.family is Family.REPEAT or (fault.size_ms or 0.0) >= LONG_MS

    def _is_stop_again(self, fault: Fault) -> bool:
        return fault.cause is Cause.STOPPED_AGAIN and fault.onset_quarters in self._stops

    def _account(self, one: _Open) -> None:
        tally, passage, ended = self.tally, one.passage, one.judged
        at_s = passage.struck_s[0]
        if passage.worth in (Worth.UNCLEAN, Worth.NOTHING):
            tally.could_not_be_clean[passage.kind] += 1
        if not passage.is_whole:
            return
        tally.whole += 1
        if passage.worth is Worth.CLEAN:
            tally.meant += 1
            why = _why_not(ended)
            if why:
                tally.meant_not[why] += 1
                said = ended.judgement.sentence if ended else "no verdict"
                self._example(f"right, not clean ({why})", one.gesture.kind, at_s, said)
            else:
                tally.meant_clean += 1
        if ended is None:
            tally.lost[passage.kind] += 1
            self._example("lost", one.gesture.kind, at_s, passage.kind)
        for planted in passage.planted:
            tally.planted += 1
            if ended and _is_told(ended, planted):
                tally.told += 1
            else:
                said = ended.judgement.sentence if ended else "no verdict"
                self._example("not told", one.gesture.kind, at_s, f"{planted}: {said}")

    def _example(self, what: str, kind: str, at_s: float, text: str) -> None:
        self.tally.example(f"{self._name} {at_s:.1f} s, {self.where}: {what}: {kind}: {text}")


def _find_last_heard(ended: RepetitionEnded, passages: Sequence[Passage]) -> Fraction | None:
    """The onset after which nobody can hear what was meant: another passage came just when the next
    note was due, or the one that it began with. None: there is no such place."""
    judgement, keys = ended.judgement, ended.take.notes
    notes, onsets = judgement.excerpt.notes, judgement.excerpt.onsets_quarters
    if judgement.qpm is None:
        return None
    begun = {at_s for passage in passages for at_s in passage.struck_s[:1]}
    for (before, label), (key, next_label) in pairwise(zip(keys, judgement.played, strict=True)):
        if key.onset_s not in begun or label.note is None:
            continue
        left = notes[label.note].onset_quarters
        due = {min((onset for onset in onsets if onset > left), default=left)}
        if next_label.note is not None:
            due.add(notes[next_label.note].onset_quarters)
        quarters = (key.onset_s - before.onset_s) * judgement.qpm / 60
        if any(onset > left and 1 / IN_TIME < quarters / (onset - left) < IN_TIME for onset in due):
            return left
    return None


def _is_in(move: Transition, fault: Fault, excerpt: Excerpt) -> bool:
    """Whether a hand's move failed for a fault: in it, or spanning it."""
    is_in = fault.transition.to_quarters == move.to_quarters
    if fault.from_beat is not None and fault.to_beat is not None:
        is_in = is_in or fault.from_beat < excerpt.beat_of(move.to_quarters) <= fault.to_beat
    return is_in and not set(move.hands.members).isdisjoint(fault.hands.members)


def _why_not(ended: RepetitionEnded | None) -> str:
    """Why a right repetition was not counted clean; empty where it was."""
    if ended is None:
        return "lost"
    judgement = ended.judgement
    if judgement.clean:
        return ""
    counted = [fault for fault in judgement.faults if not fault.forgiven]
    if any(fault.family in NOTE_FAMILIES for fault in counted):
        return "notes"
    return "time" if counted else "cut"


def _told(faults: list[Fault]) -> str:
    return "; ".join(f"{fault.words} at {fault.onset_quarters}" for fault in faults[:4])


def _is_told(ended: RepetitionEnded, planted: Planted) -> bool:
    """Whether a fault of notes is told at the planted onset, or one beside it."""
    judgement = ended.judgement
    at = _number(judgement.excerpt, planted)
    return not judgement.clean and any(
        fault.family in TOLD_FAMILIES
        and abs(_nearest(judgement.excerpt, float(fault.onset_quarters)) - at) <= 1
        for fault in judgement.faults
    )


def _number(excerpt: Excerpt, planted: Planted) -> int:
    return _nearest(excerpt, float(planted.onset_quarters))


def _nearest(excerpt: Excerpt, onset: float) -> int:
    onsets = excerpt.onsets
    return min(range(len(onsets)), key=lambda at: abs(onsets[at] - onset))
