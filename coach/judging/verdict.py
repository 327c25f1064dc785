"""The verdict: clean or not at this stage, the details of why, and one sentence.

The sentence says what, where, which hand, which way and how much. It is read at the piano, in a
glance, so it has at most twelve words. Each fault can be said in several ways, from the fullest
words to the fewest. The heaviest is said as fully as can be. As many others as fit are said in
their fewest words; what room is left then goes to their places.

What is one thing to the player is said once: the same slip in both hands, the same one twice, a
hand that stopped while the other played on.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product

from coach.judging.completion import before_the_break, entered_at, last_struck, stopped_before
from coach.judging.faults import beats_into, is_asked, outcome_of
from coach.judging.model import (
    Cause,
    Family,
    Fault,
    Label,
    Matching,
    Outcome,
    ScoreLabel,
    Stage,
    TransitionResult,
)
from coach.judging.timing import Evenness, Timing
from coach.judging.tolerance import EVENNESS_CV, Tolerance
from coach.judging.touch import Shape
from coach.judging.wording import (
    CLEAN,
    CLICK_OFFSET,
    COVERED_HAND,
    EVENNESS,
    EVENNESS_PARTS,
    FIRST_OF_MANY,
    NAME_THEIR_PLACE,
    NOT_ASKED,
    SPREAD_CHORD,
    UNSURE,
    UNSURE_READING,
    describe_break,
    describe_entry,
    describe_hand_stop,
    describe_with_hand,
    describe_with_place,
    list_places,
    name_times,
    name_way,
    place,
    seconds,
)
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt, Transition
from coach.score.words import capitalise


def forgive_unasked(faults: Sequence[Fault], stage: Stage) -> tuple[Fault, ...]:
    """The faults with those forgiven that the stage does not ask for, and these last."""
    marked = [
        fault if is_asked(fault.cause, stage) else replace(fault, forgiven=True) for fault in faults
    ]
    return tuple(sorted(marked, key=lambda fault: fault.forgiven))


def is_clean(faults: Sequence[Fault], complete: bool) -> bool:
    """Reached the end with nothing that the stage asks for amiss."""
    return complete and all(fault.forgiven for fault in faults)


def list_details(excerpt: Excerpt, faults: Sequence[Fault], timing: Timing) -> tuple[str, ...]:
    """Every fault with its place, those that do not count marked; then how even the rows were."""
    said = dict.fromkeys(
        describe_with_place(excerpt, fault) + (NOT_ASKED if fault.forgiven else "")
        for fault in faults
    )
    return (*said, *map(_describe_evenness, timing.evenness))


def _describe_evenness(row: Evenness) -> str:
    words = EVENNESS.format(hand=row.hand.value, cv=row.cv, professional=EVENNESS_CV)
    if row.clock_ms is None or row.motor_ms is None:
        return words
    return words + EVENNESS_PARTS.format(pulse_ms=row.clock_ms, fingers_ms=row.motor_ms)


# What follows from the faults: errors at each note, the outcome of each transition.


def add_errors(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[ScoreLabel, ...]:
    """The score's labels with each struck note's error in ms and in beats."""
    beat_quarters = float(excerpt.beat_quarters)
    beat_s = beat_quarters * 60 / (timing.qpm or excerpt.qpm)
    out = []
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        due = timing.due_s(number)
        if due is None or label.played is None or excerpt.notes[label.note].grace:
            out.append(label)
            continue
        error_s = played[label.played].onset_s - due
        out.append(
            ScoreLabel(
                label.note,
                label.label,
                label.played,
                error_s * 1000,
                error_s / beat_s,
                label.reached,
            )
        )
    return tuple(out)


def judge_transitions(
    excerpt: Excerpt, matching: Matching, faults: Sequence[Fault]
) -> tuple[TransitionResult, ...]:
    """What happened in each transition of each hand: its heaviest fault that counts.

    Where one hand's key was wrong, missed or corrected, the other only waited for it: what both
    then show of time is told of the first alone.
    """
    reached = {
        (excerpt.arrivals[number], excerpt.notes[label.note].hand)
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
        if label.reached
    }
    of_keys: dict[Fraction, set[Hand]] = defaultdict(set)
    for fault in faults:
        if fault.family in _OF_KEYS and not fault.forgiven:
            of_keys[fault.onset_quarters].update(fault.hands.members)
    heaviest: dict[tuple[int, Hand], tuple[Fault, Outcome]] = {}
    for fault in faults:
        outcome = None if fault.forgiven else outcome_of(fault)
        if outcome is not None:
            hands = _hands_to_blame(fault, of_keys.get(fault.onset_quarters))
            for move in product(_beats_in(excerpt, fault), hands):
                heaviest.setdefault(move, (fault, outcome))
    return tuple(
        _make_result(transition, move in reached, heaviest.get(move))
        for transition, move in zip(excerpt.transitions, excerpt.moves, strict=True)
    )


_OF_KEYS = (Family.PITCH, Family.MISSING)


def _hands_to_blame(fault: Fault, at_fault: Collection[Hand] | None) -> Collection[Hand]:
    """Whose a fault is, where the keys of these hands were at fault at the same onset."""
    if fault.family is not Family.TIMING or not at_fault:
        return fault.hands.members
    return [hand for hand in fault.hands.members if hand in at_fault] or fault.hands.members


def _beats_in(excerpt: Excerpt, fault: Fault) -> range:
    """The beats that are arrived at in what a fault lies in, or spans."""
    _, arrival = beats_into(excerpt, fault.onset_quarters)
    low = arrival if fault.from_beat is None else fault.from_beat + 1
    high = arrival if fault.to_beat is None else fault.to_beat
    return range(low, high + 1)


def _make_result(
    transition: Transition, reached: bool, found: tuple[Fault, Outcome] | None
) -> TransitionResult:
    if found is None:
        return TransitionResult(transition, Outcome.CLEAN if reached else Outcome.NOT_REACHED)
    fault, outcome = found
    return TransitionResult(transition, outcome, fault.size_ms, fault.note)


# Notices: worth knowing, no faults.


_OFFSET_S = 0.030
"""A constant offset below this is a musician's usual one (Repp 2005, from memory)."""


