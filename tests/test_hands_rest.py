"""What is asked for changes at rest: the hands off, and what was said of it read."""

from fractions import Fraction as F

from coach.coaching.drill.drill import HandsRest
from coach.coaching.drill.drill_events import AssignmentGiven, CountIn
from coach.coaching.model import Goal
from coach.judging.model import Stage
from coach.score.model import Hands
from coach.score.window import Window
from tests.live import Live, at_the_bar, sample


def wrong_twice(note: int, pitch: int) -> int:
    return pitch + (note in (1, 3))


def given(live: Live) -> int:
    return len(live.all(AssignmentGiven))


def test_a_key_held_is_a_hand_that_does_not_rest() -> None:
    live = at_the_bar()
    live.plays(change=wrong_twice).waits(3)
    before = given(live)
    live.plays(change=wrong_twice)
    live.note(live.drill.key_down(90, 64, live.now_s + 0.3))
    live.waits(5)
    assert given(live) == before
    live.note(live.drill.key_up(90, live.now_s))
    live.waits(1.5)
    assert given(live) == before + 1


def test_a_key_that_never_comes_up_is_not_waited_for() -> None:
    rest = HandsRest()
    rest.strike(60, 10.0)
    assert not rest.may_turn(10 + 6.0 - 0.1, 0.5)
    assert rest.may_turn(10 + 6.0 + 0.1, 0.5)


def test_a_piano_that_was_lost_holds_no_key() -> None:
    rest = HandsRest()
    rest.strike(60, 10.0)
    rest.release_all()
    assert rest.may_turn(11.9, 0.5)


def test_what_was_said_stands_for_a_moment() -> None:
    rest = HandsRest()
    rest.strike(60, 10.0)
    rest.release(60)
    rest.say(13.0)
    assert not rest.may_turn(13 + 1.2 - 0.1, 0.5)
    assert rest.may_turn(13 + 1.2 + 0.1, 0.5)


def test_who_stopped_may_be_looking_for_the_next_note() -> None:
    live = at_the_bar()
    for _ in range(3):
        live.plays(0, 5, change=lambda note, pitch: pitch + (note == 1)).waits(8.0 - 1)
    assert given(live) == 1
    live.waits(2)
    assert given(live) == 2


def test_an_end_reached_after_a_stop_is_not_waited_on() -> None:
    rest = HandsRest()
    rest.say(5.0, broke_off=True)
    rest.strike(60, 10.0)
    rest.release(60)
    rest.say(10.2)
    assert rest.may_turn(11.5, 0.5)


def test_a_rest_is_long_against_the_gaps_that_were_played_last() -> None:
    rest = HandsRest()
    for at_s in (10.0, 12.5, 15.0):
        rest.strike(60, at_s)
        rest.release(60)
    assert not rest.may_turn(18.5, 0.5)
    assert rest.may_turn(18.9, 0.5)


def test_a_rest_between_two_keys_is_no_gap() -> None:
    rest = HandsRest()
    for at_s in (10.0, 12.5, 19.0, 19.4):
        rest.strike(60, at_s)
        rest.release(60)
    assert rest.may_turn(21.3, 0.5)


def test_the_gap_that_is_written_after_the_end_is_waited_for() -> None:
    """Half notes after the window: who plays on past its end strikes none for two beats."""
    live = Live(sample("1-low-tide"), Window(F(8), F(12), Hands.LEFT))
    for _ in range(3):
        live.plays(change=lambda note, pitch: pitch + (note == 1)).waits(2)
    assert live.drill._ear.gap_quarters == 2
    quarter_s = live.gap_s(0) / 2
    before = given(live)
    live.plays(change=lambda note, pitch: pitch + (note == 1))
    for pitch in (90, 88, 93):
        live.waits(2 * quarter_s)
        live.strikes(pitch, held_s=0.0)
    assert given(live) == before


def test_with_a_click_the_next_count_waits_for_what_is_written_after_the_end() -> None:
    """Half notes: who plays on is given nothing else and no count, however often it was played."""
    window = Window(F(8), F(12), Hands.LEFT)
    live = Live(sample("1-low-tide"), window, goal=Goal(window, 60.0, Stage.PULSE, 5))
    for _ in range(3):
        live.strikes(30) if not live.all(CountIn) else live.waits(4)
        due_s = live.drill._click.window_s
        assert due_s is not None
        live.waits(due_s - live.now_s).plays()
        before = given(live), len(live.all(CountIn))
        live.waits(1.95)
        assert (given(live), len(live.all(CountIn))) == before
    live.waits(1.5)
    assert len(live.all(CountIn)) == before[1] + 1
