"""Which hand plays a note: by its staff, by its voice's home staff, or by the file's own words."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from coach.score.model import Clef, Hand, Remark, Score, ScoreNote
from coach.score.pitch import MIDDLE_C
from coach.score.words import count_of

# Which hand plays a note where nothing but keys and times is known: a guess.
#
# A search over the positions of two hands: of the keys struck together the left hand takes the
# lower ones; each way to divide them costs by how far a hand must stretch over what it strikes and
# still holds, how far it must move, how far it lies beyond the middle of what sounds around it, and
# whether the hands cross. The best few divisions are carried from onset to onset.
#
# Measured by ``scripts/bench_hands.py`` against the staves of piano scores; no rule is safe, so
# every note that is given a hand here is marked as a guess.


_BEAM = 24
"""Divisions that are carried on. Own choice: with twice as many, and with a quarter,
twelve piano scores came out the same."""
_AROUND = 8
"""Onsets to either side that say where the music lies now."""
_EASY_SPAN, _LARGEST_SPAN = 12, 16
"""Semitones: an octave lies in every hand, a tenth in few (common practice)."""
_STRETCH, _TOO_FAR = 1.0, 8.0
"""What each semitone beyond the easy and the largest span costs. These and the three that
follow are own choices, weighed with ``scripts/bench_hands.py``; only their ratios count."""
_MOVE = 0.3
"""What a hand's way costs, by the root of its semitones: far is not much harder than near."""
_BEYOND = 0.5
"""For each semitone that a key lies on the other side of the middle."""
_CROSSED = 6.0
"""Where the left hand lies above the right one."""

SoundingNote = tuple[int, int, int]
"""Start, end and key of a note; times in any unit."""


@dataclass(frozen=True, slots=True)
class _Side:
    """Where one hand is."""

    centre: float
    held: tuple[tuple[int, int], ...] = ()
    """(end, key) of what it struck."""


@dataclass(frozen=True, slots=True)
class _State:
    cost: float
    left: _Side
    right: _Side
    split: int = 0
    """How many of the onset's keys, from below, the left hand struck."""
    before: _State | None = None


def split_hands(notes: Sequence[SoundingNote]) -> list[Hand]:
    """A hand for each note; notes come by start."""
    order = sorted(range(len(notes)), key=lambda i: (notes[i][0], notes[i][2]))
    onsets = [list(group) for _, group in groupby(order, key=lambda i: notes[i][0])]
    middles = _middles([[notes[i][2] for i in onset] for onset in onsets])
    states = [_State(0.0, _Side(MIDDLE_C - 12), _Side(MIDDLE_C + 12))]
    for onset, middle in zip(onsets, middles, strict=True):
        struck = [notes[i] for i in onset]
        ways = range(len(struck) + 1)
        states = _best([_next(state, struck, k, middle) for state in states for k in ways])
    hands = [Hand.RIGHT] * len(notes)
    state: _State | None = min(states, key=lambda s: s.cost)
    for onset in reversed(onsets):
        assert state is not None
        for i in onset[: state.split]:
            hands[i] = Hand.LEFT
        state = state.before
    return hands


def _middles(onsets: Sequence[Sequence[int]]) -> list[float]:
    """For each onset the key between the hands: halfway between what is high and low around it."""
    lows = [min(keys) for keys in onsets]
    highs = [max(keys) for keys in onsets]
    middles = []
    for i in range(len(onsets)):
        around = slice(max(i - _AROUND, 0), i + _AROUND + 1)
        middles.append((min(lows[around]) + max(highs[around])) / 2)
    return middles


def _best(states: list[_State]) -> list[_State]:
    """The cheapest states, one for each pair of hand positions."""
    best: dict[tuple[float, float], _State] = {}
    for state in sorted(states, key=lambda s: s.cost):
        best.setdefault((state.left.centre, state.right.centre), state)
        if len(best) == _BEAM:
            break
    return list(best.values())


def _next(state: _State, struck: Sequence[SoundingNote], split: int, middle: float) -> _State:
    left, left_cost = _strike(state.left, struck[:split], Hand.LEFT, middle)
    right, right_cost = _strike(state.right, struck[split:], Hand.RIGHT, middle)
    crossed = _CROSSED if left.centre > right.centre else 0.0
    return _State(state.cost + left_cost + right_cost + crossed, left, right, split, state)


def _strike(
    side: _Side, notes: Sequence[SoundingNote], hand: Hand, middle: float
) -> tuple[_Side, float]:
    """Where a hand is after striking these, and what that costs."""
    if not notes:
        return side, 0.0
    now = notes[0][0]
    held = tuple(pair for pair in side.held if pair[0] > now)
    keys = [key for _, _, key in notes]
    under = keys + [key for _, key in held]
    centre = (min(under) + max(under)) / 2
    span = max(under) - min(under)
    cost = _STRETCH * max(0, span - _EASY_SPAN) + _TOO_FAR * max(0, span - _LARGEST_SPAN)
    cost += _MOVE * abs(centre - side.centre) ** 0.5
    sign = 1 if hand is Hand.LEFT else -1
    cost += _BEYOND * sum(max(0, sign * (key - middle)) for key in keys)
    return _Side(centre, held + tuple((end, key) for _, end, key in notes)), cost


_HOME_SHARE = 0.8
"""A voice has a home where at least this share of its notes stands on one staff."""
_LONGEST_REACH = 16
"""Semitones from the thumb's key to the little finger's that one hand is taken to reach at most:
a tenth (common practice: many hands reach a ninth, few more than a tenth)."""
_BARS_TO_COUNTERMARK = 8
"""A direction such as “m.s.” holds to its countermark, if one comes within so many bars. Own
choice, because such a passage is a phrase or two."""

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
        for note in _find_covered_notes(near, mark, following, bar_ends):
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


def _find_covered_notes(
    notes: Sequence[ScoreNote],
    mark: HandMark,
    following: Fraction | None,
    bar_ends: Sequence[Fraction],
) -> list[ScoreNote]:
    """The notes that change hands because of a mark."""
    run = _find_run(_voice_notes(notes, mark), mark.onset_quarters)
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


def _find_run(voice: Sequence[ScoreNote], start: Fraction) -> list[ScoreNote]:
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


def say_guessed_hands(score: Score) -> Score:
    """The same score, saying which hands are a guess: of notes off their voice's home staff.

    Paper leaves open whether a voice that dips into the other staff changes hands there.
    """
    at_home = hands_by_voice(score).notes
    pairs = zip(score.notes, at_home, strict=True)
    guessed = {note.id for note, home in pairs if home.hand is not note.hand}
    if not guessed:
        return score
    notes = tuple(
        replace(note, hand_is_guess=True) if note.id in guessed else note for note in score.notes
    )
    text = (
        f"{count_of(len(guessed), 'note')} off the staff of their voice: given to the hand whose "
        "staff it is, which is a guess; “all bars to home staff” gives them to their voice's hand."
    )
    return replace(score, notes=notes, remarks=(*score.remarks, Remark("guess", text)))


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