def list_notices(
    excerpt: Excerpt, matching: Matching, timing: Timing, shape: Shape, tolerance: Tolerance
) -> tuple[str, ...]:
    """Doubt, spread chords, a constant offset against the click, a left hand over the right."""
    return (
        *_unsure_reading(matching),
        *_notice_spread_chords(excerpt, timing, tolerance),
        *_notice_click_offset(timing),
        *_notice_covered_hand(shape, tolerance),
    )


def _notice_spread_chords(excerpt: Excerpt, timing: Timing, tolerance: Tolerance) -> Iterator[str]:
    split = {(one.moment, one.hand) for one in timing.splits}
    for i, moment in enumerate(timing.row):
        for hand in moment.hands:
            if hand.spread_ms >= tolerance.spread_ms and (i, hand.hand) not in split:
                where = place(excerpt, moment.onset_quarters)
                size = seconds(hand.spread_ms / 1000)
                yield SPREAD_CHORD.format(hand=hand.hand.value, place=where, size=size)


def _unsure_reading(matching: Matching) -> Iterator[str]:
    if matching.unsure:
        yield UNSURE_READING


def _notice_click_offset(timing: Timing) -> Iterator[str]:
    if timing.click is not None and abs(timing.click.offset_s) > _OFFSET_S:
        way = name_way(timing.click.offset_s)
        yield CLICK_OFFSET.format(size=seconds(timing.click.offset_s), way=way)


def _notice_covered_hand(shape: Shape, tolerance: Tolerance) -> Iterator[str]:
    if shape.left_louder_by > tolerance.left_louder:
        yield COVERED_HAND


# The sentence.

MOST_WORDS = 12
"""Words of a sentence. Own choice: a longer one is not read in a glance from the keys."""
_STOPPED_ONSETS = 2
"""So many of a hand's last onsets left out are no missed notes but a hand that stopped (own choice,
as at the window's beginning: one alone may be a missed note)."""

Ways = tuple[str, ...]
"""One thing said in several ways, from the fullest words to the fewest."""


@dataclass(frozen=True, slots=True)
class _HandStop:
    """A hand that stopped while the other one played on."""

    hand: Hand
    onset: int
    """The number of the first onset that it did not play."""
    faults: tuple[Fault, ...]
    """The notes that it left out from there on."""


def make_sentence(
    excerpt: Excerpt, faults: Sequence[Fault], matching: Matching, *, clean: bool
) -> str:
    """At most twelve words, the most important thing first."""
    if clean:
        return CLEAN
    counted = [fault for fault in faults if not fault.forgiven]
    doubt = UNSURE if matching.unsure and counted else ""
    most = MOST_WORDS - len(doubt.split())
    text = doubt + "; ".join(fit(_list_parts(excerpt, counted, matching), most))
    return capitalise(text)


def fit(parts: Sequence[Ways], most: int) -> list[str]:
    """The first part as full as can be, then as many others as fit, in what room is left.

    A part that doesn't fit ends it: what follows is of less weight.
    """
    said: list[str] = []
    for ways in parts:
        room = most - _count_words(said)
        way = next((words for words in ways if len(words.split()) <= room), None)
        if way is None and said:
            break
        said.append((way or ways[-1]) if not said else ways[-1])
    for at, ways in enumerate(parts[: len(said)]):
        room = most - _count_words([*said[:at], *said[at + 1 :]])
        said[at] = next((words for words in ways if len(words.split()) <= room), said[at])
    return said


def _count_words(parts: Sequence[str]) -> int:
    return sum(len(part.split()) for part in parts)


def _list_parts(excerpt: Excerpt, counted: Sequence[Fault], matching: Matching) -> list[Ways]:
    """The first fault, where it began and stopped, the others."""
    before = before_the_break(excerpt, matching.score, counted)
    stop = _find_hand_stop(excerpt, before, matching)
    said = [*_say_faults(excerpt, before, stop)]
    ends = [
        *_say_entry(excerpt, matching),
        *_say_break(excerpt, counted, matching, stop, is_first=not said),
    ]
    return [*said[:1], *ends, *said[1:]]


