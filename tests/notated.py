"""Scores and takes in a notation that a pianist can read, a line for each hand.

Written: ``C4 E4+G4 C5*2 D5. E5_ F5`` are keys of a quarter (or of ``each``) one after another;
``+`` joins a chord, ``*3/4`` is another length in quarters, ``.`` staccato, ``_`` under a slur.

Played: a word for each written word, in time with it:
``C4``        that key, in time
``-``         nothing
``C4>0.3``    that key 0.3 s late (``<0.3`` early)
``C4'``       let go at once; ``C4,`` detached; ``C4_`` held on to the next
``(D4)C4``    besides, D4 with it, in time
``|0.8|C4``   0.8 s of silence before it, then on from there
``@1:C4``     back at the first word, counted from 1, and on from there
``x``         left out, and its time closed up
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction as F

from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.pitch import Spelling
from coach.score.window import Excerpt, Window, excerpt

Lines = Mapping[str, str]
"""What each hand has: ``{"RH": "C4 D4", "LH": "C3*2"}``."""

_WORD = re.compile(r"(?:\|(?P<pause>[\d.]+)\|)?(?:@(?P<back>\d+):)?(?P<keys>\S+)")
_KEY = re.compile(
    r"(?P<extra>\()?(?P<name>[A-G])(?P<alter>[#b]?)(?P<octave>\d)\)?"
    r"(?:(?P<side>[<>])(?P<off>[\d.]+))?(?P<held>[',_])?"
)
_HELD = {None: 0.9, "'": 0.08, ",": 0.6, "_": 1.0}
"""The share of its length for which a key is held."""


def written(lines: Lines, each: F = F(1)) -> Score:
    """A whole piece."""
    notes: list[dict[str, object]] = []
    for hand, line in lines.items():
        onset = F(0)
        for word in line.split():
            length = _length(word, each)
            for name in word.split("*")[0].split("+"):
                marks = [m for sign, m in ((".", "staccato"), ("_", "under slur")) if sign in name]
                key = {"pitch": key_named(name), "onset": onset, "length": length, "hand": hand}
                notes.append({**key, "marks": marks})
            onset += length
    return score_from_notes(notes)


def all_of(score: Score, lines: Lines) -> Excerpt:
    """The piece from beginning to end, with the hands that its lines have."""
    hands = Hands(next(iter(lines))) if len(lines) == 1 else Hands.TOGETHER
    return excerpt(score, Window(F(0), score.end_quarters, hands))


def played(
    score: Lines,
    take: Lines,
    *,
    each: F = F(1),
    qpm: float = 80.0,
    warp: Callable[[float], float] = float,
) -> list[PlayedNote]:
    """A take of what is written; ``warp`` maps the seconds of even playing to others."""
    notes: list[PlayedNote] = []
    for hand, line in take.items():
        lengths = [float(_length(word, each)) * 60 / qpm for word in score[hand].split()]
        notes += _play_line(line, lengths, warp)
    return sorted(notes, key=lambda note: note.onset_s)


def _play_line(
    line: str, lengths_s: list[float], warp: Callable[[float], float]
) -> Iterator[PlayedNote]:
    at_s, place = 1.0, 0
    for word in line.split():
        parts = _WORD.fullmatch(word)
        assert parts, word
        at_s += float(parts["pause"] or 0)
        place = int(parts["back"]) - 1 if parts["back"] else place
        for key in _KEY.finditer(parts["keys"]):
            off_s = float(key["off"] or 0) * (-1 if key["side"] == "<" else 1)
            share = 0.2 if key["extra"] else _HELD[key["held"]]
            pitch = key_named(key["name"] + key["alter"] + key["octave"])
            yield PlayedNote(pitch, 64, warp(at_s) + off_s, share * lengths_s[place])
        at_s += 0.0 if parts["keys"] == "x" else lengths_s[place]
        place += 1


def _length(word: str, each: F) -> F:
    return F(word.split("*")[1]) if "*" in word else each


def key_named(name: str) -> int:
    """``F#4`` is key 66."""
    alter = name.count("#") - name.count("b")
    return Spelling(name[0], alter, int(next(c for c in name if c.isdigit()))).midi
