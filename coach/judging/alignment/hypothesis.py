"""A hypothesis of the beam search, where both hands are in the score, and its labels for the keys.

In terms of a hidden Markov model: the hidden state is where each hand is and how fast it plays, a
struck key is an observation, and back-pointers hold the path that led here. Traceback reads them
as labels, one for each key. While the pianist plays, the likeliest hypothesis mostly grows by one
step: then only that step is read, and the labels are kept up to date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import chain, pairwise
from operator import attrgetter
from typing import NamedTuple

from coach.judging.alignment.score_arrays import ScoreArrays
from coach.judging.model import Label
from coach.playing.notes import PlayedNote

NEVER = float("-inf")
"""A time before all others: it has not happened."""


class StepKind(IntEnum):
    """What a step of a hypothesis says of a key."""

    MATCH = 0
    WRONG = 1
    EXTRA = 2
    JUMP = 3
    """No key: back to the onset whose first note is the step's note."""
    FREE = 4
    """One more key of an ornament that is played freely."""


@dataclass(frozen=True, slots=True)
class StruckKey:
    """A key struck, in the decoder's own time, in which the take's tempo is always the same."""

    number: int
    """Which key of the take."""
    pitch: int
    at_s: float
    is_soft: bool
    """Soft and short: perhaps only brushed."""


class BackPointer(NamedTuple):
    """One step of a hypothesis, and the step before it."""

    previous: BackPointer | None
    key: int
    """Index of the key in the take."""
    kind: StepKind
    note: int
    """Index of the note; -1: none."""


@dataclass(slots=True, eq=False)
class Hypothesis:
    """Where the hands are, by their own clocks; never changed once made."""

    cost: float
    done: int
    """Bit i is set where note i has been played since the last jump back."""
    right: int
    """Furthest onset that the right hand has reached."""
    left: int
    right_s: float
    """When the right hand reached it; never: it has not played."""
    left_s: float
    right_beat: float
    left_beat: float
    period_s: float
    """Seconds in a beat."""
    right_off: int
    """How many semitones off the right hand's last key was; 0: right."""
    left_off: int
    extra_pitch: int
    """Pitch of the last key too many, and when it went down."""
    extra_s: float
    last_s: float
    """When the last key that was not too many went down."""
    step: BackPointer | None
    gap: int = 0
    """The last skip: from this onset up to that one, which was played, all was left out."""
    gap_end: int = 0

    @property
    def front(self) -> int:
        """Furthest onset that either hand has reached."""
        return max(self.right, self.left)


def initial(period_s: float) -> Hypothesis:
    """Nothing played yet."""
    return Hypothesis(
        0.0, 0, 0, 0, NEVER, NEVER, 0.0, 0.0, period_s, 0, 0, 0, NEVER, NEVER, None
    )  # fmt: skip


def collect_steps(hypothesis: Hypothesis) -> list[BackPointer]:
    """All steps of a hypothesis, the last one first."""
    steps = []
    step = hypothesis.step
    while step is not None:
        steps.append(step)
        step = step.previous
    return steps


# The cells of the beam: of each place that the hands may have come to, the best few hypotheses.
#
# Hypotheses that have come to the same place with the same notes played are merged, as in the
# Viterbi algorithm (Forney 1973): only the cheaper one can win.


MOST_IN_CELL = 6
"""Hypotheses in one cell. Own choice, because a chord with a wrong key has four, each perhaps at
two times; more would crowd out the other cells."""

_cost = attrgetter("cost")


class BeamCells:
    """Hypotheses by how far each hand has come; asked before a hypothesis is made at all."""

    def __init__(self) -> None:
        self.cells: dict[tuple[int, int], list[Hypothesis]] = {}
        """By the onsets that the right hand and the left have reached; the cheapest first."""

    def wants(self, right: int, left: int, done: int, last_s: float, cost: float) -> bool:
        """Whether a hypothesis would be kept in its cell.

        Two that have played the same notes are still not one where their clocks differ: of a key
        struck twice either may be the note, and only what follows tells which.
        """
        cell = self.cells.get((right, left))
        if cell is None:
            return True
        for old in cell:
            if old.done == done and old.last_s == last_s:
                return cost < old.cost
        return len(cell) < MOST_IN_CELL or cost < cell[-1].cost

    def keep(self, new: Hypothesis) -> None:
        """Put in a hypothesis that is wanted, in place of what it is better than."""
        where = new.right, new.left
        cell = self.cells.get(where)
        if cell is None:
            self.cells[where] = [new]
            return
        for rank, old in enumerate(cell):
            if old.done == new.done and old.last_s == new.last_s:
                cell[rank] = new
                break
        else:
            if len(cell) < MOST_IN_CELL:
                cell.append(new)
            else:
                cell[-1] = new
        if len(cell) > 1:
            cell.sort(key=_cost)

    def put(self, new: Hypothesis) -> None:
        """Put in a hypothesis where it is wanted."""
        if self.wants(new.right, new.left, new.done, new.last_s, new.cost):
            self.keep(new)

    def list_all(self) -> list[Hypothesis]:
        """All hypotheses of all cells."""
        return [*chain.from_iterable(self.cells.values())]


# Traceback: the back-pointers of a hypothesis read as labels.

STEPS_OF_A_KEY = 2
"""One key makes no more steps than this: a jump back, and the key."""

Labels = list[tuple[Label, int]]
"""Label and note (-1: none) of each key in order."""