def _say_faults(
    excerpt: Excerpt, faults: Sequence[Fault], stop: _HandStop | None
) -> Iterator[Ways]:
    """Each different thing that was not right, once."""
    left = list(faults)
    while left:
        fault = left[0]
        if stop is not None and fault in stop.faults:
            alike = list(stop.faults)
            yield _say_hand_stop(excerpt, stop)
        else:
            alike = [other for other in left if _is_alike(fault, other)]
            yield _say_alike(excerpt, alike)
        left = [other for other in left if other not in alike]


def _is_alike(fault: Fault, other: Fault) -> bool:
    """Whether one sentence says both."""
    if fault.cause is not other.cause:
        return False
    if fault.cause is Cause.RESTART:
        return True
    if fault.words != other.words:
        return False
    return fault.hands is other.hands or _overlap(fault, other)


def _overlap(fault: Fault, other: Fault) -> bool:
    """Whether two faults share a stretch of the window."""
    (first, last), (begin, end) = fault.reach, other.reach
    return first <= end and begin <= last


def _say_alike(excerpt: Excerpt, faults: Sequence[Fault]) -> Ways:
    """``RH E missed at beat 2``, ``RH E missed twice, first at beat 2``, ``both hands lie ...``."""
    fault = faults[0]
    of_hand = Counter(one.hands for one in faults)
    both = set(of_hand) == {Hands.RIGHT, Hands.LEFT}
    count = max(of_hand.values())
    times = f" {name_times(count)}" if count > 1 else ""
    said = describe_with_hand(excerpt, fault, both=both) + times
    if fault.cause in NAME_THEIR_PLACE:
        few = [describe_with_hand(excerpt, fault, words=w, both=both) for w in fault.short_words]
        return (said, *(words + times for words in few))
    if count > 1 and len({one.onset_quarters for one in faults}) > 1:
        places = list_places(excerpt, fault, only_first=True)
        return tuple(
            FIRST_OF_MANY.format(said=said, place=where) if where else said for where in places
        )
    return tuple(f"{said} {where}".rstrip() for where in list_places(excerpt, fault))


def _find_hand_stop(
    excerpt: Excerpt, faults: Sequence[Fault], matching: Matching
) -> _HandStop | None:
    """The hand that stopped before the end while the other one played on; None where none did."""
    last = dict.fromkeys(Hand, -1)
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        if label.label is not Label.MISSED:
            hand = excerpt.notes[label.note].hand
            last[hand] = max(last[hand], number)
    for hand, other in ((Hand.RIGHT, Hand.LEFT), (Hand.LEFT, Hand.RIGHT)):
        left_out = [
            fault
            for fault in faults
            if fault.family is Family.MISSING
            and fault.hands is Hands(hand)
            and excerpt.onsets_quarters.index(fault.onset_quarters) > last[hand]
        ]
        if not left_out or last[hand] < 0:
            continue
        first = min(excerpt.onsets_quarters.index(one.onset_quarters) for one in left_out)
        if last[other] >= first and _count_onsets(excerpt, hand, first) >= _STOPPED_ONSETS:
            return _HandStop(hand, first, tuple(left_out))
    return None


def _count_onsets(excerpt: Excerpt, hand: Hand, first: int) -> int:
    """How many onsets a hand has from one on."""
    return len(
        {
            number
            for note, number in zip(excerpt.notes, excerpt.onset_numbers, strict=True)
            if note.hand is hand and number >= first
        }
    )


def _say_hand_stop(excerpt: Excerpt, stop: _HandStop) -> Ways:
    """``RH stopped before beat 3, LH played on``."""
    return describe_hand_stop(excerpt, stop.hand, excerpt.onsets_quarters[stop.onset])


def _say_entry(excerpt: Excerpt, matching: Matching) -> list[Ways]:
    """Where it began, if not at the window's beginning."""
    entered = entered_at(excerpt, matching.score)
    if entered is None:
        return []
    return [describe_entry(excerpt, entered)]


def _say_break(
    excerpt: Excerpt,
    counted: Sequence[Fault],
    matching: Matching,
    hand_stop: _HandStop | None,
    *,
    is_first: bool,
) -> list[Ways]:
    """Where it broke off: before an onset, or in the middle of a chord."""
    labels, onsets = matching.score, excerpt.onsets_quarters
    stop, last = stopped_before(excerpt, labels), last_struck(excerpt, labels)
    in_chord = False
    if stop is None:
        if last >= len(onsets) - 1:
            return []
        stop = onsets[-1]
    elif last >= 0 and stop == onsets[last]:
        in_chord = True
    again = any(fault.cause is Cause.STOPPED_AGAIN for fault in counted)
    hand = hand_stop.hand.other if hand_stop else None
    ways = describe_break(excerpt, stop, hand, in_chord=in_chord, again=again)
    return [ways[:-1] if is_first else ways]
