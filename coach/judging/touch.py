"""Touch: how long keys were held, and pedal and loudness against what is printed.

**Articulation**: which keys were let go early or held on (:func:`shape`).

**The damper pedal**: where it came late, was left out, or was not changed. A pedal mark says from
which onset to which the pedal is down. It goes down a little after the onset, so that nothing of
the harmony before is caught (legato pedalling), and comes up with the first onset after its end.
Where no pedal is marked nothing is said of it, and nothing of a hand that plays alone, for which
the pedal is not asked.

**Loudness**: p against f, and hairpins, each relative to the same take. How loud a piano is and how
hard a player strikes nobody knows. So only differences within one take are judged, only where they
are marked, and only their way: louder at a louder mark.

Conventions
-----------
Times are seconds on the take's clock; places are onset numbers of the excerpt. Loudness is MIDI
velocity, which on digital pianos goes roughly with decibels.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from fractions import Fraction
from functools import cached_property
from itertools import groupby
from math import inf, log, sqrt
from statistics import fmean, median
from typing import NamedTuple

from coach.judging.model import HeldShare, Label, Matching
from coach.judging.timing import Habits, Timing
from coach.judging.tolerance import Tolerance
from coach.playing.midi_events import DAMPER, DOWN_FROM
from coach.playing.notes import PedalMove, PlayedNote
from coach.score.model import Hand, LineKind, NoteMark, PrintedLine
from coach.score.window import Excerpt

# The damper pedal against its marks.

_PEDAL_EARLY_S = 0.1
"""Down so long before its onset it still belongs to it: own choice, since the first pedal of a
phrase is often down with its keys or just before them."""
_PEDAL_LATE_S, _PEDAL_LATE_SHARE = 0.3, 0.25
"""It is late when it comes down after so long, and after this share of its mark. Own choice: a
legato pedal is down within a fifth of a second; a quarter of a long mark leaves the rest of it."""
_PEDAL_CHANGE_S = 0.3
"""It was not changed when it is still down so long after the next harmony. Own choice: fingers and
foot of a pianist are within a tenth of a second of each other, and what rings on for a third of a
second is heard as two harmonies at once."""


class PedalFaultKind(Enum):
    """What was not right with the pedal."""

    LATE = 1
    MISSING = 2
    NOT_CHANGED = 3


@dataclass(frozen=True, slots=True)
class PedalFault:
    """One thing that the pedal did not do, from one onset to another."""

    kind: PedalFaultKind
    first: int
    last: int
    size_s: float = 0.0
    """How late it came down; how long it was still down."""


class PedalDown(NamedTuple):
    """From when to when the damper pedal was down."""

    from_s: float
    to_s: float


def list_pedal_downs(moves: Sequence[PedalMove]) -> tuple[PedalDown, ...]:
    """The stretches with the pedal down, in order of time."""
    out: list[PedalDown] = []
    down_s: float | None = None
    for move in sorted(moves, key=lambda one: one.at_s):
        if move.controller != DAMPER:
            continue
        is_down = move.value >= DOWN_FROM
        if is_down and down_s is None:
            down_s = move.at_s
        elif not is_down and down_s is not None:
            out.append(PedalDown(down_s, move.at_s))
            down_s = None
    if down_s is not None:
        out.append(PedalDown(down_s, inf))
    return tuple(out)


def until_damped_s(up_s: float, downs: Sequence[PedalDown]) -> float:
    """Until when a key sounds that came up at a time: what the pedal holds counts as held."""
    return next((down.to_s for down in downs if down.from_s <= up_s < down.to_s), up_s)


def find_pedal_faults(
    excerpt: Excerpt, timing: Timing, moves: Sequence[PedalMove] | None
) -> tuple[PedalFault, ...]:
    """What was not as marked; nothing where no pedal is marked, or where it is not known."""
    marks = [line for line in excerpt.lines if line.kind is LineKind.PEDAL]
    if moves is None or not marks or excerpt.other_hand:
        return ()
    downs = list_pedal_downs(moves)
    found = [fault for mark in marks for fault in _judge_mark(excerpt, timing, mark, downs)]
    return tuple(_join_missing(found))


def _judge_mark(
    excerpt: Excerpt, timing: Timing, mark: PrintedLine, downs: Sequence[PedalDown]
) -> Iterator[PedalFault]:
    """What was not right with one mark: its beginning, and the change at its end."""
    first = _struck_from(excerpt, timing, mark.start_quarters)
    if first is None:
        return
    after = _struck_from(excerpt, timing, mark.end_quarters)
    start_s = timing.row[timing.at[first]].at_s
    span_s = float(mark.end_quarters - mark.start_quarters) * 60 / (timing.qpm or excerpt.qpm)
    end_s = start_s + span_s if after is None else timing.row[timing.at[after]].at_s
    inside = [
        down
        for down in downs
        if down.to_s > start_s + _PEDAL_CHANGE_S and down.from_s < end_s - _PEDAL_EARLY_S
    ]
    if not inside:
        yield PedalFault(PedalFaultKind.MISSING, first, first)
        return
    late_s = inside[0].from_s - start_s
    if late_s > max(_PEDAL_LATE_S, _PEDAL_LATE_SHARE * span_s):
        yield PedalFault(PedalFaultKind.LATE, first, first, late_s)
    over = [
        d for d in downs if d.from_s < end_s - _PEDAL_EARLY_S and d.to_s > end_s + _PEDAL_CHANGE_S
    ]
    if after is not None and over and _is_new_harmony(excerpt, mark, after):
        yield PedalFault(PedalFaultKind.NOT_CHANGED, after, after, over[-1].to_s - end_s)


def _struck_from(excerpt: Excerpt, timing: Timing, quarters: Fraction) -> int | None:
    """The first onset at or after a place that was struck; None where none was."""
    onsets = excerpt.onsets_quarters
    return next((i for i in range(len(onsets)) if onsets[i] >= quarters and i in timing.at), None)


def _is_new_harmony(excerpt: Excerpt, mark: PrintedLine, after: int) -> bool:
    """Whether something that a mark's pedal holds is no part of what comes next."""
    beat = excerpt.beat_quarters
    begin = excerpt.onsets_quarters[after]
    held = _pitch_classes(excerpt, mark.start_quarters, mark.end_quarters)
    return not held <= _pitch_classes(excerpt, begin, begin + beat)


