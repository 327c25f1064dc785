"""Looking for the trouble: it comes to an end also where it can't be told whose trouble it is."""

from dataclasses import replace
from fractions import Fraction as F

from coach.drill import Drill, Stage, excerpt, judge, repair, score_from_notes
from coach.playing.notes import PlayedNote
from coach.playing.simulated.player import INTERMEDIATE, Failing, PlayerFault, SimulatedPianist
from coach.score.model import Hand, Hands
from coach.score.window import Transition, Window
from tests.lessons import QPM, Lesson, Weak, piece

STEADY = replace(INTERMEDIATE, slip=0.0)


def test_a_hand_that_fails_less_alone_is_heard_until_it_is_known() -> None:
    """Alone it came off twice before it broke: a hand alone is easier."""
    lesson = Lesson([Weak("LH", 6)])
    alone = iter([True] * 2)
    while not any(not one.open_hand for one in lesson.decision.troubles):
        is_alone = lesson.asked.window.hands is Hands.LEFT
        lesson.plays(clean=next(alone, None) if is_alone else None)
        assert lesson.drill.coach._runner.ladder is None
    assert [one.hands for one in lesson.decision.troubles] == [Hands.LEFT]


def test_where_a_hand_only_enters_both_together_were_not_heard() -> None:
    """The left hand rests on two beats: cut there, it arrives from nowhere."""
    whole = piece()
    notes = [n for n in whole.notes if n.hand is Hand.RIGHT or n.onset_quarters not in (4, 5)]
    score = replace(whole, notes=tuple(notes))
    coach = Drill(score, repair(score, Window(F(0), score.end_quarters), qpm=QPM)).coach
    sight = excerpt(score, Window(F(4), F(7)))
    keys = [PlayedNote(n.pitch, 64, float(n.onset_quarters) * 60 / QPM, 0.5) for n in sight.notes]
    coach.observe(judge(sight, keys, stage=Stage.RHYTHM, qpm=QPM), now_s=10.0)
    assert [coach.evidence.counts_at(F(beat)).together for beat in (5, 6, 7)] == [1.0, 0.0, 1.0]


def test_a_hesitation_of_a_hand_that_hardly_shows_it_alone_is_mended_all_the_same() -> None:
    """The left hand has one note in a bar: alone it can seldom be told that it comes late."""
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
    for _ in range(20):
        notes = pianist.play(drill.excerpt, drill.assignment.qpm, start_s=now_s)
        drill.repetition(notes, now_s=now_s)
        now_s = notes[-1].onset_s + 3.0
        case = drill.coach._runner.ladder
        if case is not None:
            break
    assert case is not None
    assert case.transition.to_quarters == 10
    assert case.transition.hands is not Hands.RIGHT
