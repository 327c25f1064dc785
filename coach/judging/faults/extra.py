"""Keys too many: a wrong key that was put right at once, or a key brushed beside the right one."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from coach.judging.faults.context import (
    FaultContext,
    FaultSpan,
    hands_of,
    likely_hand,
    make_fault,
    nearest_moment,
)
from coach.judging.model import Cause, Fault, Label, PlayedLabel
from coach.judging.timing import Timing
from coach.judging.wording import (
    FELT_FOR_CHORD,
    STARTED_AGAIN,
    STUMBLED,
    describe,
    describe_restart,
    spell,
)
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt

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
