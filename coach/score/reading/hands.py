"""Which hand plays a note: by its staff, by its voice's home staff, or by the file's own words."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.score.model import Hand, Score, ScoreNote
from coach.score.printed import Clef

_HOME_SHARE = 0.8
"""A voice has a home where at least this share of its notes stands on one staff."""
_LONGEST_REACH = 16
"""Semitones from the thumb's key to the little finger's that one hand is taken to reach at most:
a tenth (common practice: many hands reach a ninth, few more than a tenth)."""
_BARS_TO_COUNTERMARK = 8

_LEFT = r"m\.?\s?s\b|m\.?\s?g\b|l\.?\s?h\b|mano sin|sinistra|main gauche|left hand|linke hand"
_RIGHT = r"m\.?\s?d\b|r\.?\s?h\b|mano des|destra|main droite|right hand|rechte hand"
_HAND_WORDS = re.compile(rf"\W*(?:con la |with )?(?:(?P<left>{_LEFT})|(?P<right>{_RIGHT}))", re.I)


def hand_of_words(words: str) -> Hand | None:
    """The hand that words such as ``m.s.``, ``r. H.`` or ``mano sinistra`` ask for."""
    found = _HAND_WORDS.match(words)
    if not found or len(words) > 30:
        return None
    return Hand.LEFT if found["left"] else Hand.RIGHT


def staff_hand(
    staff: int, staves: int, clefs: Sequence[Clef], onset_quarters: Fraction
) -> tuple[Hand, bool]:
    """The hand of a staff, and whether that is a guess.

    Of two staves the upper is the right hand's. Of three, those between the outer ones follow
    their clef; a single staff follows its first clef.
    """
    if staves == 1:
        first = next((clef for clef in clefs if clef.staff == staff), None)
        return (Hand.LEFT if first and first.sign == "F" else Hand.RIGHT), True
    if staff in (1, staves):
        return (Hand.RIGHT if staff == 1 else Hand.LEFT), False
    now = [c for c in clefs if c.staff == staff and c.onset_quarters <= onset_quarters]
    return (Hand.LEFT if now and now[-1].sign == "F" else Hand.RIGHT), True


@dataclass(frozen=True, slots=True)
class HandMark:
    """A hand named on the page, from an onset on."""

    onset_quarters: Fraction
    staff: int
    voice: str
    """The voice that it is written for; empty where the file does not say."""
    hand: Hand
    until_quarters: Fraction | None = None
    """Where its bracket or line of dashes ends, if it has one."""


def apply_hand_marks(
    notes: Sequence[ScoreNote], marks: Sequence[HandMark], bar_ends: Sequence[Fraction]
) -> list[ScoreNote]:
    """Give notes to the hands that the page names.

    A mark holds for one voice on its staff: to the end of its bracket; else to the next mark on
    the staff where the voice goes on without a rest until there; else to the voice's next rest
    or the end of the bar, whichever comes first. It never asks a hand for what it cannot reach.
    ``bar_ends`` has the end of each bar.
    """
    out = list(notes)
    places = {note.id: place for place, note in enumerate(out)}
    onsets = [note.onset_quarters for note in notes]
    ordered = sorted(marks, key=lambda mark: (mark.staff, mark.onset_quarters))
    for mark, after in zip(ordered, [*ordered[1:], None], strict=True):
        following = after.onset_quarters if after and after.staff == mark.staff else None
        low = bisect_left(onsets, mark.onset_quarters)
        near = notes[low : bisect_left(onsets, _furthest(notes, low, mark, bar_ends))]
        for note in _covered(near, mark, following, bar_ends):
            out[places[note.id]] = replace(note, hand=mark.hand, hand_is_guess=False)
    return out


def _furthest(
    notes: Sequence[ScoreNote], low: int, mark: HandMark, bar_ends: Sequence[Fraction]
) -> Fraction:
    """Beyond this no note can be meant by the mark."""
    if low == len(notes):
        return mark.onset_quarters
    last_bar = min(notes[low].bar_index + _BARS_TO_COUNTERMARK, len(bar_ends)) - 1
    return max(bar_ends[last_bar], mark.until_quarters or Fraction(0))


def _covered(
    notes: Sequence[ScoreNote],
    mark: HandMark,
    following: Fraction | None,
    bar_ends: Sequence[Fraction],
) -> list[ScoreNote]:
    """The notes that change hands because of a mark."""
    run = _run(_voice_notes(notes, mark), mark.onset_quarters)
    if not run:
        return []
    end = bar_ends[run[0].bar_index]
    run_end = max(note.end_quarters for note in run)
    last_bar = min(run[0].bar_index + _BARS_TO_COUNTERMARK, len(bar_ends)) - 1
    if mark.until_quarters is not None:
        end = mark.until_quarters
    elif following is not None and following <= min(run_end, bar_ends[last_bar]):
        end = following
    others = [n for n in notes if n.hand is mark.hand and n.staff != mark.staff]
    kept: list[ScoreNote] = []
    for note in run:
        if note.onset_quarters >= end or not _can_reach(note, others):
            break
        kept.append(note)
    return [note for note in kept if note.hand is not mark.hand]


def _voice_notes(notes: Sequence[ScoreNote], mark: HandMark) -> list[ScoreNote]:
    """The notes from the mark on that it can be meant for: one voice on its staff."""
    here = [n for n in notes if n.staff == mark.staff and n.onset_quarters >= mark.onset_quarters]
    at_mark = [note for note in here if note.onset_quarters == mark.onset_quarters]
    if not at_mark:
        return []
    voice = mark.voice
    if voice not in {note.voice for note in at_mark}:
        pick = min if mark.hand is Hand.LEFT else max
        voice = pick(at_mark, key=lambda note: note.pitch).voice
    return [note for note in here if note.voice == voice]


def _run(voice: Sequence[ScoreNote], start: Fraction) -> list[ScoreNote]:
    """The notes up to the voice's first rest."""
    run: list[ScoreNote] = []
    end = start
    for note in voice:
        if note.onset_quarters > end:
            break
        run.append(note)
        end = max(end, note.end_quarters)
    return run