def _pitch_classes(excerpt: Excerpt, start: Fraction, end: Fraction) -> set[int]:
    return {n.pitch % 12 for n in excerpt.notes if start <= n.onset_quarters < end}


def _join_missing(found: Sequence[PedalFault]) -> Iterator[PedalFault]:
    """Marks left out one after another are one fault."""
    run: PedalFault | None = None
    for fault in found:
        if fault.kind is PedalFaultKind.MISSING:
            run = PedalFault(fault.kind, run.first if run else fault.first, fault.last)
            continue
        if run:
            yield run
        run = None
        yield fault
    if run:
        yield run


# How long each key was held, and for how long its onset had to be.
#
# A key has to sound until its hand strikes again, or until its written length is over where that
# comes first: a long note below a moving voice is let go in many styles once its finger is wanted.
# Where a player is seen to hold such notes for as long as they are written, that is what is asked.
#
# Conventions
# -----------
# A hold is seconds from key down to key up. Its share is compared in logarithms, since half and
# double are alike, and never above the whole: to overlap is no opposite of letting go early.


SHORT = frozenset({NoteMark.STACCATO, NoteMark.STACCATISSIMO})
"""Marks of notes that are meant to be short."""
_STRETCH = (0.5, 1.25)
"""How far the time to the next onset stretches a written length: expressive tempo does, within a
quarter; a stop does not, after which a key of usual length would look short."""
_LEAST_HOLD_S = 0.03
"""A hold that was asked for is never less, because onsets of a rolled chord can coincide (own
choice)."""
_LEAST_HOLD_SHARE = 0.01
"""A share is never less: its logarithm is taken."""


