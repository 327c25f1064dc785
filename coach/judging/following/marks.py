"""Marks on the notes while the pianist plays: right ones at once, accusations when sure."""

from __future__ import annotations

from coach.judging.alignment import Decoder, Hypothesis, ScoreArrays, StepKind, Trace, likely_hand
from coach.judging.following.events import Heard, Marked, Stray
from coach.judging.model import Label
from coach.playing.notes import PlayedNote

SURE = 8.0
"""A wrong key is told at once where the next best hypothesis, by which it is right, costs so much
more; otherwise with the next key,"""
WAIT_S = 0.25
"""or after this time."""


class Marks:
    """What the pianist has been shown, and what is to be shown next."""

    def __init__(self, score: ScoreArrays) -> None:
        self.score = score
        self.shown: dict[int, Label] = {}
        self.told: set[int] = set()
        """Keys told as strays."""
        self.swept = [0, 0]
        """Onset of each hand before which notes left out have been looked for."""

    def after_key(self, trace: Trace, decoder: Decoder, take: list[PlayedNote]) -> list[Heard]:
        """What changes with the key just heard."""
        hypothesis = decoder.beam[0]
        known = len(take) - 1
        if not _doubtful(decoder, known):
            known += 1
        out = self._notes(trace, hypothesis, known)
        self._strays(trace, take, known, out)
        return out

    def after_wait(
        self, trace: Trace, hypothesis: Hypothesis, take: list[PlayedNote]
    ) -> list[Heard]:
        """What is told when no key has come for a moment."""
        out = self._notes(trace, hypothesis, len(take))
        self._strays(trace, take, len(take), out)
        return out

    def _notes(self, trace: Trace, hypothesis: Hypothesis, known: int) -> list[Heard]:
        self._sweep(trace, hypothesis)
        out: list[Heard] = []
        later: set[int] = set()
        for note in sorted(trace.changed):
            key = trace.current.get(note)
            label = None if key is None else trace.keys[key][0]
            if key is None and self._passed(hypothesis, note):
                label = Label.MISSED
            if label is Label.WRONG and key is not None and key >= known:
                later.add(note)
            elif self.shown.get(note) is not label:
                if label is None:
                    del self.shown[note]
                else:
                    self.shown[note] = label
                written = self.score.note[note]
                shared = self.score.shared.get(written, ())
                out += [Marked(one, label) for one in (written, *shared)]
        trace.changed = later
        return out

    def _sweep(self, trace: Trace, hypothesis: Hypothesis) -> None:
        """Look at the notes that a hand has left behind: two onsets back, to be sure."""
        for hand, front in ((0, hypothesis.right), (1, hypothesis.left)):
            end = max(front - 2, 0)
            if end < self.swept[hand]:
                self.swept[hand] = end
            for note in range(self.score.first[self.swept[hand]], self.score.first[end]):
                if self.score.hand[note] == hand and note not in trace.current:
                    trace.changed.add(note)
            self.swept[hand] = end

    def _passed(self, hypothesis: Hypothesis, note: int) -> bool:
        front = hypothesis.left if self.score.hand[note] else hypothesis.right
        return self.score.onset[note] < front - 2

    def _strays(self, trace: Trace, take: list[PlayedNote], known: int, out: list[Heard]) -> None:
        for key in range(max(known - 3, 0), known):
            if trace.keys[key][0] is Label.EXTRA and key not in self.told:
                self.told.add(key)
                out.append(Stray(take[key].pitch, likely_hand(self.score, trace.keys, take, key)))


def _doubtful(decoder: Decoder, key: int) -> bool:
    """Whether a hypothesis in which the last key is right is about as good as the best."""
    best = decoder.beam[0]
    for hypothesis in decoder.beam[1:]:
        if hypothesis.cost - best.cost > SURE:
            return False
        step = hypothesis.step
        if step is not None and step.key == key and step.kind is StepKind.MATCH:
            return True
    return False
