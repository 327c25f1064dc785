"""Active sensing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.playing.ports.byte_stream import STEADY_COUNT, Sensing


def heard(*at_s: float, sensing: bool = True) -> Sensing:
    piano = Sensing()
    for moment_s in at_s:
        piano.note_message(moment_s, sensing=sensing)
    return piano


def steady(count: int = STEADY_COUNT) -> Sensing:
    """A piano that has sent it so often, every 300 ms; the last at 10 s."""
    return heard(*(10.0 - 0.3 * before for before in reversed(range(count))))


@pytest.mark.outside
def test_a_piano_that_senses_is_lost_after_a_second_but_not_after_350_ms() -> None:
    """MIDI 1.0: a message within 300 ms; receivers in the field wait 420 ms (found)."""
    piano = steady()
    assert not piano.is_lost(10.0 + 0.35)
    assert piano.is_lost(10.0 + 1.0)


@pytest.mark.parametrize("count", [1, 3, STEADY_COUNT - 1])
def test_a_stray_byte_or_a_few_promise_nothing(count: int) -> None:
    assert not steady(count).is_lost(3600.0)


def test_a_burst_of_them_is_no_promise() -> None:
    assert not heard(*(0.001 * k for k in range(50))).is_lost(3600.0)


def test_stray_bytes_between_notes_are_no_promise() -> None:
    piano = Sensing()
    for k in range(400):
        piano.note_message(0.2 * k, sensing=False)
        if k % 10 == 0:
            piano.note_message(0.2 * k + 0.05, sensing=True)
    assert not piano.is_lost(3600.0)


def test_any_message_counts_as_a_sign_of_life() -> None:
    piano = steady()
    piano.note_message(10.6, sensing=False)
    assert not piano.is_lost(11.2)


def test_a_piano_that_came_back_has_to_be_steady_anew() -> None:
    piano = steady()
    assert piano.is_lost(12.0)
    piano.note_message(12.0, sensing=False)
    piano.note_message(12.3, sensing=True)
    assert not piano.is_lost(3600.0)


def test_a_piano_that_never_senses_may_be_silent_for_ever() -> None:
    assert not heard(0.0, sensing=False).is_lost(3600.0)


@pytest.mark.property
@given(st.lists(st.tuples(st.floats(0.0, 2.0), st.booleans()), max_size=60))
def test_it_is_lost_only_after_a_silence_and_enough_of_them(
    line: list[tuple[float, bool]],
) -> None:
    piano, now_s, sent = Sensing(), 0.0, 0
    for quiet_s, sensing in line:
        now_s += quiet_s
        assert not piano.is_lost(now_s) or (quiet_s > 0.7 and sent >= STEADY_COUNT)
        piano.note_message(now_s, sensing=sensing)
        sent += sensing
        assert not piano.is_lost(now_s + 0.42)