@dataclass(frozen=True, slots=True)
class Hold:
    """One note and how it was held."""

    note: int
    hand: Hand
    written_s: float
    held_s: float
    struck_s: float = 0.0
    surprise: float = 0.0
    """Of what was let go early: how far below what was foretold, in standard deviations."""

    @property
    def share(self) -> float:
        """Held against written."""
        return self.held_s / self.written_s


class NextKey(Enum):
    """What comes after a key in its hand: it says how long pianists hold the key."""

    OTHER = 1
    """Another key: it can be held until then."""
    SAME = 2
    """The same key: it has to come up before it can be struck."""
    NOTHING = 3
    """Nothing in this window: it leads nowhere."""


@dataclass(frozen=True, slots=True)
class OnsetHold:
    """One hand's onset: the note of it that was kept for the largest share."""

    hold: Hold
    asked_s: float
    """How long it had to be held."""
    next_key: NextKey
    log_share: float
    """Natural logarithm of the share of that for which it was held, at most 0."""
    telling: bool = True
    """False where it says nothing, since it was meant to be short."""


class HandHolds:
    """One hand's holds, by onset."""

    def __init__(self, excerpt: Excerpt, own: Sequence[Hold]) -> None:
        rows: dict[int, list[Hold]] = {}
        for hold in own:
            rows.setdefault(excerpt.onset_numbers[hold.note], []).append(hold)
        self._excerpt = excerpt
        numbers = sorted(rows)
        self._onsets = [rows[number] for number in numbers]
        self._xs = [excerpt.onsets[number] for number in numbers]

    def may_be_brief(self, share: float) -> bool:
        """Whether any onset may have been held for less than this share of what was asked.

        True too often, but soon known: in most windows there is no such onset.
        """
        return any(
            min(hold.share for hold in onset) < share * _STRETCH[1] for onset in self._onsets
        )

    def is_brief_as_written(self, share: float) -> bool:
        """Whether any onset was held for less than this share of its written length."""
        return any(max(hold.share for hold in onset) < share for onset in self._onsets)

    @cached_property
    def until_next(self) -> list[OnsetHold]:
        """The onsets in order, each by the note of it that was kept the longest.

        An inner voice that is short alone is no lapse, so the others stand for it.
        """
        last = len(self._onsets) - 1
        return [
            self._measure_onset(*self._until(i))
            if i < last
            else self._measure_onset(NextKey.NOTHING, _ask_written(onset))
            for i, onset in enumerate(self._onsets)
        ]

    @cached_property
    def as_written(self) -> list[OnsetHold]:
        """The same where each was asked to be held for its written length."""
        return [
            self._measure_onset(before.next_key, _ask_written(onset))
            for before, onset in zip(self.until_next, self._onsets, strict=True)
        ]

    def _measure_onset(self, next_key: NextKey, asked: Sequence[tuple[Hold, float]]) -> OnsetHold:
        hold, asked_s = max(asked, key=lambda one: one[0].held_s / one[1])
        share = min(max(hold.held_s / asked_s, _LEAST_HOLD_SHARE), 1.0)
        short = bool(self._excerpt.notes[hold.note].marks & SHORT)
        return OnsetHold(hold, asked_s, next_key, log(share), telling=not short)

    def _until(self, i: int) -> tuple[NextKey, list[tuple[Hold, float]]]:
        """What was asked of the keys of an onset that another follows.

        Of those that are struck again nothing is said where the others can tell.
        """
        onset, after, apart = self._onsets[i], self._onsets[i + 1], self._xs[i + 1] - self._xs[i]
        notes = self._excerpt.notes
        again = [notes[hold.note].pitch for hold in after]
        free = [hold for hold in onset if notes[hold.note].pitch not in again]
        until_s = min([hold.struck_s for hold in after]) - max([hold.struck_s for hold in onset])
        out = []
        for hold in free or onset:
            at_tempo_s = apart * hold.written_s / float(notes[hold.note].length_quarters)
            stretch = min(max(until_s / at_tempo_s, _STRETCH[0]), _STRETCH[1])
            out.append((hold, max(min(until_s, stretch * hold.written_s), _LEAST_HOLD_S)))
        return NextKey.OTHER if free else NextKey.SAME, out


