"""Live marks on the notes, read from the likeliest hypothesis: right ones at once, wrong ones when
sure."""

from __future__ import annotations

from coach.judging.alignment import Decoder, Hypothesis, ScoreArrays, StepKind, Trace, likely_hand
from coach.judging.following.events import FollowerEvent, NoteMarked, StrayKey
from coach.judging.model import Label
from coach.playing.notes import PlayedNote

SURE = 8.0
"""A wrong key is told at once where the next best hypothesis, by which it is right, costs so much
more, in nats; otherwise with the next key,"""
WAIT_S = 0.25
"""or after this time. Own choice, both, because a wrong accusation is worse than a late one: the
next key mostly comes sooner."""
MISSED_ONSETS = 2
"""A note is missed once its hand is more than so many onsets past it. Own choice, because a late
note of a chord may still come."""
STRAY_KEYS = 3
"""So many keys back it is looked for strays: one key changes the label of no more before it. Own
choice, because a stray told late is of no use."""


class Marks:
    """What the pianist has been shown, and what is to be shown next."""

    def __init__(self, score: ScoreArrays) -> None:
        self.score = score
        self.shown: dict[int, Label] = {}
        self.told_keys: set[int] = set()
        """Keys of which it was said that the score does not ask for them."""
        self.swept = [0, 0]
        """Onset of each hand before which notes left out have been looked for."""

    def update_after_key(
        self, trace: Trace, decoder: Decoder, take: list[PlayedNote]
    ) -> list[FollowerEvent]:
        """What changes with the key just heard."""
        hypothesis = decoder.beam[0]
        known = len(take) - 1
        if not _is_doubtful(decoder, known):
            known += 1
        out = self._mark_notes(trace, hypothesis, known)
        self._tell_strays(trace, take, known, out)
        return out

    def update_after_wait(
        self, trace: Trace, hypothesis: Hypothesis, take: list[PlayedNote]
    ) -> list[FollowerEvent]:
        """What is told when no key has come for a moment."""
        out = self._mark_notes(trace, hypothesis, len(take))
        self._tell_strays(trace, take, len(take), out)
        return out

    def _mark_notes(self, trace: Trace, hypothesis: Hypothesis, known: int) -> list[FollowerEvent]:
        self._sweep_missed(trace, hypothesis)
        out: list[FollowerEvent] = []
        later: set[int] = set()
        for note in sorted(trace.changed):
            key = trace.current.get(note)
            label = None if key is None else trace.keys[key][0]
            if key is None and self._is_past(hypothesis, note) and not self.score.optional[note]:
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
                out += [NoteMarked(one, label) for one in (written, *shared)]
        trace.changed = later
        return out

    def _sweep_missed(self, trace: Trace, hypothesis: Hypothesis) -> None:
        """Look at the notes that a hand has left behind: ``MISSED_ONSETS`` back, to be sure."""
        for hand, front in ((0, hypothesis.right), (1, hypothesis.left)):
            end = max(front - MISSED_ONSETS, 0)
            if end < self.swept[hand]:
                self.swept[hand] = end
            for note in range(self.score.first[self.swept[hand]], self.score.first[end]):
                if self.score.hand[note] == hand and note not in trace.current:
                    trace.changed.add(note)
            self.swept[hand] = end

    def _is_past(self, hypothesis: Hypothesis, note: int) -> bool:
        front = hypothesis.left if self.score.hand[note] else hypothesis.right
        return self.score.onset[note] < front - MISSED_ONSETS

    def _tell_strays(
        self, trace: Trace, take: list[PlayedNote], known: int, out: list[FollowerEvent]
    ) -> None:
        for key in range(max(known - STRAY_KEYS, 0), known):
            if trace.keys[key][0] is Label.EXTRA and key not in self.told_keys:
                self.told_keys.add(key)
                out.append(
                    StrayKey(take[key].pitch, likely_hand(self.score, trace.keys, take, key))
                )


def _is_doubtful(decoder: Decoder, key: int) -> bool:
    """Whether a hypothesis in which the last key is right is about as good as the best."""
    best = decoder.beam[0]
    for hypothesis in decoder.beam[1:]:
        if hypothesis.cost - best.cost > SURE:
            return False
        step = hypothesis.step
        if step is not None and step.key == key and step.kind is StepKind.MATCH:
            return True
    return False
