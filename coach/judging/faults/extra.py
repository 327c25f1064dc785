"""Keys too many: brushed keys, keys corrected at once, and what was played again."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.faults.location import belongs_to, likely_hand, spanning
from coach.judging.faults.repeats import SAME_STROKE_S, attempts, broken
from coach.judging.model import Family, Fault, Label, Matching, PlayedLabel
from coach.judging.timing import Timing
from coach.judging.wording import spelled
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt

_CORRECTED_S = 1.0
"""A wrong key put right within this was corrected at once (common practice)."""
_CORRECTED_STEPS = 4
_BRUSH_STEPS = 2
"""A brushed key lies beside the key that was meant."""


def extra_faults(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> list[Fault]:
    """Extra keys and what was played again."""
    again = attempts(excerpt, played, matching)
    out = [broken(attempt) for attempt in again]
    inside = {id(label) for attempt in again for label in attempt.labels}
    for label in matching.played:
        if label.label is Label.EXTRA and id(label) not in inside:
            out.append(_extra(excerpt, played, matching, timing, label))
    return out


def _extra(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    timing: Timing,
    label: PlayedLabel,
) -> Fault:
    struck = played[label.played]
    name = spelled(struck.pitch, excerpt).words
    fixed = _corrected(excerpt, played, matching, timing, label)
    if fixed is not None:
        note = excerpt.notes[fixed]
        words = f"{name} before {note.spelling.words}"
        onset, hands = note.onset_quarters, Hands(note.hand)
        return spanning(
            excerpt, onset, onset, hands, Family.PITCH, 0.89, words, "corrected key", note=fixed
        )
    hand = label.hand or likely_hand(excerpt, timing, struck.pitch, struck.onset_s)
    moment = belongs_to(timing, hand, struck.onset_s)
    at = excerpt.notes[0] if moment is None else timing.row[moment]
    onset = at.onset_quarters
    hands = Hands(hand) if hand else excerpt.hands
    words = f"{name} too many"
    return spanning(excerpt, onset, onset, hands, Family.EXTRA, 0.84, words, "brushed key")


def _corrected(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    timing: Timing,
    label: PlayedLabel,
) -> int | None:
    """The note that an extra key was put right to.

    It is near it, of the same hand, struck soon after, and late: the extra key stood in its place.
    """
    struck = played[label.played]
    brushed = _sounds_with_own(excerpt, played, matching, label)
    for other in matching.played[label.played + 1 :]:
        at_s = played[other.played].onset_s
        wait = at_s - struck.onset_s
        if wait > _CORRECTED_S:
            break
        if other.label is not Label.MATCHED or other.note is None or wait < SAME_STROKE_S:
            continue
        note = excerpt.notes[other.note]
        steps = abs(note.pitch - struck.pitch)
        if steps > _CORRECTED_STEPS or (label.hand and note.hand is not label.hand):
            continue
        number = excerpt.onset_numbers[other.note]
        if _late_in_chord(timing, number, note.hand, struck.onset_s, at_s):
            return other.note
        due = timing.due_s(number)
        if not brushed and due is not None and abs(struck.onset_s - due) < at_s - due:
            return other.note
    return None


def _sounds_with_own(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, label: PlayedLabel
) -> bool:
    """Whether a right note of the same hand, a step or two away, went down with it: a brush."""
    struck = played[label.played]
    for step in (-1, 1):
        i = label.played + step
        while 0 <= i < len(played) and abs(played[i].onset_s - struck.onset_s) < SAME_STROKE_S:
            other = matching.played[i]
            if other.note is not None and other.label is Label.MATCHED:
                same = label.hand is None or excerpt.notes[other.note].hand is label.hand
                if same and abs(played[i].pitch - struck.pitch) <= _BRUSH_STEPS:
                    return True
            i += step
    return False


def _late_in_chord(timing: Timing, number: int, hand: Hand, struck_s: float, at_s: float) -> bool:
    """Whether the key stood in for a chord's note that came after the rest of the chord."""
    moment = timing.at.get(number)
    onset = None if moment is None else timing.row[moment].of(hand)
    if onset is None or len(onset.notes) < 2:
        return False
    with_rest = abs(struck_s - onset.first_s) < SAME_STROKE_S
    return with_rest and at_s - onset.first_s > 2 * SAME_STROKE_S