def _ask_written(onset: Sequence[Hold]) -> list[tuple[Hold, float]]:
    return [(hold, hold.written_s) for hold in onset]


# Keys let go far too early, by how this player holds the other notes.
#
# What a hold should be is foretold from what is known: how pianists hold notes at all, how the
# other hand holds its own, and how this hand holds those of like length. The fewer of these there
# are, the less is foretold, and the less surprises. What of its like was held longer than usual
# foretells nothing of letting go: the spread is taken from those below the middle.
#
# Conventions
# -----------
# Shares are of what was asked, in natural logarithms.
#
# How long keys were held: let go early, gaps under a slur, staccato held on, and loudness.
#
# Conventions
# -----------
# A hold is the time that a key was down as a share of the written length at the tempo found.


_LIKE = 3.0
"""Notes are alike in length within this factor (an eighth tells of quarters and sixteenths), or,
where these are too few, however long."""
_LEAST_LIKE = 3
"""Of fewer alike notes none tells how long the others are held: own choice, since two may both be
lapses."""
_NEAR = 48
"""How many onsets to each side tell of a hold: more say nothing new, and a take is judged in time
that grows with it."""
_LEAST_ASKED_S = 0.06
"""Where less was asked nothing is said. Own choice: twice the 30 ms and more by which a pianist's
own releases vary."""
_USUAL, _USUAL_SPREAD = log(0.75), 0.35
"""Nothing else known, a hand holds its keys for three quarters of what is asked, and two hands in
three for 53 % and more (our own choice: between portato and legato)."""
_OTHER_SPREAD = 0.3
"""How far the hands are apart in this, in log share, where the other one has many notes (own
choice)."""
_OTHER_WEIGHT = 2
"""...and as many notes as are needed for half of that certainty (own choice)."""
_BOTH_SIDES = 2
"""Squares are summed below the middle alone, since a key let go early is looked for; a spread has
two sides."""
_SPREAD, _SPREAD_S, _SPREAD_WEIGHT = 0.25, 0.045, 8
"""How much one hand's holds vary before any is seen: this share of them, and so many seconds of
release, which are much of a sixteenth and little of a half note; and for how many seen ones that
stands (our own choice)."""
_OUTLYING = 2.0
"""One that is further below than this many standard deviations counts no more than so far: else a
second lapse would hide the first."""
_AS_ONWARD = {NextKey.OTHER: 0.0, NextKey.SAME: 0.4, NextKey.NOTHING: 0.15}
"""How much more they vary, in log share, where the key has to come up to be struck again (in the
recorded performance at hand half of 19 such keys are up after 24 %) and no three others like it
show how this player does it; and where the hand has nothing more to play and may go."""
_LEAST_BEFORE = 2
"""Earlier repetitions that show how a player holds a key: own choice, since one repetition alone
makes a lapse of what is meant, in every third window of professionals."""
_FAR_LONGER = log(1.6)
"""...where each of them held it longer by so much (own choice: professionals' own holds of the same
note differ by less)."""
_FIRM = log(0.4)
"""A hold of more than this share is no short one. Own choice: below half, which is staccato."""
_LEAST_FIRM = 2
"""Nothing is said where a hand holds fewer of its other notes (or not the only one) for longer
than that, or fewer than it let go: a bass of short notes is common, and no editor marks it."""
_EACH = 1.0
"""Every key of a lapse is at least this far below what was foretold, in standard deviations (own
choice: five of six keys lie above that by chance)."""
_MOST = 3
"""Keys of one lapse. Own choice: a longer row of short ones is a way of playing."""


class _Proof(NamedTuple):
    """What it takes to say that a key was let go early."""

    unlike: float
    """Standard deviations below what was foretold; one more where the hand has a single other."""
    like: int = 0
    """Notes of about its length in the same hand."""


