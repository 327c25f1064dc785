"""Faults of keys: wrong ones, notes that were missed, and keys too many.

A hand in a wrong position strikes one wrong key after another, all off to the same side. To tell
each of them would hide the one thing to be done, so a run of them is one fault. So are the notes of
a stretch left out, or of a beat that was skipped; and a key too many is told as what it was, one
brushed beside the right one, or a wrong one that was put right at once.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise

from coach.judging.faults.context import (
    FaultContext,
    FaultSpan,
    hands_of,
    likely_hand,
    make_fault,
    nearest_moment,
)
from coach.judging.model import Cause, Fault, Label, PlayedLabel, ScoreLabel
from coach.judging.timing import Timing
from coach.judging.wording import (
    FELT_FOR_CHORD,
    STARTED_AGAIN,
    STUMBLED,
    describe,
    describe_octaves,
    describe_restart,
    describe_shift,
    describe_skip,
    describe_wrong_key,
    spell,
)
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt

# Wrong keys: single ones, octave slips, and a hand that lies in a wrong position.

_OCTAVE = 12
"""Semitones."""
_MOST_SHIFTED = 4
"""Semitones. A hand that lies wrong is off by a few keys, no more than a major third (own choice:
beyond it a hand of five fingers has left its position)."""
_LEAST_SHIFTED = 3
"""Keys that show where a hand lies: of two wrong keys that miss by chance every other pair is off
to the same side, of three one in four. Own choice."""


def find_wrong_keys(context: FaultContext) -> list[Fault]:
    """Wrong keys; a hand displaced for several onsets running is one fault."""
    out = []
    for hand in Hand:
        for run in _split_wrong_runs(context, hand):
            out += _judge_run(context, run, Hands(hand))
    return out


def _split_wrong_runs(context: FaultContext, hand: Hand) -> list[list[ScoreLabel]]:
    """Wrong labels of one hand, apart where a right note of the hand came between."""
    excerpt = context.excerpt
    wrong: dict[int, list[ScoreLabel]] = {}
    right: set[int] = set()
    for label, number in zip(context.matching.score, excerpt.onset_numbers, strict=True):
        if excerpt.notes[label.note].hand is hand and label.note not in excerpt.same_key:
            if label.label is Label.WRONG:
                wrong.setdefault(number, []).append(label)
            elif label.label is Label.MATCHED:
                right.add(number)
    if not wrong:
        return []
    runs: list[list[ScoreLabel]] = [[]]
    for number in sorted(wrong.keys() | right):
        if number in right and runs[-1]:
            runs.append([])
        runs[-1] += wrong.get(number, [])
    return [run for run in runs if run]


def _judge_run(context: FaultContext, run: list[ScoreLabel], hands: Hands) -> list[Fault]:
    """A run as one fault where the hand was displaced, else each key as a fault of its own."""
    semitones = [_semitones_off(context, label) for label in run]
    first = semitones[0]
    onsets = {context.note_of(label).onset_quarters for label in run}
    same_side = max(semitones) < 0 or min(semitones) > 0
    if len(set(semitones)) == 1 and first and first % _OCTAVE == 0:
        cause = Cause.OCTAVE_SLIP
        single = len(run) == 1
        words = _describe_key(context, run[0]) if single else describe_octaves(first)
    elif (
        len(run) >= _LEAST_SHIFTED
        and len(onsets) > 1
        and same_side
        and max(map(abs, semitones)) <= _MOST_SHIFTED
    ):
        cause = Cause.SHIFTED_POSITION
        words = describe_shift(semitones)
    else:
        return [_make_wrong_key(context, label, hands) for label in run]
    span = FaultSpan(min(onsets), max(onsets), hands)
    return [make_fault(context.excerpt, cause, span, words, note=run[0].note)]


def _make_wrong_key(context: FaultContext, label: ScoreLabel, hands: Hands) -> Fault:
    span = FaultSpan.at(context.note_of(label).onset_quarters, hands)
    words = _describe_key(context, label)
    return make_fault(context.excerpt, Cause.WRONG_KEY, span, words, note=label.note)


def _describe_key(context: FaultContext, label: ScoreLabel) -> str:
    written = context.note_of(label)
    struck_pitch = written.pitch + _semitones_off(context, label)
    return describe_wrong_key(struck_pitch, written, context.excerpt)


def _semitones_off(context: FaultContext, label: ScoreLabel) -> int:
    """How far the struck key lies above the written one; 0 where none was struck."""
    if label.played is None:
        return 0
    return context.played[label.played].pitch - context.note_of(label).pitch


# Notes of one hand struck in the wrong order: E before D.


_REVERSED_S = 0.03
"""Two strokes less than this apart are one to the ear: order is told at threshold from 20 ms on
(Hirsh 1959, from memory)."""


def find_wrong_order(context: FaultContext) -> Iterator[Fault]:
    """Each note that came before the one written before it in the same hand.

    Rolled chords, ornaments and grace notes have no order to be held to, and hands that cross in
    time have one each. What was broken into is told as that.
    """
    for hand in Hand:
        for first, second in pairwise(_strokes(context, hand)):
            (_, note, at_s, number), (i, after, after_s, after_number) = first, second
            moment = context.timing.row[i]
            if at_s - after_s <= _REVERSED_S or moment.broken or moment.torn:
                continue
            if after_number - number > 1 and moment.gap:
                continue
            written, early = context.excerpt.notes[note], context.excerpt.notes[after]
            yield make_fault(
                context.excerpt,
                Cause.WRONG_ORDER,
                FaultSpan.at(written.onset_quarters, hand),
                describe(Cause.WRONG_ORDER, key=early.spelling.words, note=written.spelling.words),
                note=note,
                size_ms=(after_s - at_s) * 1000,
            )


def _strokes(context: FaultContext, hand: Hand) -> Iterator[tuple[int, int, float, int]]:
    """Moment, first note, time and onset number of each of a hand's onsets that has an order."""
    for i, moment in enumerate(context.timing.row):
        onset = moment.of(hand)
        if onset is not None and not onset.loose:
            yield i, onset.notes[0], onset.at_s, moment.number


