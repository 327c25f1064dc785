"""The demo's player: one that has one fault, mends, and otherwise hardly slips."""

from __future__ import annotations

from dataclasses import replace

from coach.playing.simulated.player import SimulatedPianist
from coach.playing.simulated.skill import INTERMEDIATE, Failing, PlayerFault
from coach.score.model import Hand, Hands, Score
from coach.score.window import Transition


def demo_pianist(score: Score, seed: int = 1) -> SimulatedPianist:
    """The demo's player: one fault in the left hand, about the middle of the piece.

    It fails mostly at the piece's tempo, less when it is slow, and mends with right repetitions.
    """
    fault = PlayerFault(_middle_move(score), 0.9, Failing.WRONG_KEY, ease=3.0)
    careful = replace(INTERMEDIATE, name="demo", slip=0.0005, rate=0.22)
    return SimulatedPianist(score, seed=seed, faults=[fault], level=careful)


def _middle_move(score: Score) -> Transition:
    """The left hand's move into a beat near the middle (the right hand's, if it plays alone)."""
    middle = score.end_quarters / 2
    left = [note for note in score.notes if note.hand is Hand.LEFT]
    notes = left or list(score.notes)
    arrived = min(notes, key=lambda note: abs(note.onset_quarters - middle)).onset_quarters
    bar = score.bar_at(arrived)
    beats = [beat for beat in bar.beats_quarters() if beat >= arrived]
    to = beats[0] if beats else bar.end_quarters
    step = bar.metre.beat_quarters
    return Transition(Hands(notes[0].hand), to - step, to)
