"""The coach's sentences: plain words for a person at the piano."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from coach.coaching.facts import Kind, Request
from coach.coaching.tally import Move
from coach.judging.facts import Outcome
from coach.score.model import Hands

HANDS = {
    Hands.RIGHT: "right hand alone",
    Hands.LEFT: "left hand alone",
    Hands.TOGETHER: "hands together",
}
_FAILED = {
    Outcome.WRONG: "wrong",
    Outcome.LATE: "late",
    Outcome.EARLY: "early",
    Outcome.UNEVEN: "uneven",
    Outcome.REPEATED: "stumbled",
}
NO_ONE_PLACE = "There is no one place: these are ordinary slips."
_AS_FAR_AS_IT_GOES = {
    Request.SMALLER: "This is as small as it gets.",
    Request.LARGER: "This is all that you set out to play.",
    Request.SLOWER: "It gets no slower than this.",
    Request.FASTER: "It gets no faster than this.",
    Request.OTHER_HAND: "Only this hand is in what you set out to play.",
    Request.NEXT: "There is nothing after this.",
    Request.NOT_THIS: "There is nothing else to play here.",
}
BREAK = (
    "You have played for {minutes} minutes: rest your hands for {rest}. "
    "If anything hurts, stop, and ask your teacher or a doctor."
)
ENOUGH = (
    "It holds. More of it now is up to you; a night's sleep and once more tomorrow do most for it."
)
"""Overlearning is offered, not forced: its gain is large after a week and mostly gone after nine
(Rohrer and others 2005, of verbal recall)."""
WIDE = (
    "That was many wide stretches. Do something else for a while; "
    "if it strains or hurts, stop, and ask your teacher or a doctor."
)


def evidence_words(moves: Sequence[Move], place: str, hands: Hands) -> str:
    """``4 of the last 5: late to beat 2, 0.3 to 0.6 s, LH``.

    Where none of the moves that are still known failed, that is said; empty where none is known.
    """
    failed = [move for move in moves if move.failed]
    whose = "together" if hands is Hands.TOGETHER else hands.value
    if not failed:
        return f"clean in the last {len(moves)}; it failed before that, {whose}" if moves else ""
    what = Counter(_FAILED[move.outcome] for move in failed).most_common(1)[0][0]
    return (
        f"{len(failed)} of the last {len(moves)}: {what}{_at(what, place)}{_size(failed)}, {whose}"
    )


def _at(what: str, place: str) -> str:
    return f" {'to' if what in ('late', 'early') else 'at'} {place}"


def _size(failed: Sequence[Move]) -> str:
    timed = sorted(
        abs(move.error_ms) / 1000
        for move in failed
        if move.error_ms is not None and move.outcome in (Outcome.LATE, Outcome.EARLY)
    )
    if not timed:
        return ""
    low, high = f"{timed[0]:.1f}", f"{timed[-1]:.1f}"
    return f", {low} s" if low == high else f", {low} to {high} s"


def tempo_words(qpm: float | None, beat_quarters: float) -> str:
    """``at 66``: a tempo in beats a minute, or the player's own pace."""
    return "at your own pace" if qpm is None else f"at {qpm / beat_quarters:.0f}"


def up_words(kind: Kind, tempo: str) -> str:
    """Why it gets quicker: a trial at the tempo asked for, or a step."""
    if kind is Kind.TRIAL:
        return "It holds: try it once at the tempo asked for."
    return f"It holds: {tempo}."


def down_words(tempo: str) -> str:
    """Why it gets slower; it stands there also when what follows is clean."""
    return f"{tempo[0].upper()}{tempo[1:]} until it holds."


def trial_failed_words(tempo: str) -> str:
    """Why a tempo that was tried is not asked for yet."""
    return f"Too soon: {tempo} until it holds."


def as_far_as_it_goes(request: Request, qpm: float | None) -> str:
    """Why a wish changes nothing, in place of a promise."""
    if qpm is None and request in (Request.SLOWER, Request.FASTER):
        return "Your own pace sets the tempo here."
    return _AS_FAR_AS_IT_GOES[request]


def times(count: int) -> str:
    """``once``, ``twice``, ``3 times``."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