# Missed notes: one of a chord, a whole onset, a stretch left out, a beat that was skipped.

_CLOSED_UP = 0.75
"""Time closed up over missed notes: the next came sooner than this share of its time. Own choice,
half-way (by eye) between in time and at half of it."""
_LEAST_STRETCH = 3
"""Onsets left out in a row that are told as one stretch: own choice, since a sentence of twelve
words holds two missed notes and no third."""
_SAME_BEAT = 1e-9
"""Beats that differ by less are the same: rounding of a float."""


def find_missed_notes(context: FaultContext) -> list[Fault]:
    """Missed notes that were passed over; what lies after a breaking off is not asked for."""
    excerpt = context.excerpt
    missed, struck = _count_by_onset(context)
    out: list[Fault] = []
    for run in _split_missed_runs([number for number in sorted(missed) if number not in struck]):
        whole = _make_one_of_run(context, run, [missed[number] for number in run])
        if whole is not None:
            out.append(whole)
            for number in run:
                del missed[number]
    for notes in missed.values():
        out += [_make_missed_note(excerpt, note, notes) for note in notes]
    return out


def _count_by_onset(context: FaultContext) -> tuple[dict[int, list[int]], set[int]]:
    """The missed notes of each onset number, and the numbers that something was struck for."""
    missed: dict[int, list[int]] = {}
    struck: set[int] = set()
    excerpt = context.excerpt
    for label, number in zip(context.matching.score, excerpt.onset_numbers, strict=True):
        if label.note in excerpt.same_key:
            continue
        if label.label is not Label.MISSED:
            struck.add(number)
        elif label.reached:
            missed.setdefault(number, []).append(label.note)
    return missed, struck


