"""When the hands rest: each figure with a case at both sides of its limit."""

from __future__ import annotations

import pytest

from coach.coaching.drill.drill import HandsRest

BEAT_S = 0.5


def rest_after(*struck_s: float, held: bool = False) -> HandsRest:
    """Keys struck at these times, and up again at once unless the last one is held."""
    hands = HandsRest()
    for at_s in struck_s:
        hands.strike(60, at_s)
        if not held or at_s != struck_s[-1]:
            hands.release(60)
    return hands


def play_whole(hands: HandsRest, at_s: float) -> None:
    """A whole repetition of one key, of which something is said at once."""
    hands.strike(60, at_s)
    hands.release(60)
    hands.say(at_s + 0.1, whole_from_s=at_s)


@pytest.mark.parametrize(
    ("beat_s", "rests_s"),
    [(0.5, 1.2), (1.0, 1.4), (5.0, 6.0)],  # at the least, so many beats, at the most
)
def test_hands_are_quiet_after_a_moment_that_grows_with_the_beat(
    beat_s: float, rests_s: float
) -> None:
    hands = rest_after(10.0)
    assert not hands.is_quiet(10.0 + rests_s - 0.01, beat_s)
    assert hands.is_quiet(10.0 + rests_s + 0.01, beat_s)


@pytest.mark.parametrize(("held_s", "is_off"), [(5.9, False), (6.1, True)])
def test_a_key_that_is_held_for_six_seconds_is_stuck(held_s: float, is_off: bool) -> None:
    assert rest_after(10.0, held=True).is_off(10.0 + held_s, BEAT_S) is is_off


@pytest.mark.parametrize(("said_s", "may"), [(1.1, False), (1.3, True)])
def test_what_was_said_stands_long_enough_to_be_read(said_s: float, may: bool) -> None:
    hands = rest_after(10.0)
    hands.say(15.0)
    assert hands.may_turn(15.0 + said_s, BEAT_S) is may


@pytest.mark.parametrize(("quiet_s", "may"), [(2.9, False), (3.1, True)])
def test_a_slow_player_is_waited_for_half_as_long_again_as_the_last_gaps(
    quiet_s: float, may: bool
) -> None:
    """Two seconds from key to key."""
    assert rest_after(10.0, 12.0, 14.0).may_turn(14.0 + quiet_s, BEAT_S) is may


@pytest.mark.parametrize(("quiet_s", "may"), [(3.9, False), (4.1, True)])
def test_nobody_is_waited_for_longer_than_a_rest(quiet_s: float, may: bool) -> None:
    """A dotted half note at 54: 3.3 seconds from key to key, and half as long again would be 5."""
    assert rest_after(10.0, 13.3, 16.6).may_turn(16.6 + quiet_s, BEAT_S) is may


@pytest.mark.parametrize(("struck_since", "may"), [(False, True), (True, False)])
def test_after_a_whole_repetition_what_is_written_there_tells_and_not_its_long_notes(
    struck_since: bool, may: bool
) -> None:
    """Two seconds from key to key, and beats of half a second; then it is over, or played on."""
    hands = rest_after(10.0, 12.0, 14.0)
    hands.say(14.1, whole_from_s=10.0)
    last_s = 14.0
    if struck_since:
        last_s = 15.0
        hands.strike(60, last_s)
        hands.release(60)
    assert hands.may_turn(last_s + 1.5, BEAT_S) is may


@pytest.mark.parametrize(
    ("times", "turned", "counted_in", "may"),
    [(1, 0, False, False), (2, 0, False, True), (2, 1, False, False), (2, 0, True, False)],
)
def test_whoever_plays_it_over_and_over_rests_after_a_moment(
    times: int, turned: int, counted_in: bool, may: bool
) -> None:
    """Beats of two seconds, of which playing on could take nearly three. Who is counted in each
    time does not show whether they would begin again."""
    hands = HandsRest()
    for time in range(times):
        play_whole(hands, 10.0 * time)
        if time < turned:
            hands.turn()
    assert hands.may_turn(10.0 * (times - 1) + 1.5, 2.0, counted_in=counted_in) is may


