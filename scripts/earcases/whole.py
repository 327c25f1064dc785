"""A whole piece as one case, played through once, rightly or with a learner's mistakes."""

from __future__ import annotations

import random
from typing import Any

from scripts.earcases.breaking import ALL
from scripts.earcases.cases import case_of
from scripts.earcases.material import Piece
from scripts.earcases.planting import Attempt
from scripts.earcases.rendering import from_recording, manner, play

LONG = (
    "haydn/opus74no1/movement1.mxl", "haydn/opus74no1/movement4.mxl",
    "mozart/k458/movement1.mxl",
)  # fmt: skip
"""Pieces of thousands of notes in music21's corpus, as keyboard reductions."""
SLIPS = ("wrong_key", "missed_in_chord", "missed_note", "extra_brush", "self_correct",
         "octave_slip", "position_shift", "skipped_beat", "stumble_repeat")  # fmt: skip
"""Mistakes made while a piece is played through."""


def whole_case(piece: Piece, rng: random.Random, mistakes: int = 0) -> dict[str, Any]:
    """From the piece's first note to its last: its recording, or a seeded performance.

    ``mistakes`` of all kinds are planted, in no order.
    """
    notes = list(piece.notes)
    beats = [float(note.onset / piece.beat) for note in notes]
    if piece.recording:
        everything = {index: index for index in range(len(notes))}
        played = from_recording(piece.recording, everything, notes, beats)
    else:
        played = play(notes, beats, rng, manner(rng, 0.25))
    length = float(max(note.onset + note.length for note in notes) / piece.beat)
    window = {
        "kind": "whole", "hands": "both", "beats": length, "landing": False,
        "time_signature": piece.metre, "beats_per_bar": 1.0,
        "quarters_per_beat": float(piece.beat), "first_measure": 0, "first_beat_in_bar": 0,
    }  # fmt: skip
    take = Attempt(played, rng, length)
    for _ in range(mistakes):
        ALL[rng.choice(SLIPS)](take)
    return case_of(piece.name, "real", "as_recorded", window, notes, beats, take)