_BY_THE_NEXT = _Proof(4.0)
"""The z limit of 3.5 (Iglewicz & Hoaglin 1993) and a margin, since a window has many notes of
which any may be short by chance."""
_BY_THE_PAGE = _Proof(5.0, 5)
"""More, where it did sound until the next key and was only not held on as its like are (own
choice)."""


def let_go_early(excerpt: Excerpt, found: Sequence[Hold], tolerance: Tolerance) -> tuple[Hold, ...]:
    """Onsets at which a hand let go of everything far earlier than is to be expected of it.

    Of each the note that was held the longest: an inner voice that is short alone is no lapse.
    Little is said of a hand that plays detached or mixes long and short.
    """
    right, left = (HandHolds(excerpt, [h for h in found if h.hand is hand]) for hand in Hand)
    return (*_of_hand(right, left, tolerance), *_of_hand(left, right, tolerance))


def _of_hand(own: HandHolds, other: HandHolds, tolerance: Tolerance) -> Iterator[Hold]:
    """The lapses of one hand, beside the other one."""
    if not own.may_be_brief(tolerance.release_share):
        return
    told = list(_lapses(own.until_next, other.until_next, tolerance, _BY_THE_NEXT))
    if not told and own.is_brief_as_written(tolerance.release_share):
        told = list(_lapses(own.as_written, other.as_written, tolerance, _BY_THE_PAGE))
    yield from told


def _manner(others: Sequence[OnsetHold]) -> tuple[float, float]:
    """What the other hand lets expect of this one: the log share, and how sure (1 / variance)."""
    usual = 1 / _USUAL_SPREAD**2
    told = [one.log_share for one in others if one.next_key is NextKey.OTHER]
    if not told:
        return _USUAL, usual
    sure = len(told) / (len(told) + _OTHER_WEIGHT) / _OTHER_SPREAD**2
    return (usual * _USUAL + sure * median(told)) / (usual + sure), usual + sure


def _lapses(
    own: Sequence[OnsetHold], others: Sequence[OnsetHold], tolerance: Tolerance, proof: _Proof
) -> Iterator[Hold]:
    """Runs of a few brief holds that surprise."""
    least = log(tolerance.release_share)
    brief = [one.telling and one.log_share < least and one.asked_s > _LEAST_ASKED_S for one in own]
    if not any(brief):
        return
    manner = _manner(others)
    for is_run, row in groupby(range(len(own)), key=brief.__getitem__):
        run = list(row)
        if is_run and len(run) <= _MOST:
            rated = ((_surprise(own, part, manner, proof), part) for part in _parts(run))
            surprise, part = max(rated, key=lambda one: one[0])
            if surprise > 0:
                yield from (replace(own[i].hold, surprise=surprise) for i in part)


def _parts(run: Sequence[int]) -> Iterator[range]:
    """Every stretch of a run."""
    for first in run:
        for last in range(first, run[-1] + 1):
            yield range(first, last + 1)


def _surprise(
    own: Sequence[OnsetHold], run: range, manner: tuple[float, float], proof: _Proof
) -> float:
    """How far below what the others foretell, in standard deviations of independent notes.

    0 where that may be chance.
    """
    near = [*own[max(run.start - _NEAR, 0) : run.start], *own[run.stop : run.stop + _NEAR]]
    others = [one for one in near if one.telling]
    held = sum(other.log_share > _FIRM for other in others)
    if held < max(min(_LEAST_FIRM, len(others)), len(run)):
        return 0.0
    if any(len(_like(own[i], others)) < proof.like for i in run):
        return 0.0
    below = [_below(own[i], others, manner) for i in run]
    surprise = sum(below) / sqrt(len(run)) if min(below) > _EACH else 0.0
    few = 1.0 if held < _LEAST_FIRM else 0.0
    return surprise if surprise > proof.unlike + few else 0.0