def _can_reach(note: ScoreNote, others: Sequence[ScoreNote]) -> bool:
    together = [o.pitch for o in others if o.onset_quarters == note.onset_quarters]
    return all(abs(note.pitch - pitch) <= _LONGEST_REACH for pitch in together)


def hands_by_voice(score: Score) -> Score:
    """The same score with each voice in the hand of its home staff.

    The alternative to hands by staff: an arpeggio that climbs out of the left hand's staff stays
    in the left hand. A voice without a home (its notes are spread over the staves) goes by the
    bar where it has one there, else by the staff. Notes whose hand the page names keep it.
    """
    by_staff = _staff_hands(score.notes)
    homes = _homes([(note.voice, note.staff) for note in score.notes])
    bar_homes = _homes([((note.voice, note.bar_index), note.staff) for note in score.notes])
    notes = []
    for note in score.notes:
        home = homes.get(note.voice) or bar_homes.get((note.voice, note.bar_index)) or note.staff
        is_named = note.hand is not by_staff.get(note.staff, note.hand)
        hand = note.hand if is_named else by_staff.get(home, note.hand)
        notes.append(note if hand is note.hand else replace(note, hand=hand, hand_is_guess=True))
    return replace(score, notes=tuple(notes))


def _staff_hands(notes: Sequence[ScoreNote]) -> dict[int, Hand]:
    """The hand that most notes of each staff have."""
    counts: dict[int, Counter[Hand]] = {}
    for note in notes:
        counts.setdefault(note.staff, Counter())[note.hand] += 1
    return {staff: hands.most_common(1)[0][0] for staff, hands in counts.items()}


def _homes(pairs: Sequence[tuple[Hashable, int]]) -> dict[Hashable, int]:
    """The staff on which nearly all notes of each voice stand, where there is one."""
    counts: dict[Hashable, Counter[int]] = {}
    for key, staff in pairs:
        counts.setdefault(key, Counter())[staff] += 1
    homes: dict[Hashable, int] = {}
    for key, staves in counts.items():
        staff, number_of = staves.most_common(1)[0]
        if number_of >= _HOME_SHARE * staves.total():
            homes[key] = staff
    return homes
