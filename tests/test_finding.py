"""Looking for the trouble: it comes to an end also where it can't be told whose trouble it is."""

from dataclasses import replace
from fractions import Fraction as F

from coach.drill import Drill, repair, score_from_notes
from coach.playing.simulated.player import INTERMEDIATE, Failing, PlayerFault, SimulatedPianist
from coach.score.model import Hands
from coach.score.window import Transition, Window

STEADY = replace(INTERMEDIATE, slip=0.0)


def test_a_hesitation_of_a_hand_that_shows_none_alone_is_mended_all_the_same() -> None:
    """The left hand has one note in a bar: alone, nobody could tell that it comes late."""
    right = [
        {"pitch": 72 + (0, 4, 7, 2, 5)[k % 5], "onset": k, "length": 1, "hand": "RH"}
        for k in range(16)
    ]
    left = [{"pitch": 48 - k, "onset": 4 * k + 2, "length": 4, "hand": "LH"} for k in range(4)]
    score = score_from_notes([*right, *left], qpm=96)
    whole = Window(F(0), score.end_quarters)
    fault = PlayerFault(Transition(Hands.LEFT, F(9), F(10)), 1.0, Failing.LATE, 0.0, learns=False)
    pianist = SimulatedPianist(score, seed=5, faults=[fault], level=STEADY)
    drill, now_s = Drill(score, repair(score, whole, qpm=96)), 0.0
    for _ in range(10):
        notes = pianist.play(drill.excerpt, drill.assignment.qpm, start_s=now_s)
        drill.repetition(notes, now_s=now_s)
        now_s = notes[-1].onset_s + 3.0
        case = drill.coach._runner.ladder
        if case is not None:
            break
    assert case is not None
    assert case.transition.to_quarters == 10
    assert case.transition.hands is Hands.TOGETHER
