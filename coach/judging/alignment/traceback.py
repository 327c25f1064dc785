"""A reading told as labels: what each key was, kept up to date as the reading grows."""

from __future__ import annotations

from coach.judging.alignment.hypothesis import Kind, Reading, Step
from coach.judging.alignment.score_arrays import Layout
from coach.judging.model import Label


class Trace:
    """Labels of the keys heard so far, under the reading followed last."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.clear()

    def clear(self) -> None:
        """Forget all."""
        self.keys: list[tuple[Label, int]] = []
        """Label and note (-1: none) of each key."""
        self.current: dict[int, int] = {}
        """The key that counts for each note."""
        self.changed: set[int] = set()
        """Notes whose key or label may have changed since this was last emptied."""
        self.pass_key = 0
        """The first key since the last jump back."""
        self.pass_note = 0
        """The first note of the place jumped back to."""
        self.left_at = -1
        """The furthest onset reached before that jump."""
        self._step: Step | None = None

    def follow(self, reading: Reading) -> None:
        """Take over a reading: its new steps, or all of it where the past has changed."""
        steps: list[Step] = []
        step, known = reading.step, self._step
        while step is not None and step is not known and len(steps) < 3:
            steps.append(step)
            step = step[0]
        if step is not known:
            self._start_over()
            steps = _all(reading.step)
        self._step = reading.step
        for step in reversed(steps):
            self._take(step)

    def _start_over(self) -> None:
        changed = self.changed | set(self.current)
        self.clear()
        self.changed = changed

    def _take(self, step: Step) -> None:
        _, index, kind, target = step
        if kind is Kind.JUMP:
            self._jump(index, target)
            return
        if kind is Kind.EXTRA:
            self.keys.append((Label.EXTRA, -1))
            return
        self.keys.append((Label.WRONG if kind is Kind.WRONG else Label.MATCHED, target))
        if kind is not Kind.FREE:
            self.current[target] = index
            self.changed.add(target)

    def _jump(self, index: int, target: int) -> None:
        """The aborted notes are repeated, its wrong keys too many."""
        onset = self.layout.onset
        self.left_at = max((onset[n] for n in self.current), default=-1)
        self.pass_key, self.pass_note = index, target
        for note in [n for n in self.current if n >= target]:
            key = self.current.pop(note)
            self.changed.add(note)
            wrong = self.keys[key][0] is Label.WRONG
            self.keys[key] = (Label.EXTRA, -1) if wrong else (Label.REPEATED, note)


def _all(step: Step | None) -> list[Step]:
    out = []
    while step is not None:
        out.append(step)
        step = step[0]
    return out
