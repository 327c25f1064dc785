"""Wrong keys: single ones, octave slips, and a hand that lies in a wrong position."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.faults.location import spanning
from coach.judging.model import Family, Fault, Label, Matching, ScoreLabel
from coach.judging.wording import instead
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt

_STEP = 4
"""A hand that lies wrong is off by a few keys, no more than a major third."""


def wrong_faults(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> list[Fault]:
    """Wrong keys; a hand displaced for several onsets running is one fault."""
    out = []
    for hand in Hand:
        for run in _runs(excerpt, matching, hand):
            out += _of_run(excerpt, played, run, Hands(hand))
    return out


def _runs(excerpt: Excerpt, matching: Matching, hand: Hand) -> list[list[ScoreLabel]]:
    """Wrong labels of one hand, apart where a right note of the hand came between."""
    wrong: dict[int, list[ScoreLabel]] = {}
    right: set[int] = set()
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        if excerpt.notes[label.note].hand is hand and label.note not in excerpt.same_key:
            if label.label is Label.WRONG:
                wrong.setdefault(number, []).append(label)
            elif label.label is Label.MATCHED:
                right.add(number)
    if not wrong:
        return []
    runs: list[list[ScoreLabel]] = [[]]
    for number in sorted(wrong.keys() | right):
        if number in right and runs[-1]:
            runs.append([])
        runs[-1] += wrong.get(number, [])
    return [run for run in runs if run]


def _of_run(
    excerpt: Excerpt, played: Sequence[PlayedNote], run: list[ScoreLabel], hands: Hands
) -> list[Fault]:
    steps = [_steps(excerpt, played, label) for label in run]
    onsets = {excerpt.notes[label.note].onset_quarters for label in run}
    first, last = min(onsets), max(onsets)
    if len(set(steps)) == 1 and steps[0] and steps[0] % 12 == 0:
        words = _words(excerpt, played, run[0]) if len(run) == 1 else _octave_words(steps[0])
        cause = "octave slip"
    elif len(onsets) > 1 and (max(steps) < 0 or min(steps) > 0) and max(map(abs, steps)) <= _STEP:
        words = f"hand lies too {'high' if steps[0] > 0 else 'low'}"
        cause = "shifted position"
    else:
        return [_wrong_key(excerpt, played, label, hands) for label in run]
    return [
        spanning(excerpt, first, last, hands, Family.PITCH, 0.92, words, cause, note=run[0].note)
    ]


def _octave_words(steps: int) -> str:
    return f"an octave too {'high' if steps > 0 else 'low'}"


def _steps(excerpt: Excerpt, played: Sequence[PlayedNote], label: ScoreLabel) -> int:
    return (
        0
        if label.played is None
        else (played[label.played].pitch - excerpt.notes[label.note].pitch)
    )


def _words(excerpt: Excerpt, played: Sequence[PlayedNote], label: ScoreLabel) -> str:
    written = excerpt.notes[label.note]
    return instead(written.pitch + _steps(excerpt, played, label), written, excerpt)


def _wrong_key(
    excerpt: Excerpt, played: Sequence[PlayedNote], label: ScoreLabel, hands: Hands
) -> Fault:
    onset = excerpt.notes[label.note].onset_quarters
    return spanning(
        excerpt,
        onset,
        onset,
        hands,
        Family.PITCH,
        0.9,
        _words(excerpt, played, label),
        "wrong key",
        note=label.note,
    )