class Trace:
    """Labels of the keys so far, under the hypothesis followed last."""

    def __init__(self, score: ScoreArrays) -> None:
        self.score = score
        self.clear()

    def clear(self) -> None:
        """Forget all."""
        self.keys: Labels = []
        self.current: dict[int, int] = {}
        """The key that counts for each note."""
        self.changed: set[int] = set()
        """Notes whose key or label may have changed since this was last emptied."""
        self.pass_key = 0
        """The first key since the last jump back."""
        self.pass_note = 0
        """The first note of the onset jumped back to."""
        self.left_at = -1
        """The furthest onset reached before that jump."""
        self._step: BackPointer | None = None

    def follow(self, hypothesis: Hypothesis) -> None:
        """Take over a hypothesis: its new steps, or all of it where the past has changed."""
        steps: list[BackPointer] = []
        step, known = hypothesis.step, self._step
        while step is not None and step is not known and len(steps) <= STEPS_OF_A_KEY:
            steps.append(step)
            step = step.previous
        if step is not known:
            self._start_over()
            steps = collect_steps(hypothesis)
        self._step = hypothesis.step
        for step in reversed(steps):
            self._add_step(step)

    def _start_over(self) -> None:
        changed = self.changed | set(self.current)
        self.clear()
        self.changed = changed

    def _add_step(self, step: BackPointer) -> None:
        _, index, kind, target = step
        if kind is StepKind.JUMP:
            self._jump_back(index, target)
            return
        if kind is StepKind.EXTRA:
            self.keys.append((Label.EXTRA, -1))
            return
        self.keys.append((Label.WRONG if kind is StepKind.WRONG else Label.MATCHED, target))
        if kind is not StepKind.FREE:
            self.current[target] = index
            self.changed.add(target)

    def _jump_back(self, index: int, target: int) -> None:
        """The aborted notes are repeated, its wrong keys too many."""
        onset = self.score.onset
        self.left_at = max((onset[n] for n in self.current), default=-1)
        self.pass_key, self.pass_note = index, target
        for note in [n for n in self.current if n >= target]:
            key = self.current.pop(note)
            self.changed.add(note)
            wrong = self.keys[key][0] is Label.WRONG
            self.keys[key] = (Label.EXTRA, -1) if wrong else (Label.REPEATED, note)


def read_labels(score: ScoreArrays, hypothesis: Hypothesis) -> Labels:
    """What a hypothesis says of each key."""
    trace = Trace(score)
    trace.follow(hypothesis)
    return trace.keys


# Ambiguity: where another hypothesis explains the same playing about as well, it is said.


UNSURE_BELOW = 1.5
"""Two hypotheses whose costs differ by less are about equally good, in nats. Own
choice, because it is 4.5 to 1 at most: nobody should be told of a mistake at such odds."""
CLOSED_UP = 0.75
"""Time has closed up over a gap that went by faster than the one before it, by this
factor. Own choice, because over a gap that was waited through it would be about 1."""
SAME_BEATS = 0.01
"""Gaps that differ by less are equal, as reckoned in floating point."""


def find_doubtful(
    score: ScoreArrays, take: Sequence[PlayedNote], hypotheses: list[tuple[float, Hypothesis]],
    labels: Labels,
) -> frozenset[int]:  # fmt: skip
    """The notes of which another hypothesis, about as good, says something else."""
    best = hypotheses[0][0]
    doubtful = _among_equals(score, take, labels)
    for cost, other in hypotheses[1:]:
        if cost - best < UNSURE_BELOW:
            for one, another in zip(labels, read_labels(score, other), strict=True):
                if one != another:
                    doubtful.update((one[1], another[1]))
    return frozenset(doubtful - {-1})


def _among_equals(score: ScoreArrays, take: Sequence[PlayedNote], labels: Labels) -> set[int]:
    """The notes skipped, and those around them, that could as well be an onset before or after.

    Of equal chords in equal time, one was left out and time closed up: nobody can hear which.
    """
    when: dict[int, float] = {}
    for (_, note), key in zip(labels, take, strict=True):
        if note >= 0:
            when[score.onset[note]] = key.onset_s
    played = sorted(when)
    alike: set[int] = set()
    for at, (before, after) in enumerate(pairwise(played)):
        if after - before > 1 and (
            _are_alike(score, before, after - 1) or _are_alike(score, before + 1, after)
        ):
            pace = _beat_period(score, when, *played[at - 1 : at + 1]) if at else 0.0
            if _beat_period(score, when, before, after) < CLOSED_UP * pace:
                alike.update(range(score.first[before], score.first[after + 1]))
    return alike


def _are_alike(score: ScoreArrays, one: int, other: int) -> bool:
    """Whether two onsets have the same notes, and the same time after the onset before."""
    if one == 0:
        return False
    notes = [
        [(score.pitch[n], score.hand[n]) for n in range(score.first[at], score.first[at + 1])]
        for at in (one, other)
    ]
    gaps = [score.beat[at] - score.beat[at - 1] for at in (one, other)]
    return notes[0] == notes[1] and abs(gaps[0] - gaps[1]) < SAME_BEATS


def _beat_period(score: ScoreArrays, when: dict[int, float], before: int, after: int) -> float:
    """Seconds in a beat between two onsets played."""
    return (when[after] - when[before]) / (score.beat[after] - score.beat[before])
