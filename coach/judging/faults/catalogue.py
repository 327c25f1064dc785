"""The one catalogue of faults: for each cause its family, its weight, its stages, its outcome.

A detector (``keys.py``, ``timing.py``, ``touch.py``) finds that something was not right and names
the cause. All that follows from the cause is looked up here: how much the fault matters, which
stages ask for it, and what it makes of the transition it lies in. What is said of it stands in
``judging/wording.py``.

Conventions
-----------
A weight is a number from 0 to 1 and sets the order in which faults are told. It is an ordering,
not a measurement: all weights are our own choice. The keys come before the time, because a wrong
note has to be put right before its rhythm can be; what broke the playing comes first of all; touch
comes last.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from coach.judging.model import Cause, Family, Fault, Outcome, Stage

_EVERY = tuple(Stage)


def _list_from(stage: Stage) -> tuple[Stage, ...]:
    """It and those after it: each stage asks for all that the ones before it ask."""
    return _EVERY[_EVERY.index(stage) :]


_FROM_RHYTHM, _FROM_PULSE = _list_from(Stage.RHYTHM), _list_from(Stage.PULSE)
_AT_A_TEMPO, _SHAPE = _list_from(Stage.TEMPO), _list_from(Stage.SHAPE)

_WRONG, _LATE, _EARLY = (Outcome.WRONG,), (Outcome.LATE,), (Outcome.EARLY,)
_UNEVEN, _REPEATED = (Outcome.UNEVEN,), (Outcome.REPEATED,)
_LATE_OR_EARLY = (Outcome.LATE, Outcome.EARLY)
_NONE: tuple[Outcome, ...] = ()


class Growth(Enum):
    """By what a fault weighs more than the least of its kind."""

    NOT = "fixed"
    BY_SIZE = "by size"
    """The later, the heavier."""
    BY_SURPRISE = "by surprise"
    """The surer, the heavier: of faults that are alike the surest is told first."""


@dataclass(frozen=True, slots=True)
class CauseRow:
    """What the catalogue knows of one cause."""

    family: Family
    weight: float
    """The least weight of such a fault."""
    stages: tuple[Stage, ...]
    """The stages that ask for it; at all others it is told and forgiven."""
    outcomes: tuple[Outcome, ...]
    """What it makes of its transition. Two: the first where it is late, else the second. None: it
    concerns the whole window and no transition of it."""
    growth: Growth = Growth.NOT
    doubtful: float | None = None
    """The weight in place of the usual one where it may be chance or meant."""
    explained: float | None = None
    """The weight in place of the usual one where a larger fault explains it."""


_DOUBTFUL = 0.35
"""What may be chance or meant. Own choice: less than all that is plain, so that it is told after
it."""
_EXPLAINED = 0.25
"""A lateness that comes of hands drifting or of a row being uneven: the cause of it is told
before it, however large it is. Own choice: the least of all weights of time."""

CATALOGUE: dict[Cause, CauseRow] = {
    # What broke the playing.
    Cause.RESTART: CauseRow(Family.REPEAT, 0.97, _EVERY, _REPEATED),
    Cause.STUMBLE: CauseRow(Family.REPEAT, 0.97, _EVERY, _REPEATED),
    Cause.SKIPPED_BEAT: CauseRow(Family.MISSING, 0.95, _EVERY, _WRONG),
    # The keys. A lapse of several notes comes before one of a single note.
    Cause.OCTAVE_SLIP: CauseRow(Family.PITCH, 0.92, _EVERY, _WRONG),
    Cause.SHIFTED_POSITION: CauseRow(Family.PITCH, 0.92, _EVERY, _WRONG),
    Cause.WRONG_KEY: CauseRow(Family.PITCH, 0.9, _EVERY, _WRONG),
    Cause.STRETCH_LEFT_OUT: CauseRow(Family.MISSING, 0.9, _EVERY, _WRONG),
    Cause.WRONG_ORDER: CauseRow(Family.PITCH, 0.9, _EVERY, _WRONG),
    Cause.CORRECTED_KEY: CauseRow(Family.PITCH, 0.89, _EVERY, _WRONG),
    Cause.MISSED_NOTE: CauseRow(Family.MISSING, 0.86, _EVERY, _WRONG),
    Cause.MISSED_IN_CHORD: CauseRow(Family.MISSING, 0.86, _EVERY, _WRONG),
    Cause.BRUSHED_KEY: CauseRow(Family.EXTRA, 0.84, _EVERY, _WRONG),
    # The time.
    Cause.STOPPED_AGAIN: CauseRow(Family.TIMING, 0.9, _FROM_RHYTHM, _LATE),
    Cause.HAND_DISPLACED: CauseRow(Family.TIMING, 0.72, _FROM_RHYTHM, _LATE_OR_EARLY),
    Cause.HANDS_DRIFT: CauseRow(Family.TIMING, 0.7, _FROM_RHYTHM, _LATE_OR_EARLY),
    Cause.WRONG_PROPORTIONS: CauseRow(Family.TIMING, 0.68, _FROM_RHYTHM, _UNEVEN),
    Cause.MISREAD_VALUE: CauseRow(
        Family.TIMING, 0.62, _FROM_RHYTHM, _LATE_OR_EARLY, Growth.BY_SURPRISE, explained=_EXPLAINED
    ),
    Cause.MISREAD_PACE: CauseRow(Family.TIMING, 0.69, _FROM_RHYTHM, _LATE_OR_EARLY),
    Cause.EARLY_ENTRY: CauseRow(
        Family.TIMING, 0.52, _FROM_RHYTHM, _EARLY, Growth.BY_SIZE, explained=_EXPLAINED
    ),
    Cause.LATE_ENTRY: CauseRow(
        Family.TIMING, 0.52, _FROM_RHYTHM, _LATE, Growth.BY_SIZE, explained=_EXPLAINED
    ),
    Cause.UNEVEN: CauseRow(
        Family.TIMING, 0.6, _FROM_RHYTHM, _UNEVEN, Growth.BY_SURPRISE, doubtful=_DOUBTFUL
    ),
    Cause.HESITATION: CauseRow(
        Family.TIMING, 0.55, _FROM_RHYTHM, _LATE_OR_EARLY, Growth.BY_SIZE, explained=_EXPLAINED
    ),
    Cause.BARLINE_WAIT: CauseRow(Family.TIMING, 0.58, _FROM_RHYTHM, _LATE),
    Cause.ONE_HAND_LATE: CauseRow(
        Family.TIMING, 0.5, _FROM_RHYTHM, _LATE, Growth.BY_SIZE, explained=_EXPLAINED
    ),
    Cause.ONE_HAND_EARLY: CauseRow(
        Family.TIMING, 0.5, _FROM_RHYTHM, _EARLY, Growth.BY_SIZE, explained=_EXPLAINED
    ),
    Cause.BEHIND_THE_CLICK: CauseRow(Family.TIMING, 0.5, _FROM_PULSE, _LATE, Growth.BY_SIZE),
    Cause.AHEAD_OF_THE_CLICK: CauseRow(Family.TIMING, 0.5, _FROM_PULSE, _EARLY, Growth.BY_SIZE),
    Cause.SPLIT_CHORD: CauseRow(Family.TIMING, 0.45, _FROM_RHYTHM, _LATE_OR_EARLY, Growth.BY_SIZE),
    # The tempo as a whole. The rhythm stage asks for the proportions, and an even rallentando
    # keeps them; from the pulse stage on the tempo is to hold.
    Cause.TEMPO_DRIFT: CauseRow(Family.TEMPO, 0.55, _FROM_RHYTHM, _NONE, doubtful=_DOUBTFUL),
    Cause.SLOWER_THAN_ASKED: CauseRow(Family.TEMPO, 0.5, _AT_A_TEMPO, _NONE),
    Cause.FASTER_THAN_ASKED: CauseRow(Family.TEMPO, 0.5, _AT_A_TEMPO, _NONE),
    Cause.SLOWING_DOWN: CauseRow(Family.TEMPO, 0.35, _FROM_PULSE, _NONE),
    # Touch.
    Cause.EARLY_RELEASE: CauseRow(Family.RELEASE, 0.36, _SHAPE, _UNEVEN, Growth.BY_SURPRISE),
    Cause.BROKEN_SLUR: CauseRow(Family.RELEASE, 0.3, _SHAPE, _UNEVEN),
    Cause.LATE_PEDAL: CauseRow(Family.RELEASE, 0.28, _SHAPE, _LATE),
    Cause.NO_PEDAL: CauseRow(Family.RELEASE, 0.28, _SHAPE, _UNEVEN),
    Cause.PEDAL_NOT_CHANGED: CauseRow(Family.RELEASE, 0.27, _SHAPE, _UNEVEN),
    Cause.HELD_ON: CauseRow(Family.RELEASE, 0.25, _SHAPE, _UNEVEN),
    # Loudness, last of all.
    Cause.NO_CONTRAST: CauseRow(Family.RELEASE, 0.22, _SHAPE, _UNEVEN),
    Cause.NO_HAIRPIN: CauseRow(Family.RELEASE, 0.2, _SHAPE, _UNEVEN),
}
"""Every cause, the heaviest of each group first."""

SCATTERED_WEIGHT = 0.55
"""Of a row whose notes scatter without a pattern: less than where long and short alternate, since
it says less of what to do."""
NOT_THE_NEWS = 0.45
"""At most this for being late where a key was wrong, missed or corrected: the key is the news. Own
choice: so that it is told after the key."""

_MOST_BY_SIZE = 0.3
"""A fault of the largest size weighs so much more than one of the smallest. Own choice: the worst
hesitation (0.55 + 0.3) stays below any fault of the keys but the brushed one."""
_LARGEST_S = 0.5
"""From this on a lateness is as heavy as it gets. Own choice: at 120 a minute it is a whole
beat."""
_MOST_BY_SURPRISE = 0.05
"""The surest of alike faults weighs so much more than the least sure: own choice, small, since it
is to order alike faults and not to lift one kind over another."""
_LEAST_SURPRISE = 3.0
"""Standard deviations: with this a fault weighs the least of its kind (own choice, the usual three
sigma; what is told at all has about so much and more)."""


def weigh(
    cause: Cause,
    *,
    size_s: float = 0.0,
    surprise: float = 0.0,
    doubtful: bool = False,
    explained: bool = False,
) -> float:
    """How much a fault matters, 0 to 1.

    ``size_s`` is how late or early it was, in seconds; ``surprise`` how sure it is, in standard
    deviations. They count where the catalogue says that the weight grows by them. ``doubtful`` and
    ``explained`` ask for the lesser weights.
    """
    entry = CATALOGUE[cause]
    least = entry.weight
    if doubtful and entry.doubtful is not None:
        least = entry.doubtful
    if explained and entry.explained is not None:
        least = entry.explained
    if entry.growth is Growth.BY_SIZE:
        return least + _MOST_BY_SIZE * min(1.0, abs(size_s) / _LARGEST_S)
    if entry.growth is Growth.BY_SURPRISE:
        more = 1 - _LEAST_SURPRISE / max(surprise, _LEAST_SURPRISE)
        return least + _MOST_BY_SURPRISE * more
    return least


def is_asked(cause: Cause, stage: Stage) -> bool:
    """Whether a stage asks for it: a fault that is not asked for is told and forgiven."""
    return stage in CATALOGUE[cause].stages


def outcome_of(fault: Fault) -> Outcome | None:
    """What a fault makes of the transitions that it lies in; None for one of the whole window."""
    outcomes = CATALOGUE[fault.cause].outcomes
    if not outcomes:
        return None
    return outcomes[0] if (fault.size_ms or 0) > 0 else outcomes[-1]


def as_markdown() -> str:
    """The catalogue as it stands in DEVELOPERS.md: a row for each cause, the heaviest first."""
    head = ["cause", "family", "weight", *Stage, "outcome"]
    rows = [_as_row(head), _as_row(["---"] * len(head))]
    for cause, entry in sorted(CATALOGUE.items(), key=lambda pair: -pair[1].weight):
        asked = ["asked" if is_asked(cause, stage) else "" for stage in Stage]
        outcome = " or ".join(entry.outcomes)
        rows.append(_as_row([cause, entry.family, _weight_words(entry), *asked, outcome]))
    return "\n".join(rows)


def _weight_words(entry: CauseRow) -> str:
    """``0.55 to 0.85 by size; 0.25 explained``."""
    words = f"{entry.weight:.2f}"
    if entry.growth is not Growth.NOT:
        most = _MOST_BY_SIZE if entry.growth is Growth.BY_SIZE else _MOST_BY_SURPRISE
        words += f" to {entry.weight + most:.2f} {entry.growth.value}"
    if entry.doubtful is not None:
        words += f"; {entry.doubtful:.2f} doubtful"
    if entry.explained is not None:
        words += f"; {entry.explained:.2f} explained"
    return words


def _as_row(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"