def _split_missed_runs(numbers: Sequence[int]) -> list[list[int]]:
    """Consecutive numbers together."""
    groups = groupby(enumerate(numbers), key=lambda pair: pair[1] - pair[0])
    return [[number for _, number in group] for _, group in groups]


def _make_one_of_run(
    context: FaultContext, run: list[int], notes: Sequence[Sequence[int]]
) -> Fault | None:
    """A run of silent onsets as a skipped beat or a stretch; None: note by note."""
    excerpt = context.excerpt
    if _is_skip(excerpt, run, context.timing):
        return _make_skip(excerpt, run)
    if len(run) < _LEAST_STRETCH:
        return None
    flat = [note for onset in notes for note in onset]
    first, last = (excerpt.onsets_quarters[n] for n in (run[0], run[-1]))
    span = FaultSpan(first, last, hands_of([excerpt.notes[note].hand for note in flat]))
    words = describe(Cause.STRETCH_LEFT_OUT, count=str(len(flat)))
    return make_fault(excerpt, Cause.STRETCH_LEFT_OUT, span, words, note=flat[0])


def _is_skip(excerpt: Excerpt, run: list[int], timing: Timing) -> bool:
    """All of a beat or more is silent, and the time closed up over it."""
    onsets = excerpt.onsets_quarters
    after = run[-1] + 1
    if after >= len(onsets):
        return False
    beat = excerpt.beat_of(onsets[run[0]]) // 1
    if excerpt.beat_of(onsets[after]) < beat + 1 - _SAME_BEAT:
        return False
    if run[0] > 0 and excerpt.beat_of(onsets[run[0] - 1]) >= beat:
        return False
    i = timing.at.get(after)
    if i is None:
        return False
    step = timing.steps[i]
    return step.seconds < _CLOSED_UP * step.expected_s