@pytest.mark.parametrize(
    ("next_s", "quiet_s", "may"),
    [(1.5, 2.0, False), (1.5, 2.2, True), (4.0, 2.4, False), (4.0, 2.6, True)],
)
def test_a_slow_next_note_is_waited_for_though_it_was_played_over_and_over(
    next_s: float, quiet_s: float, may: bool
) -> None:
    hands = HandsRest()
    for at_s in (0.0, 10.0):
        play_whole(hands, at_s)
    assert hands.may_turn(10.0 + quiet_s, 5.0, next_s=next_s) is may


@pytest.mark.parametrize(("on_s", "may"), [(None, True), (5.0, False)])
def test_whoever_plays_on_past_the_end_does_not_play_it_over_and_over(
    on_s: float | None, may: bool
) -> None:
    hands = HandsRest()
    for at_s in (0.0, 10.0):
        play_whole(hands, at_s)
        if on_s and not at_s:
            hands.strike(62, on_s)
            hands.release(62)
    assert hands.may_turn(11.5, 2.0) is may


@pytest.mark.parametrize(("quiet_s", "may"), [(1.7, False), (1.9, True)])
def test_keys_of_which_nothing_was_said_are_waited_on_for_longer(quiet_s: float, may: bool) -> None:
    """Other music after what was said of it: it may go on, or lead to the window."""
    hands = rest_after(10.0, 10.3)
    hands.say(10.4)
    hands.strike(60, 11.0)
    hands.release(60)
    assert hands.may_turn(11.0 + quiet_s, BEAT_S) is may


@pytest.mark.parametrize(("value", "is_off"), [(63, True), (64, False)])
def test_a_foot_that_goes_down_on_a_pedal_is_about_to_play(value: int, is_off: bool) -> None:
    hands = rest_after(10.0)
    hands.tread(64, value, 12.0)
    assert hands.is_off(12.5, BEAT_S) is is_off


def test_a_pedal_that_is_held_down_is_no_playing() -> None:
    """Continuous pedals say every moment how deep they are (MIDI 1.0: a value for each move)."""
    hands = rest_after(10.0)
    for at in range(10):
        hands.tread(64, 120 + at % 2, 10.0 + at)
    assert hands.is_off(19.1, BEAT_S)


@pytest.mark.parametrize(("more", "may"), [(3, False), (4, True)])
def test_four_gaps_tell_how_slowly_is_played_just_now(more: int, may: bool) -> None:
    """One gap of two seconds, and so many of half a second since."""
    struck_s = [10.0, 12.0, *(12.0 + 0.5 * (at + 1) for at in range(more))]
    assert rest_after(*struck_s).may_turn(struck_s[-1] + 2.0, BEAT_S) is may


@pytest.mark.parametrize(("gap_s", "may"), [(3.9, False), (4.1, True)])
def test_a_gap_of_more_than_four_seconds_was_a_rest_and_tells_no_pace(
    gap_s: float, may: bool
) -> None:
    assert rest_after(10.0, 10.0 + gap_s).may_turn(10.0 + gap_s + 2.0, BEAT_S) is may


@pytest.mark.parametrize(("apart_s", "keeps"), [(0.05, True), (0.07, False)])
def test_keys_within_60_ms_are_one_stroke_and_no_gap(apart_s: float, keeps: bool) -> None:
    """Three strokes of a chord after a gap of two seconds: as gaps they would push it out."""
    chord_s = [12.0 + apart_s * at for at in range(5)]
    hands = rest_after(10.0, *chord_s)
    assert hands.may_turn(chord_s[-1] + 2.0, BEAT_S) is not keeps


@pytest.mark.parametrize(("quiet_s", "may"), [(7.9, False), (8.1, True)])
def test_whoever_stopped_before_the_end_may_look_for_the_next_note_for_eight_seconds(
    quiet_s: float, may: bool
) -> None:
    hands = rest_after(10.0)
    hands.say(11.0, broke_off=True)
    assert hands.may_turn(10.0 + quiet_s, BEAT_S) is may