def _below(one: OnsetHold, others: Sequence[OnsetHold], manner: tuple[float, float]) -> float:
    """One hold against its posterior predictive, from its hand's like notes and the manner."""
    alike = [other for other in others if other.next_key is one.next_key]
    known = one.next_key is NextKey.SAME and len(alike) >= _LEAST_LIKE
    if one.next_key is NextKey.NOTHING or (one.next_key is NextKey.SAME and not known):
        alike = list(others)
    like = _like(one, alike or others)
    if len(like) < _LEAST_LIKE:
        like = [other.log_share for other in alike or others]
    usual, sure = manner
    variance = _SPREAD**2 + (_SPREAD_S / one.asked_s) ** 2
    if like:
        middle = median(like)
        most = _OUTLYING * sqrt(variance)
        squares = _BOTH_SIDES * sum(min(max(middle - share, 0.0), most) ** 2 for share in like)
        variance = (squares + _SPREAD_WEIGHT * variance) / (len(like) + _SPREAD_WEIGHT)
        told = len(like) / variance
        usual, sure = (told * middle + sure * usual) / (told + sure), told + sure
    more = 0.0 if known else _AS_ONWARD[one.next_key]
    return (usual - one.log_share) / sqrt(variance + 1 / sure + more**2)


def _like(one: OnsetHold, others: Sequence[OnsetHold]) -> list[float]:
    """How the hand holds its notes of which about as much is asked."""
    least, most = one.asked_s / _LIKE, one.asked_s * _LIKE
    return [other.log_share for other in others if least < other.asked_s < most]


_SLUR = frozenset({NoteMark.UNDER_SLUR, NoteMark.SLUR_START})


@dataclass(frozen=True, slots=True)
class Shape:
    """What of articulation and balance is not as written."""

    let_go: tuple[Hold, ...] = ()
    """Released far earlier than the same hand's other notes."""
    gaps: tuple[Hold, ...] = ()
    """Not joined to the next note under a slur."""
    held_on: tuple[Hold, ...] = ()
    """Staccato notes that were not short."""
    left_louder_by: float = 0.0
    """Mean MIDI velocity of the left hand over the right's; 0 where one hand plays."""
    shares: tuple[HeldShare, ...] = ()
    """How each hand held each of its onsets."""


