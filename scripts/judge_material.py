"""What the ear is tried with: excerpts of samples and of made scores, takes of every kind."""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score, ScoreNote
from coach.score.opening import open_score
from coach.score.window import Excerpt, Window, excerpt, whole_piece

SAMPLES = Path(__file__).parents[1] / "sample_scores"
MOST_NOTES = 40
"""Of an excerpt, but for one in twenty: a window is a few notes, and a round should be short."""
MOST_KEYS = 1500
"""Of the longest takes: a window left running while a pianist plays for some minutes."""
TICKS = 1024
"""Times are whole 1024ths of a second, which floats hold exactly: no law hangs on rounding."""


def sample_scores() -> list[Score]:
    """The six scores that Keyhole comes with."""
    return [open_score(file) for file in sorted(SAMPLES.glob("*.musicxml"))]


def made_score(rng: random.Random) -> Score:
    """A score that nobody wrote: any metre, tuplets, chords, small notes, one key for ever."""
    metre = rng.choice(["4/4", "3/4", "2/4", "6/8", "5/8", "12/8", "3+2/8", "2/2", "1/4", "7/16"])
    notes: list[dict[str, Any]] = []
    for hand, base in (("RH", 72), ("LH", 45)):
        if rng.random() < 0.2:
            continue
        at, until = Fraction(0), Fraction(rng.choice([1, 2, 4, 8, 16]))
        span = rng.choice([0, 2, 7, 24, 60])
        each = rng.choice([1, 2, 3, 4, 5, 6, 7, 8, 12])
        while at < until:
            length = Fraction(rng.choice([1, 1, 1, 2, 3]), each)
            for _ in range(rng.choice([0, 1, 1, 1, 1, 2, 4])):
                pitch = min(max(base + rng.randint(-span, span), 0), 127)
                notes.append({"pitch": pitch, "onset": at, "length": length, "hand": hand})
            if rng.random() < 0.05:
                notes.append({"pitch": base, "onset": at, "length": 0, "hand": hand, "grace": True})
            at += length
    if not any(not note.get("grace") for note in notes):
        notes.append({"pitch": 60, "onset": 0, "length": 1, "hand": "RH"})
    pickup = rng.choice([Fraction(0), Fraction(0), Fraction(1, 4)])
    return score_from_notes(
        notes, metre=metre, qpm=rng.choice([30, 72, 100, 208]), pickup_quarters=pickup
    )


def random_excerpt(score: Score, rng: random.Random) -> Excerpt:
    """A window of any size from anywhere, for any hands that play there."""
    onsets = sorted({note.onset_quarters for note in score.notes})
    while True:
        there = {note.hand for note in score.notes}
        hands = rng.choice([hands for hands in Hands if hands.members & there])
        first = rng.randrange(len(onsets))
        last = min(first + rng.choice([1, 2, 4, 8, 16, 64]), len(onsets) - 1)
        end = onsets[last] if last > first else score.end_quarters
        window = Window(onsets[first], end, hands, landing=rng.random() < 0.8)
        if rng.random() < 0.02:
            window = whole_piece(score)
        try:
            found = excerpt(score, window)
        except ValueError:  # nothing for these hands
            continue
        if found.notes and (len(found.notes) <= MOST_NOTES or rng.random() < 0.05):
            return found


def _keys(window: Excerpt) -> list[ScoreNote]:
    """The notes that are struck: of several on one key at one onset, one."""
    return [note for at, note in enumerate(window.notes) if at not in window.same_key]


def _exact(seconds: float) -> float:
    return round(seconds * TICKS) / TICKS


def _in_order(notes: list[PlayedNote]) -> list[PlayedNote]:
    return sorted(notes, key=lambda note: note.onset_s)


def _written(window: Excerpt, rng: random.Random, scatter_s: float = 0.01) -> list[PlayedNote]:
    """As it is written, at some tempo."""
    quarter_s = 60 / rng.uniform(30, 200)
    zero = window.notes[0].onset_quarters
    return _in_order(
        [
            PlayedNote(
                note.pitch,
                rng.randint(1, 127),
                _exact(
                    float(note.onset_quarters - zero) * quarter_s
                    + rng.gauss(0, scatter_s)
                    - (0.06 if note.grace else 0)
                ),
                _exact(max(0.9 * float(note.length_quarters) * quarter_s, 0.03)),
            )
            for note in _keys(window)
        ]
    )


