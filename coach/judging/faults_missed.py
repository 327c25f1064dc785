"""Missed notes: one of a chord, a whole onset, a beat that was skipped."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.judging.facts import Family, Fault, Label, Matching
from coach.judging.faults_places import all_hands, beats_into, spanning
from coach.judging.timing import Timing
from coach.score.model import Hands
from coach.score.window import Excerpt

_CLOSED_UP = 0.75
"""Time closed up over missed notes: the next came sooner than this share of its time."""


def missed_faults(excerpt: Excerpt, matching: Matching, timing: Timing) -> list[Fault]:
    """Missed notes that were passed over; what lies after a breaking off is not asked for."""
    missed: dict[Fraction, list[int]] = defaultdict(list)
    struck: set[Fraction] = set()
    for label in matching.score:
        onset = excerpt.notes[label.note].onset_quarters
        if label.label is not Label.MISSED:
            struck.add(onset)
        elif label.reached:
            missed[onset].append(label.note)
    silent = [onset for onset in sorted(missed) if onset not in struck]
    skipped = _skipped_beats(excerpt, silent, timing)
    out = [_skip(excerpt, run) for run in skipped]
    gone = {onset for run in skipped for onset in run}
    for onset in sorted(missed):
        if onset not in gone:
            out += [_missed(excerpt, note, missed[onset]) for note in missed[onset]]
    return out


def _skipped_beats(
    excerpt: Excerpt, silent: Sequence[Fraction], timing: Timing
) -> list[list[Fraction]]:
    """Runs of silent onsets that fill a beat or more, over which the time closed up."""
    written = sorted({note.onset_quarters for note in excerpt.notes if not note.grace})
    quiet = set(silent)
    runs: list[list[Fraction]] = []
    for before, onset in zip([None, *written], written, strict=False):
        if onset not in quiet:
            continue
        if before in quiet and runs:
            runs[-1].append(onset)
        else:
            runs.append([onset])
    return [run for run in runs if _is_skip(excerpt, run, written, timing)]


def _is_skip(
    excerpt: Excerpt, run: list[Fraction], written: list[Fraction], timing: Timing
) -> bool:
    after = next((onset for onset in written if onset > run[-1]), None)
    if after is None:
        return False
    first, last = excerpt.beat_of(run[0]), excerpt.beat_of(after)
    if last - first < 1 - 1e-9 or first % 1 > 1e-9:
        return False
    return _closed_up(timing, after)


def _closed_up(timing: Timing, onset: Fraction) -> bool:
    for moment, step in zip(timing.row, timing.steps, strict=True):
        if moment.onset_quarters == onset:
            return step.expected_s <= 0 or step.seconds < _CLOSED_UP * step.expected_s
    return False


def _skip(excerpt: Excerpt, run: list[Fraction]) -> Fault:
    first = beats_into(excerpt, run[0])[1]
    last = int(excerpt.beat_of(run[-1]) // 1)
    count = last - first + 1
    words = f"skipped {'a beat' if count == 1 else f'{count} beats'}"
    fault = spanning(
        excerpt, run[0], run[-1], all_hands(excerpt), Family.MISSING, 0.95, words, "skipped beat"
    )
    return replace(fault, to_beat=last + 1)


def _missed(excerpt: Excerpt, note: int, together: Sequence[int]) -> Fault:
    written = excerpt.notes[note]
    chord = [
        other
        for other in excerpt.notes
        if other.onset_quarters == written.onset_quarters and other.hand is written.hand
    ]
    cause = "missed in chord" if len(chord) > len(together) else "missed note"
    return spanning(
        excerpt,
        written.onset_quarters,
        written.onset_quarters,
        Hands(written.hand),
        Family.MISSING,
        0.86,
        f"{written.spelling.words} missed",
        cause,
        note=note,
    )
