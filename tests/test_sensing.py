"""Active sensing."""

import pytest

from coach.playing.sensing import Sensing


def heard(*at_s: float, sensing: bool) -> Sensing:
    piano = Sensing()
    for moment_s in at_s:
        piano.heard(moment_s, sensing=sensing)
    return piano


@pytest.mark.outside
def test_a_piano_that_senses_is_lost_after_a_second_but_not_after_350_ms() -> None:
    """MIDI 1.0: a message within 300 ms; receivers in the field wait 420 ms (found)."""
    piano = heard(0.0, 0.3, sensing=True)
    assert not piano.is_lost(0.3 + 0.35)
    assert piano.is_lost(0.3 + 1.0)


def test_any_message_counts_as_a_sign_of_life() -> None:
    piano = heard(0.0, sensing=True)
    piano.heard(0.9, sensing=False)
    assert not piano.is_lost(1.2)


def test_a_piano_that_never_senses_may_be_silent_for_ever() -> None:
    assert not heard(0.0, sensing=False).is_lost(3600.0)