def _slips(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """With some keys wrong, left out, brushed, struck twice or late, or begun again."""
    out: list[PlayedNote] = []
    late_s, share = 0.0, rng.choice([0.02, 0.1, 0.4])
    for note in _written(window, rng):
        slip = rng.choice(["wrong", "out", "brushed", "twice", "late"])
        if rng.random() > share:
            slip = ""
        if slip == "out":
            continue
        late_s += _exact(rng.expovariate(2)) if slip == "late" else 0.0
        pitch = note.pitch + (rng.choice([-12, -2, -1, 1, 2, 12]) if slip == "wrong" else 0)
        pitch = min(max(pitch, 0), 127)
        out.append(PlayedNote(pitch, note.velocity, note.onset_s + late_s, note.length_s))
        if slip in ("brushed", "twice"):
            near = pitch if slip == "twice" else min(pitch + 1, 127)
            at_s = note.onset_s + late_s + rng.choice([8, 60, 300]) / TICKS
            out.append(PlayedNote(near, 30, at_s, 0.0625))
    if out and rng.random() < 0.2:
        broken = out[: rng.randint(1, len(out))]
        gap_s = broken[-1].onset_s + _exact(rng.uniform(0.1, 5)) - out[0].onset_s
        again = [PlayedNote(n.pitch, n.velocity, n.onset_s + gap_s, n.length_s) for n in out]
        out = broken + again
    return _in_order(out)


def _mashed(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """Every key, a few milliseconds after the one before."""
    gap_ticks = rng.choice([1, 3, 10, 30, 50])
    return [
        PlayedNote(note.pitch, 90, index * gap_ticks / TICKS, 0.25)
        for index, note in enumerate(_keys(window))
    ]


def _shuffled(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """The right keys in the wrong order."""
    notes = _written(window, rng)
    pitches = [note.pitch for note in notes]
    rng.shuffle(pitches)
    return [
        PlayedNote(pitch, note.velocity, note.onset_s, note.length_s)
        for pitch, note in zip(pitches, notes, strict=True)
    ]


def _one_stamp(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    at_s = _exact(rng.uniform(-10, 1e5))
    return [
        PlayedNote(note.pitch, 64, at_s, rng.choice([0.0, 0.5, None])) for note in _keys(window)
    ]


def huge_take(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """Thousands of keys: the window over and over, or anything."""
    pitches = [note.pitch for note in _keys(window)]
    anything = rng.random() < 0.5
    at_s, out = 0.0, []
    for index in range(rng.randint(MOST_KEYS // 3, MOST_KEYS)):
        pitch = rng.randrange(128) if anything else pitches[index % len(pitches)]
        out.append(PlayedNote(pitch, rng.randint(1, 127), at_s, 0.25))
        at_s += _exact(rng.choice([0.0, 0.02, 0.1, 0.3]))
    return out


def _anything(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """Any keys at any time."""
    pitches = rng.choice([range(128), [note.pitch for note in _keys(window)], [60]])
    span_s = rng.choice([0.1, 3, 60])
    return _in_order(
        [
            PlayedNote(rng.choice(pitches), rng.randint(1, 127), _exact(rng.uniform(0, span_s)))
            for _ in range(rng.randint(1, 3 * len(window.notes)))
        ]
    )


def _elsewhere(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """Everything too high or too low by the same interval."""
    by = rng.choice([-24, -12, -1, 1, 2, 12, 24])
    return [
        PlayedNote(min(max(n.pitch + by, 0), 127), n.velocity, n.onset_s, n.length_s)
        for n in _written(window, rng)
    ]


def _broken_off(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    notes = _written(window, rng)
    return notes[: rng.randint(0, len(notes))]


def _impossible(window: Excerpt, rng: random.Random) -> list[PlayedNote]:
    """Times and lengths that no piano sends: below nothing, far off, all but equal."""
    lengths = [None, 0.0, -1.0, -1e9, 1e-12, 1e6]
    if rng.random() < 0.5:
        return [
            PlayedNote(n.pitch, rng.choice([1, 127]), n.onset_s, rng.choice(lengths))
            for n in _written(window, rng)
        ]
    steps = [0.0, 2.0**-30, 2.0**-10, 1.0, 3600.0, 2.0**20]
    at_s, out = rng.choice([0.0, -(2.0**20), 2.0**30]), []
    for note in _keys(window):
        at_s += rng.choice(steps)
        out.append(PlayedNote(note.pitch, 64, at_s, rng.choice(lengths)))
    return _in_order(out)


TAKES: dict[str, Callable[[Excerpt, random.Random], list[PlayedNote]]] = {
    "as written": _written,
    "slips": _slips,
    "mashed": _mashed,
    "shuffled": _shuffled,
    "empty": lambda window, rng: [],
    "one stamp": _one_stamp,
    "anything": _anything,
    "elsewhere": _elsewhere,
    "broken off": _broken_off,
    "impossible": _impossible,
}
"""Each way to play an excerpt, but for the longest, which would take all the time."""
