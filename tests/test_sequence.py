"""The warm-up's drills, one after the other as if they were one."""

from fractions import Fraction as F

import pytest
from screenfakes import two_hands

from coach.cli.warmlist import warm_up_plan
from coach.coaching.drill import Drill
from coach.coaching.facts import Goal, Request
from coach.coaching.outcomes import Proposed
from coach.coaching.sequence import DrillSequence
from coach.coaching.warmup import WarmUp
from coach.coaching.words import ENOUGH
from coach.score.model import Hands
from coach.score.window import Window

SCORE = two_hands(4)
WINDOWS = [Window(F(4 * bar), F(4 * bar + 4), Hands.RIGHT) for bar in range(3)]


@pytest.fixture
def sequence():
    def maker(window):
        return lambda at_s: Drill(SCORE, Goal(window, 80.0, clean_required=1), now_s=at_s)

    return DrillSequence([maker(window) for window in WINDOWS], 0.0)


def play(sequence, at_s):
    """The window, rightly; half a minute's silence after it. Answers with all outcomes."""
    out = []
    for place, one in enumerate(sequence.excerpt.notes):
        out += sequence.key_down(one.pitch, 64, at_s + 0.75 * place)
        out += sequence.key_up(one.pitch, at_s + 0.75 * place + 0.5)
    for tick in range(60):
        out += sequence.tick(at_s + 4.0 + 0.5 * tick)
    return out


def test_the_first_is_now_and_the_rest_to_come(sequence):
    assert sequence.states == ("now", "to come", "to come")


def test_a_spot_that_holds_hands_on_to_the_next(sequence):
    play(sequence, 0.0)
    assert sequence.states == ("held", "now", "to come")
    assert sequence.assignment.window.start_quarters == 4


def test_it_is_said_to_be_enough_after_the_last_spot_only(sequence):
    proposed = [Proposed(ENOUGH) in play(sequence, 100.0 * spot) for spot, _ in enumerate(WINDOWS)]
    assert proposed == [False, False, True]


def test_a_spot_that_is_passed_over_is_not_said_to_hold(sequence):
    sequence.ask(Request.NEXT, 0.0)
    play(sequence, 1.0)
    assert sequence.states == ("left out", "held", "now")


def test_the_last_spot_is_held_when_all_is_done(sequence):
    for at_s in (0.0, 100.0, 200.0):
        play(sequence, at_s)
    assert sequence.states == ("held", "held", "held")


def test_the_plan_names_each_spot_s_stretch_and_hand(sequence):
    spots = [WarmUp(spot=None, window=one, qpm=80.0, expected_s=20.0) for one in WINDOWS]
    rows = warm_up_plan(SCORE, spots, sequence.states)
    assert [(row.what, row.state) for row in rows][:2] == [
        ("bar 1, right hand alone", "now"),
        ("bar 2, right hand alone", "to come"),
    ]
