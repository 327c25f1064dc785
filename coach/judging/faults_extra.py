"""Keys too many: brushed keys, keys corrected at once, stumbles and restarts."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field

from coach.judging.facts import Family, Fault, Label, Matching, PlayedLabel
from coach.judging.faults_places import belongs_to, hands_of, likely_hand, spanning
from coach.judging.naming import spelled
from coach.judging.timing import Timing
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt

_CORRECTED_S = 1.0
"""A wrong key put right within this was corrected at once (common practice)."""
_CORRECTED_STEPS = 4
_BRUSH_STEPS = 2
"""A brushed key lies beside the key that was meant."""
_SAME_STROKE_S = 0.05
"""Keys within this went down together (MIREX onset window)."""


@dataclass
class _Attempt:
    """Notes played and then played again, by their onset numbers, and stray keys among them."""

    first: int
    last: int
    last_at_s: float
    stray: PlayedLabel | None = None
    labels: list[PlayedLabel] = field(default_factory=list)

    def notes_at(self, number: int, excerpt: Excerpt) -> set[int]:
        """The notes of an onset that were struck in this attempt."""
        notes = {label.note for label in self.labels if label.note is not None}
        return {note for note in notes if excerpt.onset_numbers[note] == number}


def extra_faults(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> list[Fault]:
    """Extra keys and what was played again."""
    attempts = _attempts(excerpt, played, matching)
    out = [_again(excerpt, played, attempt) for attempt in attempts]
    inside = {id(label) for attempt in attempts for label in attempt.labels}
    for label in matching.played:
        if label.label is Label.EXTRA and id(label) not in inside:
            out.append(_extra(excerpt, played, matching, timing, label))
    return out


def _attempts(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> list[_Attempt]:
    """Split the repeated notes, with the extra keys among and right after them, into attempts."""
    out: list[_Attempt] = []
    current: _Attempt | None = None
    for label in matching.played:
        at_s = played[label.played].onset_s
        if label.label is Label.REPEATED and label.note is not None:
            number = excerpt.onset_numbers[label.note]
            if current is None or number < current.last - 1:
                current = _Attempt(number, number, at_s)
                out.append(current)
            current.first = min(current.first, number)
            if number >= current.last:
                current.last, current.last_at_s = number, at_s
            current.labels.append(label)
        elif label.label is Label.EXTRA and current is not None:
            current.stray = label
            current.labels.append(label)
        else:
            current = None
    return out


def _again(excerpt: Excerpt, played: Sequence[PlayedNote], attempt: _Attempt) -> Fault:
    """The move that broke: into the onset after the last one that was played again.

    Or into that one itself, where a wrong key was struck with it or a note of it was not.
    """
    number = min(attempt.last + 1, len(excerpt.onsets_quarters) - 1)
    hands = excerpt.hands
    not_struck = _not_struck(excerpt, attempt)
    if not_struck and attempt.stray is None:
        number, hands = attempt.last, hands_of([excerpt.notes[note].hand for note in not_struck])
    if attempt.stray is not None:
        stray = played[attempt.stray.played]
        if stray.onset_s - attempt.last_at_s < _SAME_STROKE_S:
            number = attempt.last
        hands = Hands(attempt.stray.hand or _nearest_hand(excerpt, number, stray.pitch))
    cause = "restart" if attempt.first == 0 < attempt.last else "stumble"
    words = "started again" if cause == "restart" else "stumbled"
    onset = excerpt.onsets_quarters[number]
    return spanning(excerpt, onset, onset, hands, Family.REPEAT, 0.97, words, cause)


def _not_struck(excerpt: Excerpt, attempt: _Attempt) -> list[int]:
    """The notes that were wanting in the last onset of an attempt."""
    low = bisect_left(excerpt.onset_numbers, attempt.last)
    high = bisect_right(excerpt.onset_numbers, attempt.last)
    struck = attempt.notes_at(attempt.last, excerpt)
    return [note for note in range(low, high) if note not in struck]


def _nearest_hand(excerpt: Excerpt, number: int, pitch: int) -> Hand:
    """The hand of the written note at an onset that lies nearest to a key."""
    low = bisect_left(excerpt.onset_numbers, number)
    high = bisect_right(excerpt.onset_numbers, number)
    return min(excerpt.notes[low:high], key=lambda note: abs(note.pitch - pitch)).hand


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
        if other.label is not Label.MATCHED or other.note is None or wait < _SAME_STROKE_S:
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
        while 0 <= i < len(played) and abs(played[i].onset_s - struck.onset_s) < _SAME_STROKE_S:
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
    with_rest = abs(struck_s - onset.first_s) < _SAME_STROKE_S
    return with_rest and at_s - onset.first_s > 2 * _SAME_STROKE_S