def _make_skip(excerpt: Excerpt, run: list[int]) -> Fault:
    """It spans from the beat before what was skipped to the beat after it."""
    onsets = excerpt.onsets_quarters
    first, last = (int(excerpt.beat_of(onsets[n]) // 1) for n in (run[0], run[-1]))
    count = last - first + 1
    # A beat before the window's first onset has no name of its own: the onset's beat has.
    words = describe_skip(excerpt, onsets[run[0]], count)
    span = FaultSpan(onsets[run[0]], onsets[run[-1]], excerpt.hands)
    fault = make_fault(excerpt, Cause.SKIPPED_BEAT, span, words)
    return replace(fault, from_beat=first - 1, to_beat=last + 1)


def _make_missed_note(excerpt: Excerpt, note: int, missed: Sequence[int]) -> Fault:
    """``missed`` are all the missed notes of its onset."""
    written = excerpt.notes[note]
    number = excerpt.onset_numbers[note]
    before, after = (_count_same_hand(excerpt, note, number, step) for step in (-1, 1))
    chord = before + 1 + after
    gone = sum(excerpt.notes[other].hand is written.hand for other in missed)
    cause = Cause.MISSED_IN_CHORD if chord > gone else Cause.MISSED_NOTE
    span = FaultSpan.at(written.onset_quarters, written.hand)
    words = describe(cause, note=written.spelling.words)
    return make_fault(excerpt, cause, span, words, note=note)


def _count_same_hand(excerpt: Excerpt, note: int, number: int, step: int) -> int:
    """How many notes of the hand share the onset, on one side of a note in the list."""
    count, other = 0, note + step
    while 0 <= other < len(excerpt.notes) and excerpt.onset_numbers[other] == number:
        count += excerpt.notes[other].hand is excerpt.notes[note].hand
        other += step
    return count


# What was played again: stumbles and restarts, and the move that broke before them.
#
# Going back is what a pianist does after something broke, so the fault lies not in the notes that
# were played again but in the move after them: the one that did not succeed the first time.


_ONE_STROKE_S = 0.1
"""Notes of a chord further apart were not struck together, nor rolled (own choice, as in the
alignment of such chords)."""
SAME_STROKE_S = 0.05
"""Keys within this went down together (MIREX onset window)."""


@dataclass
class Attempt:
    """Notes played and then played again, and stray keys among them, in the order played."""

    excerpt: Excerpt
    played: Sequence[PlayedNote]
    labels: list[PlayedLabel] = field(default_factory=list)
    up: PlayedLabel | None = None
    """The key after it, with which it was taken up again."""
    first: int = 0
    """Number of its lowest onset,"""
    last: int = 0
    """and of the furthest one that it got to."""

    def number_of(self, label: PlayedLabel) -> int | None:
        """The number of the onset that a key was for; None for a stray one."""
        return None if label.note is None else self.excerpt.onset_numbers[label.note]

    def onset_s(self, label: PlayedLabel) -> float:
        """When a key was struck."""
        return self.played[label.played].onset_s

    def keys_for(self, number: int) -> list[PlayedLabel]:
        """The keys that were struck for an onset."""
        return [label for label in self.labels if self.number_of(label) == number]

    def stray_keys(self, with_number: int | None = None) -> list[PlayedLabel]:
        """The stray keys: all, or those in the same stroke as an onset."""
        found = [label for label in self.labels if label.note is None]
        if with_number is None:
            return found
        times_s = [self.onset_s(label) for label in self.keys_for(with_number)]
        return [
            label
            for label in found
            if any(abs(self.onset_s(label) - at_s) < SAME_STROKE_S for at_s in times_s)
        ]

    def missing_notes(self, number: int) -> list[int]:
        """The notes of an onset that were wanting."""
        struck = {label.note for label in self.keys_for(number)}
        return [note for note in _notes_at(self.excerpt, number) if note not in struck]

    @property
    def is_search(self) -> bool:
        """Whether the notes of its last onset were struck apart: a chord was looked for."""
        strokes: list[set[int | None]] = []
        last_s = 0.0
        for label in self.keys_for(self.last):
            at_s = self.onset_s(label)
            if not strokes or at_s - last_s > _ONE_STROKE_S:
                strokes.append(set())
            strokes[-1].add(label.note)
            last_s = at_s
        return max(map(len, strokes)) < len(set().union(*strokes))


def split_attempts(context: FaultContext) -> tuple[Attempt, ...]:
    """Split the repeated notes, with the extra keys among and right after them, into attempts."""
    attempts = tuple(_collect_attempts(context))
    for attempt in attempts:
        numbers = [n for label in attempt.labels if (n := attempt.number_of(label)) is not None]
        attempt.first, attempt.last = min(numbers), max(numbers)
        before = max((n for n in numbers if n < attempt.last), default=None)
        if before is None:
            continue
        if _ends_in_one_stroke(attempt, before) or _is_taken_up(attempt, before):
            attempt.last = before
    return attempts


def _collect_attempts(context: FaultContext) -> Iterator[Attempt]:
    current: Attempt | None = None
    last = 0
    for label in context.matching.played:
        if label.label is Label.REPEATED and label.note is not None:
            number = context.excerpt.onset_numbers[label.note]
            if current is not None and number < last - 1:
                current.up = label
                yield current
                current = None
            if current is None:
                current, last = Attempt(context.excerpt, context.played), number
            last = max(last, number)
            current.labels.append(label)
        elif label.label is Label.EXTRA and current is not None:
            current.labels.append(label)
        elif current is not None:
            current.up = label
            yield current
            current = None
    if current is not None:
        yield current


def _ends_in_one_stroke(attempt: Attempt, before: int) -> bool:
    """Whether its last onset went down in one stroke with the one before: a wrong key there."""
    last_s, before_s = (attempt.onset_s(attempt.keys_for(n)[0]) for n in (attempt.last, before))
    return last_s - before_s < SAME_STROKE_S


def _is_taken_up(attempt: Attempt, before: int) -> bool:
    """Whether its last onset is already the first one taken up again, being the same keys.

    Going back to an onset that is written like the one after the break sounds as if that one had
    been reached. What went wrong just before tells, or the pause: it comes before the keys that
    are taken up.
    """
    number = attempt.number_of(attempt.up) if attempt.up is not None else None
    if attempt.up is None or not number:
        return False
    last = attempt.keys_for(attempt.last)
    keys = [*last, *attempt.stray_keys(attempt.last)]
    pitches = {attempt.played[label.played].pitch for label in keys}
    written = {attempt.excerpt.notes[note].pitch for note in _notes_at(attempt.excerpt, number - 1)}
    if pitches != written:
        return False
    if attempt.stray_keys(before) or attempt.missing_notes(before):
        return True
    onsets = attempt.excerpt.onsets_quarters
    pause_s = attempt.onset_s(last[0]) - attempt.onset_s(attempt.keys_for(before)[0])
    step_s = attempt.onset_s(attempt.up) - attempt.onset_s(last[0])
    pause_quarters = float(onsets[attempt.last] - onsets[before])
    step_quarters = float(onsets[number] - onsets[number - 1])
    return pause_s * step_quarters > step_s * pause_quarters


def make_repeat(attempt: Attempt) -> Fault:
    """The move that broke: into the onset after the last one that was played again.

    Or into that one itself, where a wrong key was struck with it or a note of it was not, and where
    it is a chord whose notes were looked for.
    """
    excerpt, number = attempt.excerpt, attempt.last
    with_last, strays = attempt.stray_keys(number), attempt.stray_keys()
    missing = attempt.missing_notes(number)
    is_search = attempt.is_search
    if not is_search and not with_last and (strays or not missing):
        number = min(number + 1, len(excerpt.onsets_quarters) - 1)
    if is_search:
        found = [label.note for label in attempt.keys_for(number) if label.note is not None]
        hands = hands_of([excerpt.notes[note].hand for note in found])
    elif strays:
        stray = (with_last or strays)[-1]
        pitch = attempt.played[stray.played].pitch
        hands = Hands(stray.hand or _nearest_hand(excerpt, number, pitch))
    elif missing:
        hands = hands_of([excerpt.notes[note].hand for note in missing])
    else:
        hands = excerpt.hands
    cause = Cause.RESTART if attempt.first == 0 < attempt.last else Cause.STUMBLE
    onset = excerpt.onsets_quarters[number]
    span = FaultSpan.at(onset, hands)
    if cause is Cause.STUMBLE:
        did = FELT_FOR_CHORD if is_search else STUMBLED
        return make_fault(excerpt, cause, span, describe(cause, did=did))
    full, short = describe_restart(excerpt, onset)
    return make_fault(excerpt, cause, span, full, short_words=(short, STARTED_AGAIN))


def _notes_at(excerpt: Excerpt, number: int) -> range:
    """The notes that are written at an onset, given its number."""
    numbers = excerpt.onset_numbers
    return range(bisect_left(numbers, number), bisect_right(numbers, number))


def _nearest_hand(excerpt: Excerpt, number: int, pitch: int) -> Hand:
    """The hand of the written note at an onset that lies nearest to a key."""
    notes = [excerpt.notes[note] for note in _notes_at(excerpt, number)]
    return min(notes, key=lambda note: abs(note.pitch - pitch)).hand


_CORRECTED_S = 1.0
"""A wrong key put right within this was corrected at once (common practice)."""
_MOST_CORRECTED = 4
"""Semitones between a wrong key and the one it was put right to: a major third (own choice, as for
a hand that lies wrong)."""
_MOST_BRUSHED = 2
"""Semitones. Own choice: a brushed key lies beside the key that was meant, black or white."""
_LATE_STROKES = 2
"""A chord's note came after the rest of its chord where it came later than this many times the
span of one stroke (own choice: twice the window within which keys are one stroke)."""


def find_extra_keys(context: FaultContext) -> list[Fault]:
    """What was played again, and the extra keys outside of it."""
    attempts = split_attempts(context)
    out = [make_repeat(attempt) for attempt in attempts]
    inside = {id(label) for attempt in attempts for label in attempt.labels}
    for label in context.matching.played:
        if label.label is Label.EXTRA and id(label) not in inside:
            out.append(_make_corrected(context, label) or _make_brushed(context, label))
    return out


def _make_corrected(context: FaultContext, label: PlayedLabel) -> Fault | None:
    """A wrong key before the right one; None where it was put right to nothing."""
    fixed = _find_correction(context, label)
    if fixed is None:
        return None
    excerpt, note = context.excerpt, context.excerpt.notes[fixed]
    name = spell(context.played[label.played].pitch, excerpt).words
    words = describe(Cause.CORRECTED_KEY, key=name, note=note.spelling.words)
    span = FaultSpan.at(note.onset_quarters, note.hand)
    return make_fault(excerpt, Cause.CORRECTED_KEY, span, words, note=fixed)


def _make_brushed(context: FaultContext, label: PlayedLabel) -> Fault:
    """A key too many, told at the onset that it sounded with or before."""
    excerpt, timing, struck = context.excerpt, context.timing, context.played[label.played]
    hand = label.hand or likely_hand(excerpt, timing, struck.pitch, struck.onset_s)
    moment = nearest_moment(timing, hand, struck.onset_s)
    at = excerpt.notes[0] if moment is None else timing.row[moment]
    words = describe(Cause.BRUSHED_KEY, key=spell(struck.pitch, excerpt).words)
    span = FaultSpan.at(at.onset_quarters, hand or excerpt.hands)
    return make_fault(excerpt, Cause.BRUSHED_KEY, span, words)


def _find_correction(context: FaultContext, label: PlayedLabel) -> int | None:
    """The note that an extra key was put right to.

    It is near it, struck soon after, and late: the extra key stood in its place. Whose a stray key
    was is a guess by what lies near it: a late note a step away tells more.
    """
    excerpt, played, timing = context.excerpt, context.played, context.timing
    struck = played[label.played]
    brushed = _sounds_with_neighbour(context, label)
    for other in context.matching.played[label.played + 1 :]:
        at_s = played[other.played].onset_s
        wait_s = at_s - struck.onset_s
        if wait_s > _CORRECTED_S:
            break
        if other.label is not Label.MATCHED or other.note is None or wait_s < SAME_STROKE_S:
            continue
        note = excerpt.notes[other.note]
        semitones = abs(note.pitch - struck.pitch)
        is_other = label.hand is not None and note.hand is not label.hand
        if semitones > (_MOST_BRUSHED if is_other else _MOST_CORRECTED):
            continue
        number = excerpt.onset_numbers[other.note]
        if _completes_chord(timing, number, note.hand, struck.onset_s, at_s):
            return other.note
        due_s = timing.due_s(number)
        if not brushed and due_s is not None and abs(struck.onset_s - due_s) < at_s - due_s:
            return other.note
    return None


def _sounds_with_neighbour(context: FaultContext, label: PlayedLabel) -> bool:
    """Whether a right note of the same hand, a step or two away, went down with it: a brush."""
    excerpt, played = context.excerpt, context.played
    struck = played[label.played]
    for step in (-1, 1):
        i = label.played + step
        while 0 <= i < len(played) and abs(played[i].onset_s - struck.onset_s) < SAME_STROKE_S:
            other = context.matching.played[i]
            if other.note is not None and other.label is Label.MATCHED:
                same = label.hand is None or excerpt.notes[other.note].hand is label.hand
                if same and abs(played[i].pitch - struck.pitch) <= _MOST_BRUSHED:
                    return True
            i += step
    return False


def _completes_chord(timing: Timing, number: int, hand: Hand, struck_s: float, at_s: float) -> bool:
    """Whether the key stood in for a chord's note that came after the rest of the chord."""
    moment = timing.at.get(number)
    onset = None if moment is None else timing.row[moment].of(hand)
    if onset is None or len(onset.notes) < 2:
        return False
    with_rest = abs(struck_s - onset.first_s) < SAME_STROKE_S
    return with_rest and at_s - onset.first_s > _LATE_STROKES * SAME_STROKE_S
