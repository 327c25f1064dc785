"""Traceback: the back-pointers of a hypothesis read as labels, one for each key.

While the pianist plays, the likeliest hypothesis mostly grows by one step: then only that step is
read, and the labels are kept up to date.
"""

from __future__ import annotations

from coach.judging.alignment.hypothesis import BackPointer, Hypothesis, StepKind, collect_steps
from coach.judging.alignment.score_arrays import ScoreArrays
from coach.judging.model import Label

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
