"""Keys too many: a wrong key that was put right at once, or a key brushed beside the right one."""

from __future__ import annotations

from coach.judging.faults.context import FaultContext
from coach.judging.faults.location import FaultSpan, likely_hand, make_fault, nearest_moment
from coach.judging.faults.repeats import SAME_STROKE_S, make_repeat, split_attempts
from coach.judging.model import Cause, Fault, Label, PlayedLabel
from coach.judging.timing import Timing
from coach.judging.wording import describe, spell
from coach.score.model import Hand

_CORRECTED_S = 1.0
"""A wrong key put right within this was corrected at once (common practice)."""
_MOST_CORRECTED = 4
"""Semitones between a wrong key and the one it was put right to: a major third (own choice, as for
a hand that lies wrong)."""
_MOST_BRUSHED = 2
"""Semitones: a brushed key lies beside the key that was meant."""
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

    It is near it, of the same hand, struck soon after, and late: the extra key stood in its place.
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
        if semitones > _MOST_CORRECTED or (label.hand and note.hand is not label.hand):
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
