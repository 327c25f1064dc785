"""What a judgement says of each transition, as it is kept in the record and counted as evidence."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction

from coach.coaching.model import Observation
from coach.judging.model import Judgement, Outcome
from coach.judging.tolerance import USUAL
from coach.score.forms import WrittenForm
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt, Transition

ENDING_TIMES, ENDING_AFTER = 2, 2
"""A note ends a phrase that is so many times as long as each of so many before it. Own choice, as
the judgement of a hesitation has it: twice as long is the least that notation writes."""
LEAST_MS, HALF_MS = 180.0, 170.0
"""A hesitation that counts at all is longer than the first (the ear's own floor). Half of them are
longer than both together, half of the rest than as much again: an exponential tail. Own choice,
because short hesitations are the commoner."""

FAILED = frozenset({Outcome.WRONG, Outcome.LATE, Outcome.EARLY, Outcome.UNEVEN, Outcome.REPEATED})


def observe_transitions(judgement: Judgement, at_s: float) -> tuple[Observation, ...]:
    """What a judgement says of each transition of each hand, as it is kept in the record.

    Where the playing just stopped nothing failed: a stop tells something only where the player
    stopped before, and then it is a fault of the judgement's (``Cause.STOPPED_AGAIN``). In another
    form (dotted, in chords) the moves are other moves, and nothing is observed of these.
    """
    if judgement.excerpt.window.form is not WrittenForm.AS_WRITTEN:
        return ()
    at_fault = _onsets_at_fault(judgement)
    hears_late = shares_heard_late(judgement.excerpt, judgement.qpm)
    return tuple(
        Observation(
            at_s=at_s,
            transition=result.transition,
            onset_quarters=at_fault.get(
                (result.transition.hands, result.transition.to_quarters),
                result.transition.to_quarters,
            ),
            hands_played=judgement.excerpt.window.hands,
            outcome=result.outcome,
            qpm=judgement.qpm,
            error_ms=result.error_ms,
            hears_late=hears_late.get(result.transition, 1.0),
        )
        for result in judgement.transitions
    )


def _onsets_at_fault(judgement: Judgement) -> dict[tuple[Hands, Fraction], Fraction]:
    """The heaviest fault's onset in each transition, both hands' faults given to each hand."""
    out: dict[tuple[Hands, Fraction], Fraction] = {}
    for fault in judgement.faults:
        if not fault.forgiven:
            for hand in fault.hands.members:
                out.setdefault((Hands(hand), fault.transition.to_quarters), fault.onset_quarters)
    notes = judgement.excerpt.notes
    for result in judgement.transitions:
        if result.note is not None:
            key = (result.transition.hands, result.transition.to_quarters)
            out.setdefault(key, notes[result.note].onset_quarters)
    return out


def shares_heard_late(excerpt: Excerpt, qpm: float | None) -> dict[Transition, float]:
    """For each move, the share of the hesitations into it, heard with both hands, that would be
    heard here: the other hand's notes show the time, too."""
    onsets, arrivals = excerpt.onsets_quarters, excerpt.arrivals
    other = {note.onset_quarters for note in excerpt.other_hand}
    in_both = sorted(other.union(onsets)) if other else onsets
    quarter_ms = 60_000 / (qpm or excerpt.qpm)
    last: dict[tuple[int, Hand], int] = {}
    """The last onset that each hand arrives at on its way to each grid beat."""
    for note, number in zip(excerpt.notes, excerpt.onset_numbers, strict=True):
        last[arrivals[number], note.hand] = number
    arrived = {*last.values()}
    if len(in_both) > len(onsets):
        chance = {at: share_heard_late(onsets, in_both, at, quarter_ms) for at in arrived}
    else:  # all is heard that ever was, but nothing before the very first onset
        chance = {at: float(at > 0) for at in arrived}
    moves = zip(excerpt.moves, excerpt.transitions, strict=True)
    return {transition: chance[last[move]] for move, transition in moves}


def chance_to_hear_late(onsets: Sequence[Fraction], at: int, quarter_ms: float) -> float:
    """The chance that a hesitation before one of these onsets would be heard.

    The longer the interval, the more of it counts as the player's own timing, more still where a
    long note ends. The player's tempo and scatter are taken as known from before.
    """
    if at == 0:
        return 0.0
    interval = onsets[at] - onsets[at - 1]
    before = [onsets[i] - onsets[i - 1] for i in range(max(1, at - ENDING_AFTER), at)]
    ending = bool(before) and interval >= ENDING_TIMES * max(before)
    limit_ms = USUAL.hesitation_ms(float(interval) * quarter_ms, 0.0, ending=ending, known=True)
    return _chance_to_exceed(limit_ms)


def share_heard_late(
    onsets: Sequence[Fraction], in_all: Sequence[Fraction], at: int, quarter_ms: float
) -> float:
    """Of the hesitations that would be heard where all of these onsets are played, the share that
    is heard where only some of them are: what was never heard at all is nobody's evidence.

    Both are in order.
    """
    in_all_heard = chance_to_hear_late(in_all, bisect_left(in_all, onsets[at]), quarter_ms)
    heard = chance_to_hear_late(onsets, at, quarter_ms)
    return min(heard / in_all_heard, 1.0) if in_all_heard else 0.0


def _chance_to_exceed(limit_ms: float) -> float:
    chance: float = 0.5 ** (max(limit_ms - LEAST_MS, 0.0) / HALF_MS)
    return chance
