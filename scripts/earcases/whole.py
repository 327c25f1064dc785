"""A whole piece as one case, played through once."""

from __future__ import annotations

import random
from typing import Any

from scripts.earcases.cases import case_of
from scripts.earcases.material import Piece
from scripts.earcases.planting import Attempt
from scripts.earcases.rendering import from_recording, manner, play


def whole_case(piece: Piece, rng: random.Random) -> dict[str, Any]:
    """From the piece's first note to its last: its recording, or a seeded performance."""
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
    return case_of(piece.name, "real", "as_recorded", window, notes, beats, take)
