"""What we sound ourselves is never heard as the player's, and no key of the player's is lost."""

from __future__ import annotations

from collections.abc import Iterable
from random import Random

import pytest

from coach.playing.ports.own_sound import ANSWER_S, ASK, OwnSound

Came = tuple[float, tuple[int, ...]]


def looped(own: OwnSound, at_s: float = 0.0) -> None:
    """What was asked came back."""
    own.expect_answer(at_s)
    for message in ASK:
        assert own.is_own(message, at_s + 0.4)
    assert own.comes_back


def players(own: OwnSound, came: Iterable[Came]) -> list[Came]:
    """What of it is the player's."""
    return [(at_s, message) for at_s, message in sorted(came) if not own.is_own(message, at_s)]


def test_without_a_loop_nothing_is_left_out() -> None:
    own = OwnSound()
    own.expect_answer(0.0)
    own.send([(1.0, (0x90, 60, 64)), (1.2, (0x80, 60, 0))], 0.6)
    came = [(1.001, (0x90, 60, 64)), (1.201, (0x80, 60, 0))]
    assert players(own, came) == came
    assert not own.comes_back


def test_with_a_loop_each_message_of_ours_takes_one_that_came() -> None:
    own = OwnSound()
    looped(own)
    own.send([(1.0, (0x90, 60, 64)), (1.2, (0x80, 60, 0))], 0.6)
    theirs = [(1.003, (0x90, 60, 64)), (1.203, (0x80, 60, 0))]
    assert len(players(own, [(1.002, (0x90, 60, 64)), (1.202, (0x80, 60, 0)), *theirs])) == 2


def test_the_lowest_key_let_go_of_while_it_is_asked_is_the_players() -> None:
    own = OwnSound()
    assert not own.is_own((0x90, 21, 80), -1.0)
    own.expect_answer(0.0)
    assert not own.is_own((0x80, 21, 64), 0.1)


@pytest.mark.parametrize("ends", [0x80, 0x90])
@pytest.mark.parametrize("channel", [0, 3])
def test_a_loop_may_write_ends_and_channels_in_its_own_way(ends: int, channel: int) -> None:
    own = OwnSound()
    looped(own)
    own.send([(1.0, (0x90, 60, 64)), (1.2, (0x80, 60, 0))], 0.6)
    came: list[Came] = [(1.01, (0x90 | channel, 60, 64)), (1.21, (ends | channel, 60, 0))]
    assert players(own, came) == []


def test_what_is_stopped_is_not_waited_for() -> None:
    own = OwnSound()
    looped(own)
    own.send([(1.0, (0x90, 60, 64)), (3.0, (0x80, 60, 0)), (2.0, (0x90, 62, 64))], 0.6)
    own.send([], 1.5)
    assert players(own, [(1.002, (0x90, 60, 64)), (1.503, (0x80, 60, 0))]) == []
    struck = (2.001, (0x90, 62, 64))
    assert players(own, [struck]) == [struck]


@pytest.mark.parametrize("seed", range(4))
def test_of_thousands_of_notes_through_a_loop_none_is_confused(seed: int) -> None:
    """The player strikes other keys and the same ones, at the same moments too."""
    dice = Random(seed)
    own = OwnSound()
    looped(own)
    ours: list[Came] = []
    at_s = 1.0
    for _ in range(2500):
        key, velocity = dice.randint(30, 90), dice.randint(40, 90)
        ours += [(at_s, (0x90, key, velocity)), (at_s + 0.08, (0x80, key, 0))]
        at_s += dice.uniform(0.1, 0.3)
    own.send(ours, 0.9)
    delay = dice.uniform(0.0, 0.02)
    back = [(when + delay + dice.uniform(0, 0.01), message) for when, message in ours]
    struck: list[Came] = []
    for when, message in ours[::2]:
        if dice.random() < 0.3:  # the same key at the same moment
            struck.append((when + dice.uniform(-0.01, 0.02), (0x90, message[1], message[2])))
        elif dice.random() < 0.5:
            struck.append((when + dice.uniform(0, 0.1), (0x90, dice.randint(21, 108), 70)))
    left = players(own, [*back, *struck])
    heard = [message[1] for _, message in left if message[0] == 0x90]
    assert sorted(heard) == sorted(message[1] for _, message in struck)
    assert all(message[0] == 0x90 for _, message in left)


def test_where_nothing_comes_back_what_was_sent_is_not_kept_all_evening() -> None:
    own = OwnSound()
    for second in range(1000):
        own.send([(float(second), (0x99, 76, 100)), (second + 0.05, (0x89, 76, 0))], float(second))
    assert len(own._sent) <= 2 * (ANSWER_S + 1)


def test_what_was_sent_before_the_answer_came_is_still_known() -> None:
    own = OwnSound()
    own.expect_answer(0.0)
    own.send([(ANSWER_S / 2, (0x90, 60, 64))], 0.0)
    own.send([(ANSWER_S, (0x90, 62, 64))], ANSWER_S - 0.01)
    for message in ASK:
        assert own.is_own(message, ANSWER_S / 2)
    assert own.is_own((0x90, 60, 64), ANSWER_S / 2 + 0.01)


def test_what_is_planned_anew_goes_on_being_known() -> None:
    own = OwnSound()
    looped(own)
    own.send([(1.0, (0x90, 60, 64)), (1.4, (0x90, 62, 64)), (3.0, (0x80, 60, 0))], 0.9)
    own.send([(1.6, (0x80, 60, 0))], 1.2, 1.5)
    came: list[Came] = [(1.0, (0x90, 60, 64)), (1.4, (0x90, 62, 64)), (1.6, (0x80, 60, 0))]
    assert players(own, came) == []
    assert players(own, [(3.0, (0x80, 60, 0))])


def test_what_comes_too_late_is_the_players() -> None:
    own = OwnSound()
    looped(own)
    own.send([(1.0, (0x90, 60, 64))], 0.6)
    late = (1.0 + 0.5 + 0.01, (0x90, 60, 64))
    assert players(own, [late]) == [late]


def test_what_is_asked_makes_no_sound() -> None:
    """MIDI 1.0: a note-on with velocity 0 is a note's end."""
    assert all(message[0] == 0x90 and message[2] == 0 for message in ASK)