def holds(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[Hold, ...]:
    """How long each right key was held."""
    quarter_s = 60 / (timing.qpm or excerpt.qpm)
    out = []
    for label in matching.score:
        note = excerpt.notes[label.note]
        if label.label is not Label.MATCHED or label.played is None or not note.length_quarters:
            continue
        if label.note in excerpt.same_key:
            continue
        key = played[label.played]
        if key.length_s is not None and not note.is_free:
            written_s = float(note.length_quarters) * quarter_s
            out.append(Hold(label.note, note.hand, written_s, key.length_s, key.onset_s))
    return tuple(out)


def shape(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    timing: Timing,
    tolerance: Tolerance,
    habits: Habits | None = None,
    pedals: Sequence[PedalMove] | None = None,
) -> Shape:
    """Articulation and balance against what is written, and what the player did before.

    A key that the pedal holds counts as held; staccato is a matter of the key alone.
    """
    keys = holds(excerpt, played, matching, timing)
    found = _hold_by_pedal(keys, list_pedal_downs(pedals)) if pedals else keys
    shares = _list_shares(excerpt, found)
    let_go: tuple[Hold, ...] = ()
    if habits is not None and habits.holds:
        lapses = let_go_early(excerpt, found, tolerance)
        let_go = tuple(hold for hold in lapses if _held_before(excerpt, hold, shares, habits))
    return Shape(
        let_go,
        tuple(_gaps(excerpt, played, matching, found, tolerance)),
        tuple(_find_held_on(excerpt, keys, tolerance)),
        _compare_loudness(excerpt, played, matching),
        shares,
    )


def _hold_by_pedal(keys: Sequence[Hold], downs: Sequence[PedalDown]) -> tuple[Hold, ...]:
    """The same as they sounded on."""
    return tuple(
        replace(hold, held_s=until_damped_s(hold.struck_s + hold.held_s, downs) - hold.struck_s)
        for hold in keys
    )


def _list_shares(excerpt: Excerpt, found: Sequence[Hold]) -> tuple[HeldShare, ...]:
    """For each onset of each hand the share of its key that was held the longest."""
    longest: dict[tuple[Fraction, Hand], float] = {}
    for hold in found:
        at = excerpt.notes[hold.note].onset_quarters, hold.hand
        longest[at] = max(longest.get(at, _LEAST_HOLD_SHARE), min(hold.share, 1.0))
    return tuple(HeldShare(*at, log(share)) for at, share in longest.items())


def _held_before(excerpt: Excerpt, hold: Hold, shares: Sequence[HeldShare], habits: Habits) -> bool:
    """Whether this player has always held this onset far longer: else it may be how it is meant."""
    at = excerpt.notes[hold.note].onset_quarters, hold.hand
    earlier = habits.holds.get(at, ())
    now = next((one.log_share for one in shares if (one.onset_quarters, one.hand) == at), 0.0)
    return len(earlier) >= _LEAST_BEFORE and min(earlier) > now + _FAR_LONGER


def _gaps(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    found: Sequence[Hold],
    tolerance: Tolerance,
) -> Iterator[Hold]:
    marks = [(hold, excerpt.notes[hold.note].marks) for hold in found]
    slurred = [hold for hold, own in marks if own & _SLUR and not own & SHORT]
    onsets = _hand_onsets(excerpt, played, matching) if slurred else {}
    for hold in slurred:
        note = excerpt.notes[hold.note]
        following = onsets.get((note.hand, note.end_quarters))
        struck = onsets.get((note.hand, note.onset_quarters))
        if following is None or struck is None:
            continue
        silence_s = following - struck - hold.held_s
        if silence_s > max(tolerance.late_floor_ms / 1000, tolerance.gap_share * hold.written_s):
            yield hold


def _find_held_on(excerpt: Excerpt, found: Sequence[Hold], tolerance: Tolerance) -> Iterator[Hold]:
    for hold in found:
        marks = excerpt.notes[hold.note].marks
        if marks & SHORT and not marks & _SLUR and hold.share > tolerance.staccato_share:
            yield hold


def _hand_onsets(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> dict[tuple[Hand, object], float]:
    out: dict[tuple[Hand, object], float] = {}
    for label in matching.score:
        if label.played is not None and label.label is not Label.MISSED:
            note = excerpt.notes[label.note]
            key = (note.hand, note.onset_quarters)
            at = played[label.played].onset_s
            out[key] = min(at, out.get(key, at))
    return out


def _compare_loudness(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> float:
    loud: dict[Hand, list[int]] = {Hand.RIGHT: [], Hand.LEFT: []}
    for label in matching.score:
        if label.played is not None and label.label is Label.MATCHED:
            loud[excerpt.notes[label.note].hand].append(played[label.played].velocity)
    if not all(loud.values()):
        return 0.0
    return fmean(loud[Hand.LEFT]) - fmean(loud[Hand.RIGHT])


# Loudness against its marks.

_LEVELS = ("ppp", "pp", "p", "mp", "mf", "f", "ff", "fff")
_LEAST_STEPS = 2
"""Marks nearer than this (p and mp) differ by too little to ask for: own choice."""
_LEAST_CONTRAST = 5.0
"""Velocities by which the middle of what stands under one mark must differ from that under the
other. Own choice: half of the 9 or so by which a pianist's single notes scatter; p and f are
some 20 to 30 apart."""
_LEAST_NOTES = 3
"""Fewer notes under a mark show no loudness of their own: own choice."""
_LEAST_RISE = 4.0
"""Velocities by which a hairpin must rise or sink from its beginning to its end. Own choice, less
than between two marks, since it is to be heard as a way and not as a step."""
_HAIRPIN_DOUBT = 1.0
"""...with so many standard errors in the player's favour, for single notes scatter by 9 or so, and
few onsets show no line. Own choice: of marked hairpins that were played one in eight is told
without it, one in eighteen with it; of those played the other way nine in ten still are
(``scripts/bench_shape.py``, 279 windows)."""
_LEAST_ONSETS = 4
"""Through fewer onsets no line is drawn: own choice."""


@dataclass(frozen=True, slots=True)
class NoContrast:
    """A dynamic that was not heard, from its onset on."""

    onset_quarters: Fraction
    mark: str
    louder: bool
    """Whether it asked for more than the one before."""


@dataclass(frozen=True, slots=True)
class NoHairpin:
    """A hairpin that was not heard."""

    first_quarters: Fraction
    last_quarters: Fraction
    louder: bool


@dataclass(frozen=True, slots=True)
class Loudness:
    """What of the loudness is not as marked."""

    contrasts: tuple[NoContrast, ...] = ()
    hairpins: tuple[NoHairpin, ...] = ()


def measure_loudness(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> Loudness:
    """The marks that were not heard; nothing where none stands in the window."""
    if not excerpt.directions and not excerpt.lines:
        return Loudness()
    strokes = [
        (excerpt.notes[label.note].onset_quarters, played[label.played].velocity)
        for label in matching.score
        if label.label is Label.MATCHED and label.played is not None
    ]
    return Loudness(
        tuple(_find_missing_contrasts(excerpt, strokes)),
        tuple(_find_missing_hairpins(excerpt, strokes)),
    )


def _find_missing_contrasts(
    excerpt: Excerpt, strokes: Sequence[tuple[Fraction, int]]
) -> Iterator[NoContrast]:
    marks = {d.onset_quarters: d.text for d in excerpt.directions if d.text in _LEVELS}
    places = sorted(marks)
    swelling = [line for line in excerpt.lines if line.kind is not LineKind.PEDAL]
    under: list[list[int]] = [[] for _ in places]
    for onset, velocity in strokes:
        k = sum(place <= onset for place in places) - 1
        if k >= 0 and not any(h.start_quarters <= onset < h.end_quarters for h in swelling):
            under[k].append(velocity)
    for k in range(1, len(places)):
        steps = _LEVELS.index(marks[places[k]]) - _LEVELS.index(marks[places[k - 1]])
        if abs(steps) < _LEAST_STEPS or min(len(under[k - 1]), len(under[k])) < _LEAST_NOTES:
            continue
        more = median(under[k]) - median(under[k - 1])
        if (more if steps > 0 else -more) < _LEAST_CONTRAST:
            yield NoContrast(places[k], marks[places[k]], steps > 0)


def _find_missing_hairpins(
    excerpt: Excerpt, strokes: Sequence[tuple[Fraction, int]]
) -> Iterator[NoHairpin]:
    for line in excerpt.lines:
        if line.kind is LineKind.PEDAL:
            continue
        own: dict[Fraction, list[int]] = {}
        for onset, velocity in strokes:
            if line.start_quarters <= onset <= line.end_quarters:
                own.setdefault(onset, []).append(velocity)
        if len(own) < _LEAST_ONSETS:
            continue
        louder = line.kind is LineKind.CRESCENDO
        onsets = sorted(own)
        rise, error = _measure_rise([float(x) for x in onsets], [fmean(own[x]) for x in onsets])
        if (rise if louder else -rise) + _HAIRPIN_DOUBT * error < _LEAST_RISE:
            yield NoHairpin(onsets[0], onsets[-1], louder)


def _measure_rise(xs: Sequence[float], values: Sequence[float]) -> tuple[float, float]:
    """How much a least squares line rises from the first place to the last; its standard error."""
    middle, mean, span = fmean(xs), fmean(values), xs[-1] - xs[0]
    spread = sum((x - middle) ** 2 for x in xs)
    slope = sum((x - middle) * (v - mean) for x, v in zip(xs, values, strict=True)) / spread
    left = sum((v - mean - slope * (x - middle)) ** 2 for x, v in zip(xs, values, strict=True))
    return slope * span, sqrt(left / (len(xs) - 2) / spread) * span
